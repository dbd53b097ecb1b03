"""What an evening reads before it computes: blocks, weather, and where ledgers are settled."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from service.bootstrap import Service
from service.database.session import UnitOfWork
from service.operations.evening.evening_inputs import (
    EveningInputs,
    every_day,
    read_inputs,
    row_of_day,
)
from service.operations.evening.gather_weather import GatheredWeather, gather_weather
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM_ID, RUN_AT, TODAY


def read(service: Service, on: date, farm_id: str = FARM_ID) -> EveningInputs | None:
    """The inputs of an evening, in a transaction that is undone."""

    def weather_since(first_day: date, unit: UnitOfWork) -> GatheredWeather:
        return gather_weather(
            unit,
            unit.blocks.read_site_table(),
            on=on,
            now=RUN_AT,
            first_day=first_day,
            last_day=on + timedelta(days=7),
            source_order={},
        )

    with service.unit_of_work(write=True) as unit:
        keys = np.array([unit.blocks.farm_keys([farm_id])[farm_id]])
        return read_inputs(unit, keys, on=on, weather_since=weather_since)


def test_an_evening_that_is_worked_through_again_takes_its_ledgers_back(
    own_service: Service,
) -> None:
    earlier = TODAY - timedelta(days=5)
    found = read(own_service, earlier)
    assert found is not None
    settled = found.before.settled_day
    assert (np.isnat(settled) | (settled < np.datetime64(earlier))).all()
    assert (found.first_day <= np.datetime64(earlier)).all()


def test_each_block_is_read_with_its_site_and_the_day_its_ledger_goes_on(
    own_service: Service,
) -> None:
    on = TODAY + timedelta(days=1)
    found = read(own_service, on)
    assert found is not None
    assert list(found.table.block_ids) == [BLOCK_ID, BARE_BLOCK_ID]
    sites = found.weather.sites.definitions
    assert [sites[place].site_id for place in found.site_index.tolist()] == ["home", "home"]
    assert (found.first_day == found.before.settled_day + 1).all()


def test_a_farm_whose_blocks_begin_later_has_nothing_to_read(own_service: Service) -> None:
    assert read(own_service, date(2020, 1, 1)) is None


def test_days_are_found_by_their_place() -> None:
    days = every_day(np.datetime64("2026-07-01"), date(2026, 7, 5))
    assert days.size == 5
    assert row_of_day(days, date(2026, 7, 3)) == row_of_day(days, np.datetime64("2026-07-03")) == 2
