"""Weather of a site, day by day."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import Field

from service.agronomy.county_need import Basis
from service.api.dependencies import CalendarDate
from service.api.schemas.pages import PageOut
from service.api.schemas.queries import FarmPageQuery
from service.api.schemas.weather import WeatherDayOut, weather_days
from service.operations.weather.read_weather import SiteWeatherDays

_IN_TABLE = (
    "tmax_c", "tmin_c", "ea_kpa", "rhmin_pct", "u2_m_s", "rs_mj_m2", "rain_mm",
    "rain_probability_fraction", "et0_mm",
)  # fmt: skip


class WeatherDaysQuery(FarmPageQuery):
    """Selects days of a site's weather."""

    farm: str | None = Field(
        None,
        max_length=40,
        description="As this farm knows it, with the rain of its own gauge; defaults to the key's"
        " farm, and with a key for the region to the record of the place.",
        examples=["hill-farm"],
    )
    first_day: CalendarDate | None = Field(
        None,
        alias="from",
        description="First local day; 30 days before today when left out.",
        examples=["2026-07-01"],
    )
    last_day: CalendarDate | None = Field(
        None,
        alias="to",
        description="Last local day, at most 400 days after `from`; as far as plans look ahead when"
        " left out.",
        examples=["2026-07-14"],
    )


class SiteWeatherDayOut(WeatherDayOut):
    """The weather of a day at a site as plans made now would use it."""

    rests_on: Basis = Field(
        description="What reference ET of the day rests on: `measured`, `forecast`, `stand-in` (the"
        " season's normal, the days around, or a place nearby) or `unknown`. Flags and origins say"
        " so for each value."
    )


class SiteWeatherPageOut(PageOut[SiteWeatherDayOut]):
    """A page of days."""


def site_weather_days(found: SiteWeatherDays) -> list[SiteWeatherDayOut]:
    """The days in order."""
    return [
        SiteWeatherDayOut(day=each.day, values=each.values, origins=each.origins, rests_on=rests_on)
        for each, rests_on in zip(weather_days(found.weather), found.rests_on, strict=True)
    ]


WEATHER_CSV_COLUMNS: tuple[str, ...] = ("day", "rests_on", *_IN_TABLE, "sources")
"""``sources``: each source and kind with its time of issue and the quantities it gave."""


def weather_csv_rows(days: list[SiteWeatherDayOut]) -> Iterator[list[object]]:
    """One row for each day."""
    for each in days:
        value_of = {value.name: value.value for value in each.values}
        yield [
            each.day,
            each.rests_on.value,
            *(value_of.get(name) for name in _IN_TABLE),
            _sources(each),
        ]


def _sources(day: SiteWeatherDayOut) -> str:
    found: dict[str, list[str]] = {}
    for each in day.origins:
        origin = f"{each.source} {each.kind} of {each.issued_at:%Y-%m-%dT%H:%MZ}"
        found.setdefault(origin, []).append(each.name)
    return "; ".join(f"{origin}: {' '.join(names)}" for origin, names in found.items())


def name_of_day(day: SiteWeatherDayOut) -> str:
    """By which pages are cut: days as text are in the order of time."""
    return day.day.isoformat()
