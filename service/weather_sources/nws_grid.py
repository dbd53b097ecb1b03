"""The US National Weather Service's forecast grid: public domain, the United States only.

A point leads to a grid cell (remembered for 30 days), a cell to layers of values on intervals of
one hour to several days. A value of an interval counts for each civil day by the hours that it
shares with it; an amount of rain is split in proportion. The grid has no solar radiation: it is
estimated from the sky cover by FAO-56 Eq. 35, taking what is not covered as the fraction of bright
sunshine, n/N = 1 - cover (our choice; FAO-24 tabulates cloudiness against n/N within 0.1 of that
line up to 8 tenths, from memory), and its notes say so. Wind is taken to be that at 10 m.

The host fails cell by cell: a grid that has expired or cannot be built gives 500 or 503 for days,
while its neighbours work. So a cell has a breaker of its own beside that of the host.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from types import MappingProxyType

import numpy as np

from service.agronomy.atmosphere import (
    daylight_hours,
    extraterrestrial_radiation_mj_m2,
    radiation_from_sunshine_mj_m2,
    saturation_vapour_pressure_kpa,
)
from service.agronomy.civil_day import zone_rules
from service.agronomy.records import Floats
from service.attributions import ATTRIBUTIONS
from service.logs import log_context
from service.records.farms import SiteDefinition
from service.records.weather import SourceAnswer, SourceProblem
from service.weather_sources.answer_shape import (
    AnswerInvalid,
    as_list,
    as_object,
    moment,
    number_or_nan,
    shown,
)
from service.weather_sources.day_fields import (
    DayCut,
    DayField,
    Instants,
    SiteDays,
    as_instants,
    cut,
    day_bounds,
    highest_of_day,
    list_days,
    lowest_of_day,
    mean_of_day,
    plausible,
    rain_of_day,
    scaled,
    uncovered,
    weather_rows,
)
from service.weather_sources.http import Exchange, WeatherHttp, check_base_url
from service.weather_sources.request import JsonAnswer, JsonRequest, RequestFailed

NAME = "nws-grid"
BASE_URL = "https://api.weather.gov"
WIND_SENSOR_HEIGHT_M = 10.0  # [m] assumed, the service does not say
KEEP_POINT_FOR = timedelta(days=30)
DOUBT_POINT_AFTER = timedelta(days=1)
"""A mapping older than this is requested again when its cell fails."""
OLDEST_FORECAST = timedelta(hours=48)
PAUSE = timedelta(milliseconds=200)
"""A choice of this service; the limits are unpublished."""
FEWEST_DAYLIGHT_SHARE = (
    0.8  # [-] a choice of this service: sky cover known for less gives no estimate
)
COVER = ((13.0, 72.0, -180.0, -60.0), (13.0, 21.0, 140.0, 180.0), (-15.0, -10.0, -173.0, -168.0))
"""Rough boxes (south, north, west, east) around states and territories; other places are not
requested."""

_C = {"degC": (1.0, 0.0), "degF": (1 / 1.8, -32 / 1.8), "K": (1.0, -273.15)}
_PCT = {"percent": (1.0, 0.0)}
LAYERS: Mapping[str, tuple[str, Mapping[str, tuple[float, float]]]] = MappingProxyType(
    {
        "temperature": ("temperature_c", _C),
        "maxTemperature": ("temperature_c", _C),
        "minTemperature": ("temperature_c", _C),
        "dewpoint": ("temperature_c", _C),
        "relativeHumidity": ("humidity_pct", _PCT),
        "windSpeed": ("wind_m_s", {"km_h-1": (1 / 3.6, 0.0), "m_s-1": (1.0, 0.0)}),
        "skyCover": ("cloud_pct", _PCT),
        "quantitativePrecipitation": ("rain_mm", {"mm": (1.0, 0.0), "m": (1000.0, 0.0)}),
        "probabilityOfPrecipitation": ("probability_pct", _PCT),
    }
)
"""The layers in use: quantity, and per unit the factor and the addend that lead to ours."""
TEMPERATURES = ("temperature", "maxTemperature", "minTemperature")
"""Layers that replace each other; days without temperatures are reported as such."""

_DURATION = re.compile(
    r"P(?:(?P<weeks>\d{1,3})W)?(?:(?P<days>\d{1,3})D)?"
    r"(?:T(?:(?P<hours>\d{1,4})H)?(?:(?P<minutes>\d{1,5})M)?(?:(?P<seconds>\d{1,6})S)?)?"
)
_CELL = re.compile(r"[A-Z]{3}/\d{1,3},\d{1,3}")


@dataclass(frozen=True, slots=True)
class Layer:
    """Values on intervals, in rising order and without overlap; NaN where nothing is known."""

    starts: Instants
    ends: Instants
    values: Floats


class NwsGrid:
    """The source; one request per cell, and one per place each month."""

    name = NAME
    attribution = ATTRIBUTIONS[NAME]

    def __init__(
        self, http: WeatherHttp, *, base_url: str = BASE_URL, pause: timedelta = PAUSE
    ) -> None:
        """``pause`` is the least time from one request to the next."""
        self._http = http
        self._base_url = check_base_url("nws_base_url", base_url)
        self._pause = pause

    async def fetch(
        self, sites: Sequence[SiteDefinition], *, first_day: date, last_day: date, now: datetime
    ) -> SourceAnswer:
        """See :class:`service.ports.WeatherSource`: today and later only, as ``forecast``."""
        parts: list[SiteDays] = []
        problems: list[SourceProblem] = []
        async with self._http.begin(now) as exchange:
            cells: dict[str, JsonAnswer | RequestFailed] = {}
            for index, site in enumerate(sites):
                today = now.astimezone(zone_rules(site.zone)).date()
                days = list_days(max(first_day, today), last_day)
                if not days:
                    continue
                try:
                    with log_context(site=site.site_id):
                        answer = await self._ask(exchange, site, cells)
                    found, faults = read_grid(answer, index, site, days=days, now=now)
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

    async def _ask(
        self,
        exchange: Exchange,
        site: SiteDefinition,
        cells: dict[str, JsonAnswer | RequestFailed],
    ) -> JsonAnswer:
        """The grid of a site's cell; where the cell fails, of the cell it may have moved to."""
        cell = await self._find_cell(exchange, site)
        try:
            return await self._grid(exchange, cell, cells)
        except RequestFailed as failure:
            if failure.reason not in ("http-404", "http-500", "http-503", "breaker-open"):
                raise
            cell_now = await self._find_cell(exchange, site, not_older_than=DOUBT_POINT_AFTER)
            if cell_now == cell:
                raise
        return await self._grid(exchange, cell_now, cells)

    async def _find_cell(
        self,
        exchange: Exchange,
        site: SiteDefinition,
        *,
        not_older_than: timedelta | None = None,
    ) -> str:
        if not is_covered(site):
            raise RequestFailed("no-cover", "outside the United States")
        latitude, longitude = shortest(site.latitude_deg), shortest(site.longitude_deg)
        request = JsonRequest(
            source=NAME,
            url=f"{self._base_url}/points/{latitude},{longitude}",
            keep_for=KEEP_POINT_FOR,
            pause=self._pause,
            check=read_cell,
        )
        try:
            answer = await exchange.get_json(request, not_older_than=not_older_than)
        except RequestFailed as failure:
            if failure.reason == "http-404":
                raise RequestFailed("no-cover", failure.message) from failure
            raise
        return read_cell(answer.content)

    async def _grid(
        self, exchange: Exchange, cell: str, cells: dict[str, JsonAnswer | RequestFailed]
    ) -> JsonAnswer:
        if cell not in cells:
            request = JsonRequest(
                source=NAME,
                url=f"{self._base_url}/gridpoints/{cell}",
                cell=cell,
                pause=self._pause,
                check=layers_of,
            )
            try:
                cells[cell] = await exchange.get_json(request)
            except RequestFailed as failure:
                cells[cell] = failure
        answer = cells[cell]
        if isinstance(answer, RequestFailed):
            raise answer
        return answer


