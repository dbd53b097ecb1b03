"""Ledgers up to today: settled on observed days, continued from there, reopened by news."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from service.bootstrap import Service
from service.operations.evening.evening_inputs import every_day
from service.operations.evening.run_day import run_day
from service.records.ledger import LedgerRows
from tests.alley_farm import ALLEY_BLOCK_ID, BARE_BLOCK_ID, alley_farm
from tests.api.invented_farm import BLOCK_ID, TODAY, bring_weather, load

START = date(2026, 6, 10)
"""The block's own start of its balance."""
ONE_DAY = timedelta(days=1)


def ledger(
    service: Service,
    first_day: date = START,
    last_day: date = TODAY,
    *,
    block_id: str = BLOCK_ID,
) -> LedgerRows:
    with service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_block_key(block_id)
        return unit.ledger.read_rows(key, first_day=first_day, last_day=last_day)


def settled_day(service: Service) -> date | None:
    with service.unit_of_work(write=False) as unit:
        keys = np.array([unit.blocks.get_block_key(BLOCK_ID)])
        found: date | None = unit.ledger.read_states(keys).settled_day[0].item()
    return found


def evening(service: Service, on: date = TODAY) -> None:
    run = run_day(
        on,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
        makes_plans=False,
    )
    assert run.failures == []


def test_every_day_from_the_start_of_the_balance_is_booked_and_follows_the_last(
    own_service: Service,
) -> None:
    rows = ledger(own_service, START - timedelta(days=30))
    assert rows.days.tolist() == every_day(np.datetime64(START), TODAY).tolist()
    start = rows.numbers["depletion_start_mm"]
    end = rows.numbers["depletion_end_mm"]
    np.testing.assert_allclose(start[1:], end[:-1], atol=1e-5)
    assert start[0] == 5.0  # as the grower gave it


def test_the_same_evening_again_books_the_same(own_service: Service) -> None:
    before = ledger(own_service)
    evening(own_service)
    after = ledger(own_service)
    for name, values in before.numbers.items():
        np.testing.assert_array_equal(after.numbers[name], values)


def test_the_next_evening_continues_from_the_settled_ledger(own_service: Service) -> None:
    bring_weather(own_service, today=TODAY + ONE_DAY)
    evening(own_service, TODAY + ONE_DAY)
    rows = ledger(own_service, TODAY, TODAY + ONE_DAY)
    assert rows.days.tolist() == [TODAY, TODAY + ONE_DAY]
    settled = settled_day(own_service)
    assert settled is not None and settled >= TODAY


def test_warmer_past_days_are_booked_again_and_the_zone_is_drier(own_service: Service) -> None:
    used = ledger(own_service).numbers["crop_et_mm"].sum()
    bring_weather(own_service, warmer_c=5.0)
    assert settled_day(own_service) is None  # no day of the balance is settled any more
    evening(own_service)
    assert ledger(own_service).numbers["crop_et_mm"].sum() > 1.05 * used


def test_rain_outside_the_strip_is_booked_beside_the_zone(own_service: Service) -> None:
    load(own_service, alley_farm(0.5))
    evening(own_service)
    numbers = ledger(own_service, block_id=ALLEY_BLOCK_ID).numbers
    before_mm = np.concatenate(([0.0], numbers["alley_store_mm"][:-1]))
    moved_mm = numbers["alley_rain_mm"] - numbers["alley_et_mm"] - numbers["alley_drainage_mm"]
    np.testing.assert_allclose(numbers["alley_store_mm"], before_mm + moved_mm, atol=1e-9)
    assert numbers["alley_et_mm"].sum() > 5.0
    zone_mm = (
        numbers["actual_crop_et_mm"] - numbers["alley_et_mm"] - numbers["rain_entering_mm"]
        + numbers["rain_drainage_mm"] + numbers["irrigation_drainage_mm"]
        - numbers["early_net_mm"] - numbers["day_net_mm"]
        + numbers["resize_mm"] + numbers["correction_mm"]
    )  # fmt: skip
    change_mm = numbers["depletion_end_mm"] - numbers["depletion_start_mm"]
    np.testing.assert_allclose(change_mm, zone_mm, atol=1e-9)
    bare = ledger(own_service, block_id=BARE_BLOCK_ID).numbers
    assert np.isnan(bare["alley_store_mm"]).all() and np.isnan(bare["alley_et_mm"]).all()


def test_the_store_goes_on_from_the_evening_before(own_service: Service) -> None:
    load(own_service, alley_farm(1.0))
    bring_weather(own_service, today=START)
    evening(own_service, START)
    for passed in range(1, 7):
        bring_weather(own_service, today=START + passed * ONE_DAY)
        evening(own_service, START + passed * ONE_DAY)
    stepwise = ledger(own_service, last_day=START + 6 * ONE_DAY, block_id=ALLEY_BLOCK_ID)
    load(own_service, alley_farm(1.0, farm_id="other-farm"))
    evening(own_service, START + 6 * ONE_DAY)
    at_once = ledger(own_service, last_day=START + 6 * ONE_DAY, block_id="other-farm.north")
    assert stepwise.numbers["alley_store_mm"][:-1].max() > 0.5  # some of it lasts a night
    for name in ("alley_store_mm", "alley_et_mm", "depletion_end_mm"):
        np.testing.assert_allclose(stepwise.numbers[name], at_once.numbers[name], atol=1e-9)


def test_a_block_that_gets_roots_there_later_begins_with_an_empty_store(
    own_service: Service,
) -> None:
    load(own_service, alley_farm(0.0))
    evening(own_service, TODAY)
    later = TODAY + ONE_DAY
    load(own_service, alley_farm(0.5), effective_day=later)
    bring_weather(own_service, today=later)
    evening(own_service, later)
    numbers = ledger(own_service, TODAY, later, block_id=ALLEY_BLOCK_ID).numbers
    assert np.isnan(numbers["alley_store_mm"][0])
    stored_mm = numbers["alley_rain_mm"] - numbers["alley_et_mm"] - numbers["alley_drainage_mm"]
    assert numbers["alley_store_mm"][1] == pytest.approx(stored_mm[1], abs=1e-9)
