"""Which filter a drip block's water asks for, how fine and how large.

In: the clogging classes of a water report, where the water is from, and the flow through the head.
Out: kind, mesh, rated flow and, for sand media, the surface of the bed. The maker's data of the
emitter and of the filter stand above all of it.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass

from service.unit_sizes import L_PER_H_PER_GPM, M2_PER_SQUARE_FOOT
from service.waterworks.water_report import Grade, WaterClass

COMMON_MESH = 150
FINE_MESH = 200
FINE_FLOW_L_PER_H = 1.6
"""[CHOICE] Emitters that give less get the finer mesh."""
MESH_SOURCE = (
    "Clemson Extension HGIC, Landscape Irrigation Equipment Part 5: 150 mesh for drip, 200 for some"
    " emitters; Agriculture Victoria, Filtration for drip irrigation: 120 mesh or finer"
)
KIND_SOURCE = (
    "Clemson Extension HGIC, Part 5: media or self-cleaning filters for surface water; UF/IFAS"
    " WI008 and WI009: screens for mineral particles of wells, not for loads of algae"
)
SIZE_SOURCE = (
    "margin: common practice, no source; 15 to 25 gpm per square foot of sand: from memory"
)
CLEAN_AT_HEAD_M = 3.5  # [m] 5 psi: trade press on vineyard filters (2020)
"""Pressure difference across the filter at which it is cleaned."""
SUSPENDED = "suspended_solids_mg_per_l"
_DECIDES = (
    SUSPENDED,
    "bacteria_per_ml",
    "iron_mg_per_l",
    "manganese_mg_per_l",
    "hydrogen_sulfide_mg_per_l",
)
"""Classes that ask for another filter; scale is a matter of acid and flushing."""
_RATED_RATIO = {Grade.NONE: 1.2, Grade.MODERATE: 1.5, Grade.SEVERE: 2.0}
_BED_GPM_PER_FT2 = {Grade.NONE: 25.0, Grade.MODERATE: 20.0, Grade.SEVERE: 15.0}


class WaterOrigin(enum.StrEnum):
    """Where a supply's water comes from."""

    UNKNOWN = "unknown"
    WELL = "well"
    SURFACE = "surface"
    MAINS = "mains"


class FilterKind(enum.StrEnum):
    """Kinds of filters, by the water that they can keep clean."""

    SCREEN = "screen or disc filter"
    SELF_CLEANING = "disc or sand media filter that flushes itself"
    MEDIA = "sand media filters that flush themselves, behind a settling pond or a separator"


@dataclass(frozen=True, slots=True)
class FilterChoice:
    """A filter for one head."""

    kind: FilterKind
    grade: Grade
    decided_by: tuple[str, ...]
    """Labels of the clogging classes that ask for more than a screen."""
    is_water_known: bool
    """False: no water report with suspended solids, so that the rest of it alone decides."""
    mesh: int
    flow_l_per_h: float
    """Through the head at one time."""
    rated_flow_l_per_h: float
    """Smallest rated flow to buy, with a margin for dirt."""
    bed_area_m2: float | None
    """Surface of sand, where the kind may be media."""
    clean_at_head_m: float = CLEAN_AT_HEAD_M


def choose_filter(
    clogging: Sequence[WaterClass],
    origin: WaterOrigin,
    *,
    emitter_flow_l_per_h: float,
    flow_l_per_h: float,
) -> FilterChoice:
    """The filter that a water asks for.

    Shapes: classes of one report (none: no report), scalars.
    flow_l_per_h: largest through the head at one time.
    Returns: FilterChoice; surface water counts as moderate at least.
    Source: kinds and mesh as KIND_SOURCE and MESH_SOURCE say; rated flow = flow x 1.2, 1.5 or 2 by
    grade (common practice, no source); bed = flow over 25, 20 or 15 gpm per ft2 (from memory).
    >>> choose_filter((), WaterOrigin.SURFACE, emitter_flow_l_per_h=2.0,
    ...     flow_l_per_h=4000.0).rated_flow_l_per_h
    6000.0
    """
    deciding = [each for each in clogging if each.name in _DECIDES]
    grade = max((each.grade for each in deciding), default=Grade.NONE)
    if origin is WaterOrigin.SURFACE:
        grade = max(grade, Grade.MODERATE)
    kind = (FilterKind.SCREEN, FilterKind.SELF_CLEANING, FilterKind.MEDIA)[grade]
    bed = None
    if kind is not FilterKind.SCREEN:
        per_m2 = _BED_GPM_PER_FT2[grade] * L_PER_H_PER_GPM / M2_PER_SQUARE_FOOT
        bed = flow_l_per_h / per_m2
    return FilterChoice(
        kind=kind,
        grade=grade,
        decided_by=tuple(each.label for each in deciding if each.grade > Grade.NONE),
        is_water_known=any(each.name == SUSPENDED for each in deciding),
        mesh=FINE_MESH if emitter_flow_l_per_h < FINE_FLOW_L_PER_H else COMMON_MESH,
        flow_l_per_h=flow_l_per_h,
        rated_flow_l_per_h=_RATED_RATIO[grade] * flow_l_per_h,
        bed_area_m2=bed,
    )
