"""A block before it is stored: how long an inch of water takes, and which numbers are defaults."""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.operations.farms.question_blocks import questions_of
from service.operations.reading.read_farms import local_day
from service.pages.plans import flow_text
from service.pages.visit import Visit
from service.records.farms import BlockDefinition, FarmBundle
from service.unit_sizes import MM_PER_INCH

SHOWN_ORIGINS = {
    "emission_uniformity_pct", "fill_time_min", "longest_pulse_min", "wetted_fraction",
    "root_depth_m", "kc_initial", "kc_mid", "kc_end", "depletion_fraction", "field_capacity",
    "wilting_point", "canopy_cover_fraction", "trigger_fraction", "rain_room_fraction",
    "laterals_per_row_count", "windows",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Default:
    """A number that was not given."""

    name: str
    value: str
    origin: str


@dataclass(frozen=True, slots=True)
class Preview:
    """What a block would be."""

    hours_per_depth: float
    """For an inch, or for ten millimetres."""
    flow: str
    share_of_supply: float
    defaults: tuple[Default, ...]
    questions: tuple[str, ...]
    """What may be a slip, in the reader's words."""


def preview_of(visit: Visit, block: BlockDefinition, bundle: FarmBundle) -> Preview:
    """What a block that was read from a form would be."""
    depth_mm = MM_PER_INCH if visit.words.unit_system == "us" else 10.0
    rate_mm_per_h = (
        block.emitter_flow_l_per_h
        * block.laterals_per_row_count
        / (block.row_spacing_m * block.emitter_spacing_m)
    )
    flow_l_per_h = block.flow_l_per_h
    supply = next(each for each in bundle.supplies if each.supply_id == block.supply_id)
    defaults = []
    for name, origin in sorted(block.origins.items()):
        if name not in SHOWN_ORIGINS or origin == "given":
            continue
        value = getattr(block, name)
        shown = (
            visit.words.number(value, 2)
            if isinstance(value, int | float) and math.isfinite(value)
            else ""
        )
        defaults.append(Default(name, shown, origin))
    return Preview(
        hours_per_depth=depth_mm / rate_mm_per_h,
        flow=flow_text(flow_l_per_h, visit.words),
        share_of_supply=flow_l_per_h / supply.flow_l_per_h,
        defaults=tuple(defaults),
        questions=_questions(visit, block, bundle),
    )


def _questions(visit: Visit, block: BlockDefinition, bundle: FarmBundle) -> tuple[str, ...]:
    zone = bundle.farm.zone if bundle.farm else "UTC"
    today = local_day(visit.service.clock.now(), zone)
    return tuple(map(visit.words.gettext, questions_of([block], today)))
