"""Metered water of a block against what its emitters should have given, by a fixed band.

This is the simple check of the latest runs, returned in the answer to a report. Changes over a
season are found and dated by :mod:`service.waterworks.flow_check`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from service.database.session import UnitOfWorkFactory
from service.operations.reading.read_farms import today_at_block
from service.ports import Clock
from service.records.farms import BlockDefinition

FLOW_BAND_FRACTION = 0.10
"""Metered water may differ this much from the expected before a fault is suspected [CHOICE]."""
SHORTEST_CHECK_MIN = 30.0
"""Less running time says more about the filling of the pipes than about emitters [CHOICE]."""
LOOKBACK_DAYS = 14
BOOKED_RATIO_LIMITS = (0.5, 1.5)
"""Metered over expected of a run that is booked without a question [CHOICE]. The flow of a simple
emitter goes with the root of its pressure (Keller and Karmeli 1974, from memory): 0.5 to 1.5 are a
quarter to 2.25 times the design pressure. Gallons taken for litres (0.26), litres for gallons (3.8)
and cubic metres for litres (0.001) are outside.
"""
VERDICTS = ("as-expected", "leak-suspected", "clogging-suspected", "too-short")


@dataclass(frozen=True, slots=True)
class FlowNote:
    """What the meter says about a block."""

    block_id: str
    run_count: int
    duration_min: float
    volume_l: float
    expected_volume_l: float
    """Flow of all emitters times the minutes."""
    flow_ratio: float | None
    """Metered over expected; None if nothing was expected."""
    verdict: str
    """One of ``VERDICTS``."""
    questioned_count: int = 0
    """Runs whose volume is not booked, as the emitters could not have passed it."""


def block_flow_l_per_h(block: BlockDefinition) -> float:
    """Flow of all emitters of a block: the number along every drip line times the flow of one."""
    emitters_per_m2 = block.laterals_per_row_count / (block.row_spacing_m * block.emitter_spacing_m)
    return block.area_m2 * emitters_per_m2 * block.emitter_flow_l_per_h


def is_possible_volume(block: BlockDefinition, *, duration_min: float, volume_l: float) -> bool:
    """Whether a run's emitters could have passed this volume in its minutes."""
    least, most = BOOKED_RATIO_LIMITS
    expected_l = block_flow_l_per_h(block) * duration_min / 60.0
    return 0.0 < least * expected_l <= volume_l <= most * expected_l


def flow_note(
    block: BlockDefinition,
    *,
    duration_min: float,
    volume_l: float,
    run_count: int,
    questioned_count: int = 0,
) -> FlowNote:
    """The check of several metered runs together."""
    expected_l = block_flow_l_per_h(block) * duration_min / 60.0
    ratio = volume_l / expected_l if expected_l > 0.0 else None
    if ratio is None or duration_min < SHORTEST_CHECK_MIN:
        verdict = "too-short"
    elif ratio > 1.0 + FLOW_BAND_FRACTION:
        verdict = "leak-suspected"
    elif ratio < 1.0 - FLOW_BAND_FRACTION:
        verdict = "clogging-suspected"
    else:
        verdict = "as-expected"
    return FlowNote(
        block_id=block.block_id,
        run_count=run_count,
        duration_min=duration_min,
        volume_l=volume_l,
        expected_volume_l=expected_l,
        flow_ratio=ratio,
        verdict=verdict,
        questioned_count=questioned_count,
    )


def compare_meter(block_id: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> FlowNote:
    """The check of a block's metered runs of the last fortnight; raises NotFound."""
    with unit_of_work(write=False) as unit:
        today = today_at_block(unit, block_id, clock.now())
        block = unit.blocks.get_block(block_id, day=today)
        metered = unit.reports.read_metered(
            unit.blocks.get_block_key(block_id), first_day=today - timedelta(days=LOOKBACK_DAYS)
        )
    return flow_note(
        block,
        duration_min=float(metered.duration_min.sum()),
        volume_l=float(metered.volume_l.sum()),
        run_count=int(metered.days.size),
        questioned_count=sum(
            not booked and not is_possible_volume(block, duration_min=minutes, volume_l=volume)
            for minutes, volume, booked in zip(
                metered.duration_min.tolist(),
                metered.volume_l.tolist(),
                metered.is_booked.tolist(),
                strict=True,
            )
        ),
    )
