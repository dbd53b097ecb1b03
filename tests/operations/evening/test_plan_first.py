"""A plan for tomorrow at once: services asked only until there is a forecast."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from service.agronomy.records import Ints
from service.bootstrap import Service
from service.operations.evening.plan_first import FirstPlan, plan_first
from service.operations.reading.read_farms import list_farms
from service.ports import RefreshWeather
from service.records.farms import FarmBundle
from service.records.weather import SourceProblem
from tests.api.invented_farm import (
    FARM_ID,
    PLAN_DAY,
    TODAY,
    YOUNG_BLOCK_ID,
    bring_weather,
)


class Asked:
    """A weather service that knows of ``hill``, or of nothing."""

    def __init__(self, service: Service, *, knows: bool) -> None:
        self._service, self._knows = service, knows
        self.asked_count = 0

    def __call__(self, site_keys: Ints, *, now: datetime) -> Sequence[SourceProblem]:
        """Bring what it knows."""
        self.asked_count += 1
        if self._knows:
            bring_weather(self._service, site_id="hill")
        return ()


def first(
    service: Service, refreshers: Mapping[str, RefreshWeather], farm_id: str = "later-farm"
) -> FirstPlan:
    (farm,) = list_farms([farm_id], unit_of_work=service.unit_of_work)
    return plan_first(
        farm,
        unit_of_work=service.unit_of_work,
        replanning=service.replanning,
        refreshers=refreshers,
    )


def test_services_are_asked_in_turn_until_one_has_a_forecast(own_service: Service) -> None:
    silent, knowing, spare = (Asked(own_service, knows=knows) for knows in (False, True, True))
    found = first(own_service, {"silent": silent, "knowing": knowing, "spare": spare})
    assert found is FirstPlan.PLANNED
    assert [each.asked_count for each in (silent, knowing, spare)] == [1, 1, 0]
    with own_service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(YOUNG_BLOCK_ID, day=PLAN_DAY)
    assert plan is not None and plan.status in {"water", "rest"}


def test_asked_again_nobody_is_asked_and_no_version_is_new(own_service: Service) -> None:
    knowing = Asked(own_service, knows=True)
    for _ in range(2):
        assert first(own_service, {"knowing": knowing}) is FirstPlan.PLANNED
    assert knowing.asked_count == 1
    with own_service.unit_of_work(write=False) as unit:
        assert unit.plans.find_plan(YOUNG_BLOCK_ID, day=PLAN_DAY, version=2) is None


def test_without_a_forecast_from_anywhere_there_is_no_plan(own_service: Service) -> None:
    assert first(own_service, {"silent": Asked(own_service, knows=False)}) is FirstPlan.NO_WEATHER
    with own_service.unit_of_work(write=False) as unit:
        assert unit.plans.find_plan(YOUNG_BLOCK_ID, day=PLAN_DAY) is None


def test_a_farm_without_blocks_asks_nobody(own_service: Service) -> None:
    with own_service.unit_of_work(write=True) as unit:
        bundle = unit.blocks.get_bundle("later-farm", day=TODAY)
        unit.blocks.save_bundle(
            FarmBundle(farm=bundle.farm, sites=bundle.sites),
            effective_day=TODAY,
            recorded_at=own_service.clock.now(),
        )
    knowing = Asked(own_service, knows=True)
    assert first(own_service, {"knowing": knowing}) is FirstPlan.NO_BLOCK
    assert knowing.asked_count == 0


def test_a_farm_whose_weather_is_known_is_planned_without_a_question(own_service: Service) -> None:
    knowing = Asked(own_service, knows=True)
    assert first(own_service, {"knowing": knowing}, FARM_ID) is FirstPlan.PLANNED
    assert knowing.asked_count == 0
