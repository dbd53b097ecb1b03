"""Sources of a run's weather held against each other, against places nearby and the place's past.

In: the stored rows of a run. Out: which values are set aside before the best of each is chosen, and
why. Most places pass at the first look, at what was read anyway; only for the others are the last
weeks read, the same time of the year before, and what was measured nearby.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats, Ints
from service.agronomy.weather_agreement import (
    SERIES_DAYS_BACK,
    Judgement,
    Reason,
    judge_weather,
)
from service.agronomy.weather_voices import FIELDS_OF, QUANTITIES, RAIN
from service.database.session import UnitOfWork
from service.operations.evening.near_places import NearPlaces, find_near_places, own_weather
from service.operations.evening.own_rain import WeatherColumns
from service.operations.evening.source_table import SourceTable, source_table
from service.records.farms import SiteTable
from service.records.weather import WeatherRows, joined_rows, taken_rows

Number = TypeVar("Number", np.int8, np.float64)

LEARNING_DAYS_BACK = 45
"""How far back the usual differences of sources and places are learned."""
YEAR_DAYS, SEASON_DAYS = 365, 15
"""The same time of the year before: so many days before and after."""


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """What was set aside in the rows of a run; empty where all agree."""

    reason_of: Mapping[str, NDArray[np.int8]] = field(default_factory=dict)
    """(rows,) by quantity, a :class:`Reason`."""
    values: Mapping[str, Floats] = field(default_factory=dict)
    """(rows,) by quantity, on the scale on which sources are compared."""
    is_doubtful: Mapping[str, NDArray[np.bool_]] = field(default_factory=dict)
    """(days, columns) by quantity: nothing settles which source is right."""

    def may_use(self, name: str, rows_in_all: int) -> NDArray[np.bool_]:
        """(rows,) whether a field of each row may be used."""
        for quantity, codes in self.reason_of.items():
            if name in FIELDS_OF[quantity]:
                return np.asarray(codes == Reason.NONE)
        return np.ones(rows_in_all, dtype=np.bool_)


@dataclass(frozen=True, slots=True)
class _Case:
    """Rows of some columns, on days of which none is more than two weeks before ``on``."""

    rows: WeatherRows
    places: Ints
    """The place of each row among all rows of the run."""
    column: Ints
    """The column of each row, among ``sites``."""
    sites: SiteTable
    span: Days
    on: date

    def of_columns(self, which: Ints) -> _Case:
        """The same of some columns."""
        is_wanted = np.isin(self.column, which)
        sites = self.sites
        return _Case(
            rows=taken_rows(self.rows, np.flatnonzero(is_wanted)),
            places=self.places[is_wanted],
            column=np.searchsorted(which, self.column[is_wanted]),
            sites=SiteTable(
                sites.keys[which], tuple(sites.definitions[place] for place in which.tolist())
            ),
            span=self.span,
            on=self.on,
        )


def cross_check(
    unit: UnitOfWork,
    columns: WeatherColumns,
    days: Days,
    is_usable: NDArray[np.bool_],
    *,
    on: date,
) -> CrossCheck:
    """Hold the sources of each column against each other, as of the evening of ``on``.

    ``is_usable`` (rows,): rows that may be used at all. Days more than two weeks before ``on`` are
    not judged; they were when they were new.
    """
    first = np.datetime64(on) - SERIES_DAYS_BACK
    span = days[days >= first]
    places = np.flatnonzero(is_usable & (columns.rows.days >= first))
    if not places.size or not span.size:
        return CrossCheck()
    rows = taken_rows(columns.rows, places)
    case = _Case(rows, places, columns.column_of_row[places], columns.sites, span, on)
    found = find_near_places(unit, columns, span)
    which = np.flatnonzero(_first_look(case, found).needs_a_look())
    if not which.size:
        return CrossCheck()
    case = case.of_columns(which)
    near = None if found is None else found[0].of_columns(which)
    table, judged = _second_look(unit, case, near)
    if not judged.needs_a_look().any():
        return CrossCheck()
    count = case.places.size
    rows_in_all = len(columns.rows)
    return CrossCheck(
        reason_of={
            name: _at(table.by_row(judged.reason[name])[:count], case.places, rows_in_all, 0)
            for name in QUANTITIES
        },
        values={
            name: _at(values[:count], case.places, rows_in_all, np.nan)
            for name, values in table.values.items()
        },
        is_doubtful={
            name: _in_span(mask, which, (days.size, len(columns.sites.definitions)), span.size)
            for name, mask in judged.is_doubtful.items()
        },
    )


def _first_look(case: _Case, found: tuple[NearPlaces, WeatherRows] | None) -> Judgement:
    """By what is at hand: the days themselves are the past, but for rain, which is judged by it."""
    voices = source_table(case.rows, case.column, case.sites, case.span).voices
    past = {name: said.reshape(-1, said.shape[2]) for name, said in voices.values.items()}
    past[RAIN] = np.full_like(past[RAIN], np.nan)
    return judge_weather(
        voices,
        today_row=_row_of(case.on, case.span),
        nearby=None if found is None else found[0].said(found[1], case.span),
        past=past,
    )


def _second_look(
    unit: UnitOfWork, case: _Case, near: NearPlaces | None
) -> tuple[SourceTable, Judgement]:
    """The rows of the case first, then those of earlier days, and what all together say."""
    today, sites = np.datetime64(case.on), case.sites
    days = np.arange(today - LEARNING_DAYS_BACK, case.span[-1] + 1, dtype="datetime64[D]")
    keys = np.unique(sites.keys)
    earlier, column = _for_columns(_read(unit, keys, days[0], case.span[0] - 1), sites)
    table = source_table(
        joined_rows(case.rows, earlier), np.concatenate([case.column, column]), sites, days
    )
    ago = today - YEAR_DAYS
    then = np.arange(ago - SEASON_DAYS, ago + SEASON_DAYS + 1, dtype="datetime64[D]")
    last_year = source_table(
        *_for_columns(_read(unit, keys, then[0], then[-1]), sites), sites, then
    )
    start = LEARNING_DAYS_BACK - SERIES_DAYS_BACK
    past = {
        name: np.concatenate(
            [
                each.reshape(-1, said.shape[2])
                for each in (said[:, :start], last_year.voices.values[name])
            ]
        )
        for name, said in table.voices.values.items()
    }
    nearby = None
    if near is not None:
        rows = _read(unit, near.places.keys, days[0], days[-1])
        nearby = near.said(own_weather(rows, days), days)
    judged = judge_weather(table.voices, today_row=_row_of(case.on, days), nearby=nearby, past=past)
    return table, judged


def _read(unit: UnitOfWork, keys: Ints, first: np.datetime64, last: np.datetime64) -> WeatherRows:
    first_day, last_day = (date.fromisoformat(str(day)) for day in (first, last))
    return unit.weather.read_rows(keys, first_day=first_day, last_day=last_day)


def _row_of(on: date, days: Days) -> int:
    return max(0, int((np.datetime64(on) - days[0]).astype(np.int64)))


def _for_columns(rows: WeatherRows, sites: SiteTable) -> tuple[WeatherRows, Ints]:
    """The rows once for each column of their place, and those columns."""
    chosen, columns = [], []
    for place, key in enumerate(sites.keys.tolist()):
        mine = np.flatnonzero(rows.site_keys == key)
        chosen.append(mine)
        columns.append(np.full(mine.size, place, dtype=np.int64))
    return taken_rows(rows, np.concatenate(chosen)), np.concatenate(columns)


def _at(values: NDArray[Number], places: Ints, count: int, other: float) -> NDArray[Number]:
    found = np.full(count, other, dtype=values.dtype)
    found[places] = values
    return found


def _in_span(
    mask: NDArray[np.bool_], which: Ints, shape: tuple[int, int], span_days: int
) -> NDArray[np.bool_]:
    found = np.zeros(shape, dtype=np.bool_)
    found[shape[0] - span_days :, which] = mask[-span_days:]
    return found
