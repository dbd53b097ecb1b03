"""The plan of a day."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Self, cast

from pydantic import Field

from service.agronomy.civil_day import wall_time
from service.agronomy.pulse_plan import CAUSE_TEXT, ShortfallCause
from service.agronomy.reasoning import PLAN_FLAG_TEXT, PlanFlag, one_sentence
from service.agronomy.weather_day import FieldFlag
from service.api.schemas.facts import (
    SHOWN_DECIMALS,
    FlagOut,
    Out,
    field_flags,
    known,
    plan_flags,
    word,
)
from service.api.schemas.waterworks import InjectionOut
from service.api.schemas.weather import OriginOut, attribution_line, row_of
from service.operations.plan_fertigation import planned_injection
from service.operations.read_plans import PlanView, field_origins

OLD_WEATHER_H = 36.0  # own choice: a daily source that has missed a whole day


class PulseOut(Out):
    """One run of the block's valve."""

    start_local: datetime = Field(description="Start, local time with its offset (RFC 3339).")
    end_local: datetime = Field(description="End, local time with its offset (RFC 3339).")
    start_epoch_s: int = Field(description="Start, seconds since 1970-01-01T00:00Z.")
    end_epoch_s: int = Field(description="End, seconds since 1970-01-01T00:00Z.")
    duration_min: int = Field(description="Length, whole minutes.")


class CauseOut(Out):
    """What kept the plan smaller than the need."""

    name: str = Field(description="Name for programs; new names may come.")
    text: str = Field(description="The same in words.")


class OutlookDayOut(Out):
    """What is expected of a coming day; not a promise."""

    day: date = Field(description="Local day; the first is the day of the plan.")
    expected_min: float | None = Field(description="Minutes of irrigation expected, min.")
    depletion_end_mm: float | None = Field(
        description="Depletion expected in the evening with that irrigation, mm."
    )
    et0_mm: float | None = Field(description="Reference ET expected, mm.")
    rain_mm: float | None = Field(description="Rain forecast, mm.")


class WeatherSourceOut(OriginOut):
    """A source behind the weather of the plan's day."""

    age_h: float = Field(description="Age of its values when the plan was made, h.")
    quantities: list[str] = Field(description="What it gave, by name.")


