"""Power, energy and cost of a block's newest plan."""

from __future__ import annotations

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.waterworks.estimate_pumping import PumpRequest, estimate_pumping
from tests.api.invented_farm import BLOCK_ID, TODAY


def test_the_minutes_of_the_newest_plan_are_pumped(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    request = PumpRequest(head_m=30.0, energy_price=0.2)
    found = estimate_pumping(BLOCK_ID, request, on=TODAY, unit_of_work=unit_of_work)
    with unit_of_work(write=False) as unit:
        day = unit.plans.find_latest_day(BLOCK_ID)
        assert day is not None
        plan = unit.plans.find_plan(BLOCK_ID, day=day)
    assert plan is not None
    assert (found.day, found.planned_min) == (plan.day, plan.planned_min)
    # Q g H / 60 %, by hand.
    kw = found.flow_l_per_h / 3.6e6 * 9.80665 * 30.0 / 0.6
    assert found.pumping.power_kw == pytest.approx(kw)
    assert found.pumping.energy_kwh == pytest.approx(kw * plan.planned_min / 60.0)
    assert found.pumping.cost == pytest.approx(0.2 * found.pumping.energy_kwh)


def test_what_cannot_be_is_refused(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    with pytest.raises(InputInvalid, match="head_m"):
        estimate_pumping(BLOCK_ID, PumpRequest(head_m=0.0), on=TODAY, unit_of_work=unit_of_work)
    with pytest.raises(NotFound):
        estimate_pumping(
            "hill-farm.none", PumpRequest(head_m=30.0), on=TODAY, unit_of_work=unit_of_work
        )
