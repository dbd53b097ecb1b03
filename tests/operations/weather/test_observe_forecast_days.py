"""What was observed is kept beside the forecasts, with where it is from; old issues are deleted."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from service.database.session import UnitOfWorkFactory
from service.operations.weather.observe_forecast_days import (
    ISSUES_KEPT_DAYS,
    ForecastsKept,
    observe_forecast_days,
)
from service.records.forecasts import TruthRows
from service.records.weather import FarmRain
from tests.operations.weather.forecast_days import InventedModel, observe, refresh, site_key_of
from tests.scheduled_farms import FixedClock
from tests.stored_farms import ints, stored_block, stored_bundle, stored_farm, stored_supply

NOW = datetime(2026, 7, 7, 23, 30, tzinfo=UTC)
TODAY = date(2026, 7, 7)
ORDER = {"invented-model": 1, "gauge": 5, "station": 6}


@pytest.fixture(autouse=True)
def archive(open_unit: UnitOfWorkFactory) -> None:
    """A farm alone at its place, without a county, and one evening's forecast."""
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(stored_bundle(counties=()), effective_day=TODAY, recorded_at=NOW)
    refresh(open_unit, InventedModel(), now=NOW)


def look(open_unit: UnitOfWorkFactory, *, days_later: int = 0) -> ForecastsKept:
    clock = FixedClock(NOW + timedelta(days=days_later))
    return observe_forecast_days(unit_of_work=open_unit, clock=clock, source_order=ORDER)


def truth(open_unit: UnitOfWorkFactory) -> TruthRows:
    with open_unit(write=False) as unit:
        return unit.forecasts.read_truth(
            ints(site_key_of(open_unit)),
            first_day=TODAY - timedelta(days=60),
            last_day=TODAY + timedelta(days=60),
        )


def read_gauge(open_unit: UnitOfWorkFactory, farm_id: str, day: date, rain_mm: float) -> int:
    with open_unit(write=True) as unit:
        farm_key = unit.blocks.farm_keys([farm_id])[farm_id]
        unit.rain.save_days(
            FarmRain(
                farm_keys=ints(farm_key),
                site_keys=ints(unit.blocks.get_site_key("hollow")),
                days=np.array([day], dtype="datetime64[D]"),
                rain_mm=np.array([rain_mm]),
                recorded_at=(NOW,),
                notes=({},),
            )
        )
    return farm_key


def test_an_observed_day_has_its_rain_reference_et_and_origin(open_unit: UnitOfWorkFactory) -> None:
    observe(open_unit, TODAY - timedelta(days=3), [0.0, 7.5, 0.0])
    assert look(open_unit).observed_count == 3
    found = truth(open_unit)
    assert found.rain_mm.tolist() == [0.0, 7.5, 0.0]
    assert set(found.rain_origins) == set(found.et0_origins) == {"observed station"}
    assert np.all((found.et0_mm > 4.0) & (found.et0_mm < 7.0))
    assert set(found.farm_keys.tolist()) == {0}


def test_nothing_is_kept_of_today_or_of_a_day_only_forecast(open_unit: UnitOfWorkFactory) -> None:
    observe(open_unit, TODAY, [3.0, 4.0])
    assert look(open_unit) == ForecastsKept(0, 0)
    assert look(open_unit, days_later=5).observed_count == 2  # of the days since


def test_the_same_look_again_changes_nothing_and_a_late_correction_does(
    open_unit: UnitOfWorkFactory,
) -> None:
    observe(open_unit, TODAY - timedelta(days=2), [1.0, 2.0])
    assert look(open_unit).observed_count == 2
    assert look(open_unit).observed_count == 0
    observe(open_unit, TODAY - timedelta(days=2), [5.0])
    assert look(open_unit).observed_count == 1
    assert truth(open_unit).rain_mm.tolist() == [5.0, 2.0]


def test_the_analysis_of_a_model_is_named_as_one(open_unit: UnitOfWorkFactory) -> None:
    observe(open_unit, TODAY - timedelta(days=1), [4.0], source="invented-model", kind="analysis")
    look(open_unit)
    assert truth(open_unit).rain_origins == ("analysis invented-model",)


def test_a_farms_own_gauge_is_kept_as_the_farms(open_unit: UnitOfWorkFactory) -> None:
    day = TODAY - timedelta(days=1)
    observe(open_unit, day - timedelta(days=1), [3.0, 4.0], source="import")
    farm_key = read_gauge(open_unit, "orchard", day, 9.0)
    look(open_unit)
    found = truth(open_unit)
    assert found.farm_keys.tolist() == [0, farm_key]
    assert found.rain_mm.tolist() == [3.0, 9.0]
    assert found.rain_origins == ("observed import", "observed gauge")


def test_where_others_use_the_place_too_it_keeps_its_own_rain(open_unit: UnitOfWorkFactory) -> None:
    neighbour = stored_bundle(
        stored_block("hillside.top", supply_id="tank"),
        farm=stored_farm("hillside"),
        supplies=(stored_supply("tank", "hillside"),),
        counties=(),
    )
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(neighbour, effective_day=TODAY, recorded_at=NOW)
    day = TODAY - timedelta(days=1)
    observe(open_unit, day, [4.0])
    farm_key = read_gauge(open_unit, "orchard", day, 9.0)
    look(open_unit)
    found = truth(open_unit)
    assert dict(zip(found.farm_keys.tolist(), found.rain_mm.tolist(), strict=True)) == {
        0: 4.0,
        farm_key: 9.0,
    }


def test_issues_are_deleted_after_five_weeks_and_their_leads_are_not(
    open_unit: UnitOfWorkFactory,
) -> None:
    assert look(open_unit, days_later=ISSUES_KEPT_DAYS).pruned_count == 0
    assert look(open_unit, days_later=ISSUES_KEPT_DAYS + 1).pruned_count == 1
    assert look(open_unit, days_later=ISSUES_KEPT_DAYS + 1).pruned_count == 0
    with open_unit(write=False) as unit:
        key = site_key_of(open_unit)
        assert unit.forecasts.list_issues(key) == []
        kept = unit.forecasts.read_leads(
            ints(key), first_day=TODAY, last_day=TODAY + timedelta(days=9)
        )
    assert len(kept) == 7


def test_a_service_without_forecasts_has_nothing_to_observe(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        unit.forecasts.save_places([])
    clock = FixedClock(NOW - timedelta(days=400))
    found = observe_forecast_days(unit_of_work=open_unit, clock=clock, source_order=ORDER)
    assert found == ForecastsKept(0, 0)
