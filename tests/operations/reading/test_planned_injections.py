"""The injection of a published plan on the clock of its site."""

from __future__ import annotations

from datetime import timedelta

from service.bootstrap import Service
from service.operations.reading.planned_injections import PlannedInjection, planned_injection
from service.operations.reading.read_plans import get_plan
from service.operations.waterworks.order_fertigation import (
    FertigationRequest,
    order_fertigation,
)
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, PLAN_DAY


def order(service: Service, *, fill_min: float = 3.0) -> None:
    request = FertigationRequest(
        block_id=BLOCK_ID,
        day=PLAN_DAY,
        product_kg=(("urea", 3.0),),
        stock_l=30.0,
        temperature_c=15.0,
        injector_lowest_l_per_h=5.0,
        injector_highest_l_per_h=120.0,
        fill_min=fill_min,
        travel_min=10.0,
    )
    order_fertigation(request, unit_of_work=service.unit_of_work, replanning=service.replanning)


def planned(service: Service, block_id: str = BLOCK_ID) -> PlannedInjection | None:
    view = get_plan(block_id, day=PLAN_DAY, unit_of_work=service.unit_of_work)
    return planned_injection(view.plan)


def test_a_plan_without_an_order_injects_nothing(own_service: Service) -> None:
    assert planned(own_service) is None
    order(own_service)
    assert planned(own_service, BARE_BLOCK_ID) is None


def test_the_injector_runs_within_a_pulse_on_the_clock_of_the_site(own_service: Service) -> None:
    order(own_service)
    found = planned(own_service)
    assert found is not None and found.is_possible
    assert found.stock_l == 30.0
    ((name, mass_kg),) = found.products
    assert (name.lower(), mass_kg) == ("urea", 3.0)
    view = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=own_service.unit_of_work)
    midnight = min(start for start, _ in found.spans).replace(hour=0, minute=0)
    pulses = [
        (midnight + timedelta(minutes=start), midnight + timedelta(minutes=start + length))
        for start, length in view.plan.pulses
    ]
    for start, end in found.spans:
        assert (start.utcoffset(), start.date()) == (timedelta(hours=-4), PLAN_DAY)
        assert any(opens <= start < end <= closes for opens, closes in pulses)


def test_an_injection_that_does_not_fit_says_why_and_has_no_times(own_service: Service) -> None:
    order(own_service, fill_min=600.0)
    found = planned(own_service)
    assert found is not None and not found.is_possible
    assert found.spans == ()
    assert found.advisories
