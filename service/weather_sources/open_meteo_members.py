"""Open-Meteo's ensembles: hours of every member, cut into the civil days of each site.

The host is another than that of the forecast, and a question weighs as many variables as it has
members. Columns are named ``precipitation`` for the control run and ``precipitation_member01`` and
so on for the others; where several models are asked for at once, the model's name follows. Hours
are requested in GMT and cut here, as in :mod:`service.weather_sources.open_meteo`.

``precipitation`` is asked for and not ``rain``, which some models leave at 0 beyond their horizon.
Weather data by Open-Meteo.com, CC BY 4.0; the free host is for non-commercial use.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import partial
from types import MappingProxyType

import numpy as np

from service.agronomy.civil_day import midnight_utc
from service.agronomy.records import Days, Floats, Ints
from service.attributions import ATTRIBUTIONS
from service.records.farms import SiteDefinition
from service.records.forecast_members import (
    ENSEMBLE_MEMBERS,
    ENSEMBLE_SOURCE,
    Allowance,
    MembersAnswer,
    ModelMembers,
)
from service.records.weather import SourceProblem
from service.weather_sources.answer_shape import (
    AnswerInvalid,
    answered_for,
    as_object,
    numbers,
    require_unit,
    shown,
)
from service.weather_sources.day_fields import ONE_HOUR, Instants, cut, day_bounds, plausible
from service.weather_sources.http import Exchange, WeatherHttp, check_base_url
from service.weather_sources.member_days import member_fields
from service.weather_sources.open_meteo_answers import (
    HourStamps,
    day_query,
    entries_of,
    place_query,
    quota_wait,
    read_stamps,
    request_weight,
)
from service.weather_sources.request import JsonRequest, RequestFailed

NAME = ENSEMBLE_SOURCE
BASE_URL = "https://ensemble-api.open-meteo.com"
ENSEMBLE_PATH = "/v1/ensemble"
WEIGHTS_PER_MINUTE = 600.0
"""Quota of the free host."""
BYTES_PER_VALUE = 8
"""Size of one value in an answer, estimated high."""
ROOM_BYTES = 1_600_000
"""Largest answer that is requested; the limit for reading is higher."""
FAILED_WEIGHT = 1.0
"""What a request that failed counts."""

VARIABLES: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "precipitation": ("mm", "rain_mm"),
        "temperature_2m": ("°C", "temperature_c"),
        "relative_humidity_2m": ("%", "humidity_pct"),
        "wind_speed_10m": ("m/s", "wind_m_s"),
        "shortwave_radiation": ("W/m²", "radiation_w_m2"),
    }
)
"""Hourly variables with the unit that is asked for and the quantity whose limits they keep."""


@dataclass(frozen=True, slots=True)
class MemberTable:
    """Hours of one model's members at one site."""

    numbers: Ints
    """(members,) rising."""
    columns: dict[str, Floats]
    """(hours, members) by variable."""


