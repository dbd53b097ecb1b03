"""Plans as they are read: rendered once, right after the transaction that publishes them.

A plan is read as its numbers, the words for its codes, local times, and the weather behind it. All
of that is fixed when the plan is published, so it is serialised then and only handed out
afterwards. A plan whose text is not stored - published a moment ago, of an older day, or of a block
that has been changed since - is rendered by the same function when somebody reads it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache

import numpy as np
import orjson

from service.agronomy.civil_day import day_length_min, midnight_utc, wall_time
from service.agronomy.pulse_plan import CAUSE_TEXT, ShortfallCause
from service.agronomy.reasoning import PLAN_FLAG_TEXT, PlanFlag, one_sentence
from service.agronomy.weather_flags import FLAG_TEXT, FieldFlag
from service.attributions import attribution_line
from service.database.session import UnitOfWorkFactory
from service.operations.evening.plan_rows import SHOWN_DECIMALS
from service.operations.reading.plan_spread import (
    band_columns,
    rain_band_json,
    spread_json,
    spread_missing,
)
from service.operations.reading.planned_injections import PlannedInjection, planned_injection
from service.operations.reading.read_plans import get_plan
from service.pulses import Pulse
from service.records.farms import BlockLabel
from service.records.plans import PlanText, PublishedPlan
from service.records.weather_basis import WeatherBasis, read_weather_basis
from service.unit_sizes import MINUTES_PER_DAY

OLD_WEATHER_H = 36.0  # our choice: a daily source that has missed a whole day
_AS_READ = orjson.OPT_UTC_Z | orjson.OPT_SERIALIZE_NUMPY


@dataclass(frozen=True, slots=True)
class WeatherShare:
    """What one source contributed to a day's weather."""

    source: str
    kind: str
    issued_at: datetime
    attribution: str | None
    quantities: Sequence[str]


@dataclass(frozen=True, slots=True)
class WeatherText:
    """The sources of a day's weather as JSON, the age of the oldest, and what to know of it."""

    sources: Sequence[Mapping[str, object]]
    age_h: float | None
    cautions: Sequence[str]


@dataclass(frozen=True, slots=True)
class DayClock:
    """The clock of a zone on one day."""

    day: date
    zone: str
    midnight_epoch_s: int
    offset: str | None
    """The offset of the local clock, as +HH:MM; None on a day on which it changes."""


@dataclass(frozen=True, slots=True)
class SiteText:
    """What all plans of a site have in common."""

    weather: WeatherBasis
    zone: str
    clock: DayClock
    sources: Sequence[WeatherShare]
    unit_fault: str
    cautions: Sequence[str]
    days: Sequence[date]
    et0_mm: Sequence[float | None]
    rain_mm: Sequence[float | None]
    rain_bands: Sequence[Mapping[str, float] | None]
    _weather_at: dict[datetime, WeatherText] = field(
        default_factory=dict, repr=False, compare=False
    )

    def weather_at(self, issued_at: datetime) -> WeatherText:
        """The weather as the plans issued at an instant report it; made once for all of them."""
        if issued_at not in self._weather_at:
            self._weather_at[issued_at] = _weather_text(self, issued_at)
        return self._weather_at[issued_at]


def read_plan_text(block_id: str, *, day: date | None, unit_of_work: UnitOfWorkFactory) -> PlanText:
    """The plan in force for a day (the latest day planned when None) as it is read.

    Raises NotFound for a block that does not exist, PlanNotFound if it has no such plan.
    """
    with unit_of_work(write=False) as unit:
        stored = unit.texts.find(block_id, day=day)
    if stored is not None:
        return stored
    view = get_plan(block_id, day=day, unit_of_work=unit_of_work)
    label = BlockLabel(view.plan.block_id, view.block.name, view.block.farm_id)
    site = site_text(view.plan.weather, view.plan.day)
    return PlanText(label.farm_id, plan_text(view.plan, label, site))