class PlanOut(Out):
    """The plan of a block for one local day."""

    block_id: str = Field(description="`farm.block`, unique everywhere.")
    block_name: str
    farm_id: str
    day: date = Field(description="Local day that the plan is for.")
    zone: str = Field(description="IANA time zone of the block.")
    version: int = Field(description="Rises with each change of the day's plan.")
    issued_at: datetime = Field(description="When this version was made, UTC.")
    status: str = Field(
        description="`water`: run the pulses; `rest`: no water is needed; `no-weather`: nothing"
        " could be planned. New words may come: do not irrigate on one that is not known."
    )
    summary: str = Field(description="The plan and its reason in a sentence.")
    pulses: list[PulseOut] = Field(description="Runs of the day, in order of time.")
    pulse_count: int = Field(description="Number of pulses.")
    planned_min: int = Field(description="Running time of the day, min.")
    gross_mm: float = Field(description="Depth that the emitters give over the block area, mm.")
    net_mm: float = Field(description="Depth of it that counts for the root zone, mm.")
    volume_l: float | None = Field(description="Water that runs, L.")
    need_mm: float | None = Field(description="Net depth that was asked for, mm.")
    deferred_mm: float | None = Field(description="Net depth left for later days, mm.")
    shortfall_mm: float | None = Field(
        description="Net depth by which the evening is beyond the readily available water, mm."
    )
    crop_et_mm: float | None = Field(description="Water that the crop is expected to use, mm.")
    cause: CauseOut | None = Field(
        description="What cut the minutes most; null where nothing was cut."
    )
    flags: list[FlagOut] = Field(description="What else to know about the plan.")
    cautions: list[str] = Field(
        description="What else to know about the weather behind it, in words."
    )
    settled_day: date | None = Field(
        description="Last day of the ledger that was settled in the run that made the plan."
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
    injection: InjectionOut | None = Field(
        description="Fertiliser ordered for the day; null: none is."
    )

    @classmethod
    def from_view(cls, view: PlanView) -> Self:
        """The plan with local times, words for codes, and its outlook."""
        plan, numbers = view.plan, view.plan.numbers
        sources = _weather_sources(plan.basis, plan.day, issued_at=plan.issued_at)
        injection = planned_injection(plan, view.zone)
        age_h = max((source.age_h for source in sources), default=None)
        return cls(
            block_id=plan.block_id,
            block_name=view.block.name,
            farm_id=view.block.farm_id,
            day=plan.day,
            zone=view.zone,
            version=plan.version,
            issued_at=plan.issued_at,
            status=plan.status,
            summary=plan_summary(view),
            pulses=[_pulse(plan.day, pulse, view.zone) for pulse in plan.pulses],
            pulse_count=len(plan.pulses),
            planned_min=plan.planned_min,
            gross_mm=round(plan.gross_mm, SHOWN_DECIMALS),
            net_mm=round(plan.net_mm, SHOWN_DECIMALS),
            volume_l=known(numbers.get("volume_l")),
            need_mm=known(numbers.get("need_mm")),
            deferred_mm=known(numbers.get("deferred_mm")),
            shortfall_mm=known(numbers.get("shortfall_mm")),
            crop_et_mm=known(numbers.get("crop_et_mm")),
            cause=_cause(_whole(numbers.get("cause"))),
            flags=plan_flags(_whole(numbers.get("flags"))),
            cautions=_cautions(plan.basis, plan.day, age_h=age_h),
            settled_day=_date(numbers.get("settled_day")),
            unwatered_until_day=_date(numbers.get("unwatered_until_day")),
            weather_age_h=age_h,
            weather_sources=sources,
            outlook=_outlook(view),
            injection=None if injection is None else InjectionOut.from_record(injection),
        )


def plan_summary(view: PlanView) -> str:
    """The plan and its reason in a sentence."""
    if view.plan.status == "no-weather":
        return PLAN_FLAG_TEXT[PlanFlag.WEATHER_UNKNOWN]
    numbers = {name: known(value) for name, value in view.plan.numbers.items()}
    return one_sentence(numbers, view.plan.pulses)


def _whole(value: object) -> int:
    return value if isinstance(value, int) else 0


def _date(value: object) -> date | None:
    return date.fromisoformat(value) if isinstance(value, str) else None


def _cause(code: int) -> CauseOut | None:
    cause = ShortfallCause(code)
    if cause is ShortfallCause.NONE:
        return None
    return CauseOut(name=word(cause.name), text=CAUSE_TEXT[cause])


def _pulse(day: date, pulse: tuple[int, int], zone: str) -> PulseOut:
    start_min, duration_min = pulse
    start = wall_time(day, start_min, zone)
    end = wall_time(day, start_min + duration_min, zone)
    return PulseOut(
        start_local=start,
        end_local=end,
        start_epoch_s=int(start.timestamp()),
        end_epoch_s=int(end.timestamp()),
        duration_min=duration_min,
    )


def _outlook(view: PlanView) -> list[OutlookDayOut]:
    basis, numbers = view.plan.basis, view.plan.numbers
    first = row_of(basis, view.plan.day)
    days = cast(list[str], basis["days"])[first:]
    fields = cast(Mapping[str, list[float | None]], basis["fields"])
    expected = cast(list[float | None], numbers.get("outlook_expected_min") or [])
    depletion = cast(list[float | None], numbers.get("outlook_depletion_mm") or [])
    return [
        OutlookDayOut(
            day=date.fromisoformat(day),
            expected_min=known(minutes),
            depletion_end_mm=known(level),
            et0_mm=known(et0),
            rain_mm=known(rain),
        )
        for day, minutes, level, et0, rain in zip(
            days,
            expected,
            depletion,
            fields["et0_mm"][first:],
            fields["rain_mm"][first:],
            strict=False,  # the outlook of an earlier version of the service may be shorter
        )
    ]


def _weather_sources(
    basis: Mapping[str, object], day: date, *, issued_at: datetime
) -> list[WeatherSourceOut]:
    quantities: dict[tuple[str, str, datetime], list[str]] = {}
    for origin in field_origins(basis, day):
        key = (origin.source, origin.kind, origin.issued_at)
        quantities.setdefault(key, []).append(origin.name)
    return [
        WeatherSourceOut(
            source=source,
            kind=kind,
            issued_at=issued,
            attribution=attribution_line(source),
            age_h=round((issued_at - issued).total_seconds() / 3600.0, 2),
            quantities=names,
        )
        for (source, kind, issued), names in quantities.items()
    ]


def _cautions(basis: Mapping[str, object], day: date, *, age_h: float | None) -> list[str]:
    """What to know about the weather behind a plan; nothing that moves with the clock."""
    row = row_of(basis, day)
    fields = cast(Mapping[str, list[float | None]], basis["fields"])
    found = []
    if basis.get("unit_fault"):
        found.append(f"The weather may be in a wrong unit: {basis['unit_fault']}")
    if age_h is None:
        found.append("No weather of any source is known for the day.")
    elif age_h > OLD_WEATHER_H:
        found.append(f"Some of the weather was {age_h:.0f} h old when the plan was made.")
    for name, column in cast(Mapping[str, list[int]], basis["flags"]).items():
        flags = column[row] & ~FieldFlag.FORECAST  # that tomorrow is a forecast needs no caution
        if not fields["rain_mm"][row]:
            flags &= ~FieldFlag.ASSUMED_CERTAIN  # how certain no rain is makes no difference
        found += [f"{name}: {flag.text}" for flag in field_flags(flags)]
    return found


class FarmPlanOut(Out):
    """The plan of one block of a farm, in short; `/v1/blocks/{id}/plan` says more."""

    block_id: str = Field(description="`farm.block`, unique everywhere.")
    block_name: str
    version: int = Field(description="Rises with each change of the day's plan.")
    issued_at: datetime = Field(description="When this version was made, UTC.")
    status: str = Field(description="`water`, `rest` or `no-weather`, as in the block's plan.")
    pulses: list[PulseOut] = Field(description="Runs of the day, in order of time.")
    planned_min: int = Field(description="Running time of the day, min.")
    gross_mm: float = Field(description="Depth that the emitters give over the block area, mm.")
    net_mm: float = Field(description="Depth of it that counts for the root zone, mm.")
    volume_l: float | None = Field(description="Water that runs, L.")
    flags: list[FlagOut] = Field(description="What else to know about the plan.")

    @classmethod
    def from_view(cls, view: PlanView) -> Self:
        """The plan with local times."""
        plan = view.plan
        return cls(
            block_id=plan.block_id,
            block_name=view.block.name,
            version=plan.version,
            issued_at=plan.issued_at,
            status=plan.status,
            pulses=[_pulse(plan.day, pulse, view.zone) for pulse in plan.pulses],
            planned_min=plan.planned_min,
            gross_mm=round(plan.gross_mm, SHOWN_DECIMALS),
            net_mm=round(plan.net_mm, SHOWN_DECIMALS),
            volume_l=known(plan.numbers.get("volume_l")),
            flags=plan_flags(_whole(plan.numbers.get("flags"))),
        )


class FarmPlansOut(Out):
    """The plans of a farm for one local day."""

    farm_id: str
    day: date = Field(description="Local day that the plans are for.")
    items: list[FarmPlanOut] = Field(description="Plans in force, by block id.")


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
