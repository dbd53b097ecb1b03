"""Plans made again in the transaction of a change, where there are plans to replace."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from service.bootstrap import Service
from service.errors import NotFound
from service.operations.evening.replan_after import replan_after, replan_for_site
from tests.api.invented_farm import BLOCK_ID, FARM_ID, PLAN_DAY, TODAY, bring_weather


def replan(service: Service, *farm_ids: str, touched_day: date | None = None) -> int:
    with service.unit_of_work(write=True) as unit:
        return replan_after(unit, farm_ids, touched_day=touched_day, replanning=service.replanning)


def for_site(service: Service, site_id: str, touched_day: date | None) -> int:
    with service.unit_of_work(write=True) as unit:
        return replan_for_site(
            unit, site_id, touched_day=touched_day, replanning=service.replanning
        )


def version_of(service: Service) -> int:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY)
    assert plan is not None
    return plan.version


def test_where_nothing_changed_no_plan_is_replaced(own_service: Service) -> None:
    assert replan(own_service, FARM_ID) == 0
    assert version_of(own_service) == 1


def test_changed_weather_replaces_tomorrows_plans_once(own_service: Service) -> None:
    bring_weather(own_service, warmer_c=8.0)
    day_before = TODAY - timedelta(days=1)
    assert replan(own_service, FARM_ID, touched_day=day_before) == 2
    assert replan(own_service, FARM_ID, touched_day=day_before) == 0
    assert version_of(own_service) == 2


def test_a_farm_that_was_never_planned_waits_for_its_evening(own_service: Service) -> None:
    bring_weather(own_service, site_id="hill")
    assert replan(own_service, "later-farm") == 0
    with own_service.unit_of_work(write=False) as unit:
        assert unit.plans.find_plan("later-farm.young", day=PLAN_DAY) is None


def test_a_change_at_a_site_is_one_of_all_farms_that_draw_on_it(own_service: Service) -> None:
    bring_weather(own_service, warmer_c=8.0)
    assert for_site(own_service, "home", None) == 0
    assert for_site(own_service, "hill", TODAY) == 0
    assert for_site(own_service, "home", TODAY) == 2
    with pytest.raises(NotFound, match="nowhere"):
        for_site(own_service, "nowhere", TODAY)


def test_new_plans_fall_with_the_change_that_asked_for_them(own_service: Service) -> None:
    bring_weather(own_service, warmer_c=8.0)

    class Undone(Exception):
        """A failure after the plans were made."""

    with pytest.raises(Undone), own_service.unit_of_work(write=True) as unit:
        replan_after(unit, [FARM_ID], touched_day=TODAY, replanning=own_service.replanning)
        raise Undone
    assert version_of(own_service) == 1
