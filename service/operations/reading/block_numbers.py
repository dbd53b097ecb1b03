"""All numbers of a block: what was given, what is a default, and what follows from them.

The plan of tomorrow rests on them. Those of the plan itself, with their steps, are in ``why``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np

from service.agronomy.block_batch import BlockBatch, make_block_batch
from service.agronomy.civil_day import ONE_DAY
from service.agronomy.root_zone import readily_available_water_mm, total_available_water_mm
from service.agronomy.watering_rules import net_rate_mm_per_min, pulse_limits
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.reading.read_farms import today_at_block
from service.ports import Clock
from service.records.farms import BLOCK_NUMBERS, BlockDefinition, number_columns
from service.translations.catalogue import marked

GIVEN, DEFAULT, DERIVED = "given", "default", "derived"
DERIVED_ORIGINS = {
    "root_depth_m": marked("root depth at the age of the plants in {year}"),
    "root_share_of_wetted": marked(
        "rooted share of the wetted soil at the age of the plants in {year}"
    ),
    "canopy_cover_fraction": marked(
        "canopy at the age of the plants in {year}, or grown from a measured one"
    ),
    "canopy_height_m": marked(
        "height at the age of the plants in {year}, or grown from a measured one"
    ),
    "taw_mm": marked(
        "1000 (field capacity - wilting point) x root depth x wetted share x rooted share;"
        " FAO-56 Eq. 82 over the block's ground"
    ),
    "raw_mm": marked(
        "depletion fraction x total available water, on a day that uses 5 mm; FAO-56 Eq. 83"
    ),
    "trigger_mm": marked("the block's share of the readily available water at which it is watered"),
    "application_rate_mm_per_h": marked(
        "emitter flow x drip lines / (row spacing x emitter spacing)"
    ),
    "flow_l_per_h": marked("application rate x area"),
    "supply_flow_fraction": marked("flow of the block / flow of its supply"),
    "net_rate_mm_per_min": marked(
        "application rate / 60, less uneven emitters and soil without roots"
    ),
    "shortest_pulse_min": marked("10 min, or three times the time to fill the lines"),
    "longest_pulse_min": marked(
        "the grower's longest run, or the time to wet six tenths of the root depth; Schwartzman &"
        " Zur 1986, from memory"
    ),
    "event_limit_mm": marked(
        "net depth that wets the whole root depth; Schwartzman & Zur 1986, from memory"
    ),
    "crop_coefficient": marked("the plan of {day}; `rillwright why` has its parts"),
}
"""How each number that follows from others is worked out."""


@dataclass(frozen=True, slots=True)
class BlockNumber:
    """One number by its name in the nomenclature, and where it is from."""

    name: str
    value: float
    """NaN: none, which has a meaning of its own, see ``origin``."""
    kind: str
    """``given``, ``default`` or ``derived``."""
    origin: str
    """``given``, the source of a default, or the sum that gives it."""


@dataclass(frozen=True, slots=True)
class BlockNumbers:
    """The numbers of a block on a day."""

    block: BlockDefinition
    day: date
    stated: tuple[BlockNumber, ...]
    """Given or default, in the order of a farm file."""
    derived: tuple[BlockNumber, ...]


def block_numbers(block_id: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> BlockNumbers:
    """The numbers of a block as it is today; raises NotFound for an unknown block."""
    with unit_of_work(write=False) as unit:
        today = today_at_block(unit, block_id, clock.now())
        block = unit.blocks.get_block(block_id, day=today)
        bundle = unit.blocks.get_bundle(block.farm_id, day=today)
        supply = next(each for each in bundle.supplies if each.supply_id == block.supply_id)
        derived = tuple(_derived(unit, block, today, supply.flow_l_per_h))
    return BlockNumbers(block=block, day=today, stated=tuple(_stated(block)), derived=derived)


def _stated(block: BlockDefinition) -> Iterator[BlockNumber]:
    for name in BLOCK_NUMBERS:
        if name in ("texture_group", "risk_attitude") or "_is_" in name:
            continue
        origin = block.origins.get(name, "")
        if math.isnan(getattr(block, name)) and not origin:
            continue
        kind = GIVEN if origin == GIVEN else DEFAULT
        yield BlockNumber(name, float(getattr(block, name)), kind, origin)


def _derived(
    unit: UnitOfWork, block: BlockDefinition, day: date, supply_flow_l_per_h: float
) -> Iterator[BlockNumber]:
    """What follows from the stated numbers, for the plants of this year."""
    batch = make_block_batch(
        number_columns([block]),
        [block.curve],
        site_index=np.zeros(1, dtype=np.int64),
        supply_index=np.zeros(1, dtype=np.int64),
        season_year=day.year,
    )
    for name, value in _of_batch(batch, supply_flow_l_per_h).items():
        origin = DERIVED_ORIGINS[name].format(year=day.year)
        yield BlockNumber(name, float(np.asarray(value).reshape(-1)[0]), DERIVED, origin)
    plan = unit.plans.find_plan(block.block_id, day=day + ONE_DAY) or unit.plans.find_plan(
        block.block_id, day=day
    )
    if plan is not None and plan.reasoning.crop_coefficient is not None:
        origin = DERIVED_ORIGINS["crop_coefficient"].format(day=plan.day)
        yield BlockNumber("crop_coefficient", plan.reasoning.crop_coefficient, DERIVED, origin)


def _of_batch(batch: BlockBatch, supply_flow_l_per_h: float) -> dict[str, object]:
    crop, soil, system = batch.crop, batch.soil, batch.system
    taw_mm = total_available_water_mm(soil)
    raw_mm = readily_available_water_mm(taw_mm, crop.depletion_fraction)
    limits = pulse_limits(system, soil)
    return {
        "root_depth_m": soil.root_depth_m,
        "root_share_of_wetted": soil.root_share_of_wetted,
        "canopy_cover_fraction": crop.canopy_cover_fraction,
        "canopy_height_m": crop.canopy_height_m,
        "taw_mm": taw_mm,
        "raw_mm": raw_mm,
        "trigger_mm": raw_mm * system.trigger_fraction,
        "application_rate_mm_per_h": system.application_rate_mm_per_h,
        "flow_l_per_h": system.flow_l_per_h,
        "supply_flow_fraction": system.flow_l_per_h / supply_flow_l_per_h,
        "net_rate_mm_per_min": net_rate_mm_per_min(system, soil),
        "shortest_pulse_min": limits.shortest_pulse_min,
        "longest_pulse_min": limits.longest_pulse_min,
        "event_limit_mm": limits.event_limit_mm,
    }
