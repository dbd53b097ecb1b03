"""Where an injector goes, what pressure a suction injector needs, and how large its bucket is.

In: the substance, pressures and flows. Out: the place, the pressure difference with and without a
booster pump, the volume of the bucket. Nothing here is an instruction to inject.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass

from service.errors import Fault, InputInvalid

COMMON_LOSS_RATIO = 0.25
"""Share of the inlet pressure that a suction injector takes; 20 to 50 %, from memory."""
LOSS_SOURCE = "suction injectors take 20 to 50 % of their inlet pressure: from memory"
COMMON_INJECTION_MIN = 30.0
COMMON_DILUTION_RATIO = 100.0
BUCKET_SPARE_RATIO = 1.1
"""[CHOICE] A tenth is left, so that the injector does not draw air."""
BUCKET_SOURCE = "flow x minutes / dilution, and a tenth more: common practice, no source"


class Substance(enum.StrEnum):
    """What people put into drip water."""

    FERTILISER = "fertiliser"
    CHLORINE = "chlorine"
    ACID = "acid"


@dataclass(frozen=True, slots=True)
class InjectionPlace:
    """Where a substance enters, and why there."""

    substance: Substance
    is_before_filter: bool
    reason: str
    source: str


@dataclass(frozen=True, slots=True)
class SuctionPressure:
    """What a suction injector needs of pressure, and what is there."""

    downstream_head_m: float
    """That filter and regulator need behind it."""
    least_inlet_head_m: float
    """Inlet pressure from which on it works without a booster."""
    inlet_head_m: float | None
    """None: not known; then only the two above are."""
    needed_difference_head_m: float | None
    free_difference_head_m: float | None
    """Left over from the inlet pressure; below 0 where not even the regulator gets enough."""
    booster_head_m: float | None
    """What a booster pump beside the main line has to add; 0: it works without one."""


_PLACES = {
    Substance.FERTILISER: InjectionPlace(
        Substance.FERTILISER,
        is_before_filter=True,
        reason="Before the filter, which catches what has not dissolved or has come out again;"
        " not while the filter flushes itself.",
        source="Irrigation Today, April 2017, on injector locations; common practice",
    ),
    Substance.CHLORINE: InjectionPlace(
        Substance.CHLORINE,
        is_before_filter=True,
        reason=(
            "Before the filter, which it keeps free of slime and which catches the iron that it"
            " turns to rust."
        ),
        source="common practice, no source",
    ),
    Substance.ACID: InjectionPlace(
        Substance.ACID,
        is_before_filter=False,
        reason=(
            "Behind the filter and every metal part, which it would attack; never at the same point"
            " as chlorine, nor at the same time."
        ),
        source="common practice, no source",
    ),
}


def injection_place(substance: Substance) -> InjectionPlace:
    """Where a substance enters, seen from the filter.

    Shapes: one substance.
    Returns: InjectionPlace.
    >>> injection_place(Substance.ACID).is_before_filter
    False
    """
    return _PLACES[substance]


def injector_texts() -> tuple[str, ...]:
    """Every reason for a place, for translation.

    Shapes: result (texts,).
    Returns: sentences without numbers.
    >>> len(injector_texts())
    3
    """
    return tuple(each.reason for each in _PLACES.values())


def suction_pressure(
    downstream_head_m: float,
    inlet_head_m: float | None,
    *,
    loss_ratio: float = COMMON_LOSS_RATIO,
) -> SuctionPressure:
    """Pressure difference across a suction injector, with and without a booster pump.

    Shapes: scalars.
    downstream_head_m: that the parts behind the injector need; inlet_head_m: before it.
    loss_ratio: share of the inlet pressure that it takes, by its maker's table.
    Returns: SuctionPressure; a ratio outside 0.05 to 0.9 raises ``InputInvalid``.
    Equation: needed = ratio x inlet; free = inlet - downstream; booster = needed - free, not below
    0. In line it works from inlet = downstream / (1 - ratio) on.
    >>> found = suction_pressure(15.0, 18.0, loss_ratio=0.25)
    >>> found.least_inlet_head_m, found.free_difference_head_m, found.booster_head_m
    (20.0, 3.0, 1.5)
    """
    if not 0.05 <= loss_ratio <= 0.9:
        raise InputInvalid(
            "the injector's pressure cannot be worked out",
            [Fault("loss_ratio", f"{loss_ratio:g}", "0.05 to 0.9 of the inlet pressure")],
        )
    least = downstream_head_m / (1.0 - loss_ratio)
    if inlet_head_m is None:
        return SuctionPressure(downstream_head_m, least, None, None, None, None)
    needed = loss_ratio * inlet_head_m
    free = inlet_head_m - downstream_head_m
    return SuctionPressure(
        downstream_head_m, least, inlet_head_m, needed, free, max(0.0, needed - free)
    )


def bucket_l(
    zone_flow_l_per_h: float,
    injection_min: float = COMMON_INJECTION_MIN,
    dilution_ratio: float = COMMON_DILUTION_RATIO,
) -> float:
    """Volume of the bucket or drum for one injection into one zone.

    Shapes: scalars.
    dilution_ratio: irrigation water to stock solution, 100 for 1 in 100.
    Returns: volume [L]; numbers that are not above 0, or a ratio below 1, raise ``InputInvalid``.
    Equation: flow x minutes / 60 / ratio x 1.1.
    >>> round(bucket_l(5500.0, 30.0, 100.0), 2)
    30.25
    """
    faults = [
        Fault(name, f"{value:g}", allowed)
        for name, value, is_right, allowed in (
            ("injection_min", injection_min, 0.0 < injection_min <= 1440.0, "above 0, to 1440"),
            ("dilution_ratio", dilution_ratio, 1.0 <= dilution_ratio < math.inf, "1 or more"),
        )
        if not is_right
    ]
    if faults:
        raise InputInvalid("the size of the bucket cannot be worked out", faults)
    stock_l = zone_flow_l_per_h * injection_min / 60.0 / dilution_ratio
    return BUCKET_SPARE_RATIO * stock_l
