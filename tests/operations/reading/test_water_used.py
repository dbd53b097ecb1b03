"""Water added up by what people ask for, against a permit; volumes worked by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid
from service.farm_files.farm_document import JsonFarmFormat
from service.operations.feedback.report_runs import RunReport, report_runs
from service.operations.reading.water_used import table_columns, table_rows, water_used
from service.records.water_use import Grouping, WaterUse, WaterWish
from service.unit_sizes import L_PER_ACRE_FOOT, L_PER_GALLON, MM_PER_INCH
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM, FARM_ID, TODAY, load

NORTH_GAL_PER_H = 2178.0
"""0.75 ac are 32,670 ft2; one emitter on 10 ft x 1.5 ft, two lines, 0.5 gal/h: 4,356 x 0.5."""
NORTH_IN_PER_H = 2178.0 * 231.0 / (32_670.0 * 144.0)
"""A US gallon is 231 in3 (NIST Handbook 44, Appendix C)."""


@pytest.fixture
def watered(own_service: Service) -> Service:
    """North ran for an hour on 30 June and four hours on 14 July; of all other days nothing did."""
    runs = [
        RunReport(BLOCK_ID, datetime(2026, 6, 30, 9, tzinfo=UTC), 60.0),
        RunReport(BLOCK_ID, datetime(2026, 7, 14, 9, tzinfo=UTC), 240.0),
    ]
    with own_service.unit_of_work(write=True) as unit:
        report_runs(unit, runs, farm_id=FARM_ID, reporter="me", replanning=own_service.replanning)
    return own_service


def used(
    service: Service,
    *by: Grouping,
    first_day: date | None = None,
    supply_id: str | None = None,
    limit: str | None = None,
) -> WaterUse:
    wish = WaterWish(
        farm_id=FARM_ID,
        by=by or (Grouping.MONTH,),
        first_day=first_day,
        supply_id=supply_id,
        limit=None if limit is None else JsonFarmFormat().water_limit(limit),
    )
    return water_used(wish, unit_of_work=service.unit_of_work, clock=service.clock)


def gallons(use: WaterUse) -> dict[tuple[str, ...], float]:
    return {each.labels: each.volume_l / L_PER_GALLON for each in use.sums}


def test_water_is_added_up_by_month(watered: Service) -> None:
    found = used(watered)
    assert (found.first_day, found.last_day) == (date(2026, 1, 1), TODAY)
    assert gallons(found) == pytest.approx(
        {("2026-06",): NORTH_GAL_PER_H, ("2026-07",): 4 * NORTH_GAL_PER_H}
    )
    assert found.total.volume_l == pytest.approx(5 * NORTH_GAL_PER_H * L_PER_GALLON)
    assert found.total.reported_volume_l == pytest.approx(found.total.volume_l)


def test_water_is_added_up_by_block_with_its_depth_over_the_ground(watered: Service) -> None:
    found = used(watered, Grouping.BLOCK, Grouping.SEASON)
    north, south = found.sums
    assert (north.labels, south.labels) == ((BLOCK_ID, "2026"), (BARE_BLOCK_ID, "2026"))
    assert north.gross_mm / MM_PER_INCH == pytest.approx(5 * NORTH_IN_PER_H)
    assert south.volume_l == 0.0
    # Over the ground of both, 0.75 ac and 0.4 ha, it is the less.
    share = 0.75 * 4046.8564224 / (0.75 * 4046.8564224 + 4000.0)
    assert found.total.gross_mm == pytest.approx(share * north.gross_mm)


def test_water_is_held_against_a_permit(watered: Service) -> None:
    found = used(watered, Grouping.SUPPLY, limit="0.1 ac-ft")
    (well,) = found.sums
    assert well.labels == ("well",)
    assert found.limit_volume_l == pytest.approx(0.1 * 43_560 * 1728 / 231 * L_PER_GALLON)
    assert found.left_volume_l == pytest.approx(
        0.1 * L_PER_ACRE_FOOT - 5 * NORTH_GAL_PER_H * L_PER_GALLON
    )
    by_depth = used(watered, limit="18 in").limit_volume_l
    assert by_depth == pytest.approx(18 * MM_PER_INCH * (0.75 * 4046.8564224 + 4000.0))


def test_what_leaks_before_the_emitters_has_left_the_supply_too(watered: Service) -> None:
    load(watered, FARM.replace('name = "North', 'leakage_share = "20 %"\nname = "North'))
    found = used(watered, Grouping.BLOCK)
    assert gallons(found)[BLOCK_ID,] == pytest.approx(5 * NORTH_GAL_PER_H / 0.8)


def test_a_block_counts_with_the_ground_and_flow_that_it_had(watered: Service) -> None:
    half = FARM.replace('area = "0.75 ac"', 'area = "0.375 ac"')
    load(watered, half, effective_day=date(2026, 7, 1))
    found = used(watered, Grouping.BLOCK, Grouping.MONTH)
    june, july = (each for each in found.sums if each.labels[0] == BLOCK_ID)
    # The ledger keeps depths: half the ground had half the water.
    assert june.volume_l / L_PER_GALLON == pytest.approx(NORTH_GAL_PER_H)
    assert july.volume_l / L_PER_GALLON == pytest.approx(4 * NORTH_GAL_PER_H / 2)
    assert july.gross_mm / MM_PER_INCH == pytest.approx(4 * NORTH_IN_PER_H)


def test_a_retired_block_keeps_its_water(watered: Service) -> None:
    without = (
        FARM[: FARM.index('[[block]]\nid = "north"')] + FARM[FARM.index('[[block]]\nid = "s') :]
    )
    load(watered, without, effective_day=TODAY)
    assert gallons(used(watered, Grouping.BLOCK))[BLOCK_ID,] == pytest.approx(5 * NORTH_GAL_PER_H)


def test_south_of_the_equator_a_season_begins_in_july(own_service: Service) -> None:
    text = FARM.replace('id = "test-farm"', 'id = "andes-farm"').replace('"home"', '"andes"')
    text = text.replace("latitude = 35.91", "latitude = -35.91")
    load(own_service, text.replace("America/New_York", "America/Santiago"))
    found = water_used(
        WaterWish(farm_id="andes-farm"),
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    assert found.first_day == date(2026, 7, 1)


def test_the_table_is_in_both_kinds_of_units(watered: Service) -> None:
    found = used(watered)
    columns = table_columns(found)
    june = dict(zip(columns, next(iter(table_rows(found))), strict=True))
    assert june["month"] == "2026-06"
    assert june["volume_gal"] == NORTH_GAL_PER_H
    # 325,851 gal are an acre-foot: 43,560 ft3 of 1728 in3 each.
    assert june["volume_ac_ft"] == pytest.approx(2178 / 325_851.4, abs=1e-5)


@pytest.mark.parametrize("limit", ["12", "12 acres", "lots", "-1 ac-ft"])
def test_what_is_no_amount_of_water_is_refused(limit: str) -> None:
    with pytest.raises(InputInvalid) as refused:
        JsonFarmFormat().water_limit(limit)
    assert "12 ac-ft" in refused.value.faults[0].allowed


def test_an_unknown_supply_and_an_impossible_span_are_refused(own_service: Service) -> None:
    with pytest.raises(InputInvalid) as refused:
        used(own_service, supply_id="pond")
    assert refused.value.faults[0].allowed == "one of well"
    with pytest.raises(InputInvalid):
        used(own_service, first_day=date(2026, 7, 15))


def test_a_farm_without_a_ledger_used_nothing(own_service: Service) -> None:
    wish = WaterWish(farm_id="later-farm")
    found = water_used(wish, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    assert (list(found.sums), found.total.volume_l, found.total.labels) == ([], 0.0, ())