class OpenMeteoMembers:
    """The source; settings choose the host, its key and the models."""

    name = NAME
    attribution = ATTRIBUTIONS["open-meteo"]

    def __init__(
        self,
        http: WeatherHttp,
        *,
        models: Sequence[str],
        base_url: str = BASE_URL,
        api_key: str | None = None,
        weights_per_minute: float = WEIGHTS_PER_MINUTE,
    ) -> None:
        """``models`` are names of ``ENSEMBLE_MEMBERS``, at least one."""
        self._http = http
        self._models = tuple(models)
        self._url = check_base_url("open_meteo_ensemble_base_url", base_url) + ENSEMBLE_PATH
        self._secrets = {"apikey": api_key} if api_key else {}
        self._weights_per_minute = weights_per_minute

    async def fetch(
        self,
        sites: Sequence[SiteDefinition],
        *,
        first_day: date,
        last_day: date,
        now: datetime,
        allowance: Allowance,
    ) -> MembersAnswer:
        """See :class:`service.ports.EnsembleSource`."""
        days = np.arange(np.datetime64(first_day), np.datetime64(last_day) + 1)
        parts: list[ModelMembers] = []
        problems: list[SourceProblem] = []
        spent = 0.0
        async with self._http.begin(now) as exchange:
            for batch in self._batches(sites, days.size):
                one = _Question(batch[:1], days, self._models, now).weight
                fits = max(0, int((allowance.weight - spent) // one))
                problems += [_waits(site, allowance) for _, site in batch[fits:]]
                if not fits:
                    continue
                question = _Question(batch[:fits], days, self._models, now)
                try:
                    content = await self._ask(exchange, question)
                    spent += question.weight
                except RequestFailed as failure:
                    spent += FAILED_WEIGHT
                    problems += [failure.as_problem(NAME, site) for _, site in question.batch]
                    continue
                for part in _read_entries(question, content):
                    if isinstance(part, ModelMembers):
                        parts.append(part)
                    else:
                        problems.append(part)
        return MembersAnswer(
            days=days,
            parts=tuple(parts),
            problems=tuple(problems),
            request_count=exchange.sent,
            spent_weight=spent,
        )

    def _batches(
        self, sites: Sequence[SiteDefinition], day_count: int
    ) -> Iterator[list[tuple[int, SiteDefinition]]]:
        step = sites_per_request(self._models, day_count)
        numbered = list(enumerate(sites)) if day_count else []
        for start in range(0, len(numbered), step):
            yield numbered[start : start + step]

    async def _ask(self, exchange: Exchange, question: _Question) -> object:
        answer = await exchange.get_json(
            JsonRequest(
                source=NAME,
                url=self._url,
                query=question.query(),
                secrets=self._secrets,
                pause=timedelta(minutes=question.weight / self._weights_per_minute),
                wait_in_text=quota_wait,
                check=partial(entries_of, site_count=len(question.batch)),
                is_kept=False,
            )
        )
        return answer.content


@dataclass(frozen=True, slots=True)
class _Question:
    """Which sites, with their positions in the fetch, which days and models, seen from when."""

    batch: Sequence[tuple[int, SiteDefinition]]
    days: Days
    models: tuple[str, ...]
    now: datetime

    @property
    def weight(self) -> float:
        """What the question counts against the quota."""
        query = self.query()
        day_count = int(query["past_days"]) + int(query["forecast_days"])
        return request_weight(len(self.batch), variable_count(self.models), day_count)

    def query(self) -> dict[str, str]:
        """The question as the service wants it."""
        sites = [site for _, site in self.batch]
        today = self.now.astimezone(UTC).date()
        first_day: date = self.days[0].item()
        after: date = self.days[-1].item() + timedelta(days=1)
        first = min(midnight_utc(first_day, site.zone) for site in sites).date()
        last = max(midnight_utc(after, site.zone) for site in sites).date()
        return {
            **place_query(sites),
            "hourly": ",".join(VARIABLES),
            "models": ",".join(self.models),
            **day_query((today - first).days, (last - today).days),
            "timezone": "GMT",
            "timeformat": "unixtime",
        }


def variable_count(models: Sequence[str]) -> int:
    """Variables of a question as its weight counts them: once for each member."""
    return len(VARIABLES) * sum(ENSEMBLE_MEMBERS[model] for model in models)


def sites_per_request(models: Sequence[str], day_count: int) -> int:
    """How many sites an answer of readable size may hold."""
    values = 24 * (day_count + 2) * variable_count(models)
    return max(1, ROOM_BYTES // (values * BYTES_PER_VALUE))


def _waits(site: SiteDefinition, allowance: Allowance) -> SourceProblem:
    return SourceProblem(
        source=NAME,
        site_id=site.site_id,
        reason="quota",
        message=f"the quota of ensemble requests is used up until {allowance.until:%H:%M} UTC",
        retry_at=allowance.until,
    )


# --- the answer ----------------------------------------------------------------------------------


def _read_entries(question: _Question, content: object) -> Iterator[ModelMembers | SourceProblem]:
    """The members of each model at each site, and what is wrong with the others."""
    entries = entries_of(content, site_count=len(question.batch))
    for (index, site), entry in zip(question.batch, entries, strict=True):
        try:
            times, tables, faults = read_member_hours(answered_for(entry, site), question.models)
        except AnswerInvalid as fault:
            yield fault.as_problem(NAME, site)
            continue
        bounds = day_bounds(question.days.tolist(), site.zone)
        during = cut(times, times + ONE_HOUR, bounds)
        before = cut(times - ONE_HOUR, times, bounds)
        for model, table in tables.items():
            yield ModelMembers(
                site_index=index,
                model=model,
                numbers=table.numbers,
                fields=member_fields(table.columns, during, before),
            )
        yield from [fault.as_problem(NAME, site) for fault in faults]


def read_member_hours(
    entry: Mapping[str, object], models: Sequence[str]
) -> tuple[Instants, dict[str, MemberTable], list[AnswerInvalid]]:
    """Hours, members by model, and why a model is missing, of one place.

    Columns are found by their names, never by their place.
    """
    hourly = as_object(entry.get("hourly"), "hourly")
    units = as_object(entry.get("hourly_units"), "hourly_units")
    stamps = read_stamps(hourly, units)
    named = columns_by_model(hourly, models)
    tables: dict[str, MemberTable] = {}
    faults: list[AnswerInvalid] = []
    for model in models:
        try:
            tables[model] = _read_model(model, named.get(model, {}), hourly, units, stamps)
        except AnswerInvalid as fault:
            faults.append(fault)
    return stamps.times, tables, faults


def columns_by_model(
    hourly: Mapping[str, object], models: Sequence[str]
) -> dict[str, dict[tuple[str, int], str]]:
    """The column of each variable and member, by model.

    >>> named = columns_by_model({"time": [], "precipitation_member07": []}, ["cmc_gem_geps"])
    >>> named["cmc_gem_geps"]
    {('precipitation', 7): 'precipitation_member07'}
    """
    pattern = re.compile(
        rf"({'|'.join(VARIABLES)})(?:_member(\d{{2,3}}))?(?:_({'|'.join(map(re.escape, models))}))?"
    )
    found: dict[str, dict[tuple[str, int], str]] = {}
    for column in hourly:
        if column == "time":
            continue
        parts = pattern.fullmatch(column)
        if parts is None or (parts[3] is None and len(models) > 1):
            raise AnswerInvalid(
                "wrong-shape", f"hourly.{shown(column)}: of no variable and model asked for"
            )
        of_model = found.setdefault(parts[3] or models[0], {})
        member = (parts[1], int(parts[2] or 0))
        if member in of_model:
            raise AnswerInvalid("wrong-shape", f"hourly.{column}: a member comes twice")
        of_model[member] = column
    return found


def _read_model(
    model: str,
    named: Mapping[tuple[str, int], str],
    hourly: Mapping[str, object],
    units: Mapping[str, object],
    stamps: HourStamps,
) -> MemberTable:
    """The members of which every variable is there."""
    present = {number for _, number in named}
    whole = sorted(
        number for number in present if all((name, number) in named for name in VARIABLES)
    )
    if not whole:
        raise AnswerInvalid("no-cover", f"{model}: no member with all variables")
    columns: dict[str, Floats] = {}
    for name, (unit, quantity) in VARIABLES.items():
        series = []
        for number in whole:
            column = named[name, number]
            require_unit(units.get(column), unit, f"hourly.{column}")
            series.append(numbers(hourly[column], f"hourly.{column}", length=stamps.count))
        columns[name] = plausible(stamps.in_order(np.stack(series, axis=1)), quantity)
    if all(np.isnan(values).all() for values in columns.values()):
        raise AnswerInvalid("no-cover", f"{model}: no values for this place")
    return MemberTable(np.array(whole, dtype=np.int64), columns)
