"""Timers, from the command line: what to set, and that it was set."""

from __future__ import annotations

from datetime import date, datetime
from itertools import pairwise
from typing import Annotated

import typer

from service.agronomy.civil_day import ONE_DAY, wall_text
from service.agronomy.week_ahead import WEEK_DAYS, DayRule
from service.cli import shown
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    note,
    open_service,
    out,
    parse_day,
    print_json,
)
from service.delivery.timer_words import outcome_words
from service.errors import Fault, InputInvalid
from service.operations.reading.read_farms import today_at_block
from service.operations.timers.set_timer import (
    TimerState,
    list_timers,
    set_own_program,
    set_timer,
)
from service.operations.timers.timer_document import timer_document
from service.records.timers import TimerProgram
from service.translations import Wording, wording

WEEKDAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def timers(
    farm: Annotated[str, typer.Argument(help="Farm whose timers are shown.")],
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show what the timers of a farm run, and what to set on them next."""
    service = open_service()
    found = list_timers(farm, unit_of_work=service.unit_of_work, now=service.clock.now())
    if as_json:
        print_json({"items": [timer_document(each) for each in found]})
        return
    if not found:
        note(
            f"no block of {farm} has a timer; [block.timer] in the farm file gives it one, and"
            " [supply.timer] all blocks of a supply"
        )
    with service.unit_of_work(write=False) as unit:
        own = UnitSystem(unit.blocks.get_farm(farm).unit_system)
    words = wording("en", (units or own).value)
    for state in found:
        _show(state, words)


def timer_set(
    block: Annotated[str, typer.Argument(help="Block whose timer was set.")],
    program: Annotated[
        str | None, typer.Option("--program", help="The program; default: the newest one.")
    ] = None,
    since: Annotated[
        datetime | None,
        typer.Option(
            "--from", parser=parse_day, metavar="YYYY-MM-DD", help="First day; default: tomorrow."
        ),
    ] = None,
    starts: Annotated[
        str | None,
        typer.Option("--starts", help="Another program: its start times, '06:00,14:00'."),
    ] = None,
    minutes: Annotated[
        float | None, typer.Option("--minutes", help="Its minutes at each start.")
    ] = None,
    on: Annotated[
        str | None, typer.Option("--on", help="Its days, 'mon,wed,fri'; default: every day.")
    ] = None,
    is_off: Annotated[bool, typer.Option("--off", help="The timer is off.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Say that a timer was set: the ledger counts its program as running each day from then on."""
    service = open_service()
    first_day = since if isinstance(since, date) else None
    with service.unit_of_work(write=True) as unit:
        today = today_at_block(unit, block, service.clock.now())
        named = unit.blocks.get_block(block, day=today + ONE_DAY)
        if starts is None and not is_off:
            state, count = set_timer(
                unit,
                named.block_id,
                program,
                set_from=first_day,
                reporter="command line",
                replanning=service.replanning,
            )
        else:
            rule = DayRule.WEEKDAYS if named.timer is None else named.timer.day_rule
            own = _own_program(
                first_day or today + ONE_DAY, "" if is_off else starts or "", minutes, on, rule
            )
            state, count = set_own_program(
                unit,
                named.block_id,
                own,
                reporter="command line",
                replanning=service.replanning,
            )
    if as_json:
        print_json({**timer_document(state), "new_version_count": count})
        return
    held = "nothing" if state.set_program is None else program_text(state.set_program.program)
    plans = f"{shown.count(count, 'plan')} replaced" if count else "no plan changes"
    out.print(f"{state.block_id}: set to {held}; {plans}")


def _own_program(
    first_day: date, starts: str, minutes: float | None, on: str | None, rule: DayRule
) -> TimerProgram:
    """A program as the options give it; its starts have to be equally far apart."""
    times = [_wall_min(text.strip()) for text in starts.split(",") if text.strip()]
    gaps = {later - earlier for earlier, later in pairwise(times)}
    if len(gaps) > 1 or any(gap <= 0 for gap in gaps):
        raise _refused("--starts", starts, "times that rise and are equally far apart")
    if times and (minutes is None or not 0.0 < minutes <= 24 * 60):
        raise _refused("--minutes", str(minutes), "minutes at each start, above 0")
    names = [name.lower() for name in WEEKDAY_NAMES]
    days = [name.strip().lower()[:3] for name in (on or ",".join(names)).split(",")]
    unknown = [day for day in days if day not in names]
    if unknown:
        raise _refused("--on", on or "", f"weekdays such as 'mon,wed,fri' ({', '.join(names)})")
    mask = sum(
        1 << day
        for day in range(WEEK_DAYS)
        if names[(first_day + day * ONE_DAY).isoweekday() - 1] in days
    )
    return TimerProgram(
        first_day=first_day,
        day_rule=rule if on is None or rule is not DayRule.INTERVAL else DayRule.WEEKDAYS,
        day_mask=mask if times else 0,
        start_count=len(times),
        first_start_min=times[0] if times else 0,
        spacing_min=gaps.pop() if gaps else 0,
        run_min=minutes or 0.0,
    )


def _wall_min(text: str) -> int:
    hours, colon, rest = text.partition(":")
    if not (colon and hours.isdigit() and rest.isdigit() and int(hours) < 24 and int(rest) < 60):
        raise _refused("--starts", text, "times of day such as '06:00,14:00'")
    return int(hours) * 60 + int(rest)


def _refused(option: str, found: str, allowed: str) -> InputInvalid:
    return InputInvalid("the timer's program cannot be read", [Fault(option, found, allowed)])


def _show(state: TimerState, words: Wording) -> None:
    out.print(f"{state.block_id}  {state.block_name}")
    if state.set_program is None:
        out.print("  runs     nothing is known to be set, so nothing is counted as running")
    else:
        since = state.set_program.set_from
        out.print(f"  runs     {program_text(state.set_program.program)}, set from {since}")
    if state.to_set is None:
        out.print("  to set   nothing new")
        return
    when = "now: it no longer fits" if state.to_set.is_early else "on the setting day"
    out.print(f"  to set   {program_text(state.to_set.program)} ({when})")
    for line in outcome_words(state.to_set, words):
        out.print(f"           {line}")
    out.print(
        f"           once done: rillwright timer-set {state.block_id}"
        f" --program {state.to_set.program_id}"
    )


def program_text(program: TimerProgram) -> str:
    """A program as one sets it."""
    if program.is_off:
        return "off"
    times = ", ".join(map(wall_text, program.start_times_min))
    return (
        f"{days_text(program)} at {times}, {program.run_min:g} min each"
        f" ({program.minutes_a_week:g} min a week)"
    )


def days_text(program: TimerProgram) -> str:
    """The days of a program."""
    if program.day_rule is DayRule.INTERVAL:
        return "every day" if program.interval_days == 1 else f"every {program.interval_days} days"
    if len(program.weekdays) == WEEK_DAYS:
        return "every day"
    return ", ".join(WEEKDAY_NAMES[day - 1] for day in program.weekdays)
