"""Metered water of a block against what its emitters should have given, within its own band.

This is the simple check of the latest runs, returned in the answer to a report. Changes over a
season are found and dated by :mod:`service.waterworks.flow_check`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.reading.block_pipes import at_meter, unregulated_flow_l_per_h
from service.operations.reading.read_farms import today_at_block
from service.ports import Clock
from service.records.farms import BlockDefinition
from service.translations.catalogue import marked
from service.waterworks.metered_run import (
    FlowLimit,
    PassableFlow,
    passable_flow,
    run_band_fraction,
    run_spread_fraction,
)

SHORTEST_CHECK_MIN = 30.0
"""Less running time says more about the filling of the pipes than about emitters [CHOICE]."""
LOOKBACK_DAYS = 14
SPREAD_DAYS = 365
"""How far back runs say how much they differ from one another."""
VERDICTS = ("as-expected", "leak-suspected", "clogging-suspected", "too-short")

QUESTIONED = {
    FlowLimit.EMITTERS: marked(
        "the volume is less than half, or more than one and a half times, what the emitters give in"
        " this time"
    ),
    FlowLimit.PIPES: marked(
        "the volume is less than half of what the emitters give in this time, or more than intact"
        " lines pass at the pressure of the supply"
    ),
    FlowLimit.SUPPLY: marked(
        "the volume is less than half of what the emitters give in this time, or more than the"
        " supply gives"
    ),
}
"""Why a volume is not booked, by what limits it."""


class MeteredRun(NamedTuple):
    """One run of a block with a volume."""

    flowing_min: float
    volume_l: float
    is_booked: bool
    """The ledger takes the volume; False: it is questioned, or was stored before volumes counted.
    """


@dataclass(frozen=True, slots=True)
class BlockMeter:
    """What the meter of a block is held against."""

    block_id: str
    design_l_per_h: float
    """Flow of all emitters, and of what leaks beside them."""
    band_fraction: float
    passable: PassableFlow


@dataclass(frozen=True, slots=True)
class FlowNote:
    """What the meter says about a block."""

    block_id: str
    run_count: int
    duration_min: float
    """In which water flowed."""
    volume_l: float
    expected_volume_l: float
    """Flow of all emitters, and of what leaks beside them, times the minutes."""
    flow_ratio: float | None
    """Metered over expected; None if nothing was expected."""
    band_fraction: float
    """How far the ratio may be from 1 before anything is suspected."""
    verdict: str
    """One of ``VERDICTS``."""
    limit: FlowLimit
    """What decides how much water a run can have taken."""
    least_l_per_h: float
    """Mean flow below which a run's volume is questioned."""
    most_l_per_h: float
    """Mean flow above which it is."""
    questioned_count: int = 0
    """Runs whose volume is not booked, as the block could not have passed it."""


def block_meter(unit: UnitOfWork, block: BlockDefinition, *, today: date) -> BlockMeter:
    """What the meter of a block is held against, by its pipes and its stored runs."""
    design_l_per_h = at_meter(block.flow_l_per_h, block)
    stored = unit.reports.read_metered(
        unit.blocks.get_block_key(block.block_id), first_day=today - timedelta(days=SPREAD_DAYS)
    )
    is_counted = (stored.flowing_min >= SHORTEST_CHECK_MIN) & (stored.volume_l > 0.0)
    ratio = 60.0 * stored.volume_l[is_counted] / (stored.flowing_min[is_counted] * design_l_per_h)
    is_usual = passable_flow(design_l_per_h)
    low, high = (flow / design_l_per_h for flow in (is_usual.least_l_per_h, is_usual.most_l_per_h))
    ratio = ratio[(low <= ratio) & (ratio <= high)]
    passable = is_usual
    if block.layout is not None:
        passable = passable_flow(
            design_l_per_h,
            pipes_l_per_h=at_meter(unregulated_flow_l_per_h(block), block),
            supply_l_per_h=supply_flow_l_per_h(unit, block),
            spread_fraction=run_spread_fraction(ratio),
        )
    return BlockMeter(block.block_id, design_l_per_h, run_band_fraction(ratio), passable)


def supply_flow_l_per_h(unit: UnitOfWork, block: BlockDefinition) -> float:
    """Flow of a block's supply."""
    keys = np.array([*unit.blocks.farm_keys([block.farm_id]).values()], dtype=np.int64)
    table = unit.blocks.read_supply_table(keys)
    return float(table.flow_l_per_h[table.supply_ids.index(block.supply_id)])


def flow_note(meter: BlockMeter, runs: Sequence[MeteredRun]) -> FlowNote:
    """The check of several metered runs together."""
    flowing_min = sum(run.flowing_min for run in runs)
    volume_l = sum(run.volume_l for run in runs)
    expected_l = meter.design_l_per_h * flowing_min / 60.0
    ratio = volume_l / expected_l if expected_l > 0.0 else None
    if ratio is None or flowing_min < SHORTEST_CHECK_MIN:
        verdict = "too-short"
    elif ratio > 1.0 + meter.band_fraction:
        verdict = "leak-suspected"
    elif ratio < 1.0 - meter.band_fraction:
        verdict = "clogging-suspected"
    else:
        verdict = "as-expected"
    return FlowNote(
        block_id=meter.block_id,
        run_count=len(runs),
        duration_min=flowing_min,
        volume_l=volume_l,
        expected_volume_l=expected_l,
        flow_ratio=ratio,
        band_fraction=meter.band_fraction,
        verdict=verdict,
        limit=meter.passable.limit,
        least_l_per_h=meter.passable.least_l_per_h,
        most_l_per_h=meter.passable.most_l_per_h,
        questioned_count=sum(
            not run.is_booked and not meter.passable.holds(run.volume_l, run.flowing_min)
            for run in runs
        ),
    )


def compare_meter(block_id: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> FlowNote:
    """The check of a block's metered runs of the last fortnight; raises NotFound."""
    with unit_of_work(write=False) as unit:
        today = today_at_block(unit, block_id, clock.now())
        block = unit.blocks.get_block(block_id, day=today)
        metered = unit.reports.read_metered(
            unit.blocks.get_block_key(block_id), first_day=today - timedelta(days=LOOKBACK_DAYS)
        )
        meter = block_meter(unit, block, today=today)
    runs = zip(
        metered.flowing_min.tolist(),
        metered.volume_l.tolist(),
        metered.is_booked.tolist(),
        strict=True,
    )
    return flow_note(meter, [MeteredRun(*run) for run in runs])
