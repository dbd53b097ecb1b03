"""Timers: what they run, and what to set on them."""

from __future__ import annotations

from datetime import date, datetime
from typing import Self

from pydantic import Field

from service.api.schemas.facts import Out
from service.operations.timers.set_timer import TimerState
from service.operations.timers.timer_document import timer_document


class TimerProgramOut(Out):
    """A program for a timer: the same starts on each of its days until somebody changes it."""

    program_id: str = Field(description="Name of the program, to say that it was set.")
    first_day: date = Field(description="Day from which its days are counted.")
    is_off: bool = Field(description="The timer is turned off.")
    weekdays: list[int] = Field(
        description="Days on which it runs, 1 Monday to 7 Sunday; empty where it counts days."
    )
    interval_days: int | None = Field(
        description="Days from one run to the next, for a timer that counts days; else null."
    )
    starts: list[str] = Field(description="Start times of a day, on the timer's clock.")
    run_min: float = Field(description="Run time of each start, min.")
    minutes_a_week: float = Field(description="Run time in seven days, min.")
    is_early: bool = Field(
        description="Advice between two settings: the program in force no longer fits."
    )
    excess_mm: float | None = Field(
        description="Depletion beyond readily available water that it leads to, summed over the"
        " midnights of its week, mm, in weather as dry as the timer's safety asks for; null for a"
        " program that was reported."
    )
    drainage_mm: float | None = Field(
        description="What drains of rain and irrigation in its week, mm; null as above."
    )
    depletion_end_mm: float | None = Field(
        description="Depletion that is expected at the end of its week, mm; null as above."
    )
    normal_day_count: int | None = Field(
        description="Days of its week that no forecast reached, for which the season's normal"
        " reference ET, or the mean of the days before or around, is taken; null as above."
    )
    earlier_year_count: int | None = Field(
        description="Years whose measured weather those days rest on; 0: on none, and they are"
        " dry; null as above."
    )
    set_from: date | None = Field(
        description="First day that it runs; null: nobody has said that it was set."
    )
    set_at: datetime | None = Field(description="When that was said, UTC.")
    reporter: str = Field(description="Who said it; empty if nobody has.")


class TimerOut(Out):
    """The timer of a block."""

    block_id: str = Field(description="Block, `farm.block`.")
    set_weekday: int = Field(description="Day on which it is set, 1 Monday to 7 Sunday.")
    set_program: TimerProgramOut | None = Field(
        description="What it runs; null: nobody has said so, and nothing is counted as running."
    )
    to_set: TimerProgramOut | None = Field(description="What to set on it; null: nothing new.")

    @classmethod
    def from_record(cls, state: TimerState) -> Self:
        """The timer."""
        return cls.model_validate(timer_document(state))


class TimersOut(Out):
    """The timers of a farm, in the order of its blocks."""

    items: list[TimerOut]


class TimerSetOut(Out):
    """A timer after somebody set it, and the effect."""

    timer: TimerOut
    new_plan_count: int = Field(description="Plans that got a new version in the same step.")
