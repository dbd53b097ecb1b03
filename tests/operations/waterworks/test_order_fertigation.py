"""Orders of fertiliser: stored whole by block and day, with the plan of that day behind them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from service.bootstrap import Service
from service.errors import Conflict, InputInvalid, NotFound
from service.operations.waterworks.order_fertigation import (
    MOST_DAYS_LISTED,
    FertigationRequest,
    StoredOrder,
    cancel_fertigation,
    generic_products,
    list_fertigations,
    list_products,
    order_fertigation,
    refuse_past_day,
    save_product,
)
from service.operations.waterworks.report_water import record_sample
from service.records.plans import PublishedPlan
from service.records.waterworks import FertigationOrder, WaterSample
from service.waterworks.fertiliser import labelled_product
from service.waterworks.water_analysis import Reading
from tests.api.invented_farm import BLOCK_ID, FARM_ID, PLAN_DAY, TODAY, FixedClock

REQUEST = FertigationRequest(
    block_id=BLOCK_ID,
    day=PLAN_DAY,
    product_kg=(("urea", 3.0),),
    stock_l=30.0,
    temperature_c=15.0,
    injector_lowest_l_per_h=5.0,
    injector_highest_l_per_h=120.0,
    fill_min=3.0,
    travel_min=10.0,
)
OWN = labelled_product(
    "own-mix", "Own mix", k2o_pct=20.0, solubility_g_per_kg=((0.0, 100.0), (20.0, 150.0))
)


def order(service: Service, request: FertigationRequest = REQUEST) -> StoredOrder:
    return order_fertigation(
        request, unit_of_work=service.unit_of_work, replanning=service.replanning
    )


def listed(service: Service) -> list[FertigationOrder]:
    return list_fertigations(
        BLOCK_ID,
        first_day=TODAY,
        last_day=TODAY + timedelta(days=30),
        unit_of_work=service.unit_of_work,
    )


def plan_of(service: Service) -> PublishedPlan:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY)
    assert plan is not None
    return plan


def test_an_order_for_tomorrow_is_in_tomorrows_plan_at_once(own_service: Service) -> None:
    assert plan_of(own_service).reasoning.fertigation is None
    stored = order(own_service)
    assert stored.outcome.created_count == 1
    assert stored.new_version_count >= 1
    assert listed(own_service) == [stored.order]
    assert plan_of(own_service).version == 2
    planned = plan_of(own_service).reasoning.fertigation
    assert planned is not None and planned.stock_l == REQUEST.stock_l


def test_the_same_order_again_changes_neither_order_nor_plan(own_service: Service) -> None:
    order(own_service)
    again = order(own_service)
    assert (again.outcome.unchanged_count, again.new_version_count) == (1, 0)
    assert (len(listed(own_service)), plan_of(own_service).version) == (1, 2)


def test_an_order_for_a_later_day_waits_for_its_evening(own_service: Service) -> None:
    stored = order(own_service, replace(REQUEST, day=PLAN_DAY + timedelta(days=1)))
    assert (stored.outcome.created_count, stored.new_version_count) == (1, 0)
    assert plan_of(own_service).version == 1


def test_the_blocks_own_facts_are_filled_in(own_service: Service) -> None:
    assert order(own_service).order.water_ec_ds_m == 0.0
    sample = WaterSample(
        farm_id=FARM_ID,
        supply_id="well",
        day=TODAY,
        laboratory="Invented",
        readings=(Reading("ec", 1.2, "dS/m"),),
        temperature_c=15.0,
    )
    record_sample(sample, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    found = order(own_service).order
    assert (found.water_ec_ds_m, found.is_ammonium_preferred) == (1.2, True)  # blueberries


@pytest.mark.parametrize(
    ("changed", "where"),
    [
        (replace(REQUEST, product_kg=()), "product_kg"),
        (replace(REQUEST, product_kg=(("gravel", 1.0),)), "product"),
        (replace(REQUEST, product_kg=(("potassium-sulfate", 10.0),)), "potassium-sulfate"),
        (replace(REQUEST, largest_added_min=-1), "largest_added_min"),
        (replace(REQUEST, injector_highest_l_per_h=5.0), "injector"),
    ],
    ids=["nothing", "unknown", "does not dissolve", "minutes taken", "injector"],
)
def test_what_cannot_be_injected_is_refused_with_its_place_and_not_stored(
    own_service: Service, changed: FertigationRequest, where: str
) -> None:
    with pytest.raises(InputInvalid) as refused:
        order(own_service, changed)
    assert refused.value.faults[0].where == where
    assert (listed(own_service), plan_of(own_service).version) == ([], 1)


def test_a_block_whose_travel_time_nobody_knows_gets_no_order(own_service: Service) -> None:
    with pytest.raises((InputInvalid, NotFound)):
        order(own_service, replace(REQUEST, fill_min=None, travel_min=None))
    assert listed(own_service) == []


def test_an_order_is_taken_back_once_and_leaves_the_plan(own_service: Service) -> None:
    pulses = plan_of(own_service).pulses
    order(own_service)
    unit_of_work, replanning = own_service.unit_of_work, own_service.replanning
    back = cancel_fertigation(BLOCK_ID, PLAN_DAY, unit_of_work=unit_of_work, replanning=replanning)
    assert back >= 1
    assert (listed(own_service), plan_of(own_service).pulses) == ([], pulses)
    with pytest.raises(NotFound, match=f"no injection is ordered for block {BLOCK_ID}"):
        cancel_fertigation(BLOCK_ID, PLAN_DAY, unit_of_work=unit_of_work, replanning=replanning)


def test_a_day_that_has_begun_at_the_farm_is_refused_and_the_next_is_not(
    own_service: Service,
) -> None:
    # 03:00 UTC of the 15th is 23:00 of the 14th in New York.
    late = FixedClock(datetime.fromisoformat("2026-07-15T03:00:00Z"))
    refuse_past_day(BLOCK_ID, PLAN_DAY, unit_of_work=own_service.unit_of_work, clock=late)
    with pytest.raises(Conflict) as refused:
        refuse_past_day(BLOCK_ID, TODAY, unit_of_work=own_service.unit_of_work, clock=late)
    assert refused.value.faults[0].allowed == "2026-07-15 or a later day"


def test_a_farms_own_product_is_its_own_and_takes_no_generic_name(own_service: Service) -> None:
    unit_of_work, clock = own_service.unit_of_work, own_service.clock
    assert save_product(FARM_ID, OWN, unit_of_work=unit_of_work, clock=clock).created_count == 1
    assert save_product(FARM_ID, OWN, unit_of_work=unit_of_work, clock=clock).unchanged_count == 1
    assert list_products(FARM_ID, unit_of_work=unit_of_work) == [*generic_products(), OWN]
    assert list_products("later-farm", unit_of_work=unit_of_work) == generic_products()
    with pytest.raises(InputInvalid) as refused:
        save_product(FARM_ID, replace(OWN, key="urea"), unit_of_work=unit_of_work, clock=clock)
    assert (refused.value.faults[0].where, refused.value.faults[0].found) == ("key", "urea")


def test_nitrogen_after_the_last_day_is_refused_until_it_is_confirmed(
    own_service: Service,
) -> None:
    august = replace(REQUEST, day=date(2026, 8, 20))
    with pytest.raises(InputInvalid) as refused:
        order(own_service, august)
    (fault,) = refused.value.faults
    assert (fault.where, fault.found) == (
        "last_nitrogen_day",
        "1.40 kg of nitrogen on 2026-08-20",
    )
    assert "up to 2026-07-31" in fault.allowed and "common practice" in fault.allowed
    assert listed(own_service) == []
    stored = order(own_service, replace(august, is_late_nitrogen_confirmed=True))
    assert stored.order.last_nitrogen_day == date(2026, 7, 31)
    assert stored.advisories[0].key == "nitrogen-too-late"


def analysed(service: Service, *readings: Reading) -> None:
    sample = WaterSample(
        farm_id=FARM_ID, supply_id="well", day=TODAY, laboratory="Invented", readings=readings,
        temperature_c=15.0,
    )  # fmt: skip
    record_sample(sample, unit_of_work=service.unit_of_work, clock=service.clock)


def test_calcium_and_phosphate_into_a_water_nobody_analysed_are_said_to_be_doubtful(
    own_service: Service,
) -> None:
    def keys(product: str) -> list[str]:
        found = order(own_service, replace(REQUEST, product_kg=((product, 3.0),)))
        return [each.key for each in found.advisories]

    assert "lines-not-known" in keys("calcium-nitrate")
    assert "lines-not-known" in keys("map")
    assert "lines-not-known" not in keys("urea")
    analysed(own_service, Reading("ph", 7.6, ""), Reading("alkalinity", 4.0, "meq/L"),
             Reading("calcium", 4.0, "meq/L"))  # fmt: skip
    # With the index computed, the rule of thumb for hard waters would only say it twice.
    assert "phosphate-in-lines" in keys("map")
    assert not {"lines-not-known", "phosphate-in-hard-water"} & set(keys("map"))


def test_potash_in_august_and_nitrogen_with_a_later_last_day_need_no_word(
    own_service: Service,
) -> None:
    potash = (("potassium-chloride", 2.0),)
    august = replace(REQUEST, day=date(2026, 8, 20))
    assert order(own_service, replace(august, product_kg=potash)).order.product_kg
    late = order(own_service, replace(august, last_nitrogen_day=date(2026, 9, 30)))
    assert "nitrogen-too-late" not in [each.key for each in late.advisories]


def test_a_span_of_orders_is_read_up_to_its_limit(own_service: Service) -> None:
    order(own_service)
    unit_of_work = own_service.unit_of_work
    last_day = TODAY + timedelta(days=MOST_DAYS_LISTED)
    within = list_fertigations(
        BLOCK_ID, first_day=TODAY, last_day=last_day, unit_of_work=unit_of_work
    )
    assert len(within) == 1
    for wrong in (last_day + timedelta(days=1), TODAY - timedelta(days=1)):
        with pytest.raises(InputInvalid, match="cannot be read"):
            list_fertigations(BLOCK_ID, first_day=TODAY, last_day=wrong, unit_of_work=unit_of_work)
