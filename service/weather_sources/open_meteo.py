"""Open-Meteo: hourly model weather worldwide, cut into the civil days of each site.

Hours are requested in GMT and cut here, because the service cuts its own days with one UTC offset
for the whole answer, so that those beyond a clock change begin at 23:00 or 01:00. Its daily values
are used only where hours are not available, and such days carry ``day_offset_min`` in their notes.
Precipitation and radiation are those of the preceding hour. Wind is that at 10 m.

The free host is for non-commercial use; a service that growers pay for needs the customer host and
its key, or a host of its own. Weather data by Open-Meteo.com, CC BY 4.0.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from types import MappingProxyType

import numpy as np

from service.agronomy.atmosphere import saturation_vapour_pressure_kpa
from service.agronomy.civil_day import midnight_utc, zone_rules
from service.agronomy.records import Floats
from service.agronomy.sun_clock import sun_offset_h
from service.attributions import ATTRIBUTIONS
from service.records.farms import SiteDefinition
from service.records.weather import SourceAnswer, SourceProblem
from service.weather_sources.answer_shape import (
    AnswerInvalid,
    answered_for,
    as_list,
    as_object,
    numbers,
    require_unit,
    shown,
)
from service.weather_sources.day_fields import (
    ONE_HOUR,
    DayCut,
    DayField,
    Instants,
    SiteDays,
    cut,
    day_bounds,
    day_offset,
    given_by_day,
    highest_of_day,
    list_days,
    lowest_of_day,
    mean_of_day,
    noted_sun,
    plausible,
    radiation_of_day,
    rain_of_day,
    scaled,
    uncovered,
    weather_rows,
)
from service.weather_sources.http import Exchange, WeatherHttp, check_base_url
from service.weather_sources.open_meteo_answers import (
    day_query,
    entries_of,
    place_query,
    quota_wait,
    read_stamps,
    request_weight,
)
from service.weather_sources.request import JsonAnswer, JsonRequest, RequestFailed

NAME = "open-meteo"
BASE_URL = "https://api.open-meteo.com"
FORECAST_PATH = "/v1/forecast"
MOST_SITES = 100
WIND_SENSOR_HEIGHT_M = 10.0  # [m] height of wind_speed_10m
KEEP_FOR = timedelta(hours=1)
WEIGHTS_PER_MINUTE = 600.0
"""Quota of the free host; a request weighs at least 1 per site."""
BYTES_PER_HOUR = 60
"""Size of one hour of one site in an answer, estimated high."""
ROOM_BYTES = 1_600_000
"""Largest answer that is requested; the limit for reading is higher."""

HOURLY_UNITS: Mapping[str, str] = MappingProxyType(
    {
        "temperature_2m": "°C",
        "relative_humidity_2m": "%",
        "dew_point_2m": "°C",
        "wind_speed_10m": "m/s",
        "shortwave_radiation": "W/m²",
        "precipitation": "mm",
        "precipitation_probability": "%",
    }
)
HOURLY_QUANTITIES: Mapping[str, str] = MappingProxyType(
    {
        "temperature_2m": "temperature_c",
        "relative_humidity_2m": "humidity_pct",
        "dew_point_2m": "temperature_c",
        "wind_speed_10m": "wind_m_s",
        "shortwave_radiation": "radiation_w_m2",
        "precipitation": "rain_mm",
        "precipitation_probability": "probability_pct",
    }
)


@dataclass(frozen=True, slots=True)
class _Daily:
    """One of the service's own daily values."""

    field: str
    unit: str
    quantity: str
    factor: float = 1.0


DAILY: Mapping[str, _Daily] = MappingProxyType(
    {
        "temperature_2m_max": _Daily("tmax_c", "°C", "temperature_c"),
        "temperature_2m_min": _Daily("tmin_c", "°C", "temperature_c"),
        "dew_point_2m_mean": _Daily("tdew_c", "°C", "temperature_c"),
        "relative_humidity_2m_max": _Daily("rhmax_pct", "%", "humidity_pct"),
        "relative_humidity_2m_min": _Daily("rhmin_pct", "%", "humidity_pct"),
        "relative_humidity_2m_mean": _Daily("rhmean_pct", "%", "humidity_pct"),
        "wind_speed_10m_mean": _Daily("wind_m_s", "m/s", "wind_m_s"),
        "shortwave_radiation_sum": _Daily("rs_mj_m2", "MJ/m²", "radiation_mj_m2"),
        "precipitation_sum": _Daily("rain_mm", "mm", "rain_mm"),
        "precipitation_probability_max": _Daily(
            "rain_probability_fraction", "%", "probability_pct", 0.01
        ),
    }
)
DAYS_MAY_DO = frozenset(
    {"bad-json", "not-json", "wrong-shape", "too-large", "http-400", "http-500"}
)
"""Failures of the hourly request after which the daily one is worth trying."""


