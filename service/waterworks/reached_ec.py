"""The EC that an injection reaches in the lines, against what the crop is commonly given.

In: the elements that go into the water, the water's own EC, the crop. Out: a warning where the sum
passes the limit of the crop. It is of the minutes of injection alone, not of the season.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from service.waterworks.caution import Advisory
from service.waterworks.fertiliser import ec_rise_ds_m

# [CHOICE], common practice, no source: total EC of water with fertiliser. Pine bark for blueberry
# is kept at 0.5 to 0.75 dS/m (UGA), which agrees with its limit.
COMMON_LIMIT_DS_M = 2.0
CROP_LIMITS_DS_M: Mapping[str, float] = MappingProxyType(
    {"blueberry": 1.0, "raspberry": 1.5, "blackberry": 1.5, "strawberry": 1.5}
)


def ec_advisory(
    part_mg_per_l: Mapping[str, float], water_ec_ds_m: float, crop_key: str
) -> Advisory | None:
    """A warning where water and fertiliser together pass the EC of the crop.

    Shapes: scalars.
    part_mg_per_l: elements that are added, by form, as of ``fertiliser.ec_rise_ds_m``;
    water_ec_ds_m: 0 where it is not known.
    Returns: an advisory, or None where none is needed.
    Equation: EC of the water plus ``fertiliser.ec_rise_ds_m``; limits of this module [CHOICE].
    >>> ec_advisory({"potassium": 386.7, "nitrate_nitrogen": 138.5}, 0.2, "blueberry").key
    'high-ec'
    """
    rise = ec_rise_ds_m(part_mg_per_l, water_ec_ds_m)
    reached = water_ec_ds_m + rise
    limit = CROP_LIMITS_DS_M.get(crop_key, COMMON_LIMIT_DS_M)
    if reached <= limit:
        return None
    text = (
        f"At the fastest that the injector can the EC in the lines would rise by {rise:.1f} to"
        f" {reached:.1f} dS/m; {limit:g} is common for this crop. Plans inject as slowly as the"
        " window allows; if that is not slow enough, make the stock solution thinner or split it"
        " over more days."
    )
    return Advisory("high-ec", text)
