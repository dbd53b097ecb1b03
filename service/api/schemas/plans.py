"""The plan of a day."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import Any, Self

from pydantic import Field

from service.api.schemas.facts import FlagOut, Out, known, plan_flags
from service.api.schemas.pages import FeedOut
from service.api.schemas.waterworks import InjectionOut
from service.api.schemas.weather import OriginOut
from service.operations.evening.plan_rows import SHOWN_DECIMALS
from service.operations.evening.plan_texts import DayClock, day_clock, pulse_json
from service.operations.reading.read_plans import PlanView
from service.records.feeds import PlanEntry
from service.records.plans import PublishedPlan


class PulseOut(Out):
    """One run of the block's valve."""

    start_local: datetime = Field(description="Start, local time with its offset (RFC 3339).")
    end_local: datetime = Field(description="End, local time with its offset (RFC 3339).")
    start_epoch_s: int = Field(description="Start, seconds since 1970-01-01T00:00Z.")
    end_epoch_s: int = Field(description="End, seconds since 1970-01-01T00:00Z.")
    duration_min: int = Field(description="Length, whole minutes.")


class CauseOut(Out):
    """What kept the plan smaller than the need."""

    name: str = Field(description="Machine-readable name; new names may be added.")
    text: str = Field(description="The same as text.")


class BandOut(Out):
    """What one course of the weather in ten, half of them and nine in ten do not pass."""

    p10: float = Field(description="One in ten does not pass it.")
    p50: float = Field(description="Half do not.")
    p90: float = Field(description="Nine in ten do not.")


class OutlookDayOut(Out):
    """The outlook for a coming day; not a promise."""

    day: date = Field(description="Local day; the first is the day of the plan.")
    expected_min: float | None = Field(description="Minutes of irrigation expected, min.")
    depletion_end_mm: float | None = Field(
        description="Depletion expected in the evening with that irrigation, mm."
    )
    et0_mm: float | None = Field(description="Reference ET expected, mm.")
    rain_mm: float | None = Field(description="Rain forecast, mm.")
    expected_band_min: BandOut | None = Field(
        description="How far the minutes may differ with the weather, min: each course that the"
        " weather may take is run through the block's own rule. The plan's own day is decided."
        " Null: not known, as `spread_missing` says, or beyond the days of the forecast's spread."
    )
    depletion_band_mm: BandOut | None = Field(
        description="The same of the depletion in the evening, mm."
    )
    rain_band_mm: BandOut | None = Field(description="The same of the rain, mm.")


class PlanSpreadOut(Out):
    """How sure the plan's day is, by the courses that the weather may take."""

    member_count: int = Field(description="Courses that the weather may take.")
    models: str = Field(
        description="Forecast models that they are from; empty: made from the chance of rain and"
        " the amount of a single forecast."
    )
    rain_band_mm: BandOut | None = Field(description="Rain of the plan's day, mm.")
    rain_counts_fraction: float | None = Field(
        description="Chance, 0 to 1, of rain of at least a fifth of reference ET, which is what"
        " counts for the root zone; null in plans from before it was looked at."
    )
    short_tomorrow_fraction: float | None = Field(
        description="Chance, 0 to 1, that the block passes its readily available water on the"
        " plan's day if nothing runs; null: not known."
    )
    short_horizon_fraction: float | None = Field(
        description="The same on any of the first five days."
    )


class WeatherSourceOut(OriginOut):
    """A source behind the weather of the plan's day."""

    age_h: float = Field(description="Age of its values when the plan was made, h.")
    quantities: list[str] = Field(description="The quantities it provided, by name.")


# service.operations.evening.plan_texts writes it; this model documents each field.
class PlanOut(Out):
    """The plan of a block for one local day."""

    block_id: str = Field(description="Full block id, `farm.block`.")
    block_name: str
    farm_id: str
    day: date = Field(description="Local day that the plan is for.")
    zone: str = Field(description="IANA time zone of the block.")
    version: int = Field(description="Rises with each change of the day's plan.")
    issued_at: datetime = Field(description="When this version was made, UTC.")
    status: str = Field(
        description="`water`: run the pulses; `rest`: no water is needed; `no-weather`: nothing "
        "could be planned. New values may be added: do not irrigate on an unknown one."
    )
    summary: str = Field(description="The plan and its reason in a sentence.")
    pulses: list[PulseOut] = Field(description="Runs of the day, by start time.")
    pulse_count: int = Field(description="Number of pulses.")
    planned_min: int = Field(description="Run time of the day, min.")
    gross_mm: float = Field(description="Gross depth applied over the block area, mm.")
    net_mm: float = Field(description="Net depth that reaches the root zone, mm.")
    volume_l: float | None = Field(description="Water applied, L.")
    need_mm: float | None = Field(description="Net depth needed, mm.")
    deferred_mm: float | None = Field(description="Net depth left for later days, mm.")
    shortfall_mm: float | None = Field(
        description="Net depth by which the evening is beyond the readily available water, mm."
    )
    crop_et_mm: float | None = Field(description="Water that the crop is expected to use, mm.")
    cause: CauseOut | None = Field(
        description="What limited the minutes most; null if nothing did."
    )
    flags: list[FlagOut] = Field(description="Flags of the plan.")
    cautions: list[str] = Field(description="Flags of the weather behind it, as text.")
    settled_day: date | None = Field(
        description="Last day of the ledger that was settled in the run that made the plan."
    )
    taken_full_day: date | None = Field(
        description="Day on which the root zone was taken as full, as nobody has said how wet the"
        " soil was; null: it is known. `POST /v1/blocks/{id}/soil-readings` answers it."
    )
    unwatered_until_day: date | None = Field(
        description="Day on which the block would pass its readily available water if none ran;"
        " null: not within the outlook."
    )
    weather_age_h: float | None = Field(
        description="Age of the oldest weather behind the day when the plan was made, h."
    )
    weather_sources: list[WeatherSourceOut]
    outlook: list[OutlookDayOut]
    spread: PlanSpreadOut | None = Field(
        description="How sure the day is; null: not known, for the reason in `spread_missing`."
    )
    spread_missing: str | None = Field(
        description="Why no spread is known: `no-members` (the forecast of the place has none, or"
        " the plan is from before it was looked at), `no-weather` (nothing is planned); null: it"
        " is known. New values may be added."
    )
    injection: InjectionOut | None = Field(
        description="Fertilizer ordered for the day; null: none."
    )


