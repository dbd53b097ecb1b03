"""What a timer is to be set to, in a reader's language: for mails, pages and the sheet to hang."""

from __future__ import annotations

from datetime import date

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.week_ahead import WEEK_DAYS, DayRule
from service.records.letters import BlockLine
from service.records.timers import OfferedProgram, TimerProgram
from service.translations import Wording

_MONDAY = date(2024, 1, 1)


def program_words(program: TimerProgram, words: Wording) -> str:
    """A program as one sets it: days, starts, minutes of each start."""
    if program.is_off:
        return words.gettext("off")
    return words.gettext(
        "{days} at {starts}, {minutes} each",
        days=days_words(program, words),
        starts=words.listed(words.wall_clock(minute) for minute in program.start_times_min),
        minutes=run_words(program, words),
    )


def run_words(program: TimerProgram, words: Wording) -> str:
    """The run time of each start; half minutes as the timer has them."""
    if program.run_min == int(program.run_min):
        return words.minutes(program.run_min)
    return f"{words.number(program.run_min, 1)} {words.unit('min')}"


def days_words(program: TimerProgram, words: Wording) -> str:
    """The days of a program."""
    if program.day_rule is DayRule.INTERVAL and program.interval_days > 1:
        return words.gettext("every {count} days", count=words.number(program.interval_days))
    if program.day_rule is DayRule.INTERVAL or len(program.weekdays) == WEEK_DAYS:
        return words.gettext("every day")
    return words.listed(weekday_words(day, words) for day in program.weekdays)


def outcome_words(offered: OfferedProgram, words: Wording) -> tuple[str, ...]:
    """What an offered program leads to, and what that rests on; nothing for a reported one."""
    if offered.drainage_mm is None or offered.depletion_end_mm is None:
        return ()
    texts = [
        words.gettext(
            "Expected by the end of its week: {drained} drain, {missing} are missing in the soil.",
            drained=words.depth(offered.drainage_mm),
            missing=words.depth(offered.depletion_end_mm),
        )
    ]
    if offered.excess_mm is not None and words.depth(offered.excess_mm) != words.depth(0.0):
        texts.append(
            words.gettext("In a dry week it does not keep the crop from running short of water.")
        )
    if offered.normal_day_count:
        texts.append(
            words.ngettext(
                "{count} day has no forecast: the normal of the season or of the days before is"
                " taken, without rain.",
                "{count} days have no forecast: the normal of the season or of the days before is"
                " taken, without rain.",
                offered.normal_day_count,
            )
        )
    return tuple(texts)


def weekday_words(weekday: int, words: Wording) -> str:
    """A weekday in a few letters, 1 for Monday."""
    return words.weekday(_MONDAY + (weekday - 1) * ONE_DAY)


def timer_notes(block: BlockLine, words: Wording) -> tuple[str, ...]:
    """What the reader of a mail has to do at a block's timer; nothing for most."""
    timer = block.timer
    if timer is None:
        return ()
    if timer.to_set is None:
        if timer.is_set:
            return ()
        return (
            words.gettext(
                "Nobody has said what the timer is set to, so nothing is counted as running."
            ),
        )
    program = program_words(timer.to_set, words)
    if not timer.is_early:
        return (words.gettext("Set the timer: {program}.", program=program),)
    if timer.to_set.is_off:
        return (
            words.gettext(
                "Turn the timer off until {day}: what it is set to would drain.",
                day=words.weekday(timer.next_setting),
            ),
        )
    return (
        words.gettext(
            "Change the timer before its day, the week has turned out different: {program}.",
            program=program,
        ),
    )