def plan_text(plan: PublishedPlan, label: BlockLabel, site: SiteText) -> bytes:
    """A plan as JSON, as `GET /v1/blocks/{block_id}/plan` answers; that route has its schema."""
    numbers = plan.reasoning
    injection = planned_injection(plan)
    weather = site.weather_at(plan.issued_at)
    return orjson.dumps(
        {
            "block_id": plan.block_id,
            "block_name": label.name,
            "farm_id": label.farm_id,
            "day": plan.day,
            "zone": site.zone,
            "version": plan.version,
            "issued_at": plan.issued_at,
            "status": plan.status,
            "summary": plan_summary(plan),
            "pulses": [pulse_json(pulse, site.clock) for pulse in plan.pulses],
            "pulse_count": len(plan.pulses),
            "planned_min": plan.planned_min,
            "gross_mm": round(plan.gross_mm, SHOWN_DECIMALS),
            "net_mm": round(plan.net_mm, SHOWN_DECIMALS),
            "volume_l": numbers.volume_l,
            "need_mm": numbers.need_mm,
            "deferred_mm": numbers.deferred_mm,
            "shortfall_mm": numbers.shortfall_mm,
            "crop_et_mm": numbers.crop_et_mm,
            "cause": _cause(numbers.cause),
            "flags": plan_flags_json(int(numbers.flags)),
            "cautions": weather.cautions,
            "settled_day": numbers.settled_day,
            "taken_full_day": numbers.taken_full_day,
            "unwatered_until_day": numbers.unwatered_until_day,
            "weather_age_h": weather.age_h,
            "weather_sources": weather.sources,
            "outlook": _outlook(plan, site),
            "spread": spread_json(plan),
            "spread_missing": spread_missing(plan),
            "injection": None if injection is None else _injection(injection),
        },
        option=_AS_READ,
    )


def _outlook(plan: PublishedPlan, site: SiteText) -> list[dict[str, object]]:
    """The coming days; the outlook of an earlier version of the service may be shorter."""
    numbers, count = plan.reasoning, len(site.days)
    names = (
        "day", "expected_min", "depletion_end_mm", "et0_mm", "rain_mm", "expected_band_min",
        "depletion_band_mm", "rain_band_mm",
    )  # fmt: skip
    columns = zip(
        site.days,
        numbers.outlook_expected_min,
        numbers.outlook_depletion_mm,
        site.et0_mm,
        site.rain_mm,
        band_columns(numbers.outlook_band_min, count),
        band_columns(numbers.outlook_band_depletion_mm, count),
        site.rain_bands,
        strict=False,
    )
    return [dict(zip(names, values, strict=True)) for values in columns]


def plan_summary(plan: PublishedPlan) -> str:
    """The plan and its reason in a sentence."""
    if plan.status == "no-weather":
        return PLAN_FLAG_TEXT[PlanFlag.WEATHER_UNKNOWN]
    return one_sentence(plan.reasoning.quantities, plan.pulses)


@lru_cache(maxsize=2048)
def site_of(basis_text: bytes, day: date) -> SiteText:
    """As :func:`site_text`; the farms of a region come in groups that share their sites."""
    return site_text(read_weather_basis(basis_text), day)


def site_text(weather: WeatherBasis, day: date) -> SiteText:
    """What all plans of a site for a day have in common, from its weather reasoning."""
    zone, fields = weather.zone, weather.fields
    first = weather.row_of(day)
    return SiteText(
        weather=weather,
        zone=zone,
        clock=day_clock(day, zone),
        sources=_shares(weather, day),
        unit_fault=weather.unit_fault,
        cautions=_field_cautions(weather, first),
        days=weather.days[first:],
        et0_mm=_rounded(fields["et0_mm"][first:]),
        rain_mm=_rounded(fields["rain_mm"][first:]),
        rain_bands=[rain_band_json(weather.rain_spread, each) for each in weather.days[first:]],
    )


@lru_cache(maxsize=1024)
def day_clock(day: date, zone: str) -> DayClock:
    """The clock of a zone on a day."""
    is_ordinary = day_length_min(day, zone) == MINUTES_PER_DAY
    return DayClock(
        day=day,
        zone=zone,
        midnight_epoch_s=int(midnight_utc(day, zone).timestamp()),
        offset=wall_time(day, 0, zone).isoformat()[-6:] if is_ordinary else None,
    )


