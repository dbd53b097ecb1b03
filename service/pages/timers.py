"""The page of a farm's timers: what each runs, what to set on it, and that it was set."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from starlette.responses import Response

from service.agronomy.civil_day import ONE_DAY
from service.delivery.timer_words import (
    days_words,
    outcome_words,
    program_words,
    run_words,
    weekday_words,
)
from service.operations.access.manage_keys import Right
from service.operations.reading.read_farms import today_at
from service.operations.timers.set_timer import TimerState, list_timers, set_timer
from service.pages.plans import farm_of
from service.pages.visit import Visit, redirect
from service.records.timers import TimerProgram
from service.translations import Wording


@dataclass(frozen=True, slots=True)
class ProgramCard:
    """A program as one sets it."""

    text: str
    days: str
    starts: tuple[str, ...]
    minutes: str
    weekly: str
    is_off: bool


@dataclass(frozen=True, slots=True)
class TimerCard:
    """One timer on the page."""

    block_id: str
    name: str
    set_day: str
    """The weekday on which the grower sets it."""
    holds_until: date
    running: ProgramCard | None
    running_since: date | None
    to_set: ProgramCard | None
    program_id: str
    outcome: tuple[str, ...]
    """What the program to set leads to."""
    is_early: bool


def show_timers(visit: Visit) -> Response:
    """The timers of a farm; printed, the sheet that hangs beside them."""
    farm = farm_of(visit)
    service = visit.service
    states = list_timers(farm.farm_id, unit_of_work=service.unit_of_work, now=service.clock.now())
    return visit.show(
        "timers.html",
        farm=farm,
        timers=[_card(state, visit.words) for state in states],
        can_report=visit.may(Right.WATER_WRITE),
        done=visit.query.get("done", ""),
    )


def enter_program(visit: Visit) -> Response:
    """The grower has set the program that was offered."""
    farm = farm_of(visit, Right.WATER_WRITE)
    with visit.service.unit_of_work(write=True) as unit:
        today = today_at(unit, farm.farm_id, visit.service.clock.now())
        set_timer(
            unit,
            visit.params["block_id"],
            visit.form.get("program_id") or None,
            set_from=today if runs_today(visit) else today + ONE_DAY,
            reporter=visit.reporter,
            replanning=visit.service.replanning,
        )
    return redirect(f"/farms/{farm.farm_id}/timers", done="set")


def runs_today(visit: Visit) -> bool:
    """Whether the form says that the program runs today already, and not from tomorrow on."""
    return visit.form.get("first_day") == "today"


def _card(state: TimerState, words: Wording) -> TimerCard:
    tomorrow = state.today + ONE_DAY
    held, offered = state.set_program, state.to_set
    return TimerCard(
        block_id=state.block_id,
        name=state.block_name,
        set_day=weekday_words(state.settings.set_weekday, words),
        holds_until=tomorrow + state.settings.days_until_setting(tomorrow) * ONE_DAY,
        running=None if held is None else program_card(held.program, words),
        running_since=None if held is None else held.set_from,
        to_set=None if offered is None else program_card(offered.program, words),
        program_id="" if offered is None else offered.program_id,
        outcome=() if offered is None else outcome_words(offered, words),
        is_early=offered is not None and offered.is_early,
    )


def program_card(program: TimerProgram, words: Wording) -> ProgramCard:
    """A program in the reader's words."""
    return ProgramCard(
        text=program_words(program, words),
        days="" if program.is_off else days_words(program, words),
        starts=tuple(words.wall_clock(minute) for minute in program.start_times_min),
        minutes=run_words(program, words),
        weekly=words.minutes(program.minutes_a_week),
        is_off=program.is_off,
    )