def is_covered(site: SiteDefinition) -> bool:
    """The place may lie in the United States; only the service knows exactly."""
    return any(
        south <= site.latitude_deg <= north and west <= site.longitude_deg <= east
        for south, north, west, east in COVER
    )


def shortest(degrees: float) -> str:
    """A coordinate as the service expects it: at most 4 decimals, no zeros at the end.

    >>> shortest(-90.20)
    '-90.2'
    """
    text = f"{degrees:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def read_cell(content: object) -> str:
    """The cell that a point leads to, such as ``JAN/45,88``.

    The URL in the answer is not used: no URL that comes from outside is ever fetched.
    """
    properties = as_object(as_object(content, "point").get("properties"), "properties")
    cell = f"{properties.get('gridId')}/{properties.get('gridX')},{properties.get('gridY')}"
    if not _CELL.fullmatch(cell):
        raise AnswerInvalid("wrong-shape", f"properties: {shown(cell)} is not a grid cell")
    return cell


def layers_of(content: object) -> Mapping[str, object]:
    """The layers of a cell; raises where there are none."""
    return as_object(as_object(content, "grid").get("properties"), "properties")


def read_grid(
    answer: JsonAnswer, index: int, site: SiteDefinition, *, days: Sequence[date], now: datetime
) -> tuple[SiteDays, list[AnswerInvalid]]:
    """The days of one site out of the layers of its cell; raises where the answer is unusable."""
    properties = layers_of(answer.content)
    updated_at = moment(properties.get("updateTime"), "updateTime")
    if now - updated_at > OLDEST_FORECAST:
        raise AnswerInvalid("stale", f"the forecast was last updated at {updated_at.isoformat()}")
    layers: dict[str, Layer] = {}
    faults = []
    for name in LAYERS:
        try:
            layers[name] = read_layer(properties, name, now=now)
        except AnswerInvalid as fault:
            if fault.reason != "no-cover" or name not in TEMPERATURES:
                faults.append(fault)
    part = SiteDays(
        site_index=index,
        days=days,
        kinds=("forecast",) * len(days),
        issued_at=min(updated_at, answer.fetched_at),
        wind_height_m=WIND_SENSOR_HEIGHT_M,
        fields=fields_from_layers(layers, site, days),
    )
    return part, faults


