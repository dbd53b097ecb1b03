"""How far a farm is set up, until its first plan is made."""

from __future__ import annotations

from datetime import datetime, timedelta

from service.bootstrap import Service
from service.operations.evening.plan_first import FirstPlan, plan_first
from service.operations.feedback.estimate_soil import estimate_soil
from service.operations.reading.read_farms import list_farms
from service.operations.reading.set_up_progress import SetUpProgress, read_progress
from tests.api.invented_farm import FARM_ID, YOUNG_BLOCK_ID, bring_weather


def progress(service: Service, farm_id: str = "later-farm") -> SetUpProgress | None:
    (farm,) = list_farms([farm_id], unit_of_work=service.unit_of_work)
    return read_progress(farm, unit_of_work=service.unit_of_work, clock=service.clock)


def say_wetness(service: Service, at: datetime) -> None:
    with service.unit_of_work(write=True) as unit:
        estimate_soil(
            unit, YOUNG_BLOCK_ID, 0.5, read_at=at, reporter="test", replanning=service.replanning
        )


def test_what_there_is_of_a_farm_is_read_until_it_has_a_plan(own_service: Service) -> None:
    found = progress(own_service)
    assert found is not None
    assert found.supply_ids and found.block_ids == (YOUNG_BLOCK_ID,)
    assert not found.knows_soil and not found.has_weather
    say_wetness(own_service, own_service.clock.now() - timedelta(hours=1))
    bring_weather(own_service, site_id="hill", forecast_day_count=0)
    found = progress(own_service)
    assert found is not None and found.knows_soil and not found.has_weather
    bring_weather(own_service, site_id="hill")
    found = progress(own_service)
    assert found is not None and found.has_weather
    (farm,) = list_farms(["later-farm"], unit_of_work=own_service.unit_of_work)
    planned = plan_first(
        farm,
        unit_of_work=own_service.unit_of_work,
        replanning=own_service.replanning,
        refreshers={},
    )
    assert planned is FirstPlan.PLANNED
    assert progress(own_service) is None


def test_a_farm_with_plans_is_set_up(own_service: Service) -> None:
    assert progress(own_service, FARM_ID) is None
