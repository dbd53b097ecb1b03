"""Counties side by side for one block, over one span or several at once, and nothing stored."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from service.agronomy.county_need import Basis
from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.review.compare_counties import (
    CountyComparison,
    compare_counties,
    compare_spans,
    list_county_sites,
)
from service.operations.weather.import_weather import import_weather
from service.records.farms import BlockDefinition
from tests.api.invented_farm import BLOCK_ID, TODAY

MONDAY = TODAY - timedelta(days=TODAY.weekday())
WEEKS = [
    (MONDAY - timedelta(days=7 * back), MONDAY - timedelta(days=7 * back - 6)) for back in range(9)
]


def bring_a_season(service: Service) -> None:
    """A hundred days of invented weather at both sites, with a gap of two days inside a week."""
    rng = np.random.default_rng(3)
    days = np.arange(np.datetime64(TODAY) - 100, np.datetime64(TODAY) + 7, dtype="datetime64[D]")
    known = (days != np.datetime64("2026-06-10")) & (days != np.datetime64("2026-06-11"))
    for site_id in ("home", "far"):
        tmin_c = rng.normal(18.0, 2.0, days.size)
        import_weather(
            site_id,
            days[known],
            {
                "tmin_c": tmin_c[known],
                "tmax_c": (tmin_c + rng.uniform(8.0, 14.0, days.size))[known],
                "tdew_c": (tmin_c - 1.0)[known],
                "wind_m_s": rng.uniform(1.0, 4.0, days.size)[known],
                "rs_mj_m2": rng.uniform(14.0, 26.0, days.size)[known],
                "rain_mm": np.where(rng.random(days.size) < 0.2, 9.0, 0.0)[known],
            },
            source="import",
            forecast_from=TODAY + timedelta(days=1),
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )


def bring_even_weeks(service: Service, site_id: str, *, rain_mm: float) -> None:
    """Even weather up to TODAY, with so much rain every day."""
    days = np.arange(np.datetime64(TODAY) - 60, np.datetime64(TODAY) + 1, dtype="datetime64[D]")
    even = {"tmin_c": 18.0, "tmax_c": 30.0, "tdew_c": 17.0, "wind_m_s": 2.0, "rs_mj_m2": 22.0}
    import_weather(
        site_id,
        days,
        {name: np.full(days.size, value) for name, value in {**even, "rain_mm": rain_mm}.items()},
        source="import",
        forecast_from=None,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def known_today(service: Service) -> dict[str, Any]:
    """With what counties are compared, as known on TODAY."""
    return {
        "on": TODAY,
        "unit_of_work": service.unit_of_work,
        "clock": service.clock,
        "source_order": service.source_order,
    }


def compare(service: Service, reference: str | BlockDefinition = BLOCK_ID) -> CountyComparison:
    """Last week, Monday to Sunday."""
    first_day = MONDAY - timedelta(days=7)
    return compare_counties(
        reference,
        first_day=first_day,
        last_day=first_day + timedelta(days=6),
        **known_today(service),
    )


def test_nine_weeks_in_one_go_equal_nine_single_calls(region: Service) -> None:
    bring_a_season(region)
    common = known_today(region)
    together = compare_spans(BLOCK_ID, WEEKS, **common)
    assert [(each.first_day, each.last_day) for each in together] == WEEKS
    for (first_day, last_day), found in zip(WEEKS, together, strict=True):
        alone = compare_counties(BLOCK_ID, first_day=first_day, last_day=last_day, **common)
        assert np.isfinite(alone.need.net_need_mm).all()
        for field in fields(alone.need):
            np.testing.assert_array_equal(
                getattr(found.need, field.name), getattr(alone.need, field.name)
            )
        np.testing.assert_array_equal(found.forecast_day_count, alone.forecast_day_count)
        np.testing.assert_array_equal(found.rain_mm, alone.rain_mm)
        assert found.observed_until == alone.observed_until == (TODAY, TODAY)
    assert together[0].forecast_day_count.tolist() == [5, 5]
    # The gap of two days in the week from 8 June is bridged, and that is no measurement.
    gap = next(each for each in together if each.first_day == date(2026, 6, 8))
    assert gap.days.stand_in_days_count.tolist() == [0, 2]  # ``home`` has it from before
    assert [gap.days.of(county) for county in range(2)] == [Basis.MEASURED, Basis.STAND_IN]
    assert np.isnan(gap.rain_mm).tolist() == [False, True]


def test_a_span_that_falls_or_is_too_long_is_refused(region: Service) -> None:
    for last_day in (date(2026, 6, 30), date(2026, 9, 30)):
        with pytest.raises(InputInvalid, match="at most 62 days"):
            compare_spans(
                BLOCK_ID,
                [(date(2026, 7, 1), last_day)],
                **known_today(region),
            )


def test_the_county_where_it_rained_needs_less_of_the_same_block(region: Service) -> None:
    for site_id, rain_mm in (("home", 0.0), ("far", 4.0)):
        bring_even_weeks(region, site_id, rain_mm=rain_mm)
    found = compare(region)
    assert [county.county_code for county in found.counties] == ["X01", "X02"]
    assert found.rain_mm.tolist() == pytest.approx([0.0, 28.0])
    assert found.need.reference_et_mm[0] == pytest.approx(found.need.reference_et_mm[1], rel=0.02)
    assert found.need.net_need_mm[0] > found.need.net_need_mm[1]
    assert found.need.rank.tolist() == [1, 2]
    assert found.forecast_day_count.tolist() == [0, 0]


def test_a_county_without_weather_has_no_number_and_does_not_stop_the_other(
    region: Service,
) -> None:
    found = compare(region)  # weather of ``home`` alone is stored
    assert np.isfinite(found.need.net_need_mm).tolist() == [True, False]
    assert np.isnan(found.rain_mm).tolist() == [False, True]
    assert found.observed_until == (TODAY, None)


def test_a_block_that_is_not_stored_can_be_put_into_the_counties(region: Service) -> None:
    with region.unit_of_work(write=False) as unit:
        stored = unit.blocks.get_block(BLOCK_ID, day=TODAY)
    by_name, by_value = compare(region), compare(region, stored)
    np.testing.assert_array_equal(by_name.need.net_need_mm, by_value.need.net_need_mm)
    drier = compare(region, replace(stored, root_share_of_wetted=0.5, kc_mid=2.0 * stored.kc_mid))
    assert drier.need.net_need_mm[0] > by_name.need.net_need_mm[0]


def test_a_block_that_is_not_stored_is_compared_nowhere(region: Service) -> None:
    with pytest.raises(NotFound, match=r"test-farm\.nowhere"):
        compare(region, "test-farm.nowhere")


def test_the_sites_of_counties_are_those_they_name(region: Service) -> None:
    sites = list_county_sites(unit_of_work=region.unit_of_work)
    assert sorted(site.site_id for site in sites) == ["far", "home"]


def test_a_service_without_counties_says_how_to_get_them(own_service: Service) -> None:
    with pytest.raises(NotFound, match=r"\[\[county\]\] tables"):
        compare(own_service)
    with pytest.raises(NotFound, match=r"\[\[county\]\] tables"):
        list_county_sites(unit_of_work=own_service.unit_of_work)
