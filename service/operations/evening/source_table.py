"""Rows of weather as a table of sources by days by places.

In: stored rows. Out: the same as :class:`service.agronomy.weather_voices.Voices`, and where each
row went.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats, Ints
from service.agronomy.weather_voices import FIELDS_OF, Voices, comparable_values
from service.operations.evening.past_weather import KINDS, kind_ranks
from service.operations.evening.site_columns import site_batch
from service.records.farms import SiteTable
from service.records.weather import SUN_NOTE, WeatherRows


@dataclass(frozen=True, slots=True)
class SourceTable:
    """What each source says, and the place of each row in it."""

    voices: Voices
    names: tuple[str, ...]
    voice: Ints
    row: Ints
    column: Ints
    values: Mapping[str, Floats]
    """(rows,) by quantity."""

    def by_row(self, table: NDArray[np.int8]) -> NDArray[np.int8]:
        """(rows,) what a table of the voices has at the place of each row."""
        return table[self.voice, self.row, self.column]


def source_table(rows: WeatherRows, column: Ints, sites: SiteTable, days: Days) -> SourceTable:
    """The rows, all of them within the days; of several of a source and day the best kind speaks.

    column: the place of each row among the sites.
    """
    batch = site_batch(sites.definitions)
    values = comparable_values(
        {name: rows.fields[name] for names in FIELDS_OF.values() for name in names},
        days=rows.days.astype("datetime64[D]"),
        latitude_deg=batch.latitude_deg[column],
        elevation_m=batch.elevation_m[column],
        wind_height_m=rows.wind_height_m,
    )
    names, voice = np.unique(np.array(rows.sources, dtype=np.str_), return_inverse=True)
    row = (rows.days - days[0]).astype(np.int64)
    shape = (names.size, days.size, len(sites.definitions))
    kind = kind_ranks(rows)
    order = np.argsort(kind, kind="stable")
    said: dict[str, Floats] = {}
    for name, given in values.items():
        table = np.full(shape, np.nan)
        told = order[np.isfinite(given[order])]
        table[voice[told], row[told], column[told]] = given[told]
        said[name] = table
    is_measured = np.zeros(shape, dtype=np.bool_)
    read = kind == KINDS.index("observed")
    is_measured[voice[read], row[read], column[read]] = True
    return SourceTable(
        voices=Voices(days, said, is_measured, _sun_offsets(rows, shape, voice, row, column)),
        names=tuple(names.tolist()),
        voice=voice,
        row=row,
        column=column,
        values=values,
    )


def _sun_offsets(
    rows: WeatherRows, shape: tuple[int, int, int], voice: Ints, row: Ints, column: Ints
) -> Floats:
    late_h = np.full(shape, np.nan)
    for place, notes in enumerate(rows.field_notes):
        offset = notes.get("rs_mj_m2", {}).get(SUN_NOTE) if notes else None
        if isinstance(offset, int | float):
            late_h[voice[place], row[place], column[place]] = offset
    return late_h
