"""Reference ET of a table of weather: each day by itself, with what was wrong in it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from service.agronomy.records import Floats
from service.agronomy.weather_flags import FieldFlag
from service.errors import WeatherInvalid
from service.operations.review.compute_reference_et import (
    SHOWN_FIELDS,
    ReferenceEt,
    compute_reference_et,
    flag_name,
    flag_words,
)
from tests.factories import daily_fields, make_weather

WEATHER = make_weather(days=5)


def compute(fields: dict[str, Floats] | None = None, **changes: Any) -> ReferenceEt:
    facts: dict[str, Any] = {
        "latitude_deg": 36.1,
        "elevation_m": 273.0,
        "wind_height_m": 2.0,
        **changes,
    }
    return compute_reference_et(
        WEATHER.days, daily_fields(WEATHER) if fields is None else fields, **facts
    )


def test_the_example_18_of_fao_56_comes_out() -> None:
    # Brussels, 6 July: tmax 21.5, tmin 12.3, RH 84 and 63 %, wind 2.78 m/s at 10 m (10 km/h),
    # 9.25 h of sunshine, Rs 22.07: ET0 3.9 mm a day.
    days = np.array(["2023-07-06"], dtype="datetime64[D]")
    given = {
        "tmax_c": 21.5, "tmin_c": 12.3, "rhmax_pct": 84.0, "rhmin_pct": 63.0, "wind_m_s": 2.78,
        "rs_mj_m2": 22.07,
    }  # fmt: skip
    found = compute_reference_et(
        days,
        {name: np.array([value]) for name, value in given.items()},
        latitude_deg=50.8,
        elevation_m=100.0,
        wind_height_m=10.0,
    )
    assert found.et0_mm[0] == pytest.approx(3.9, abs=0.05)
    assert flag_words(found, 0) == ()


def test_a_day_without_temperature_has_no_number_and_its_neighbours_have_theirs() -> None:
    whole = compute()
    fields = daily_fields(WEATHER)
    fields["tmax_c"] = np.where(np.arange(5) == 2, np.nan, fields["tmax_c"])
    found = compute(fields)
    assert np.isnan(found.et0_mm).tolist() == [False, False, True, False, False]
    np.testing.assert_array_equal(found.et0_mm[[0, 1, 3, 4]], whole.et0_mm[[0, 1, 3, 4]])


def test_a_replaced_value_is_flagged_by_its_field() -> None:
    fields = daily_fields(WEATHER)
    del fields["wind_m_s"]
    found = compute(fields)
    assert "u2_m_s:default-wind" in flag_words(found, 0)
    assert np.isfinite(found.et0_mm).all()
    assert "u2_m_s:default-wind" not in flag_words(compute(), 0)
    assert flag_name(FieldFlag.DEFAULT_WIND) == "default-wind"


def test_wind_counts_at_the_height_at_which_it_was_measured() -> None:
    low, high = compute(wind_height_m=2.0), compute(wind_height_m=10.0)
    assert low.values["u2_m_s"][0] == pytest.approx(1.8, rel=0.001)
    assert high.values["u2_m_s"][0] == pytest.approx(0.748 * 1.8, rel=0.001)  # FAO-56 Eq. 47
    assert set(low.values) == set(SHOWN_FIELDS)


def test_no_day_at_all_is_refused() -> None:
    with pytest.raises(WeatherInvalid) as refused:
        compute_reference_et(
            WEATHER.days[:0], {}, latitude_deg=36.1, elevation_m=273.0, wind_height_m=2.0
        )
    (fault,) = refused.value.faults
    assert (fault.where, fault.found, fault.allowed) == ("days", "none", "one or more days")


@pytest.mark.parametrize("change", [{"latitude_deg": 95.0}, {"elevation_m": 12_000.0}])
def test_what_cannot_be_a_place_is_refused(change: dict[str, Any]) -> None:
    with pytest.raises(WeatherInvalid):
        compute(**change)
