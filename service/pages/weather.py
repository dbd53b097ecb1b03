"""The page of the weather behind a farm's plans, and of the service itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from starlette.responses import Response

from service.agronomy.weather_agreement import REASON_TEXT, Reason
from service.agronomy.weather_flags import FieldFlag, describe_flags
from service.attributions import ATTRIBUTIONS
from service.errors import PlanNotFound
from service.operations.access.manage_keys import Right
from service.operations.reading.read_farms import local_day
from service.operations.reading.read_plans import PlanView, list_plans
from service.operations.schedule.read_status import SiteAge, read_status
from service.pages.plans import farm_of
from service.pages.visit import Visit
from service.records.weather_basis import BorrowedSpan, ValueSetAside, WeatherBasis
from service.translations import Wording
from service.translations.catalogue import marked
from service.unit_sizes import FAHRENHEIT_PER_CELSIUS, M_S_PER_MPH

QUANTITY_NAMES = {
    "tmax_c": marked("Highest temperature"),
    "tmin_c": marked("Lowest temperature"),
    "tdew_c": marked("Dewpoint"),
    "u2_m_s": marked("Wind"),
    "rs_mj_m2": marked("Solar radiation"),
    "rain_mm": marked("Rain"),
}
_HOUR = timedelta(hours=1)
GROUP_NAMES = {
    "temperature": marked("Temperature"),
    "humidity": marked("Humidity"),
    "wind": marked("Wind"),
    "radiation": marked("Solar radiation"),
    "rain": marked("Rain"),
}
_ORDINARY = FieldFlag.FORECAST | FieldFlag.SOURCE_SET_ASIDE
"""Flags left out: every forecast has the first, and the second is shown in full."""


@dataclass(frozen=True, slots=True)
class WeatherDay:
    """One day of a site's weather as the plans used it."""

    day: date
    is_forecast: bool
    source: str
    tmax_c: float | None
    tmin_c: float | None
    rain_mm: float | None
    et0_mm: float | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SetAsideLine:
    """What a source said of some days that was not used, and why."""

    source: str
    quantity: str
    days: str
    said: str
    used: str
    why: str


@dataclass(frozen=True, slots=True)
class SitePage:
    """One site: the age of its weather, and the days behind the plans."""

    name: str
    age: SiteAge
    observed_age_h: float | None
    other_days: tuple[tuple[str, date], ...]
    """Parts of the weather that were last measured on another day than the whole."""
    forecast_age_h: float | None
    days: tuple[WeatherDay, ...]
    tdew_offset_c: float | None
    """How far below the night minimum the dewpoint is taken without humidity; None: not known."""
    tdew_offset_days_count: int
    notes: tuple[tuple[str, str], ...]
    """Notes on values, with the days they apply to."""
    borrowed: tuple[BorrowedSpan, ...]
    set_aside: tuple[SetAsideLine, ...]


def show_weather(visit: Visit) -> Response:
    """Age, gaps, flags and sources of a farm's weather."""
    farm = farm_of(visit)
    service = visit.service
    status = read_status(
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        sources=tuple(service.settings.weather_services),
        evening_lead_min=service.settings.evening_lead_min,
        farm_id=farm.farm_id,
    )
    today = local_day(service.clock.now(), farm.zone)
    views = _views(visit, farm.farm_id, today)
    by_site = {view.block.site_id: view for view in views}
    with service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(farm.farm_id, day=today)
    name_of = {site.site_id: site.name for site in bundle.sites}
    used = sorted({day.source for view in by_site.values() for day in _days(view) if day.source})
    return visit.show(
        "weather.html",
        farm=farm,
        health=status,
        runs=status.farms[0],
        sites=[
            _site_page(name_of.get(age.site_id, ""), age, by_site.get(age.site_id), visit.words)
            for age in status.sites
        ],
        warmth=lambda value_c: visit.words.number(_shown_warmth(value_c, visit.words)),
        cooler=lambda offset_c: _shown_difference(offset_c, visit.words),
        attributions=[ATTRIBUTIONS[name] for name in used if name in ATTRIBUTIONS],
        today=today,
    )