def read_layer(properties: Mapping[str, object], name: str, *, now: datetime) -> Layer:
    """One layer in our units; raises where it is missing, in a unit unknown or contradictory."""
    quantity, conversions = LAYERS[name]
    if name not in properties:
        raise AnswerInvalid("no-cover", f"{name}: there is no such layer here")
    layer = as_object(properties[name], name)
    entries = as_list(layer.get("values"), f"{name}.values")
    if not entries:
        raise AnswerInvalid("no-cover", f"{name}: the layer is empty")
    unit = layer.get("uom")
    symbol = unit.rpartition(":")[2] if isinstance(unit, str) else ""
    if symbol not in conversions:
        raise AnswerInvalid("wrong-unit", f"{name}: in {shown(unit)}")
    factor, addend = conversions[symbol]
    # An interval that comes twice counts once; the later value is used.
    intervals = {}
    for entry in entries:
        each = as_object(entry, f"{name}.values")
        span = read_interval(each.get("validTime"), now=now)
        intervals[span] = number_or_nan(each.get("value"))
    spans = sorted(intervals)
    starts = as_instants([start for start, _ in spans])
    ends = as_instants([end for _, end in spans])
    if (starts[1:] < ends[:-1]).any():
        raise AnswerInvalid("wrong-shape", f"{name}: intervals overlap")
    values = np.array([intervals[span] for span in spans]) * factor + addend
    return Layer(starts, ends, plausible(values, quantity))


def read_interval(text: object, *, now: datetime) -> tuple[datetime, datetime]:
    """An ISO 8601 interval: start/end, start/duration or duration/end, where NOW is an instant."""
    first, slash, second = text.partition("/") if isinstance(text, str) else ("", "", "")
    start, end = _instant(first, now), _instant(second, now)
    try:
        if start is None and end is not None:
            start = end - _duration(first)
        elif end is None and start is not None:
            end = start + _duration(second)
    except (ValueError, OverflowError):
        start = None
    if not slash or start is None or end is None or not start < end:
        raise AnswerInvalid("wrong-shape", f"{shown(text)} is not an interval of time")
    return start, end


def _instant(text: str, now: datetime) -> datetime | None:
    if text == "NOW":
        return now.astimezone(UTC)
    try:
        return moment(text, "validTime")
    except AnswerInvalid:
        return None


def _duration(text: str) -> timedelta:
    match = _DURATION.fullmatch(text)
    parts = {} if match is None else match.groupdict()
    return timedelta(**{name: int(count) for name, count in parts.items() if count})


