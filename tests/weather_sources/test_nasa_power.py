"""NASA POWER: days by the sun's clock, each field as late as it is."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from service.weather_sources.http import WeatherHttp
from service.weather_sources.nasa_power import (
    PARAMETERS,
    PAUSE,
    NasaPower,
    last_day_over,
    solar_offset,
)
from tests.weather_sources.fake_providers import FakeProviders, edited, status
from tests.weather_sources.questions import (
    NO_PAUSE,
    NOW,
    assert_no_sentinels,
    fetch,
    make_site,
    notes,
    reasons,
    values,
)

FIRST, LAST = date(2026, 6, 25), date(2026, 7, 4)


@pytest.fixture
def source(providers: FakeProviders, http: WeatherHttp) -> NasaPower:
    return NasaPower(http, base_url=providers.base_url, pause=NO_PAUSE)


def of_parameter(name: str, change: Callable[[dict[str, Any]], None]) -> Callable[[Any], None]:
    return lambda content: change(content["properties"]["parameter"][name])


def test_the_numbers_of_the_service_arrive_under_our_names(
    source: NasaPower, providers: FakeProviders
) -> None:
    # A payload in the documented form; the numbers are invented.
    def replace(content: Any) -> None:
        for name, value in {
            "T2M_MAX": 33.1,
            "T2M_MIN": 21.4,
            "RH2M": 71.2,
            "T2MDEW": 20.6,
            "WS2M": 1.7,
            "ALLSKY_SFC_SW_DWN": 22.9,
            "PRECTOTCORR": 3.4,
        }.items():
            content["properties"]["parameter"][name]["20260701"] = value

    providers.order("/api", edited(replace))
    answer = fetch(source, first_day=FIRST, last_day=LAST)
    day = date(2026, 7, 1)
    assert {
        name: column[day]
        for name in answer.rows.fields
        if not math.isnan((column := values(answer, name))[day])
    } == {
        "tmax_c": 33.1,
        "tmin_c": 21.4,
        "rhmean_pct": 71.2,
        "tdew_c": 20.6,
        "wind_m_s": 1.7,
        "rs_mj_m2": 22.9,
        "rain_mm": 3.4,
    }
    assert set(answer.rows.kinds) == {"analysis"}
    assert set(answer.rows.wind_height_m) == {2.0}


def test_fields_that_are_later_than_others_are_left_open(source: NasaPower) -> None:
    answer = fetch(source, first_day=FIRST, last_day=date(2026, 7, 12))
    assert_no_sentinels(answer)
    assert np.isfinite(answer.rows.fields["tmax_c"]).all()
    assert math.isfinite(values(answer, "rs_mj_m2")[date(2026, 6, 29)])
    assert math.isnan(values(answer, "rs_mj_m2")[date(2026, 7, 3)])
    assert max(answer.rows.days.tolist()) == date(2026, 7, 4)
    (problem,) = answer.problems
    assert (problem.reason, problem.site_id) == ("no-cover", "brook")
    assert "2026-07-05, 2026-07-06" in problem.message


@pytest.mark.parametrize("fill", [-999.0, -999, -99.0, -9999.0, None, "", "-999", True])
def test_what_is_no_value_is_missing_in_its_field_alone(
    fill: object, source: NasaPower, providers: FakeProviders
) -> None:
    def spoil(content: Any) -> None:
        content["properties"]["parameter"]["PRECTOTCORR"] = {}
        content["properties"]["parameter"]["T2MDEW"]["20260701"] = fill

    providers.order("/api", edited(spoil))
    answer = fetch(source, first_day=FIRST, last_day=LAST)
    assert_no_sentinels(answer)
    assert np.isnan(answer.rows.fields["rain_mm"]).all()
    assert math.isnan(values(answer, "tdew_c")[date(2026, 7, 1)])
    assert math.isfinite(values(answer, "tdew_c")[date(2026, 7, 2)])
    assert math.isfinite(values(answer, "tmax_c")[date(2026, 7, 1)])


def test_a_fill_value_of_its_own_is_believed(source: NasaPower, providers: FakeProviders) -> None:
    def refill(content: Any) -> None:
        content["header"]["fill_value"] = 11.5
        content["properties"]["parameter"]["WS2M"]["20260701"] = 11.5

    providers.order("/api", edited(refill))
    wind = values(fetch(source, first_day=FIRST, last_day=LAST), "wind_m_s")
    assert math.isnan(wind[date(2026, 7, 1)])


def test_another_unit_than_the_agronomic_one_is_not_used(
    source: NasaPower, providers: FakeProviders
) -> None:
    def relabel(content: Any) -> None:
        content["parameters"]["ALLSKY_SFC_SW_DWN"]["units"] = "kW-hr/m^2/day"

    providers.order("/api", edited(relabel))
    answer = fetch(source, first_day=FIRST, last_day=LAST)
    assert np.isnan(answer.rows.fields["rs_mj_m2"]).all()
    assert np.isfinite(answer.rows.fields["tmax_c"]).all()
    assert "wrong-unit" in reasons(answer)


@pytest.mark.parametrize("standard", ["UTC", None, "lst"])
def test_days_by_another_clock_are_not_used(
    standard: str | None, source: NasaPower, providers: FakeProviders
) -> None:
    def relabel(content: Any) -> None:
        content["header"]["time_standard"] = standard

    providers.order("/api", edited(relabel))
    answer = fetch(source, first_day=FIRST, last_day=LAST)
    assert len(answer.rows) == 0
    (problem,) = answer.problems
    assert problem.reason == "wrong-time"


@pytest.mark.parametrize(
    ("coordinates", "reason"),
    [
        ([90.2, 33.0, 41.5], "wrong-place"),  # the sign of the longitude lost
        ([33.0, -90.2, 41.5], "wrong-shape"),  # latitude and longitude swapped
        ([-90.2], "wrong-shape"),
        (["-90.2", "33.0", 41.5], "wrong-shape"),
    ],
)
def test_the_weather_of_another_place_is_not_used(
    coordinates: list[object], reason: str, source: NasaPower, providers: FakeProviders
) -> None:
    def move(content: Any) -> None:
        content["geometry"]["coordinates"] = coordinates

    providers.order("/api", edited(move))
    answer = fetch(source, first_day=FIRST, last_day=LAST)
    assert len(answer.rows) == 0
    assert [problem.reason for problem in answer.problems] == [reason]


def test_the_corner_of_the_cell_and_a_height_left_out_are_accepted(
    source: NasaPower, providers: FakeProviders
) -> None:
    def at_the_corner(content: Any) -> None:
        content["geometry"]["coordinates"] = [-90.2 + 0.31, 33.0 - 0.25]

    providers.order("/api", edited(at_the_corner))
    answer = fetch(source, first_day=FIRST, last_day=LAST)
    assert np.isfinite(answer.rows.fields["tmax_c"]).all()
    assert "cell_elevation_m" not in notes(answer, "tmax_c", date(2026, 7, 1))


def test_a_missing_parameter_affects_only_its_field(
    source: NasaPower, providers: FakeProviders
) -> None:
    def drop(content: Any) -> None:
        del content["properties"]["parameter"]["WS2M"]

    providers.order("/api", edited(drop))
    answer = fetch(source, first_day=FIRST, last_day=LAST)
    assert np.isnan(answer.rows.fields["wind_m_s"]).all()
    assert "wrong-shape" in reasons(answer)


def test_the_question_is_one_of_the_documented_form(
    source: NasaPower, providers: FakeProviders
) -> None:
    fetch(source, first_day=FIRST, last_day=date(2026, 7, 20))
    (request,) = providers.requests
    assert request.query == {
        "parameters": ",".join(PARAMETERS),
        "community": "AG",
        "latitude": "33.00",
        "longitude": "-90.20",
        "start": "20260625",
        "end": "20260706",
        "format": "JSON",
        "time-standard": "LST",
    }
    assert len(PARAMETERS) <= 20  # the service's limit for one place


@pytest.mark.parametrize(
    ("longitude_deg", "offset_h"), [(-90.2, -6), (-97.5, -6), (0.0, 0), (144.8, 10), (-179.9, -12)]
)
def test_solar_time_changes_every_fifteen_degrees(longitude_deg: float, offset_h: int) -> None:
    assert solar_offset(longitude_deg) == timedelta(hours=offset_h)


def test_a_day_in_solar_time_is_labelled(source: NasaPower) -> None:
    # In summer -90.2 degrees is UTC-6 by the sun and UTC-5 by the clock: 01:00 to 01:00.
    summer = fetch(source, first_day=FIRST, last_day=LAST)
    assert notes(summer, "rhmean_pct", date(2026, 7, 1)) == {
        "hours_present": None,
        "day_clock": "solar, UTC-6",
        "day_offset_min": 60,
    }
    assert notes(summer, "tmax_c", date(2026, 7, 1))["cell_elevation_m"] == 41.5
    winter = fetch(source, first_day=date(2026, 1, 1), last_day=date(2026, 1, 2))
    assert "day_offset_min" not in notes(winter, "rhmean_pct", date(2026, 1, 1))


def test_only_days_that_are_over_are_asked_for(source: NasaPower, providers: FakeProviders) -> None:
    assert last_day_over(-90.2, datetime(2026, 7, 7, 5, 59, tzinfo=UTC)) == date(2026, 7, 5)
    assert last_day_over(-90.2, datetime(2026, 7, 7, 6, 0, tzinfo=UTC)) == date(2026, 7, 6)
    answer = fetch(source, first_day=date(2026, 7, 7), last_day=date(2026, 7, 9))
    assert (len(answer.rows), answer.problems, answer.request_count) == (0, (), 0)
    assert providers.requests == []


def test_one_place_that_fails_does_not_affect_the_others(
    source: NasaPower, providers: FakeProviders
) -> None:
    sites = [make_site(f"s{step}", latitude_deg=30.0 + step) for step in range(3)]
    providers.order("/api", status(422, remark="bad place"), times=1)
    answer = fetch(source, sites, first_day=FIRST, last_day=LAST)
    assert set(answer.rows.site_keys.tolist()) == {1, 2}
    assert [(p.site_id, p.reason) for p in answer.problems] == [("s0", "http-422")]
    assert "bad place" in answer.problems[0].message


def test_sites_in_the_same_place_share_a_request(
    source: NasaPower, providers: FakeProviders
) -> None:
    sites = [make_site("a"), make_site("b", latitude_deg=33.001)]
    answer = fetch(source, sites, first_day=FIRST, last_day=LAST)
    assert providers.count("/api") == answer.request_count == 1
    assert values(answer, "tmax_c", site=0) == values(answer, "tmax_c", site=1)


def test_a_night_that_was_cut_short_goes_on_where_it_stopped(
    source: NasaPower, providers: FakeProviders
) -> None:
    sites = [make_site(f"s{step}", latitude_deg=30.0 + step) for step in range(4)]
    fetch(source, sites[:3], first_day=FIRST, last_day=LAST)
    answer = fetch(source, sites, first_day=FIRST, last_day=LAST, now=NOW + timedelta(hours=1))
    assert answer.request_count == 1
    assert set(answer.rows.site_keys.tolist()) == {0, 1, 2, 3}


def test_the_service_is_called_once_a_second() -> None:
    assert timedelta(seconds=1) == PAUSE
