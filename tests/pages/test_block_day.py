"""The top of a block's page: its minutes, why in three sentences, five numbers, for every state."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.records import NoWaterPeriod
from service.delivery.day_order import BlockState
from service.pages.block_day import SHOWN_PULSES, BlockDay, block_day
from service.records.letters import BlockLine, ExpectedDay
from service.translations import wording
from tests.letters import DAY, ZONE, block_line, pulse

WORDS = wording("en", "us")
PAUSE = NoWaterPeriod(
    datetime.combine(DAY, datetime.min.time()), datetime.combine(DAY, time(18)), "spraying"
)


def read(line: BlockLine, *, clock: str = "19:00", days: int = -1) -> BlockDay:
    """A block's day as it is read at a time, days after it; the evening before unless said."""
    now = datetime.fromisoformat(f"{DAY + timedelta(days=days)}T{clock}")
    now = now.replace(tzinfo=ZoneInfo(ZONE))
    return block_day(line, DAY, ZONE, WORDS, now=now, today=now.date())


def watered(*pulses: Any, **changes: Any) -> BlockLine:
    """A block that needs 0.50 in of what it may lose, 0.60."""
    numbers = {
        "crop_et_mm": 5.08, "planned_depletion_mm": 12.7, "trigger_mm": 10.16, "raw_mm": 15.24,
        "net_mm": 10.16, "need_mm": 10.16,
    }  # fmt: skip
    return block_line("North", *pulses, **{"numbers": numbers, **changes})


def test_a_block_that_runs_says_its_minutes_and_why() -> None:
    day = read(watered(pulse("04:00", 40), pulse("06:00", 38), dry_day=DAY + timedelta(days=1)))
    assert (day.over, day.state) == ("Tomorrow, Thursday, July 16", BlockState.WATER)
    assert (day.minutes, day.beside[0], day.is_ahead) == ("78", "in 2 pulses", True)
    assert [(each.opens.split(), each.minutes) for each in day.pulses] == [
        (["4:00", "AM"], "40 min"), (["6:00", "AM"], "38 min"),
    ]  # fmt: skip
    assert day.why == (
        "By the evening 0.50 in would be missing from the root zone; it gets water from 0.40 in"
        " on.",
        "So 0.40 in go back in 2 pulses of at most 40 min.",
        "Without water plants would suffer from Fri, Jul 17 on.",
    )
    assert day.numbers == (
        ("Crop uses", "0.20 in"),
        ("Missing by evening", "0.50 in"),
        ("Water from", "0.40 in"),
        ("Suffers from", "0.60 in"),
        ("Plan puts back", "0.40 in"),
    )


def test_brass_goes_once_the_last_valve_is_closed() -> None:
    line = watered(pulse("04:00", 40), pulse("06:00", 38))
    assert read(line, clock="06:30", days=0).is_ahead
    assert not read(line, clock="06:38", days=0).is_ahead
    assert read(line, clock="06:30", days=0).over.startswith("Today, ")


def test_many_pulses_are_folded() -> None:
    pulses = [pulse(f"{hour:02}:00", 10) for hour in range(SHOWN_PULSES + 3)]
    day = read(watered(*pulses))
    assert (len(day.pulses), len(day.more_pulses)) == (SHOWN_PULSES, 3)


@pytest.mark.parametrize(
    ("line", "state", "what", "said"),
    [
        (block_line("Hill"), BlockState.REST, "Keep the valve closed", "less than the 0.40 in"),
        (
            block_line("Hill", outlook=(ExpectedDay(DAY, 0.0),)),
            BlockState.REST,
            "Keep the valve closed",
            "no water is expected for the days ahead",
        ),
        (
            block_line("Hill", pause=PAUSE),
            BlockState.PAUSED,
            "Keep the valve closed",
            "paused until Thu, Jul 16, 6:00",
        ),
        (
            block_line("Hill", cause=int(ShortfallCause.DORMANT)),
            BlockState.REST,
            "Dormant",
            "outside its watering season",
        ),
        (
            block_line("Hill", status="no-weather", numbers={}),
            BlockState.UNKNOWN,
            "No plan",
            "The weather is not known",
        ),
        (
            watered(shortfall_mm=10.16, cause=int(ShortfallCause.SUPPLY)),
            BlockState.SHORT,
            "Keep the valve closed",
            "0.40 in waits: the supply has no more flow",
        ),
    ],
)
def test_a_block_that_does_not_run_says_why(
    line: BlockLine, state: BlockState, what: str, said: str
) -> None:
    day = read(line)
    assert (day.state, day.minutes, day.what, day.is_ahead) == (state, "", what, False)
    assert said in " ".join(day.why) and len(day.why) <= 3
    assert bool(day.numbers) is (state is not BlockState.UNKNOWN)


def test_rain_that_the_plan_relies_on_is_named() -> None:
    assert "Rain is counted on for 0.20 in of it." in read(block_line(rain_credit_mm=5.08)).why