def fields_from_layers(
    layers: Mapping[str, Layer], site: SiteDefinition, days: Sequence[date]
) -> dict[str, DayField]:
    """Daily values of the available layers."""
    bounds = day_bounds(days, site.zone)
    cuts = {name: cut(layer.starts, layer.ends, bounds) for name, layer in layers.items()}

    def of(name: str) -> tuple[DayCut, Floats]:
        return cuts[name], layers[name].values

    fields: dict[str, DayField] = {}
    if "temperature" in layers:
        fields["tmax_c"] = highest_of_day(*of("temperature"))
        fields["tmin_c"] = lowest_of_day(*of("temperature"))
    for field, name in (("tmax_c", "maxTemperature"), ("tmin_c", "minTemperature")):
        if name in layers:
            fields[field] = _or_else(fields.get(field), extreme_of_day(layers[name], bounds), name)
    if "dewpoint" in layers:
        day_cut, dew = of("dewpoint")
        fields["tdew_c"] = mean_of_day(day_cut, dew)
        fields["ea_kpa"] = mean_of_day(day_cut, saturation_vapour_pressure_kpa(dew))
    if "relativeHumidity" in layers:
        fields["rhmax_pct"] = highest_of_day(*of("relativeHumidity"))
        fields["rhmin_pct"] = lowest_of_day(*of("relativeHumidity"))
        fields["rhmean_pct"] = mean_of_day(*of("relativeHumidity"))
    if "windSpeed" in layers:
        fields["wind_m_s"] = mean_of_day(*of("windSpeed"))
    if "skyCover" in layers:
        fields["rs_mj_m2"] = radiation_from_sky(layers["skyCover"], site, days)
    if "quantitativePrecipitation" in layers:
        fields["rain_mm"] = rain_of_day(*of("quantitativePrecipitation"))
    if "probabilityOfPrecipitation" in layers:
        chance = highest_of_day(*of("probabilityOfPrecipitation"))
        fields["rain_probability_fraction"] = scaled(chance, 0.01)
    return fields


def extreme_of_day(layer: Layer, bounds: tuple[Instants, Instants]) -> DayField:
    """The forecast maximum or minimum whose interval has its middle in the day.

    A maximum is given for the daytime and a minimum for the night, whose middle is after midnight.
    """
    middles = layer.starts + (layer.ends - layer.starts) // 2
    begins, closes = bounds
    inside = (middles >= begins[:, np.newaxis]) & (middles < closes[:, np.newaxis])
    values = np.full(begins.size, np.nan)
    for day, interval in np.argwhere(inside & np.isfinite(layer.values)):
        values[day] = layer.values[interval]
    return DayField(values, ({"hours_present": None},) * begins.size)


def _or_else(hourly: DayField | None, given: DayField, name: str) -> DayField:
    """The value from hours where there is one, else the one given, which the note then says."""
    if hourly is None:
        hourly = DayField(np.full(given.values.size, np.nan), given.notes)
    stands_in = np.isnan(hourly.values) & np.isfinite(given.values)
    notes = tuple(
        {**own, "from": name} if other else own
        for own, other in zip(hourly.notes, stands_in, strict=True)
    )
    return DayField(np.where(stands_in, given.values, hourly.values), notes)


def radiation_from_sky(layer: Layer, site: SiteDefinition, days: Sequence[date]) -> DayField:
    """Solar radiation after FAO-56 Eq. 35 from the sky cover between sunrise and sunset."""
    civil = np.array(days, dtype="datetime64[D]")
    daylight = daylight_hours(civil, site.latitude_deg)[:, 0]
    above_air = extraterrestrial_radiation_mj_m2(civil, site.latitude_deg)[:, 0]
    noons = as_instants(
        [
            datetime.combine(day, time(12), UTC) - timedelta(hours=site.longitude_deg / 15.0)
            for day in days
        ]
    )
    half = np.round(daylight * 1800.0).astype("timedelta64[s]")
    sunlit = cut(layer.starts, layer.ends, (noons - half, noons + half))
    known = np.isfinite(layer.values)
    hours = sunlit.shared @ known.astype(np.float64)
    total = sunlit.shared @ np.where(known, layer.values / 100.0, 0.0)
    cover = total / np.where(hours > 0.0, hours, 1.0)
    rs = radiation_from_sunshine_mj_m2((1.0 - cover) * daylight, daylight, above_air)
    return DayField(
        np.where(hours >= FEWEST_DAYLIGHT_SHARE * daylight, rs, np.nan),
        tuple(
            {"hours_present": round(float(each), 2), "estimated_from": "sky cover"}
            for each in hours
        ),
    )
