"""What tomorrow's plans rest on: findings about the store, its sites and its blocks."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from service.bootstrap import Service
from service.database.session import UnitOfWorkFactory
from service.operations.farms.manage_farms import load_bundle
from service.operations.farms.measured_numbers import change_number
from service.operations.schedule.check_health import Health, SiteHealth, check_health
from service.operations.weather.import_weather import import_weather
from service.operations.weather.record_rain import GaugeReport, record_rain
from service.records.farms import FarmBundle
from tests.api.invented_farm import (
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    FixedClock,
)
from tests.stored_farms import stored_county, stored_site

ORDER = {"import": 1}


def health_of(open_unit: UnitOfWorkFactory, *, later: timedelta = timedelta(0)) -> Health:
    return check_health(
        unit_of_work=open_unit, clock=FixedClock(RUN_AT + later), source_order=ORDER
    )


def home(health: Health) -> SiteHealth:
    (site,) = [each for each in health.sites if each.site_id == "home"]
    return site


def store(service: Service, bundle: FarmBundle) -> None:
    load_bundle(bundle, effective_day=TODAY, unit_of_work=service.unit_of_work, clock=service.clock)


def test_an_empty_store_says_where_to_begin(open_unit: UnitOfWorkFactory) -> None:
    health = health_of(open_unit)
    assert (health.farm_count, health.site_count, health.latest_plan_day) == (0, 0, None)
    assert health.findings == ("no farm is stored; `rillwright load FARM.toml` loads one",)
    assert health.needs_attention


def test_a_planned_farm_with_fresh_weather_has_no_findings(own_service: Service) -> None:
    health = health_of(own_service.unit_of_work)
    assert (health.farm_count, health.block_count, health.county_count) == (2, 3, 0)
    assert health.latest_plan_day == PLAN_DAY
    assert health.findings == () and health.blocks == ()
    site = home(health)
    assert (site.last_observed_day, site.missing_days, site.findings) == (TODAY, (), ())
    assert site.forecast_until_day == TODAY + timedelta(days=7)
    assert list(site.sources["tomorrow"]) == [
        f"import forecast of {RUN_AT.date()} {RUN_AT:%H:%M} UTC"
    ]


def test_rain_that_is_read_by_hand_does_not_hide_that_the_weather_has_ended(
    own_service: Service,
) -> None:
    clock = FixedClock(RUN_AT + timedelta(days=4))
    record_rain(
        GaugeReport(site_id="home", rain_mm=3.0, reporter="Kim"),
        source_order=own_service.source_order,
        unit_of_work=own_service.unit_of_work,
        clock=clock,
    )
    health = check_health(unit_of_work=own_service.unit_of_work, clock=clock, source_order={})
    site = home(health)
    assert site.last_observed_day == TODAY
    assert site.measured_until["rain"] == TODAY + timedelta(days=4)
    assert f"observed weather ends 4 days ago, on {TODAY}" in site.findings


def test_one_site_without_weather_is_reported_and_the_other_is_not(
    own_service: Service,
) -> None:
    findings = {each.site_id: each.findings for each in health_of(own_service.unit_of_work).sites}
    assert findings["home"] == ()
    assert findings["hill"] == (
        "no observed weather at all",
        "no forecast for tomorrow; the mean of the last days stands in",
    )


def test_a_single_line_in_blueberries_is_asked_about_and_is_no_finding(
    own_service: Service,
) -> None:
    with own_service.unit_of_work(write=True) as unit:
        block = unit.blocks.get_block(BLOCK_ID, day=TODAY)
        change_number(
            unit,
            block,
            "laterals_per_row_count",
            1.0,
            origin="given",
            effective_day=TODAY,
            clock=own_service.clock,
        )
    health = health_of(own_service.unit_of_work)
    assert [text.startswith(f"{BLOCK_ID}: one drip line per row") for text in health.questions] == [
        True
    ]
    said = [*health.findings, *(text for each in health.blocks for text in each.findings)]
    assert not any("one drip line" in text for text in said)


def test_looking_changes_nothing(own_service: Service) -> None:
    assert health_of(own_service.unit_of_work) == health_of(own_service.unit_of_work)


def test_old_weather_and_old_plans_are_reported_with_their_days(
    own_service: Service,
) -> None:
    health = health_of(own_service.unit_of_work, later=timedelta(days=10))
    assert health.findings == (
        f"the latest plan is for {PLAN_DAY}; `rillwright run-day` makes a new one",
    )
    observed, forecast = home(health).findings
    assert observed == f"observed weather ends 10 days ago, on {TODAY}"
    assert forecast.endswith(f"(it ends {TODAY + timedelta(days=7)})")


def bring_to_hill(service: Service, *days_ago: int, tmax_c: float = 30.0) -> None:
    """Observed temperatures at ``hill`` of these days."""
    days = np.array([TODAY - timedelta(days=ago) for ago in days_ago], dtype="datetime64[D]")
    import_weather(
        "hill",
        days,
        {"tmax_c": np.full(days.size, tmax_c), "tmin_c": np.full(days.size, tmax_c - 11.0)},
        source="import",
        forecast_from=None,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def hill(health: Health) -> SiteHealth:
    (site,) = [each for each in health.sites if each.site_id == "hill"]
    return site


def test_a_day_without_temperatures_between_observed_ones_is_named(own_service: Service) -> None:
    bring_to_hill(own_service, 6, 5, 3, 1)
    site = hill(health_of(own_service.unit_of_work))
    assert site.missing_days == (TODAY - timedelta(days=4), TODAY - timedelta(days=2))
    assert "2 of the last 30 days without temperatures" in site.findings


def test_weather_in_fahrenheit_is_reported(own_service: Service) -> None:
    bring_to_hill(own_service, *range(20, 0, -1), tmax_c=88.0)
    findings = hill(health_of(own_service.unit_of_work)).findings
    assert findings[0].startswith("the weather looks like another unit and is not used")


def test_days_with_a_value_that_was_replaced_are_counted_by_field(own_service: Service) -> None:
    bring_to_hill(own_service, 3, 2, 1)
    site = hill(health_of(own_service.unit_of_work))
    assert site.flag_day_counts == {"u2_m_s: default wind": 3}
    assert "u2_m_s: default wind, days: 3" in site.findings


def test_a_block_whose_numbers_look_odd_is_named_and_its_neighbour_is_not(
    own_service: Service,
) -> None:
    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    north, south = bundle.blocks
    worn = replace(north, emission_uniformity_pct=74.9, root_depth_m=0.05)
    store(own_service, replace(bundle, blocks=(worn, south)))
    (odd,) = health_of(own_service.unit_of_work).blocks
    assert odd.block_id == BLOCK_ID
    assert any("74.9 % means clogged" in each for each in odd.findings)
    assert any("check soil, roots and wetted share" in each for each in odd.findings)


def test_a_region_of_counties_alone_lacks_a_farm(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(
            FarmBundle(farm=None, sites=(stored_site(),), counties=(stored_county(),)),
            effective_day=date(2026, 6, 1),
            recorded_at=RUN_AT,
        )
    health = health_of(open_unit)
    assert (health.farm_count, health.site_count, health.county_count) == (0, 1, 1)
    assert health.findings[0].startswith("no farm is stored")
