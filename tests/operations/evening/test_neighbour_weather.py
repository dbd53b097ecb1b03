"""A gap in the weather of one site is closed after a place nearby, until its own weather comes."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from service.agronomy.reasoning import PlanFlag
from service.agronomy.weather_flags import FieldFlag
from service.bootstrap import Service
from service.operations.evening.gather_weather import GatheredWeather, gather_weather
from service.operations.evening.run_day import run_day
from service.operations.reading.read_plans import get_plan
from service.records.ledger import LedgerRows
from tests.api.invented_farm import RUN_AT, TODAY, load
from tests.gap_farm import BLOCK_ID, GAP, SITE_ID, bring_gappy_weather, gap_farm, row_of


def gather(
    service: Service, *site_ids: str, first_day: date = TODAY - timedelta(days=38)
) -> GatheredWeather:
    """The weather of these sites, or of all."""
    with service.unit_of_work(write=False) as unit:
        keys = np.array(sorted(unit.blocks.get_site_key(each) for each in site_ids), dtype=np.int64)
        return gather_weather(
            unit,
            unit.blocks.read_site_table(keys if site_ids else None),
            on=TODAY,
            now=RUN_AT,
            first_day=first_day,
            last_day=TODAY + timedelta(days=7),
            source_order={},
        )


def column_of(found: GatheredWeather, site_id: str) -> int:
    return [site.site_id for site in found.sites.definitions].index(site_id)


def gap_rows(found: GatheredWeather) -> slice:
    return slice(row_of(found.days, GAP[0]), row_of(found.days, GAP[1]) + 1)


def evening(service: Service, farm_ids: list[str] | None = None) -> None:
    run = run_day(
        TODAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
        farm_ids=farm_ids,
    )
    assert run.failures == []


def ledger(service: Service) -> LedgerRows:
    with service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_block_key(BLOCK_ID)
        return unit.ledger.read_rows(key, first_day=GAP[0], last_day=TODAY)


def test_the_gap_is_the_neighbours_days_in_the_ratio_of_the_two_sums(own_service: Service) -> None:
    load(own_service, gap_farm())
    bring_gappy_weather(own_service)
    found = gather(own_service)
    home, hill = column_of(found, "home"), column_of(found, SITE_ID)
    et0_mm, gap = found.weather.days.et0_mm, gap_rows(found)
    beside = np.r_[gap.start - 15 : gap.start, gap.stop : row_of(found.days, TODAY)]
    ratio = et0_mm[beside, hill].sum() / et0_mm[beside, home].sum()
    assert ratio > 1.02  # the warmer site
    np.testing.assert_allclose(et0_mm[gap, hill], et0_mm[gap, home] * ratio)
    assert np.all(found.weather.et0_flags[gap, hill] == int(FieldFlag.FILLED_FROM_NEIGHBOUR))
    assert np.all(found.weather.et0_flags[gap, home] == 0)
    assert found.borrowed is not None
    np.testing.assert_allclose(found.borrowed.neighbour_ratio[gap, hill], ratio)
    assert set(found.borrowed.common_days_count[gap, hill]) == {beside.size}
    np.testing.assert_allclose(found.borrowed.distance_km[gap, hill], 8.5, atol=0.3)


def test_one_farm_alone_gets_the_numbers_of_all_farms_together(own_service: Service) -> None:
    load(own_service, gap_farm())
    bring_gappy_weather(own_service)
    # A third farm whose books begin earlier stretches what is read together, as a run of all would.
    together = gather(own_service, first_day=TODAY - timedelta(days=40))
    alone = gather(own_service, SITE_ID, first_day=TODAY - timedelta(days=34))
    np.testing.assert_array_equal(
        alone.weather.days.et0_mm[gap_rows(alone), 0],
        together.weather.days.et0_mm[gap_rows(together), column_of(together, SITE_ID)],
    )


def test_its_own_weather_replaces_what_was_borrowed(own_service: Service) -> None:
    load(own_service, gap_farm())
    bring_gappy_weather(own_service)
    evening(own_service)
    gap_days = (GAP[1] - GAP[0]).days + 1
    borrowed_mm = ledger(own_service).numbers["et0_mm"][:gap_days]
    plan = get_plan(BLOCK_ID, day=None, unit_of_work=own_service.unit_of_work).plan
    assert plan.status != "no-weather"
    assert plan.reasoning.flags & PlanFlag.REFERENCE_ET_FILLED
    (span,) = plan.weather.borrowed
    assert (span.first_day, span.last_day) == GAP

    bring_gappy_weather(own_service, is_whole=True)
    evening(own_service)
    own_mm = ledger(own_service).numbers["et0_mm"][:gap_days]
    assert np.all(np.abs(own_mm - borrowed_mm) > 1e-6)
    np.testing.assert_allclose(own_mm, borrowed_mm, rtol=0.05)
    plan = get_plan(BLOCK_ID, day=None, unit_of_work=own_service.unit_of_work).plan
    assert not plan.reasoning.flags & PlanFlag.REFERENCE_ET_FILLED
    assert plan.weather.borrowed == ()


def test_borrowed_days_are_not_settled_for_ten_days(own_service: Service) -> None:
    load(own_service, gap_farm())
    bring_gappy_weather(own_service)
    evening(own_service)
    with own_service.unit_of_work(write=False) as unit:
        keys = np.array([unit.blocks.get_block_key(BLOCK_ID)])
        settled = unit.ledger.read_states(keys).settled_day[0]
    assert settled < np.datetime64(GAP[0])
    assert not ledger(own_service).is_observed[: (GAP[1] - GAP[0]).days + 1].any()


@pytest.mark.parametrize(("latitude", "is_near"), [(36.4, True), (36.6, False)])
def test_a_neighbour_is_at_most_sixty_kilometres_away(
    own_service: Service, latitude: float, is_near: bool
) -> None:
    # From 35.91 to 36.40 degrees it is 55 km, to 36.60 it is 77 km.
    load(own_service, gap_farm("far", latitude=latitude))
    bring_gappy_weather(own_service, site_id="far")
    found = gather(own_service, "far")
    flags = found.weather.et0_flags[gap_rows(found), 0]
    expected = FieldFlag.FILLED_FROM_NEIGHBOUR if is_near else FieldFlag.FILLED_FROM_DAYS_AROUND
    assert np.all(flags == int(expected))


def test_forecasts_of_a_neighbour_are_not_borrowed(own_service: Service) -> None:
    # All that this neighbour has of the gap are forecasts; the next one, farther away, measured.
    load(own_service, gap_farm("forecast-only", latitude=35.951, farm_id="other-farm"))
    bring_gappy_weather(own_service, site_id="forecast-only")
    bring_gappy_weather(own_service, site_id="forecast-only", is_whole=True, all_forecast=True)
    load(own_service, gap_farm())
    bring_gappy_weather(own_service)
    found = gather(own_service, SITE_ID)
    assert found.borrowed is not None
    np.testing.assert_allclose(found.borrowed.distance_km[gap_rows(found), 0], 8.5, atol=0.3)


def test_a_site_of_no_gap_borrows_nothing(own_service: Service) -> None:
    assert gather(own_service, "home").borrowed is None
