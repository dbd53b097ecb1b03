"""States of blocks and their order of urgency."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.records import NoWaterPeriod
from service.delivery.day_order import BlockState, dryness, most_urgent_first, state_of, waiting_mm
from tests.letters import DAY, block_line, pulse

NEED = {"need_mm": 5.0, "raw_mm": 10.0, "planned_depletion_mm": 7.0}
PAUSE = NoWaterPeriod(
    datetime.combine(DAY, datetime.min.time()),
    datetime.combine(DAY + timedelta(days=1), datetime.min.time()),
    "spraying",
)


def test_each_state_has_its_facts() -> None:
    run = pulse("04:00", 60)
    assert state_of(block_line("a", run, numbers=NEED)) is BlockState.WATER
    assert state_of(block_line("a", numbers=NEED)) is BlockState.REST
    assert state_of(block_line("a", numbers=NEED, pause=PAUSE)) is BlockState.PAUSED
    assert state_of(block_line("a", run, numbers=NEED, pause=PAUSE)) is BlockState.WATER
    assert state_of(block_line("a", numbers={}, status="no-weather")) is BlockState.UNKNOWN
    short = block_line("a", run, numbers=NEED, shortfall_mm=2.0, cause=int(ShortfallCause.SUPPLY))
    assert state_of(short) is BlockState.SHORT


@pytest.mark.parametrize(
    ("cause", "deferred_mm", "state"),
    [
        (ShortfallCause.SUPPLY, 1.0, BlockState.SHORT),
        (ShortfallCause.SUPPLY, 0.3, BlockState.WATER),  # the remainder of whole minutes
        (ShortfallCause.SOIL_STORE, 1.0, BlockState.WATER),  # the zone takes up no more that day
        (ShortfallCause.DORMANT, 1.0, BlockState.REST),
    ],
)
def test_water_that_waits_makes_a_block_short_where_it_is_news(
    cause: ShortfallCause, deferred_mm: float, state: BlockState
) -> None:
    pulses = () if state is BlockState.REST else (pulse("04:00", 60),)
    line = block_line("a", *pulses, numbers=NEED, deferred_mm=deferred_mm, cause=int(cause))
    assert state_of(line) is state
    assert (waiting_mm(line) > 0.0) is (state is BlockState.SHORT)


def test_blocks_stand_by_state_and_within_one_the_driest_first() -> None:
    def dry(share: float) -> dict[str, float]:
        return {"raw_mm": 10.0, "planned_depletion_mm": 10.0 * share, "need_mm": 5.0}

    run = pulse("04:00", 60)
    lines = [
        block_line("rests", numbers=dry(0.9)),
        block_line("paused", numbers=dry(0.2), pause=PAUSE),
        block_line("moist", run, numbers=dry(0.7)),
        block_line("dry", run, numbers=dry(1.1)),
        block_line("short", run, numbers=dry(0.1), shortfall_mm=3.0, cause=3),
        block_line("unknown", numbers={}, status="no-weather"),
    ]
    names = [line.name for line in most_urgent_first(lines)]
    assert names == ["unknown", "short", "dry", "moist", "paused", "rests"]


def test_dryness_is_a_share_of_the_readily_available_water() -> None:
    assert dryness(block_line("a", numbers=NEED)) == pytest.approx(0.7)
    assert dryness(block_line("a", numbers={"raw_mm": 0.0, "planned_depletion_mm": 1.0})) is None
    assert dryness(block_line("a", numbers={})) is None