@dataclass(frozen=True, slots=True)
class HourTable:
    """Hours of one site in rising order, each once."""

    times: Instants
    columns: Mapping[str, Floats]
    faults: tuple[AnswerInvalid, ...]
    """Why a column is missing."""


class OpenMeteo:
    """The source; settings choose the host, and the key for it."""

    name = NAME
    attribution = ATTRIBUTIONS[NAME]

    def __init__(
        self,
        http: WeatherHttp,
        *,
        base_url: str = BASE_URL,
        api_key: str | None = None,
        weights_per_minute: float = WEIGHTS_PER_MINUTE,
    ) -> None:
        """``weights_per_minute`` paces the requests of a process; see :func:`request_weight`."""
        self._http = http
        self._url = check_base_url("open_meteo_base_url", base_url) + FORECAST_PATH
        self._secrets = {"apikey": api_key} if api_key else {}
        self._weights_per_minute = weights_per_minute

    async def fetch(
        self, sites: Sequence[SiteDefinition], *, first_day: date, last_day: date, now: datetime
    ) -> SourceAnswer:
        """See :class:`service.ports.WeatherSource`: days before today are ``analysis``."""
        parts: list[SiteDays] = []
        problems: list[SourceProblem] = []
        async with self._http.begin(now) as exchange:
            step = sites_per_request(first_day, last_day)
            for start in range(0, len(sites) if first_day <= last_day else 0, step):
                batch = list(enumerate(sites))[start : start + step]
                question = _Question(batch, first_day, last_day, now)
                found, faults = await self._fetch_batch(exchange, question)
                parts += found
                problems += faults
        return SourceAnswer(
            rows=weather_rows(NAME, parts),
            problems=tuple(problems),
            request_count=exchange.sent,
        )

    async def _fetch_batch(
        self, exchange: Exchange, question: _Question
    ) -> tuple[list[SiteDays], list[SourceProblem]]:
        parts, problems, left = await self._ask(exchange, question, "hourly")
        if left:
            rest = replace(question, batch=left)
            by_day, further, _ = await self._ask(exchange, rest, "daily")
            parts += by_day
            problems += further
        return parts, problems

    async def _ask(
        self, exchange: Exchange, question: _Question, kind: str
    ) -> tuple[list[SiteDays], list[SourceProblem], list[tuple[int, SiteDefinition]]]:
        """Days and problems, and the sites for which other values are worth requesting."""
        is_hourly = kind == "hourly"
        query = question.hourly_query() if is_hourly else question.daily_query()
        try:
            answer = await exchange.get_json(self._request(question, query))
        except RequestFailed as failure:
            problems = [failure.as_problem(NAME, site) for site in question.sites]
            return [], problems, list(question.batch) if failure.reason in DAYS_MAY_DO else []
        read_site = read_hours_of_site if is_hourly else read_days_of_site
        return read_entries(question, answer, read_site)

    def _request(self, question: _Question, query: Mapping[str, str]) -> JsonRequest:
        hours = "hourly" in query
        weight = request_weight(
            len(question.sites),
            len(HOURLY_UNITS if hours else DAILY),
            int(query["past_days"]) + int(query["forecast_days"]),
        )
        next_midnight = datetime.combine(
            question.now.astimezone(UTC).date() + timedelta(days=1), time(0), UTC
        )
        return JsonRequest(
            source=NAME,
            url=self._url,
            query=query,
            secrets=self._secrets,
            # The days asked for are counted from today, so no answer is used after it.
            keep_for=min(KEEP_FOR, next_midnight - question.now),
            pause=timedelta(minutes=weight / self._weights_per_minute),
            wait_in_text=quota_wait,
            check=partial(entries_of, site_count=len(question.sites)),
        )


