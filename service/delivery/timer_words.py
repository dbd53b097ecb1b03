"""What a timer is to be set to, in a reader's language: for mails, pages and the sheet to hang."""

from __future__ import annotations

from datetime import date

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.reasoning import PlanFlag
from service.agronomy.week_ahead import WEEK_DAYS, DayRule
from service.records.letters import BlockLine, TimerLine
from service.records.timers import OfferedProgram, TimerProgram
from service.translations import Wording
from service.translations.catalogue import marked

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
    if _runs_short(offered.excess_mm, words):
        texts.append(words.gettext(STILL_SHORT))
    if offered.normal_day_count:
        texts.append(
            words.ngettext(
                "{count} day has no forecast: the normal of the season is taken where the place has"
                " one, else the mean of the days before.",
                "{count} days have no forecast: the normal of the season is taken where the place"
                " has one, else the mean of the days before.",
                offered.normal_day_count,
            )
        )
        texts.append(
            words.gettext(
                "Rain on them is as in {count} earlier years, but the program must do without it.",
                count=words.number(offered.earlier_year_count),
            )
            if offered.earlier_year_count
            else words.gettext("They are taken as dry: too few earlier years are on record.")
        )
    return tuple(texts)


def weekday_words(weekday: int, words: Wording) -> str:
    """A weekday in a few letters, 1 for Monday."""
    return words.weekday(_MONDAY + (weekday - 1) * ONE_DAY)


def timer_notes(block: BlockLine, words: Wording) -> tuple[str, ...]:
    """What the reader of a mail has to do at a block's timer, and why; nothing for most."""
    timer = block.timer
    if timer is None:
        return ()
    is_short = bool(block.flags & PlanFlag.TIMER_CANNOT_KEEP_UP)
    if timer.to_set is None:
        if not timer.is_set:
            return (words.gettext(NOTHING_SET),)
        return _not_enough(timer, words) if is_short else ()
    first = _what_to_set(timer, timer.to_set, words)
    if not timer.is_set:
        return (first, *_still_short(timer, words), words.gettext(NOTHING_SET))
    return (first, *(_why_to_set(timer, words) if is_short else _still_short(timer, words)))


NOTHING_SET = marked("Nobody has said what the timer is set to, so nothing is counted as running.")


def _what_to_set(timer: TimerLine, to_set: TimerProgram, words: Wording) -> str:
    program = program_words(to_set, words)
    if not timer.is_early:
        return words.gettext("Set the timer: {program}.", program=program)
    if to_set.is_off:
        return words.gettext(
            "Turn the timer off until {day}: what it is set to would drain.",
            day=words.weekday(timer.next_setting),
        )
    return words.gettext(
        "Change the timer before its day, the week has turned out different: {program}.",
        program=program,
    )


def _not_enough(timer: TimerLine, words: Wording) -> tuple[str, ...]:
    """A program that does not keep up, and no other to set yet."""
    return (
        words.gettext(
            "With what the timer is set to, the block is expected to run short of water in the"
            " coming week. What to set next comes on the evening before {day}, or earlier if a"
            " change pays.",
            day=words.short_day(timer.next_setting),
        ),
    )


def _why_to_set(timer: TimerLine, words: Wording) -> tuple[str, ...]:
    """Why the new program matters, where the one that is set does not keep up."""
    if _runs_short(timer.excess_mm, words):
        return (
            words.gettext(
                "With what it is set to now, the block is expected to run short of water in the"
                " coming week. The new program is the best that it can be set to, but in a dry"
                " week the block still runs short."
            ),
        )
    return (
        words.gettext(
            "With what it is set to now, the block is expected to run short of water in the coming"
            " week; with the new program it is not."
        ),
    )


def _still_short(timer: TimerLine, words: Wording) -> tuple[str, ...]:
    return (words.gettext(STILL_SHORT),) if _runs_short(timer.excess_mm, words) else ()


STILL_SHORT = marked("In a dry week it does not keep the crop from running short of water.")


def _runs_short(excess_mm: float | None, words: Wording) -> bool:
    """Whether a program lets the crop run short by a depth that is seen when it is written."""
    return excess_mm is not None and words.depth(excess_mm) != words.depth(0.0)


def week_timer_notes(timer: TimerLine | None, words: Wording) -> tuple[str, ...]:
    """What is still to be set on a timer, for the weekly mail; nothing where all is set."""
    if timer is None:
        return ()
    if timer.to_set is None:
        return () if timer.is_set else (words.gettext(NOTHING_SET),)
    return (
        words.gettext(
            "Still to be set on the timer, unless you have set it: {program}.",
            program=program_words(timer.to_set, words),
        ),
    )
