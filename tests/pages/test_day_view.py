"""What the page of a day says first: the next valve, by the clock and by what is planned."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from service.agronomy.records import NoWaterPeriod
from service.delivery.sky_words import sky_of
from service.pages.day_board import board_view
from service.pages.day_view import DayView, day_view
from service.records.farms import FarmBundle
from service.records.letters import EveningLetter, ExpectedDay, SkyDay
from service.translations import wording
from tests.letters import DAY, ZONE, block_line, evening, pulse

WORDS = wording("en", "us")
NOTHING_MORE = FarmBundle(farm=None, sites=(), counties=())
NORTH = block_line("North", pulse("00:00", 120), pulse("06:00", 30))
SOUTH = block_line("South", pulse("02:00", 60))


def at(clock: str, *, days: int = 0) -> datetime:
    """An instant by the farm's clock, on the day of the letter or days after it."""
    moment = datetime.fromisoformat(f"{DAY + timedelta(days=days)}T{clock}")
    return moment.replace(tzinfo=ZoneInfo(ZONE))


def seen(letter: EveningLetter, now: datetime) -> DayView:
    """The day as it is read at an instant."""
    return day_view(letter, NOTHING_MORE, WORDS, now=now, today=now.date())


def a_letter(*blocks: Any) -> EveningLetter:
    """A letter about these blocks."""
    return evening(*(blocks or (NORTH, SOUTH)))


def test_the_evening_before_the_first_valve_is_first() -> None:
    view = seen(a_letter(), at("19:00", days=-1))
    assert view.act.over.endswith(": open first") and view.act.what == "North"
    assert view.act.time is not None and (view.act.time.time, view.act.time.half) == ("12:00", "AM")
    assert view.act.beside == ("midnight tonight",)
    assert view.act.close is not None and view.act.close.time == "2:00"
    assert [(each.block, each.minutes) for each in view.openings] == [
        ("North", "120"), ("South", "60"), ("North", "30")]  # fmt: skip
    assert [each.is_next for each in view.openings] == [True, False, False]


def test_while_a_valve_is_open_it_is_closed_next_and_another_opened() -> None:
    view = seen(a_letter(), at("01:00"))
    assert view.act.over == "Open since 12:00 AM: close next"
    assert view.act.time is not None and view.act.time.time == "2:00"
    assert view.act.facts == ("Then open South at once.",)


def test_between_runs_the_next_one_and_what_is_over_are_marked() -> None:
    view = seen(a_letter(), at("04:00"))
    assert view.act.over.endswith(": open next")
    assert view.act.time is not None and view.act.time.time == "6:00"
    assert [each.is_over for each in view.openings] == [True, True, False]
    assert [each.is_next for each in view.openings] == [False, False, True]


@pytest.mark.parametrize(
    ("clock", "days", "what"),
    [("12:00", 0, "All valves are closed for the day"), ("12:00", 3, "This day is over.")],
)
def test_when_nothing_is_left_to_do_no_time_is_shown(clock: str, days: int, what: str) -> None:
    act = seen(a_letter(), at(clock, days=days)).act
    assert (act.what, act.time) == (what, None)


def test_a_day_without_water_says_so_and_which_block_comes_first() -> None:
    coming = (ExpectedDay(DAY, 0.0), ExpectedDay(DAY + timedelta(days=2), 90.0))
    act = seen(a_letter(block_line("Hill", outlook=coming)), at("19:00", days=-1)).act
    assert act.what == "Keep all valves closed" and act.time is None
    assert act.facts == ("Hill is expected to come first, on Sat, Jul 18.",)


def test_without_weather_there_is_no_plan() -> None:
    blind = block_line("Hill", status="no-weather", numbers={})
    assert seen(a_letter(blind), at("19:00", days=-1)).act.what == "No plan"


def sky(**changes: Any) -> SkyDay:
    """A warm day without rain."""
    facts: dict[str, Any] = {
        "day": DAY, "tmin_c": 20.0, "tmax_c": 30.0, "wind_m_s": 2.0, "rain_mm": 0.0,
        "rain_probability_fraction": 0.2,
    }  # fmt: skip
    return SkyDay(**{**facts, **changes})


@pytest.mark.parametrize(
    ("days", "text"),
    [
        (
            (sky(), sky(day=DAY + timedelta(days=1), rain_mm=5.08)),
            "68 to 86 °F, wind 4 mph, 20% chance of rain. Next rain: Fri, Jul 17, 0.20 in.",
        ),
        (
            (sky(rain_mm=25.4), sky(day=DAY + timedelta(days=1))),
            "68 to 86 °F, wind 4 mph, 1.00 in of rain at a chance of 20%."
            " No rain in sight up to Fri, Jul 17.",
        ),
        ((sky(rain_probability_fraction=1.0),), "68 to 86 °F, wind 4 mph, no rain."),
        (
            (sky(tmin_c=None, wind_m_s=None, rain_mm=None),),
            "",
        ),
        ((), ""),
    ],
)
def test_the_sky_is_one_line_of_what_is_known(days: tuple[SkyDay, ...], text: str) -> None:
    assert sky_of(replace(evening().sites[0], sky=days), WORDS) == text


def test_the_board_says_each_block_s_state_why_and_when() -> None:
    numbers = {"raw_mm": 20.0, "planned_depletion_mm": 15.24, "trigger_mm": 12.7, "need_mm": 5.0,
               "net_mm": 5.0}  # fmt: skip
    pause = NoWaterPeriod(
        datetime.combine(DAY, datetime.min.time()),
        datetime.combine(DAY + timedelta(days=1), datetime.min.time()) + timedelta(hours=18),
        "spraying",
    )
    outlook = tuple(ExpectedDay(DAY + timedelta(days=n), 60.0 if n else 0.0) for n in range(3))
    board = board_view(
        a_letter(
            block_line("Rests", numbers=numbers, outlook=outlook),
            block_line("Paused", numbers=numbers, pause=pause, outlook=outlook),
            block_line(
                "Short", pulse("04:00", 60), numbers=numbers, shortfall_mm=2.54, cause=3,
                outlook=outlook,
            ),
        ),
        WORDS,
    )  # fmt: skip
    short, paused, rests = board.items
    assert short.says == "from 4:00 AM, 1 opening" and short.amount == "60 min"
    assert short.why[0].startswith("0.10 in waits: the supply has no more flow")
    assert short.missing == "0.60 in missing by evening, water from 0.50 in"
    assert board.short == (("Short", "0.10 in"),)
    assert paused.says == "spraying, until Fri, Jul 17, 6:00 PM" and paused.amount == ""
    assert rests.says == "enough in the soil until Fri, Jul 17"
    cells = {row.name: row.cells for row in board.week.rows}
    assert cells["Paused"] == ("–", "60", "60") and cells["Rests"] == ("0", "60", "60")
