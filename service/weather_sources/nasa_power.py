"""NASA POWER: daily values worldwide from satellites and reanalysis, some days late.

A day of this service follows solar time: its clock is UTC plus one hour for each 15 degrees of
longitude, so in summer it begins at 01:00 of the civil clock. Good enough for daily ET, and noted
as ``day_offset_min`` on every field. Fields arrive with different delays (radiation last), and what
is missing comes as -999: fields are taken one by one, never the day as a whole. Wind is that
at 2 m. Values are those of a grid cell of half a degree, its height is noted with temperatures.

These data were obtained from the NASA Langley Research Center POWER Project, funded through the
NASA Earth Science Directorate Applied Science Program.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from types import MappingProxyType

import numpy as np

from service.agronomy.records import Floats
from service.attributions import ATTRIBUTIONS
from service.logs import log_context
from service.records.farms import SiteDefinition
from service.records.weather import SourceAnswer, SourceProblem
from service.weather_sources.answer_shape import (
    AnswerInvalid,
    as_list,
    as_object,
    number_or_nan,
    require_place,
    require_unit,
    shown,
)
from service.weather_sources.day_fields import (
    DayField,
    SiteDays,
    day_offset,
    given_by_day,
    list_days,
    plausible,
    uncovered,
    weather_rows,
)
from service.weather_sources.http import WeatherHttp, check_base_url
from service.weather_sources.request import JsonAnswer, JsonRequest, RequestFailed

NAME = "nasa-power"
BASE_URL = "https://power.larc.nasa.gov"
POINT_PATH = "/api/temporal/daily/point"
WIND_SENSOR_HEIGHT_M = 2.0  # [m] height of WS2M
PAUSE = timedelta(seconds=1)
KEEP_FOR = timedelta(hours=12)
FILL_VALUES = (-999.0, -99.0)
TIME_STANDARD = "LST"
"""Days by solar time, as they are labelled here; an answer in UTC has other days."""


@dataclass(frozen=True, slots=True)
class _Parameter:
    field: str
    unit: str
    quantity: str


PARAMETERS: Mapping[str, _Parameter] = MappingProxyType(
    {
        "T2M_MAX": _Parameter("tmax_c", "C", "temperature_c"),
        "T2M_MIN": _Parameter("tmin_c", "C", "temperature_c"),
        "RH2M": _Parameter("rhmean_pct", "%", "humidity_pct"),
        "T2MDEW": _Parameter("tdew_c", "C", "temperature_c"),
        "WS2M": _Parameter("wind_m_s", "m/s", "wind_m_s"),
        "ALLSKY_SFC_SW_DWN": _Parameter("rs_mj_m2", "MJ/m^2/day", "radiation_mj_m2"),
        "PRECTOTCORR": _Parameter("rain_mm", "mm/day", "rain_mm"),
    }
)


class NasaPower:
    """The source: one request per place, one a second."""

    name = NAME
    attribution = ATTRIBUTIONS[NAME]

    def __init__(
        self, http: WeatherHttp, *, base_url: str = BASE_URL, pause: timedelta = PAUSE
    ) -> None:
        """``pause`` is the least time from one request to the next; the limits are unpublished."""
        self._http = http
        self._url = check_base_url("nasa_power_base_url", base_url) + POINT_PATH
        self._pause = pause

    async def fetch(
        self, sites: Sequence[SiteDefinition], *, first_day: date, last_day: date, now: datetime
    ) -> SourceAnswer:
        """See :class:`service.ports.WeatherSource`: days that are over only, as ``analysis``.

        Sites within about a kilometre of each other share a request.
        """
        parts: list[SiteDays] = []
        problems: list[SourceProblem] = []
        async with self._http.begin(now) as exchange:
            answers: dict[str, JsonAnswer | RequestFailed] = {}
            for index, site in enumerate(sites):
                days = list_days(first_day, min(last_day, last_day_over(site.longitude_deg, now)))
                if not days:
                    continue
                request = self._request(site, days)
                if request.url_digest not in answers:
                    try:
                        with log_context(site=site.site_id):
                            answers[request.url_digest] = await exchange.get_json(request)
                    except RequestFailed as failure:
                        answers[request.url_digest] = failure
                try:
                    found, faults = read_point(answers[request.url_digest], index, site, days)
                except RequestFailed as failure:
                    problems.append(failure.as_problem(NAME, site))
                    continue
                parts.append(found)
                problems += [fault.as_problem(NAME, site) for fault in faults]
                problems += uncovered(NAME, site, found)
        return SourceAnswer(
            rows=weather_rows(NAME, parts),
            problems=tuple(problems),
            request_count=exchange.sent,
        )

    def _request(self, site: SiteDefinition, days: Sequence[date]) -> JsonRequest:
        return JsonRequest(
            source=NAME,
            url=self._url,
            query={
                "parameters": ",".join(PARAMETERS),
                "community": "AG",
                "latitude": f"{site.latitude_deg:.2f}",
                "longitude": f"{site.longitude_deg:.2f}",
                "start": f"{days[0]:%Y%m%d}",
                "end": f"{days[-1]:%Y%m%d}",
                "format": "JSON",
                "time-standard": TIME_STANDARD,
            },
            keep_for=KEEP_FOR,
            pause=self._pause,
            check=series_of,
        )


def solar_offset(longitude_deg: float) -> timedelta:
    """UTC offset of solar time at a longitude, in whole hours.

    >>> solar_offset(-90.2)
    datetime.timedelta(days=-1, seconds=64800)
    """
    return timedelta(hours=round(longitude_deg / 15.0))


def last_day_over(longitude_deg: float, now: datetime) -> date:
    """The last day that is over by solar time."""
    return (now.astimezone(UTC) + solar_offset(longitude_deg)).date() - timedelta(days=1)


def series_of(content: object) -> Mapping[str, object]:
    """The values by parameter; raises where there are none."""
    properties = as_object(as_object(content, "answer").get("properties"), "properties")
    return as_object(properties.get("parameter"), "properties.parameter")


def read_point(
    answer: JsonAnswer | RequestFailed, index: int, site: SiteDefinition, days: Sequence[date]
) -> tuple[SiteDays, list[AnswerInvalid]]:
    """The days of one place; raises for an answer that is unusable as a whole."""
    if isinstance(answer, RequestFailed):
        raise answer
    content = as_object(answer.content, "answer")
    _require_time_standard(content)
    cell = _cell_elevation(content, site)
    series = series_of(content)
    units = as_object(content.get("parameters"), "parameters")
    fills = {*FILL_VALUES, _fill_value(content)}
    offset = solar_offset(site.longitude_deg)
    clock = f"solar, UTC{offset.total_seconds() / 3600:+.0f}"
    late_by = [day_offset(day, site.zone, offset) for day in days]
    fields: dict[str, DayField] = {}
    faults = []
    for name, parameter in PARAMETERS.items():
        try:
            described = as_object(units.get(name), f"parameters.{name}")
            require_unit(described.get("units"), parameter.unit, f"parameters.{name}")
            values = _values(as_object(series.get(name), f"parameter.{name}"), days, fills)
        except AnswerInvalid as fault:
            faults.append(fault)
            continue
        note: dict[str, object] = {"day_clock": clock}
        if cell is not None and parameter.field in ("tmax_c", "tmin_c"):
            note["cell_elevation_m"] = cell
        given = given_by_day(plausible(values, parameter.quantity), note)
        fields[parameter.field] = DayField(
            given.values,
            tuple(
                {**own, "day_offset_min": late} if late else own
                for own, late in zip(given.notes, late_by, strict=True)
            ),
        )
    part = SiteDays(
        site_index=index,
        days=days,
        kinds=("analysis",) * len(days),
        issued_at=answer.fetched_at,
        wind_height_m=WIND_SENSOR_HEIGHT_M,
        fields=fields,
    )
    return part, faults


def _values(by_day: Mapping[str, object], days: Sequence[date], fills: set[float]) -> Floats:
    values = np.array([number_or_nan(by_day.get(f"{day:%Y%m%d}")) for day in days])
    return np.where(np.isin(values, sorted(fills)), np.nan, values)


def _fill_value(content: Mapping[str, object]) -> float:
    header = content.get("header")
    stated = number_or_nan(header.get("fill_value")) if isinstance(header, dict) else np.nan
    return FILL_VALUES[0] if np.isnan(stated) else stated


def _require_time_standard(content: Mapping[str, object]) -> None:
    header = as_object(content.get("header"), "header")
    found = header.get("time_standard")
    if found != TIME_STANDARD:
        raise AnswerInvalid(
            "wrong-time", f"header.time_standard: {shown(found)} instead of {TIME_STANDARD}"
        )


def _cell_elevation(content: Mapping[str, object], site: SiteDefinition) -> float | None:
    """Height of the cell [m], None where it is not given; raises for an answer of another place."""
    geometry = as_object(content.get("geometry"), "geometry")
    coordinates = as_list(geometry.get("coordinates"), "geometry.coordinates")
    longitude, latitude, height = (*coordinates, None, None, None)[:3]
    require_place(latitude, longitude, site, "geometry.coordinates")
    elevation_m = number_or_nan(height)
    return None if np.isnan(elevation_m) else elevation_m