def _site_page(name: str, age: SiteAge, view: PlanView | None, words: Wording) -> SitePage:
    days = () if view is None else _days(view)
    offset_c, offset_days = (None, None) if view is None else _dewpoint_offset(view)
    spans: dict[str, list[date]] = {}
    for day in days:
        for text in day.notes:
            spans.setdefault(text, []).append(day.day)
    return SitePage(
        name=name or age.site_id,
        age=age,
        observed_age_h=None if age.observed_age is None else age.observed_age / _HOUR,
        other_days=tuple(
            (words.gettext(GROUP_NAMES[group]), day)
            for group, day in age.measured_until.items()
            if day != age.last_observed_day
        ),
        forecast_age_h=None if age.forecast_age is None else age.forecast_age / _HOUR,
        days=days,
        tdew_offset_c=offset_c,
        tdew_offset_days_count=int(offset_days or 0),
        notes=tuple(
            (
                text,
                words.short_day(of[0]) if len(of) == 1 else words.span(of[0], of[-1]),
            )
            for text, of in spans.items()
        ),
        borrowed=() if view is None else view.plan.weather.borrowed,
        set_aside=() if view is None else _set_aside(view.plan.weather, words),
    )


def _set_aside(weather: WeatherBasis, words: Wording) -> tuple[SetAsideLine, ...]:
    """One line for each source, quantity and reason."""
    groups: dict[tuple[str, str, Reason], list[ValueSetAside]] = {}
    for each in weather.set_aside:
        groups.setdefault((each.source, each.name, each.reason), []).append(each)
    return tuple(
        SetAsideLine(
            source=source,
            quantity=words.gettext(QUANTITY_NAMES[name]),
            days=words.short_day(of[0].day) if len(of) == 1 else words.span(of[0].day, of[-1].day),
            said=_range(name, [each.value for each in of], words),
            used=_range(name, [each.used for each in of], words),
            why=words.gettext(REASON_TEXT[reason]),
        )
        for (source, name, reason), of in groups.items()
    )


def _range(name: str, values: Sequence[float | None], words: Wording) -> str:
    """The lowest and the highest value, with the unit."""
    known = [value for value in values if value is not None]
    if not known:
        return words.gettext("nothing")
    low, high = (shown_weather(name, value, words) for value in (min(known), max(known)))
    return high if low == high else words.gettext("{low} to {high}", low=low, high=high)


def shown_weather(name: str, value: float, words: Wording) -> str:
    """A value of weather with its unit, in the reader's units."""
    if name == "rain_mm":
        return words.depth(value)
    is_us = words.unit_system == "us"
    if name == "u2_m_s":
        speed = value / M_S_PER_MPH if is_us else value
        return f"{words.number(speed, 1)} {'mph' if is_us else 'm/s'}"
    if name == "rs_mj_m2":
        return f"{words.number(value, 1)} MJ/m²"
    return f"{words.number(_shown_warmth(value, words), 1)} {'°F' if is_us else '°C'}"


def _dewpoint_offset(view: PlanView) -> tuple[float | None, float | None]:
    """The offset of the dewpoint on the plan's day, and the days that it was learned from."""
    weather, day = view.plan.weather, view.plan.day
    return weather.value("tdew_offset_c", day), weather.value("tdew_offset_days_count", day)


def _shown_warmth(value_c: float, words: Wording) -> float:
    return value_c * 1.8 + 32.0 if words.unit_system == "us" else value_c


def _shown_difference(difference_c: float, words: Wording) -> str:
    if words.unit_system == "us":
        return f"{words.number(difference_c * FAHRENHEIT_PER_CELSIUS, 1)} °F"
    return f"{words.number(difference_c, 1)} °C"


def _views(visit: Visit, farm_id: str, today: date) -> list[PlanView]:
    visit.need(Right.PLAN_READ, farm_id)
    for day in (today + timedelta(days=1), today):
        try:
            views = list_plans(day=day, farm_id=farm_id, unit_of_work=visit.service.unit_of_work)
        except PlanNotFound:
            continue
        if views:
            return views
    return []


def _days(view: PlanView) -> tuple[WeatherDay, ...]:
    weather = view.plan.weather
    found = []
    for row, day in enumerate(weather.days):
        origin = weather.origin("tmax_c", day)
        raised = 0
        for values in weather.flags.values():
            raised |= values[row]
        found.append(
            WeatherDay(
                day=day,
                is_forecast=origin is None or origin.kind == "forecast",
                source="" if origin is None else origin.source,
                tmax_c=weather.value("tmax_c", day),
                tmin_c=weather.value("tmin_c", day),
                rain_mm=weather.value("rain_mm", day),
                et0_mm=weather.value("et0_mm", day),
                notes=describe_flags(raised & ~_ORDINARY),
            )
        )
    return tuple(found)
