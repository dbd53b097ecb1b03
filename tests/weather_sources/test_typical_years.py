"""Hours of three typical years over the wire: the same days and the same ET0 as from the files.

The years are those of ``tests.validation.tmy_years`` (National Solar Radiation Data Base, public
domain, as pvlib ships them). Each row of a file is given out as the values at the hour in which it
falls in its day, and as the radiation of the hour that ends with the next stamp, so that the days
of the answer are the days of the file, grouped by 24 rows.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pvlib
import pytest
from numpy.typing import NDArray

from service.agronomy.records import Floats
from service.agronomy.reference_et import reference_et_mm
from service.agronomy.weather_day import RawWeather, check_weather
from service.records.weather import WEATHER_FIELDS
from service.weather_sources.http import WeatherHttp
from service.weather_sources.open_meteo import OpenMeteo
from tests.validation.tmy_years import (
    TMY2_COLUMNS,
    TMY2_SCALES,
    TMY3_COLUMNS,
    TMY3_SCALES,
    TMY_NAMES,
    TmyYear,
    read_tmy_year,
)
from tests.weather_sources.fake_providers import FakeProviders, Hours
from tests.weather_sources.questions import fetch, make_site

VARIABLES = (
    "temperature_2m",
    "dew_point_2m",
    "relative_humidity_2m",
    "wind_speed_10m",
    "shortwave_radiation",
)
FILES = {"greensboro": "723170TYA.CSV", "miami": "12839.tm2", "sand_point": "703165TY.csv"}
COMPARED = (
    "tmax_c",
    "tmin_c",
    "tdew_c",
    "ea_kpa",
    "rhmax_pct",
    "rhmin_pct",
    "rhmean_pct",
    "wind_m_s",
    "rs_mj_m2",
)
SPAN = timedelta(days=73)
"""A fifth of the year, since the service gives at most 92 days back."""


def rows_of_file(name: str) -> dict[str, Floats]:
    path = Path(pvlib.__path__[0]) / "data" / FILES[name]
    if path.suffix == ".tm2":
        table, _ = pvlib.iotools.read_tmy2(path)
        columns, scales = TMY2_COLUMNS, TMY2_SCALES
    else:
        table, _ = pvlib.iotools.read_tmy3(path, map_variables=False)
        columns, scales = TMY3_COLUMNS, TMY3_SCALES
    return {
        variable: table[column].to_numpy(dtype=np.float64) * scale
        for variable, column, scale in zip(VARIABLES, columns, scales, strict=True)
    }


def serve(providers: FakeProviders, name: str, year: TmyYear) -> None:
    """Let the fake service give out this year as that of 2023."""
    rows = rows_of_file(name)
    begins = datetime(2023, 1, 1, tzinfo=UTC) - timedelta(hours=year.utc_offset_h)

    def weather(_latitude: float, _longitude: float, hours: Hours) -> Mapping[str, Floats]:
        place = ((hours - round(begins.timestamp())) // 3600) % 8760
        nothing: NDArray[np.float64] = np.zeros(hours.size)
        return {
            **{variable: rows[variable][place] for variable in VARIABLES},
            "shortwave_radiation": rows["shortwave_radiation"][(place - 1) % 8760],
            "precipitation": nothing,
            "precipitation_probability": nothing,
        }

    providers.weather = weather


@pytest.fixture(params=TMY_NAMES)
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def answer_by_field(
    name: str, providers: FakeProviders, http: WeatherHttp
) -> dict[str, NDArray[np.float64]]:
    """The 365 days that the source makes of the hours."""
    year = read_tmy_year(name)
    serve(providers, name, year)
    site = make_site(
        latitude_deg=year.latitude_deg,
        longitude_deg=year.longitude_deg,
        zone=f"Etc/GMT{-year.utc_offset_h:+.0f}",  # in these names the sign is the other way round
    )
    source = OpenMeteo(http, base_url=providers.base_url, weights_per_minute=1e9)
    parts: dict[str, list[Floats]] = {field: [] for field in WEATHER_FIELDS}
    first = date(2023, 1, 1)
    while first < date(2024, 1, 1):
        last = first + SPAN - timedelta(days=1)
        now = datetime(last.year, last.month, last.day, 12, tzinfo=UTC) + timedelta(days=2)
        providers.now = now
        answer = fetch(source, [site], first_day=first, last_day=last, now=now)
        assert answer.problems == ()
        assert set(answer.rows.kinds) == {"analysis"}
        for field, column in answer.rows.fields.items():
            parts[field].append(column)
        first += SPAN
    return {field: np.concatenate(columns) for field, columns in parts.items()}


def test_the_days_are_those_of_the_file(
    name: str, answer_by_field: dict[str, NDArray[np.float64]]
) -> None:
    year = read_tmy_year(name)
    for field in COMPARED:
        expected = getattr(year.raw, field)[:, 0]
        np.testing.assert_allclose(answer_by_field[field], expected, rtol=1e-12, err_msg=field)


def et0_mm(raw: RawWeather, year: TmyYear) -> Floats:
    checked = check_weather(raw, latitude_deg=year.latitude_deg, elevation_m=year.elevation_m)
    return reference_et_mm(checked, latitude_deg=year.latitude_deg, elevation_m=year.elevation_m)


# ET0 of these years by pyet 1.3 and, to 0.01 mm, by refet 0.4: mm a year.
YEAR_MM = {"greensboro": 1117.0, "miami": 1573.8, "sand_point": 500.7}


def test_a_year_of_reference_et_is_that_of_the_file(
    name: str, answer_by_field: dict[str, NDArray[np.float64]]
) -> None:
    year = read_tmy_year(name)
    columns = {field: column[:, np.newaxis] for field, column in answer_by_field.items()}
    raw = RawWeather(days=year.raw.days, wind_height_m=np.array([10.0]), **columns)
    et0 = et0_mm(raw, year)
    assert et0.sum() == pytest.approx(YEAR_MM[name], abs=2.0)
    np.testing.assert_allclose(et0, et0_mm(year.raw, year), rtol=1e-9)
