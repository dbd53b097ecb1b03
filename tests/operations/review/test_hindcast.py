"""What a hindcast asks of its weather and its farm, on invented weather and blocks."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from service.agronomy.records import CurveDefinition, WeeklyNoWater
from service.errors import InputInvalid, NotFound, WeatherInvalid
from service.operations.review.hindcast import Hindcast, hindcast, narrow_bundle
from service.records.farms import FarmBundle
from tests.factories import (
    daily_fields,
    make_block,
    make_bundle,
    make_days,
    make_site,
    make_supply,
    make_weather,
)

FIRST_DAY, LAST_DAY = date(2023, 6, 11), date(2023, 6, 30)
DEGREE_DAYS = CurveDefinition(
    basis="degree-days",
    season_start=(6, 3),
    stage_knots=(100.0, 200.0, 2000.0, 3000.0),
    degree_day_floor_c=10.0,
)


def run(
    bundle: FarmBundle | None = None,
    *,
    first_weather_day: date = date(2023, 6, 1),
    weather_changes: dict[str, Any] | None = None,
    **changes: Any,
) -> Hindcast:
    day_count = (LAST_DAY - first_weather_day).days + 1
    weather = make_weather(days=make_days(first_weather_day, day_count), **(weather_changes or {}))
    options = {"first_day": FIRST_DAY, "last_day": LAST_DAY, **changes}
    return hindcast(bundle or make_bundle(), weather.days, daily_fields(weather), **options)


def test_the_requested_span_is_returned() -> None:
    result = run()
    assert result.days[0] == np.datetime64(FIRST_DAY)
    assert result.days[-1] == np.datetime64(LAST_DAY)
    assert result.block_ids == ("brook.north",)
    assert result.season.planned_min.shape == (20, 1)


def test_degree_days_count_from_the_weather_before_the_span() -> None:
    # 15 degree days a day from 3 June (25 less 10): on 11 June, the ninth day, the sum is 135.
    even = {"tmax_c": 32.0, "tmin_c": 18.0}
    bundle = make_bundle(make_block(curve=DEGREE_DAYS))
    season = run(bundle, weather_changes=even).season
    np.testing.assert_allclose(
        season.crop.degree_day_sum_c_day[:, 0], 135.0 + 15.0 * np.arange(20), atol=1e-9
    )
    assert np.all(np.isfinite(season.crop.crop_coefficient))
    # The third stage begins at 200: on 16 June the sum is 210 and Kc no longer rises.
    rising = np.diff(season.crop.crop_coefficient[:5, 0])
    assert np.all(rising > 0.02)


def test_degree_days_that_began_before_the_weather_are_refused_with_the_blocks_name() -> None:
    bundle = make_bundle(make_block(), make_block("south", curve=DEGREE_DAYS))
    with pytest.raises(WeatherInvalid, match=r"brook\.south are not known on 2023-06-11"):
        run(bundle, first_weather_day=date(2023, 6, 5))


def test_a_gap_of_reference_et_is_refused_and_its_days_named() -> None:
    tmax_c = np.full((30, 1), 30.0)
    tmax_c[14:25] = np.nan
    # Up to ten days are filled; a longer gap stays open from its first day.
    with pytest.raises(WeatherInvalid, match=r"for 2023-06-15, .*2023-06-24 and 1 more: temp"):
        run(weather_changes={"tmax_c": tmax_c})


def test_a_short_gap_is_filled() -> None:
    tmax_c = 30.0 + np.sin(np.arange(30))[:, None]
    tmax_c[14:16] = np.nan
    assert np.all(np.isfinite(run(weather_changes={"tmax_c": tmax_c}).et0_mm))


def test_weather_that_does_not_cover_the_span_is_refused() -> None:
    with pytest.raises(WeatherInvalid, match="2023-06-12 to 2023-06-30"):
        run(first_weather_day=date(2023, 6, 12))
    with pytest.raises(WeatherInvalid, match="not all of 2023-06-11 to 2023-07-01"):
        run(last_day=date(2023, 7, 1))


def test_a_span_that_ends_before_it_begins_is_refused() -> None:
    with pytest.raises(InputInvalid, match="ends before it begins"):
        run(last_day=date(2023, 6, 10))


def test_an_unknown_forecast_error_lists_the_known_ones() -> None:
    with pytest.raises(InputInvalid, match="none or yesterday"):
        run(forecast_error="tomorrow")


def test_a_farm_without_blocks_is_refused() -> None:
    with pytest.raises(InputInvalid, match="no block"):
        run(replace(make_bundle(), blocks=()))


def test_weather_in_another_unit_is_refused() -> None:
    fahrenheit = {"tmax_c": 86.0, "tmin_c": 66.0, "tdew_c": 64.0}
    with pytest.raises(WeatherInvalid, match="another unit"):
        run(weather_changes=fahrenheit)


def test_the_start_depletion_of_the_grower_counts() -> None:
    given = make_bundle(make_block(initial_depletion_mm=7.0))
    assert run(given).season.ledger.depletion_start_mm[0, 0] == 7.0
    assert run().season.ledger.depletion_start_mm[0, 0] == 0.0


def test_a_start_depletion_beyond_what_the_zone_holds_is_booked_as_resize() -> None:
    season = run(make_bundle(make_block(initial_depletion_mm=20.0))).season
    taw_mm = 14.85  # 1000 x (0.18 - 0.08) x 0.45 x 0.33, FAO-56 Eq. 82
    assert season.ledger.resize_mm[0, 0] == pytest.approx(taw_mm - 20.0)
    # The plan reckons with the full zone's worth, not with more.
    need_mm = taw_mm + season.crop.crop_et_mm[0, 0] - 0.3 * season.crop.raw_mm[0, 0]
    assert season.need_mm[0, 0] == pytest.approx(need_mm)
    assert np.all(season.ledger.irrigation_drainage_mm == 0.0)


def test_narrowing_keeps_the_blocks_that_share_the_water() -> None:
    bundle = make_bundle(
        make_block("north"),
        make_block("south", supply_id="pond"),
        make_block("east"),
        supplies=[make_supply(), make_supply("pond")],
    )
    kept = narrow_bundle(bundle, "brook.north").blocks
    assert [block.block_id for block in kept] == ["brook.north", "brook.east"]


def test_narrowing_to_an_unknown_block_lists_the_known_ones() -> None:
    with pytest.raises(NotFound, match=r"brook\.north"):
        narrow_bundle(make_bundle(), "brook.nowhere")


def test_progress_is_reported_day_by_day() -> None:
    reported: list[int] = []
    run(progress=reported.append)
    assert reported == list(range(1, 21))


def test_a_forecast_of_yesterday_is_the_day_before_the_evening_and_brings_no_rain() -> None:
    rain_mm = np.zeros((30, 1))
    rain_mm[20] = 40.0
    changes = {"rain_mm": rain_mm}
    foreseen = run(weather_changes=changes).season
    surprised = run(weather_changes=changes, forecast_error="yesterday").season
    # 21 June is row 10 of the span. The rain is credited only where it was foreseen.
    assert foreseen.rain_credit_mm[10, 0] == pytest.approx(40.0 * 0.33)
    assert np.all(surprised.rain_credit_mm == 0.0)
    assert surprised.ledger.rain_entering_mm[10, 0] == pytest.approx(40.0 * 0.33)


def test_plants_grow_with_the_calendar_year_within_one_hindcast() -> None:
    young = make_block(
        planting_year=2021.0, years_to_full_size=4.0, root_depth_is_scaled=True, curve=DEGREE_DAYS
    )
    bundle = make_bundle(replace(young, curve=make_block().curve))
    days = make_days(date(2022, 12, 1), 60)
    weather = make_weather(days=days, tmax_c=12.0, tmin_c=3.0, tdew_c=2.0, rs_mj_m2=8.0)
    result = hindcast(
        bundle,
        days,
        daily_fields(weather),
        first_day=date(2022, 12, 20),
        last_day=date(2023, 1, 10),
    )
    # Root depth shares 0.4 + 0.6 age/4: 0.55 in the first year, 0.70 in the second.
    full_mm = 14.85
    taw_mm = result.season.ledger.taw_mm[:, 0]
    np.testing.assert_allclose(taw_mm[:12], 0.55 * full_mm, atol=1e-9)
    np.testing.assert_allclose(taw_mm[12:], 0.70 * full_mm, atol=1e-9)


def test_sites_in_two_time_zones_run_on_their_own_sun() -> None:
    bundle = make_bundle(
        make_block("east"),
        make_block("west", site_id="valley"),
        sites=[
            make_site(),
            make_site("valley", longitude_deg=-119.0, zone="America/Los_Angeles"),
        ],
    )
    season = run(bundle).season
    # 4 minutes a degree: -79.95 is 4.95 degrees west of its zone's meridian, -119 is 1 degree east.
    apart_min = season.sunrise_min[:, 0] - season.sunrise_min[:, 1]
    np.testing.assert_allclose(apart_min, 4.0 * (4.95 + 1.0), atol=1.0)


def test_a_past_season_keeps_to_the_weekly_hours_of_its_supply() -> None:
    # Delivered on Tuesdays and Fridays alone: Mondays, Wednesdays and the weekend get nothing.
    closed = WeeklyNoWater((1, 3, 4, 6, 7), 0, 24 * 60, "the district's days")
    result = run(make_bundle(supplies=(make_supply(weekly_no_water=(closed,)),)))
    watered = {
        day.isoweekday()
        for day, minutes in zip(
            result.days.tolist(), result.season.planned_min[:, 0].tolist(), strict=True
        )
        if minutes
    }
    assert watered == {2, 5}
