"""Water in winter: none for a dormant crop or in frost, but for an evergreen in a mild place.

Weather: typical years that pvlib ships (see ``tmy_years``), Greensboro NC with nights down to
-16.7 degC and Miami FL; no rain, which asks for the most water. Farms: invented.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from numpy.typing import NDArray

from service.agronomy.block_days import SiteDays
from service.agronomy.freeze_hold import cold_hours
from service.farm_files.farm_file import parse_farm
from service.operations.review.hindcast import Hindcast, hindcast
from tests.factories import daily_fields
from tests.validation.tmy_years import TmyYear, read_tmy_year

FIRST_DAY, LAST_DAY = date(2023, 1, 1), date(2023, 12, 31)
FARM = """
[farm]
id = "grove"
name = "Grove (invented)"
zone = "America/New_York"

[[site]]
id = "grove"
latitude = LATITUDE
longitude = LONGITUDE
elevation = "ELEVATION m"
wind_height = "10 m"

[[supply]]
id = "well"
flow = "200 m3/h"

[[block]]
id = "one"
crop = "CROP"
area = "1 ha"
row_spacing = "5 m"
emitter_spacing = "0.6 m"
emitter_flow = "2 L/h"
laterals_per_row = 2
soil = { texture = "SOIL" }
"""
ALL_YEAR = 'watering_season = { from = "01-01", to = "12-31" }\nfreeze_hold = "-40 degC"\n'
COLD_SEASON = 'season = { start = "04-15", lengths = [25, 45, 70, 35] }\n'
"""15 April to 6 October: watered from 1 April to 20 October."""


def year_of(town: str, crop: str, rules: str = "", *, soil: str = "sandy loam") -> Hindcast:
    year: TmyYear = read_tmy_year(town)
    text = (
        FARM.replace("LATITUDE", str(year.latitude_deg))
        .replace("LONGITUDE", str(year.longitude_deg))
        .replace("ELEVATION", str(year.elevation_m))
        .replace("CROP", crop)
        .replace("SOIL", soil)
    )
    bundle = parse_farm(text + rules, name="grove.toml")
    return hindcast(
        bundle,
        year.raw.days,
        {**daily_fields(year.raw), "rain_mm": np.zeros(365)},
        first_day=FIRST_DAY,
        last_day=LAST_DAY,
    )


def in_winter(result: Hindcast) -> NDArray[np.bool_]:
    """November to March."""
    month = result.days.astype("M8[M]").astype(np.int64) % 12 + 1
    found: NDArray[np.bool_] = np.isin(month, [11, 12, 1, 2, 3])
    return found


def watered(result: Hindcast) -> NDArray[np.bool_]:
    found: NDArray[np.bool_] = result.season.planned_min[:, 0] > 0
    return found


@pytest.mark.parametrize(
    ("crop", "before"), [("peach-bare-frost", 25), ("blueberry", 37), ("grape-table", 31)]
)
def test_a_cold_winter_asks_for_no_water_that_it_asked_for_before(crop: str, before: int) -> None:
    freed = year_of("greensboro", crop, COLD_SEASON + ALL_YEAR, soil="loamy sand")
    tmin_c = read_tmy_year("greensboro").raw.tmin_c[:, 0]
    assert np.count_nonzero(watered(freed) & in_winter(freed)) == before
    assert tmin_c[watered(freed)].min() < -9.0
    result = year_of("greensboro", crop, COLD_SEASON, soil="loamy sand")
    assert np.count_nonzero(watered(result) & in_winter(result)) == 0
    # What the winter took is made good in spring, and nothing is short in the season.
    assert np.all(result.season.shortfall_mm == 0.0)
    end_mm = result.season.ledger.depletion_end_mm[:, 0]
    assert end_mm[result.days < np.datetime64("2023-03-31")].max() > end_mm[0]


def test_no_pulse_runs_in_hours_expected_below_freezing() -> None:
    whole_year = 'watering_season = { from = "01-01", to = "12-31" }\n'
    result = year_of("greensboro", "peach-bare-frost", COLD_SEASON + whole_year)
    raw, season = read_tmy_year("greensboro").raw, result.season
    held_count = 0
    for day in range(result.days.size):
        pulses = season.pulses[day].of_block(0)
        cold = cold_hours(
            season_days(result), day, site_index=np.array([0]), freeze_hold_c=np.array([0.0])
        )
        from_min, until_min, again_min = (int(part[0]) for part in cold)
        held_count += until_min > from_min
        if raw.tmax_c[day, 0] < 3.0:
            assert not pulses
        for pulse in pulses:
            end_min = pulse.start_min + pulse.duration_min
            is_before = end_min <= from_min or until_min <= from_min
            assert is_before or pulse.start_min >= until_min
            assert end_min <= again_min
    assert held_count > 60


def season_days(result: Hindcast) -> SiteDays:
    """The days of a hindcast as the hold sees them."""
    raw = read_tmy_year("greensboro").raw
    unused = np.zeros_like(raw.tmax_c)
    return SiteDays(
        days=result.days,
        et0_mm=unused,
        rain_mm=unused,
        rain_probability_fraction=unused,
        tmax_c=raw.tmax_c,
        tmin_c=raw.tmin_c,
        climate_term=unused,
        sunrise_min=result.season.sunrise_min,
        sunset_min=result.season.sunset_min,
    )


def test_an_evergreen_in_a_mild_place_is_watered_in_winter_as_before() -> None:
    result = year_of("miami", "citrus-70-bare")
    freed = year_of("miami", "citrus-70-bare", ALL_YEAR)
    assert np.count_nonzero(watered(result) & in_winter(result)) == 29
    np.testing.assert_array_equal(result.season.planned_min, freed.season.planned_min)
