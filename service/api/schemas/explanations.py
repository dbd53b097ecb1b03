"""The reasoning behind a plan."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date, datetime
from typing import Self

from pydantic import Field

from service.agronomy.civil_day import wall_time
from service.agronomy.reasoning import Step
from service.api.schemas.balances import BalanceDayOut
from service.api.schemas.facts import Out, known
from service.api.schemas.weather import (
    BorrowedEtOut,
    ValueSetAsideOut,
    WeatherDayOut,
    borrowed_spans,
    values_set_aside,
    weather_days,
)
from service.operations.evening.plan_texts import plan_summary
from service.operations.reading.read_plans import Explanation


class StepOut(Out):
    """One step from the weather to the minutes."""

    name: str = Field(description="The quantity, by name.")
    label: str = Field(description="The quantity in words.")
    value: float | None = Field(description="Its value in `unit`; null: not known.")
    unit: str = Field(description="Unit of the value; empty: none.")
    worked: str = Field(description="The equation with the numbers put in.")
    source: str = Field(description="Published source of the equation or value.")

    @classmethod
    def from_record(cls, step: Step) -> Self:
        """The step without NaN."""
        return cls(
            name=step.name,
            label=step.label,
            value=known(step.value),
            unit=step.unit,
            worked=step.worked,
            source=step.source,
        )


class MeteredDayOut(Out):
    """A day of a block's meter."""

    day: date = Field(description="Local day.")
    booked_l: float = Field(description="Volume that the ledger takes, L.")
    questioned_l: float = Field(
        description="Volume that it does not take, as the minutes of those runs are booked, L."
    )
    irrigation_gross_mm: float = Field(description="Irrigation of the day in the ledger, mm.")
    leakage_fraction: float = Field(description="Share of the volume that misses the emitters.")


class HindsightOut(Out):
    """A day that is over, planned again with the rain that fell on it."""

    day: date = Field(description="Local day.")
    rain_mm: float = Field(description="All rain that fell, mm.")
    planned_min: int = Field(description="Minutes that were planned, min.")
    needed_min: float = Field(
        description="Minutes that the same rule asks for with that rain, min; all else is as it was"
        " expected when the plan was made."
    )
    not_needed_min: float = Field(
        description="Of the minutes that were planned and ran, those that the rain made needless,"
        " min."
    )
    lacking_min: float = Field(
        description="Minutes by which the need was larger than planned for, since less rain came"
        " than was counted on, min."
    )
    is_news: bool = Field(description="Whether that is beyond the block's limits of what is news.")


class WeeklyNoWaterOut(Out):
    """Hours of every week in which the block's supply gives no water, on the day of the plan."""

    start_local: datetime = Field(description="Start, local time with its offset (RFC 3339).")
    end_local: datetime = Field(description="End, local time with its offset (RFC 3339).")
    reason: str = Field(description="As given for the supply.")


class ExplanationOut(Out):
    """The reasoning behind a plan."""

    block_id: str = Field(description="Full block id, `farm.block`.")
    day: date = Field(description="Local day that the plan is for.")
    version: int = Field(description="Version of the plan that is explained.")
    issued_at: datetime = Field(description="When that version was made, UTC.")
    summary: str = Field(description="The plan and its reason in a sentence.")
    steps: list[StepOut] = Field(description="From the weather to the minutes, in order.")
    weekly_no_water: list[WeeklyNoWaterOut] = Field(
        description="Hours of every week without water that cut the block's windows that day; the"
        " step `weekly_closed_min` says whether they moved or shortened its pulses."
    )
    ledger: list[BalanceDayOut] = Field(
        description="The last days of the ledger before that day, as they are now: their last"
        " depletion is the one that the plan begins with, until weather or reports change it."
    )
    metered: list[MeteredDayOut] = Field(
        description="What the block's meter counted on those days, and how it was booked."
    )
    hindsight: HindsightOut | None = Field(
        description="Of the plans up to this one, the newest whose day is over and observed, run"
        " again with the rain that fell; null: none of the last three days is, or its numbers do"
        " not tell."
    )
    weather: list[WeatherDayOut] = Field(
        description="The weather behind it: yesterday, today and the coming days."
    )
    borrowed_reference_et: list[BorrowedEtOut] = Field(
        description="Days of the last ten before the evening whose reference ET is that of a place"
        " nearby, until their own weather comes in."
    )
    set_aside: list[ValueSetAsideOut] = Field(
        description="Values of the most trusted source that were not used, because other evidence"
        " contradicts them."
    )

    @classmethod
    def from_record(cls, explanation: Explanation) -> Self:
        """The steps and the weather table."""
        plan = explanation.view.plan
        raw_mm = explanation.ledger.numbers["raw_mm"]
        return cls(
            block_id=plan.block_id,
            day=plan.day,
            version=plan.version,
            issued_at=plan.issued_at,
            summary=plan_summary(plan),
            steps=[StepOut.from_record(step) for step in explanation.steps],
            weekly_no_water=[
                WeeklyNoWaterOut(
                    start_local=wall_time(plan.day, each.start_min, explanation.view.zone),
                    end_local=wall_time(plan.day, each.end_min, explanation.view.zone),
                    reason=each.reason,
                )
                for each in plan.reasoning.weekly_hours
            ],
            ledger=BalanceDayOut.from_rows(
                explanation.ledger, explanation.view.block.trigger_fraction * raw_mm
            ),
            metered=[MeteredDayOut(**asdict(each)) for each in explanation.metered],
            hindsight=None
            if explanation.hindsight is None
            else HindsightOut(**asdict(explanation.hindsight)),
            weather=weather_days(plan.weather),
            borrowed_reference_et=borrowed_spans(plan.weather),
            set_aside=values_set_aside(plan.weather),
        )
