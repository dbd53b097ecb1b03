"""Forecasts are kept as they were issued: which of a day counts, and what begins again."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from service.database.session import UnitOfWorkFactory
from service.records.forecasts import ForecastIssue, ForecastPlace, LeadRows
from tests.operations.weather.forecast_days import InventedModel, refresh, site_key_of
from tests.stored_farms import ints, stored_bundle, stored_site

AFTERNOON = datetime(2026, 7, 7, 23, 30, tzinfo=UTC)  # 16:30 in California
ON = date(2026, 7, 7)
HOUR = timedelta(hours=1)


@pytest.fixture(autouse=True)
def farm(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(stored_bundle(), effective_day=ON, recorded_at=AFTERNOON)


def issues(open_unit: UnitOfWorkFactory) -> list[ForecastIssue]:
    with open_unit(write=False) as unit:
        return unit.forecasts.list_issues(site_key_of(open_unit))


def leads(open_unit: UnitOfWorkFactory) -> LeadRows:
    with open_unit(write=False) as unit:
        return unit.forecasts.read_leads(
            ints(site_key_of(open_unit)), first_day=ON, last_day=ON + timedelta(days=30)
        )


def place(open_unit: UnitOfWorkFactory) -> ForecastPlace:
    with open_unit(write=False) as unit:
        (found,) = unit.forecasts.list_places().values()
    return found


def move(open_unit: UnitOfWorkFactory, **changes: Any) -> None:
    moved = stored_bundle(sites=(stored_site(**changes),))
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(moved, effective_day=ON, recorded_at=AFTERNOON)


def test_a_forecast_is_kept_exactly_as_it_was_issued(open_unit: UnitOfWorkFactory) -> None:
    refresh(open_unit, InventedModel(rain_of=lambda day: day.day / 3.0), now=AFTERNOON)
    (issue,) = issues(open_unit)
    assert issue.source == "invented-model" and issue.issued_on == ON
    assert (issue.issued_at, issue.fetched_at) == (AFTERNOON - HOUR, AFTERNOON)
    assert issue.days == tuple(ON + timedelta(days=lead) for lead in range(8))
    assert issue.fields["rain_mm"] == tuple(day.day / 3.0 for day in issue.days)
    assert set(issue.fields["tmax_c"]) == {30.25}
    assert (issue.latitude_deg, issue.elevation_m) == (36.5, 84.0)


def test_leads_count_from_the_evening_and_today_has_none(open_unit: UnitOfWorkFactory) -> None:
    refresh(open_unit, InventedModel(rain_of=lambda day: float(day.day)), now=AFTERNOON)
    found = leads(open_unit)
    assert found.lead_days.tolist() == [1, 2, 3, 4, 5, 6, 7]
    assert found.numbers["rain_mm"].tolist() == [8, 9, 10, 11, 12, 13, 14]
    assert found.numbers["rain_probability_fraction"] == pytest.approx(0.6)
    # Even summer weather: reference ET of about 5 mm, from the forecast's own weather.
    assert np.all((found.numbers["et0_mm"] > 4.0) & (found.numbers["et0_mm"] < 7.0))
    assert np.isnan(found.numbers["rain_p50_mm"]).all() and not found.member_count.any()


def test_the_last_forecast_before_the_evening_counts(open_unit: UnitOfWorkFactory) -> None:
    for rain_mm, at in ((1.0, AFTERNOON - 6 * HOUR), (2.0, AFTERNOON), (9.0, AFTERNOON + 4 * HOUR)):
        refresh(open_unit, InventedModel(rain_of=lambda _, mm=rain_mm: mm), now=at)  # type: ignore[misc]  # mypy cannot infer a lambda with a default
    (issue,) = issues(open_unit)
    assert issue.fetched_at == AFTERNOON
    assert set(leads(open_unit).numbers["rain_mm"].tolist()) == {2.0}


def test_one_that_comes_late_counts_where_nothing_came_before(open_unit: UnitOfWorkFactory) -> None:
    late = AFTERNOON + 5 * HOUR  # half past nine; the next day in UTC
    refresh(open_unit, InventedModel(), now=late)
    assert [issue.issued_on for issue in issues(open_unit)] == [ON]
    assert leads(open_unit).days[0] == np.datetime64(ON + timedelta(days=1))


def test_a_later_evening_gives_the_same_day_a_shorter_lead(open_unit: UnitOfWorkFactory) -> None:
    for evening in range(3):
        model = InventedModel(rain_of=lambda _, mm=float(evening): mm)  # type: ignore[misc]  # as above
        refresh(open_unit, model, now=AFTERNOON + timedelta(days=evening))
    found = leads(open_unit)
    of_day = found.days == np.datetime64(ON + timedelta(days=3))
    assert found.lead_days[of_day].tolist() == [3, 2, 1]
    assert found.numbers["rain_mm"][of_day].tolist() == [0.0, 1.0, 2.0]


def test_sources_are_kept_apart(open_unit: UnitOfWorkFactory) -> None:
    refresh(open_unit, InventedModel(), now=AFTERNOON)
    refresh(open_unit, InventedModel(name="second"), now=AFTERNOON)
    assert [issue.source for issue in issues(open_unit)] == ["invented-model", "second"]


def test_a_forecast_too_old_for_plans_is_not_kept(open_unit: UnitOfWorkFactory) -> None:
    refresh(open_unit, InventedModel(age_h=49.0), now=AFTERNOON)
    assert issues(open_unit) == [] and not len(leads(open_unit))


def test_weather_in_another_unit_is_kept_as_issued_without_reference_et(
    open_unit: UnitOfWorkFactory,
) -> None:
    model = InventedModel()
    model.tmax_c = 88.0
    refresh(open_unit, model, now=AFTERNOON)
    found = leads(open_unit)
    assert set(found.numbers["tmax_c"].tolist()) == {88.0}
    assert np.isnan(found.numbers["et0_mm"]).all()


def test_the_archive_of_a_site_that_moved_begins_again(open_unit: UnitOfWorkFactory) -> None:
    refresh(open_unit, InventedModel(), now=AFTERNOON)
    assert not place(open_unit).has_moved
    move(open_unit, latitude_deg=36.6)
    later = AFTERNOON + timedelta(days=2)
    refresh(open_unit, InventedModel(), now=later)
    found = place(open_unit)
    assert found.has_moved and found.first_day == ON + timedelta(days=2)
    assert found.latitude_deg == 36.6
    # What was issued for the old place is still there, as it was.
    assert [issue.latitude_deg for issue in issues(open_unit)] == [36.5, 36.6]


@pytest.mark.parametrize("change", [{"latitude_deg": 36.505}, {"elevation_m": 120.0}])
def test_a_corrected_place_goes_on(open_unit: UnitOfWorkFactory, change: dict[str, float]) -> None:
    refresh(open_unit, InventedModel(), now=AFTERNOON)
    before = place(open_unit)
    move(open_unit, **change)
    refresh(open_unit, InventedModel(), now=AFTERNOON + timedelta(days=2))
    assert place(open_unit) == before


def test_quantiles_of_an_ensemble_can_be_kept(open_unit: UnitOfWorkFactory) -> None:
    refresh(open_unit, InventedModel(), now=AFTERNOON)
    plain = leads(open_unit)
    quantiles = {"rain_p10_mm": 0.0, "rain_p50_mm": 1.5, "rain_p90_mm": 6.0, "et0_p90_mm": 5.5}
    numbers = {
        **plain.numbers,
        **{name: np.full(len(plain), value) for name, value in quantiles.items()},
    }
    with open_unit(write=True) as unit:
        unit.forecasts.save_leads(
            replace(plain, numbers=numbers, member_count=np.full(len(plain), 31))
        )
    found = leads(open_unit)
    assert set(found.member_count.tolist()) == {31}
    assert {name: float(found.numbers[name][0]) for name in quantiles} == quantiles
    assert found.numbers["rain_mm"].tolist() == plain.numbers["rain_mm"].tolist()
