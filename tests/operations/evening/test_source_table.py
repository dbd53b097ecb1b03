"""Rows of weather as a table of sources by days by places."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from service.operations.evening.source_table import source_table
from service.records.farms import SiteTable
from service.records.weather import SUN_NOTE, WEATHER_FIELDS, WeatherRows
from tests.factories import make_site

DAYS = np.array(["2026-07-01", "2026-07-02"], "M8[D]")


def rows() -> WeatherRows:
    """Two sources; one has an analysis and an older forecast of the first day."""
    said = {"tmax_c": [30.0, 33.0, np.nan, 29.0], "rain_mm": [0.0, 5.0, 2.0, 1.0]}
    return WeatherRows(
        site_keys=np.zeros(4, dtype=np.int64),
        days=DAYS[[0, 0, 1, 0]],
        sources=("model", "model", "model", "station"),
        kinds=("analysis", "forecast", "forecast", "observed"),
        issued_at=(datetime(2026, 7, 1, tzinfo=UTC),) * 4,
        wind_height_m=np.full(4, 2.0),
        fields={name: np.array(said.get(name, [np.nan] * 4)) for name in WEATHER_FIELDS},
        field_notes=({}, {}, {"rs_mj_m2": {SUN_NOTE: 6.0}}, {}),
    )


def test_the_best_kind_of_a_source_speaks_for_it() -> None:
    sites = SiteTable(np.array([0]), (make_site(),))
    found = source_table(rows(), np.zeros(4, dtype=np.int64), sites, DAYS)
    assert found.names == ("model", "station")
    assert found.voices.values["tmax"][:, 0, 0].tolist() == [30.0, 29.0]
    assert found.voices.values["rain"][0, :, 0].tolist() == [0.0, 2.0]
    assert found.voices.is_measured[:, 0, 0].tolist() == [False, True]
    assert found.voices.sun_offset_h[0, 1, 0] == 6.0


def test_every_row_of_a_source_and_day_shares_its_verdict() -> None:
    sites = SiteTable(np.array([0]), (make_site(),))
    found = source_table(rows(), np.zeros(4, dtype=np.int64), sites, DAYS)
    codes = np.zeros((2, 2, 1), dtype=np.int8)
    codes[0, 0, 0] = 3
    assert found.by_row(codes).tolist() == [3, 3, 0, 0]
