"""What mails say of a timer: what to set, why, and whether that is enough."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from service.agronomy.reasoning import PLAN_FLAG_TEXT, PlanFlag
from service.agronomy.week_ahead import DayRule
from service.delivery.evening_words import evening_words
from service.delivery.timer_words import timer_notes, week_timer_notes
from service.records.letters import TimerLine
from service.records.timers import TimerProgram
from service.translations import LANGUAGES, wording
from tests.letters import DAY, block_line, evening

WORDS = wording("en", "us")
SHORT = int(PlanFlag.TIMER_CANNOT_KEEP_UP)
DAILY = TimerProgram(
    first_day=DAY,
    day_rule=DayRule.EVERY_DAY,
    day_mask=127,
    start_count=1,
    first_start_min=300,
    spacing_min=0,
    run_min=40.0,
)


def timer(to_set: TimerProgram | None = DAILY, **changes: Any) -> TimerLine:
    line = TimerLine(
        is_set=True,
        to_set=to_set,
        program_id="" if to_set is None else "p1",
        is_early=False,
        next_setting=date(2026, 7, 22),
        excess_mm=None if to_set is None else 0.0,
    )
    return replace(line, **changes)


def notes(line: TimerLine, flags: int = 0) -> str:
    return " ".join(timer_notes(block_line(timer=line, flags=flags), WORDS))


def test_a_set_program_that_does_not_keep_up_is_named_with_the_one_that_mends_it() -> None:
    text = notes(timer(), SHORT)
    assert text.startswith("Set the timer: every day at 5:00 AM, 40 min each.")
    assert "With what it is set to now" in text and "with the new program it is not" in text
    assert "all that can be run is run" not in text


def test_a_new_program_that_is_not_enough_either_says_so() -> None:
    text = notes(timer(excess_mm=6.0), SHORT)
    assert "the best that it can be set to, but in a dry week the block still runs short" in text
    # Less than anybody sees once it is written is not short.
    assert "still runs short" not in notes(timer(excess_mm=0.001), SHORT)


def test_a_program_that_keeps_up_is_only_to_be_set() -> None:
    assert notes(timer()) == "Set the timer: every day at 5:00 AM, 40 min each."


def test_a_program_that_does_not_keep_up_between_settings_says_when_the_next_one_comes() -> None:
    text = notes(timer(None), SHORT)
    assert "With what the timer is set to" in text and "the evening before Wed, Jul 22" in text
    assert notes(timer(None)) == ""


def test_where_nothing_is_set_that_is_the_reason() -> None:
    text = notes(timer(is_set=False), SHORT)
    assert "Nobody has said what the timer is set to" in text
    assert "With what it is set to now" not in text
    assert "Nobody has said" in notes(timer(None, is_set=False), SHORT)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_flag_is_said_once_with_its_timer(language: str) -> None:
    words = wording(language, "us")
    block = block_line(timer=timer(), flags=SHORT)
    written = evening_words(
        evening(block, replace(block, name="South", block_id="brook.south")), words
    )
    text = words.gettext(PLAN_FLAG_TEXT[PlanFlag.TIMER_CANNOT_KEEP_UP])
    assert written.shared == ()
    for each in written.blocks:
        assert len(each.notes) == 2 and text not in each.notes


def test_the_weekly_mail_names_what_is_still_to_be_set() -> None:
    assert week_timer_notes(None, WORDS) == week_timer_notes(timer(None), WORDS) == ()
    assert week_timer_notes(timer(), WORDS) == (
        "Still to be set on the timer, unless you have set it: every day at 5:00 AM, 40 min each.",
    )
    (asked,) = week_timer_notes(timer(None, is_set=False), WORDS)
    assert asked.startswith("Nobody has said")
