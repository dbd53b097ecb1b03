"""How far the rest of a season would go: by earlier seasons on record, else by stated normals."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest

from service.bootstrap import Service
from service.operations.reading.water_used import water_used
from service.operations.review.season_ahead import AheadBasis, SeasonAhead, season_ahead
from service.records.ledger import LEDGER_NUMBERS, IrrigationOrigin, LedgerRows
from service.records.water_use import WaterWish
from service.unit_sizes import SQUARE_FEET_PER_ACRE
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM, FARM_ID, TODAY, load

FIVE_A_DAY = f"[site.normals]\net0_mm = [{', '.join(['5.0'] * 12)}]\n"
LAST = date(2026, 12, 31)
NORTH_M2 = 0.75 * SQUARE_FEET_PER_ACRE * 0.3048**2


def ahead(service: Service, last_day: date = TODAY, **wish: Any) -> SeasonAhead | None:
    return season_ahead(
        WaterWish(farm_id=FARM_ID, **wish),
        last_day,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def with_normals(service: Service) -> None:
    load(service, FARM.replace('elevation = "510 ft"\n', f'elevation = "510 ft"\n{FIVE_A_DAY}', 1))


def book(service: Service, first: date, last: date, gross_mm: float) -> None:
    """A ledger of the north block with the same irrigation every day."""
    days = np.arange(np.datetime64(first), np.datetime64(last) + 1)
    with service.unit_of_work(write=True) as unit:
        numbers = {name: np.zeros(days.size) for name in LEDGER_NUMBERS}
        numbers["irrigation_gross_mm"] = np.full(days.size, gross_mm)
        key = unit.blocks.get_block_key(BLOCK_ID)
        unit.ledger.save_rows(
            LedgerRows(
                block_keys=np.full(days.size, key),
                days=days,
                is_observed=np.ones(days.size, dtype=np.bool_),
                irrigation_origin=np.full(days.size, int(IrrigationOrigin.REPORTED)),
                flags=np.zeros(days.size, dtype=np.int64),
                numbers=numbers,
            )
        )


def test_without_normals_and_earlier_seasons_nothing_is_said(own_service: Service) -> None:
    assert ahead(own_service) is None


def test_normals_give_the_use_of_each_day_until_the_season_ends(own_service: Service) -> None:
    with_normals(own_service)
    found = ahead(own_service, block_id=BLOCK_ID)
    assert found is not None and found.basis is AheadBasis.NORMALS
    assert (found.days[0].item(), found.days[-1].item()) == (date(2026, 7, 15), LAST)
    # A grown canopy in mid season, by hand: Kc 1.05 less what the canopy lacks, on 5 mm, over the
    # block's ground, with 90 % uniformity: between 3 and 6 mm gross a day.
    assert 3.0 < found.volume_l[0] / NORTH_M2 < 6.0
    assert found.volume_l[-1] == 0.0  # the watering season is over in December


def test_blocks_of_a_farm_add_up(own_service: Service) -> None:
    with_normals(own_service)
    whole = ahead(own_service)
    parts = [ahead(own_service, block_id=each) for each in (BLOCK_ID, BARE_BLOCK_ID)]
    assert whole is not None
    sums = sum(each.volume_l for each in parts if each is not None)
    assert whole.volume_l == pytest.approx(sums)
    of_well = ahead(own_service, supply_id="well")
    assert of_well is not None and of_well.volume_l == pytest.approx(whole.volume_l)


def test_an_earlier_season_on_record_goes_before_normals(own_service: Service) -> None:
    with_normals(own_service)
    book(own_service, date(2025, 7, 1), date(2025, 12, 31), 2.0)
    found = ahead(own_service)
    assert found is not None and found.basis is AheadBasis.EARLIER_SEASONS
    assert found.season_count == 1
    # 2 mm on each of the 170 days from 15 July to 31 December.
    assert found.volume_l == pytest.approx(np.full(170, 2.0 * NORTH_M2), rel=1e-4)


def test_a_season_that_is_on_record_in_part_does_not_count(own_service: Service) -> None:
    book(own_service, date(2025, 8, 1), date(2025, 12, 31), 2.0)
    assert ahead(own_service) is None


def test_on_its_last_day_nothing_of_a_season_is_ahead(own_service: Service) -> None:
    with_normals(own_service)
    assert ahead(own_service, LAST) is None


def test_a_block_alone_can_be_added_up(own_service: Service) -> None:
    def used_l(block_id: str | None) -> float:
        wish = WaterWish(farm_id=FARM_ID, block_id=block_id)
        found = water_used(wish, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
        return found.total.volume_l

    assert used_l(BLOCK_ID) + used_l(BARE_BLOCK_ID) == pytest.approx(used_l(None))