def pulse_json(pulse: Pulse, clock: DayClock) -> dict[str, object]:
    """One run of the valve, in local time and in seconds since 1970."""
    start_min, duration_min = pulse
    end_min, day = start_min + duration_min, clock.day
    if clock.offset is not None and end_min < MINUTES_PER_DAY:
        start_local = f"{day}T{start_min // 60:02d}:{start_min % 60:02d}:00{clock.offset}"
        end_local = f"{day}T{end_min // 60:02d}:{end_min % 60:02d}:00{clock.offset}"
    else:
        start_local = wall_time(day, start_min, clock.zone).isoformat()
        end_local = wall_time(day, end_min, clock.zone).isoformat()
    return {
        "start_local": start_local,
        "end_local": end_local,
        "start_epoch_s": clock.midnight_epoch_s + 60 * start_min,
        "end_epoch_s": clock.midnight_epoch_s + 60 * end_min,
        "duration_min": duration_min,
    }


@lru_cache(maxsize=1024)
def plan_flags_json(flags: int) -> tuple[Mapping[str, str], ...]:
    """The facts that the flag bits of a plan or ledger day mean, with their words."""
    return tuple(
        {"name": word(str(flag.name)), "text": text}
        for flag, text in PLAN_FLAG_TEXT.items()
        if flags & flag
    )


def word(name: str) -> str:
    """The name of an enumeration member as JSON has it.

    >>> word("FORECAST_OLD")
    'forecast-old'
    """
    return name.lower().replace("_", "-")


def _cause(cause: ShortfallCause) -> Mapping[str, str] | None:
    if cause is ShortfallCause.NONE:
        return None
    return {"name": word(cause.name), "text": CAUSE_TEXT[cause]}


def _rounded(values: Sequence[float | None]) -> list[float | None]:
    return [None if value is None else round(value, SHOWN_DECIMALS) for value in values]


def _shares(weather: WeatherBasis, day: date) -> list[WeatherShare]:
    quantities: dict[tuple[str, str, datetime], list[str]] = {}
    for each in weather.field_origins(day):
        key = (each.origin.source, each.origin.kind, each.origin.issued_at)
        quantities.setdefault(key, []).append(each.name)
    return [
        WeatherShare(source, kind, issued_at, attribution_line(source), names)
        for (source, kind, issued_at), names in quantities.items()
    ]


def _weather_text(site: SiteText, at: datetime) -> WeatherText:
    ages_h = [round((at - share.issued_at).total_seconds() / 3600.0, 2) for share in site.sources]
    sources = [
        {
            "source": share.source,
            "kind": share.kind,
            "issued_at": share.issued_at,
            "attribution": share.attribution,
            "age_h": age_h,
            "quantities": share.quantities,
        }
        for share, age_h in zip(site.sources, ages_h, strict=True)
    ]
    age_h = max(ages_h, default=None)
    return WeatherText(sources, age_h, _cautions(site, age_h))


def _cautions(site: SiteText, age_h: float | None) -> list[str]:
    """Cautions about the weather behind a plan; nothing that changes with the time of reading."""
    found = []
    if site.unit_fault:
        found.append(f"The weather may be in a wrong unit: {site.unit_fault}")
    if age_h is None:
        found.append("No weather of any source is known for the day.")
    elif age_h > OLD_WEATHER_H:
        found.append(f"Some of the weather was {age_h:.0f} h old when the plan was made.")
    return [*found, *site.cautions]


def _field_cautions(weather: WeatherBasis, row: int) -> list[str]:
    found = []
    for name, column in weather.flags.items():
        flags = column[row] & ~FieldFlag.FORECAST  # a forecast for a coming day needs no caution
        if not weather.fields["rain_mm"][row]:
            flags &= ~FieldFlag.ASSUMED_CERTAIN  # how certain a dry forecast is does not matter
        found += [f"{name}: {text}" for flag, text in FLAG_TEXT.items() if flags & flag]
    return found


def _injection(found: PlannedInjection) -> dict[str, object]:
    return {
        "is_possible": found.is_possible,
        "products": [
            {"name": name, "mass_kg": _number(mass_kg)} for name, mass_kg in found.products
        ],
        "stock_l": _number(found.stock_l),
        "spans": [{"start_local": start, "end_local": end} for start, end in found.spans],
        "injector_l_per_h": _number(found.injector_l_per_h),
        "dilution_ratio": _number(found.dilution_ratio),
        "ec_rise_ds_m": _number(found.ec_rise_ds_m),
        "nutrient_kg": {name: _number(mass_kg) for name, mass_kg in found.nutrient_kg.items()},
        "advisories": found.advisories,
        "cautions": found.cautions,
    }


def _number(value: float | None) -> float | None:
    return None if value is None or not np.isfinite(value) else round(float(value), SHOWN_DECIMALS)
