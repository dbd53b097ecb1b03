"""What plans store of the spread of the coming week, and that no plan changes by it."""

from __future__ import annotations

import numpy as np
import pytest

from service.agronomy.reasoning import explain_plan
from service.agronomy.weather_members import no_members
from service.bootstrap import Service
from service.operations.evening.run_weather import RunWeather
from service.records.plans import PublishedPlan
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, PLAN_DAY, plan_evening
from tests.operations.evening.test_gather_members import bring_rain


def plan_of(service: Service, block_id: str = BLOCK_ID) -> PublishedPlan:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(block_id, day=PLAN_DAY)
    assert plan is not None
    return plan


@pytest.fixture
def uncertain(own_service: Service) -> Service:
    """A farm with a forecast of six mm of rain at a chance of one half on every day."""
    bring_rain(own_service, 0.5, 6.0, source="station")
    assert plan_evening(own_service) == []
    return own_service


@pytest.mark.parametrize("block_id", [BLOCK_ID, BARE_BLOCK_ID])
def test_a_block_that_follows_the_evening_rule_knows_how_far_its_week_may_differ(
    block_id: str, uncertain: Service
) -> None:
    plan = plan_of(uncertain, block_id)
    numbers = plan.reasoning
    assert numbers.risk_attitude is None
    assert numbers.member_count == 31
    low, middle, high = numbers.outlook_band_min
    assert len(low) == len(middle) == len(high) == len(numbers.outlook_expected_min)
    # Tomorrow's minutes are decided; every later day has a band around what may be asked.
    assert low[0] == high[0] == plan.planned_min
    for band in (numbers.outlook_band_min, numbers.outlook_band_depletion_mm):
        assert (np.diff(np.array(band, dtype=np.float64), axis=0) >= 0.0).all()
    assert low != high
    assert numbers.short_tomorrow_fraction is not None
    assert numbers.short_horizon_fraction is not None
    assert 0.0 <= numbers.short_tomorrow_fraction <= numbers.short_horizon_fraction <= 1.0


def test_why_tells_the_chance_of_running_short_for_every_block(uncertain: Service) -> None:
    steps = {step.name: step for step in explain_plan(plan_of(uncertain).reasoning.quantities, {})}
    for name in ("short_tomorrow_fraction", "short_horizon_fraction"):
        assert steps[name].value is not None
        assert "of 31 courses" in steps[name].worked
    assert "risk_guard" not in steps


def test_no_plan_changes_by_its_spread(uncertain: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same evening without a look at the members publishes nothing new."""
    before = plan_of(uncertain)
    monkeypatch.setattr("service.operations.evening.run_day.spread_of_week", lambda *_: None)
    assert plan_evening(uncertain) == []
    assert plan_of(uncertain) == before


def test_without_members_nothing_is_stored(
    own_service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    days = np.arange(np.datetime64(PLAN_DAY), np.datetime64(PLAN_DAY) + 7)
    monkeypatch.setattr(
        RunWeather,
        "member_batch",
        lambda _self, _unit, weather: no_members(days, weather.sites.keys.size),
    )
    bring_rain(own_service, 0.5, 6.0, source="station")
    assert plan_evening(own_service) == []
    numbers = plan_of(own_service).reasoning
    assert numbers.member_count is None
    assert numbers.short_tomorrow_fraction is None
    assert list(numbers.outlook_band_min) == []