class FarmPlanOut(Out):
    """The plan of one block of a farm, in brief; `/v1/blocks/{id}/plan` has the details."""

    block_id: str = Field(description="Full block id, `farm.block`.")
    block_name: str
    version: int = Field(description="Rises with each change of the day's plan.")
    issued_at: datetime = Field(description="When this version was made, UTC.")
    status: str = Field(description="`water`, `rest` or `no-weather`, as in the block's plan.")
    pulses: list[PulseOut] = Field(description="Runs of the day, by start time.")
    planned_min: int = Field(description="Run time of the day, min.")
    gross_mm: float = Field(description="Gross depth applied over the block area, mm.")
    net_mm: float = Field(description="Net depth that reaches the root zone, mm.")
    volume_l: float | None = Field(description="Water applied, L.")
    flags: list[FlagOut] = Field(description="Flags of the plan.")

    @classmethod
    def from_view(cls, view: PlanView) -> Self:
        """The plan with local times."""
        plan = view.plan
        return cls(**_in_brief(plan, view.block.name, day_clock(plan.day, plan.weather.zone)))


class RegionPlanOut(FarmPlanOut):
    """A plan among those of several farms and days."""

    farm_id: str
    day: date = Field(description="Local day that the plan is for.")
    zone: str = Field(description="IANA time zone of the block.")

    @classmethod
    def from_entry(cls, entry: PlanEntry) -> Self:
        """The plan with local times."""
        clock = day_clock(entry.day, entry.zone)
        return cls(
            **_in_brief(entry, entry.block_name, clock),
            farm_id=entry.farm_id,
            day=entry.day,
            zone=entry.zone,
        )


class RegionPlansOut(FeedOut[RegionPlanOut]):
    """Plans in force, in the order in which they were published."""


def _in_brief(plan: PublishedPlan | PlanEntry, name: str, clock: DayClock) -> dict[str, Any]:
    return {
        "block_id": plan.block_id,
        "block_name": name,
        "version": plan.version,
        "issued_at": plan.issued_at,
        "status": plan.status,
        "pulses": [PulseOut.model_validate(pulse_json(pulse, clock)) for pulse in plan.pulses],
        "planned_min": plan.planned_min,
        "gross_mm": round(plan.gross_mm, SHOWN_DECIMALS),
        "net_mm": round(plan.net_mm, SHOWN_DECIMALS),
        "volume_l": known(plan.reasoning.volume_l),
        "flags": plan_flags(plan.reasoning.flags),
    }


class FarmPlansOut(Out):
    """The plans of a farm for one local day."""

    farm_id: str
    day: date = Field(description="Local day that the plans are for.")
    items: list[FarmPlanOut] = Field(description="Plans in force, by block id.")

    @classmethod
    def from_views(cls, farm_id: str, views: Sequence[PlanView]) -> Self:
        """The plans of a farm, of which there is at least one."""
        return cls(
            farm_id=farm_id,
            day=views[0].plan.day,
            items=[FarmPlanOut.from_view(view) for view in views],
        )


PLAN_CSV_COLUMNS: tuple[str, ...] = (
    "day",
    "block_id",
    "block_name",
    "version",
    "status",
    "pulse",
    "start_local",
    "start_epoch_s",
    "duration_min",
    "planned_min",
    "gross_mm",
    "net_mm",
    "volume_l",
)
"""One row per pulse; the numbers from ``planned_min`` on are the day's, and stand in each row."""


def plan_csv_rows(plan: FarmPlanOut, day: date) -> Iterator[tuple[object, ...]]:
    """The rows of a plan; one without pulse, start and length where nothing runs."""
    head = (day, plan.block_id, plan.block_name, plan.version, plan.status)
    tail = (plan.planned_min, plan.gross_mm, plan.net_mm, plan.volume_l)
    if not plan.pulses:
        yield (*head, None, None, None, None, *tail)
    for number, pulse in enumerate(plan.pulses, 1):
        yield (
            *head,
            number,
            pulse.start_local.isoformat(),
            pulse.start_epoch_s,
            pulse.duration_min,
            *tail,
        )