@dataclass(frozen=True, slots=True)
class _Question:
    """Which sites, with their positions in the fetch, and which days, seen from when."""

    batch: Sequence[tuple[int, SiteDefinition]]
    first_day: date
    last_day: date
    now: datetime

    @property
    def sites(self) -> list[SiteDefinition]:
        return [site for _, site in self.batch]

    def today(self, zone: str) -> date:
        return self.now.astimezone(zone_rules(zone)).date()

    def hourly_query(self) -> dict[str, str]:
        today = self.now.astimezone(UTC).date()
        after = self.last_day + timedelta(days=1)
        first = min(midnight_utc(self.first_day, site.zone) for site in self.sites).date()
        last = max(midnight_utc(after, site.zone) for site in self.sites).date()
        return {
            **place_query(self.sites),
            "hourly": ",".join(HOURLY_UNITS),
            **day_query((today - first).days, (last - today).days),
            "timezone": "GMT",
            "timeformat": "unixtime",
        }

    def daily_query(self) -> dict[str, str]:
        todays = [self.today(site.zone) for site in self.sites]
        return {
            **place_query(self.sites),
            "daily": ",".join(DAILY),
            **day_query((max(todays) - self.first_day).days, (self.last_day - min(todays)).days),
            "timezone": ",".join(site.zone for site in self.sites),
            "timeformat": "iso8601",
        }


def sites_per_request(first_day: date, last_day: date) -> int:
    """How many sites an answer of readable size may hold."""
    hours = 24 * ((last_day - first_day).days + 3)
    return max(1, min(MOST_SITES, ROOM_BYTES // (hours * BYTES_PER_HOUR)))


ReadSite = Callable[
    ["_Question", SiteDefinition, Mapping[str, object]],
    tuple[Mapping[str, DayField], tuple[AnswerInvalid, ...]],
]


def read_entries(
    question: _Question, answer: JsonAnswer, read_site: ReadSite
) -> tuple[list[SiteDays], list[SourceProblem], list[tuple[int, SiteDefinition]]]:
    """The days of every site whose entry can be read, and the sites whose entry cannot."""
    parts: list[SiteDays] = []
    problems: list[SourceProblem] = []
    left: list[tuple[int, SiteDefinition]] = []
    entries = entries_of(answer.content, site_count=len(question.sites))
    days = list_days(question.first_day, question.last_day)
    for (index, site), entry in zip(question.batch, entries, strict=True):
        try:
            fields, faults = read_site(question, site, answered_for(entry, site))
        except AnswerInvalid as fault:
            problems.append(fault.as_problem(NAME, site))
            left.append((index, site))
            continue
        today = question.today(site.zone)
        part = SiteDays(
            site_index=index,
            days=days,
            kinds=["analysis" if day < today else "forecast" for day in days],
            issued_at=answer.fetched_at,
            wind_height_m=WIND_SENSOR_HEIGHT_M,
            fields=_without_past_probability(fields, days, today),
        )
        parts.append(part)
        problems += [fault.as_problem(NAME, site) for fault in faults]
        problems += uncovered(NAME, site, part)
    return parts, problems, left


def _without_past_probability(
    fields: Mapping[str, DayField], days: Sequence[date], today: date
) -> dict[str, DayField]:
    """A chance of rain says nothing about a day that is over."""
    kept = dict(fields)
    name = "rain_probability_fraction"
    if name in kept:
        is_past = np.array([day < today for day in days])
        kept[name] = DayField(np.where(is_past, np.nan, kept[name].values), kept[name].notes)
    return kept


# --- hours ---------------------------------------------------------------------------------------


def read_hours_of_site(
    question: _Question, site: SiteDefinition, entry: Mapping[str, object]
) -> tuple[Mapping[str, DayField], tuple[AnswerInvalid, ...]]:
    """Civil days cut from the hours of one place."""
    table = read_hours(entry)
    bounds = day_bounds(list_days(question.first_day, question.last_day), site.zone)
    during = cut(table.times, table.times + ONE_HOUR, bounds)
    before = cut(table.times - ONE_HOUR, table.times, bounds)
    faults = table.faults
    wanted_until = min(bounds[1].max(), np.datetime64(round(question.now.timestamp()), "s"))
    if table.times[-1] < wanted_until - ONE_HOUR:
        faults += (AnswerInvalid("stale", f"the hours end at {table.times[-1]} UTC"),)
    fields = fields_from_hours(table.columns, during, before)
    if "rs_mj_m2" in fields:
        middle_s = table.times.astype(np.int64) - 1800
        late_h = sun_offset_h(
            middle_s, table.columns["shortwave_radiation"], longitude_deg=site.longitude_deg
        )
        fields["rs_mj_m2"] = noted_sun(fields["rs_mj_m2"], late_h)
    return fields, faults


def read_hours(entry: Mapping[str, object]) -> HourTable:
    """The hours of one place, sorted; a time that comes twice counts once if its values agree."""
    hourly = as_object(entry.get("hourly"), "hourly")
    units = as_object(entry.get("hourly_units"), "hourly_units")
    stamps = read_stamps(hourly, units)
    columns: dict[str, Floats] = {}
    faults = []
    for name, unit in HOURLY_UNITS.items():
        try:
            require_unit(units.get(name), unit, f"hourly.{name}")
            values = numbers(hourly.get(name), f"hourly.{name}", length=stamps.count)
        except AnswerInvalid as fault:
            faults.append(fault)
            continue
        columns[name] = plausible(stamps.in_order(values), HOURLY_QUANTITIES[name])
    return HourTable(stamps.times, columns, tuple(faults))


def fields_from_hours(
    columns: Mapping[str, Floats], during: DayCut, before: DayCut
) -> dict[str, DayField]:
    """Daily values of the hours at hand; ``before`` is the cut of the hours that stamps end."""
    fields: dict[str, DayField] = {}
    if "temperature_2m" in columns:
        fields["tmax_c"] = highest_of_day(during, columns["temperature_2m"])
        fields["tmin_c"] = lowest_of_day(during, columns["temperature_2m"])
    if "dew_point_2m" in columns:
        dew = columns["dew_point_2m"]
        fields["tdew_c"] = mean_of_day(during, dew)
        fields["ea_kpa"] = mean_of_day(during, saturation_vapour_pressure_kpa(dew))
    if "relative_humidity_2m" in columns:
        humidity = columns["relative_humidity_2m"]
        fields["rhmax_pct"] = highest_of_day(during, humidity)
        fields["rhmin_pct"] = lowest_of_day(during, humidity)
        fields["rhmean_pct"] = mean_of_day(during, humidity)
    if "wind_speed_10m" in columns:
        fields["wind_m_s"] = mean_of_day(during, columns["wind_speed_10m"])
    if "shortwave_radiation" in columns:
        fields["rs_mj_m2"] = radiation_of_day(before, columns["shortwave_radiation"])
    if "precipitation" in columns:
        fields["rain_mm"] = rain_of_day(before, columns["precipitation"])
    if "precipitation_probability" in columns:
        chance = highest_of_day(before, columns["precipitation_probability"])
        fields["rain_probability_fraction"] = scaled(chance, 0.01)
    return fields


# --- the service's own days ----------------------------------------------------------------------


def read_days_of_site(
    question: _Question, site: SiteDefinition, entry: Mapping[str, object]
) -> tuple[Mapping[str, DayField], tuple[AnswerInvalid, ...]]:
    """The service's own days, with a note where they do not begin at local midnight."""
    days = list_days(question.first_day, question.last_day)
    daily = as_object(entry.get("daily"), "daily")
    units = as_object(entry.get("daily_units"), "daily_units")
    names = as_list(daily.get("time"), "daily.time")
    place = _places(names)
    offset_s = entry.get("utc_offset_seconds")
    if isinstance(offset_s, bool) or not isinstance(offset_s, int) or abs(offset_s) > 86_400:
        raise AnswerInvalid("wrong-shape", f"utc_offset_seconds: {shown(offset_s)}")
    late_by = [day_offset(day, site.zone, timedelta(seconds=offset_s)) for day in days]
    fields: dict[str, DayField] = {}
    faults = []
    for name, daily_kind in DAILY.items():
        try:
            require_unit(units.get(name), daily_kind.unit, f"daily.{name}")
            values = numbers(daily.get(name), f"daily.{name}", length=len(names))
        except AnswerInvalid as fault:
            faults.append(fault)
            continue
        kept = plausible(np.append(values, np.nan), daily_kind.quantity) * daily_kind.factor
        picked = kept[[place.get(day.isoformat(), -1) for day in days]]
        # Each hour of rain is that before its stamp, so the rain of a "day" begins an hour early.
        early_min = 60 if daily_kind.field == "rain_mm" else 0
        notes = [
            {"day_offset_min": late - early_min} if late - early_min else {} for late in late_by
        ]
        given = given_by_day(picked, {"from": "daily values"})
        fields[daily_kind.field] = DayField(
            given.values, tuple({**a, **b} for a, b in zip(given.notes, notes, strict=True))
        )
    return fields, tuple(faults)


def _places(names: Sequence[object]) -> dict[str, int]:
    if not all(isinstance(name, str) and re.fullmatch(r"\d{4}-\d\d-\d\d", name) for name in names):
        raise AnswerInvalid("wrong-shape", "daily.time: not dates")
    place = {str(name): index for index, name in enumerate(names)}
    if len(place) != len(names):
        raise AnswerInvalid("wrong-shape", "daily.time: a date comes twice")
    return place
