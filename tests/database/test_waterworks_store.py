"""What every WaterworksStore does, whatever is behind it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest

from service.database.session import UnitOfWorkFactory
from service.records.waterworks import CatchTest, FertigationOrder, FlowFinding, WaterSample
from service.waterworks.acid import TitrationPoint
from service.waterworks.block_layout import BlockLayout
from service.waterworks.fertiliser import PRODUCTS, labelled_product
from service.waterworks.water_analysis import Reading
from tests.stored_farms import stored_block, stored_bundle

NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)
TEST = CatchTest(block_id="orchard.north", day=date(2026, 6, 1), caught_ml=(200.0,) * 16)
SAMPLE = WaterSample(
    farm_id="orchard",
    supply_id="well",
    day=date(2026, 5, 1),
    laboratory="Invented",
    readings=(Reading("ph", 7.8, ""), Reading("iron", 0.05, "mg/L", is_below_detection=True)),
    temperature_c=15.0,
    titration=(TitrationPoint(0.0, 7.8), TitrationPoint(1.0, 6.5)),
)
LABELLED = labelled_product(
    "invented-20", "Invented", k2o_pct=20.0, solubility_g_per_kg=((0.0, 100.0), (20.0, 150.0))
)
ORDER = FertigationOrder(
    block_id="orchard.north",
    day=date(2026, 7, 5),
    product_kg=((PRODUCTS["urea"], 2.5), (LABELLED, 1.0)),
    stock_l=40.0,
    temperature_c=12.0,
    injector_lowest_l_per_h=2.0,
    injector_highest_l_per_h=80.0,
    travel_min=14.5,
    last_nitrogen_day=date(2026, 7, 31),
)


@pytest.fixture
def block_key(open_unit: UnitOfWorkFactory) -> int:
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(
            stored_bundle(stored_block(), stored_block("orchard.south")),
            effective_day=date(2026, 6, 1),
            recorded_at=NOW,
        )
        return unit.blocks.get_block_key("orchard.north")


def test_a_test_comes_back_as_it_was_and_again_changes_nothing(
    open_unit: UnitOfWorkFactory, block_key: int
) -> None:
    later = replace(TEST, day=date(2026, 6, 9))
    with open_unit(write=True) as unit:
        store = unit.waterworks
        assert store.save_catch_test(block_key, TEST, recorded_at=NOW).created_count == 1
        assert store.save_catch_test(block_key, TEST, recorded_at=NOW).unchanged_count == 1
        assert store.save_catch_test(block_key, later, recorded_at=NOW).created_count == 1
        other = replace(TEST, caught_ml=(190.0,) * 16)
        assert store.save_catch_test(block_key, other, recorded_at=NOW).changed_count == 1
    with open_unit(write=False) as unit:
        assert unit.waterworks.list_catch_tests(block_key) == [later, other]


def test_a_sample_keeps_readings_and_titration(
    open_unit: UnitOfWorkFactory, block_key: int
) -> None:
    with open_unit(write=True) as unit:
        farm_key = unit.blocks.farm_keys(["orchard"])["orchard"]
        keys = unit.blocks.read_supply_table(np.array([farm_key])).keys
        supply_key = int(keys[0])
        unit.waterworks.save_sample(supply_key, SAMPLE, recorded_at=NOW)
    with open_unit(write=False) as unit:
        assert unit.waterworks.list_samples(supply_key) == [SAMPLE]
    assert block_key


def test_a_finding_keeps_what_it_says(open_unit: UnitOfWorkFactory, block_key: int) -> None:
    finding = FlowFinding(
        block_id="orchard.north",
        day=date(2026, 6, 30),
        verdict="STEADY",
        document={"run_count": 30, "jumps": []},
    )
    with open_unit(write=True) as unit:
        unit.waterworks.save_finding(block_key, finding, recorded_at=NOW)
    with open_unit(write=False) as unit:
        assert unit.waterworks.list_findings(block_key) == [finding]


def test_products_belong_to_a_farm(open_unit: UnitOfWorkFactory, block_key: int) -> None:
    with open_unit(write=True) as unit:
        farm_key = unit.blocks.farm_keys(["orchard"])["orchard"]
        unit.waterworks.save_product(farm_key, LABELLED, recorded_at=NOW)
        assert unit.waterworks.list_products(farm_key) == [LABELLED]
        assert unit.waterworks.list_products(farm_key + 1) == []
    assert block_key


def test_orders_are_found_by_block_and_by_day_until_they_are_removed(
    open_unit: UnitOfWorkFactory, block_key: int
) -> None:
    with open_unit(write=True) as unit:
        store = unit.waterworks
        other_key = unit.blocks.get_block_key("orchard.south")
        store.save_fertigation(block_key, ORDER, recorded_at=NOW)
        both = np.array([block_key, other_key])
        assert store.read_fertigations(both, day=ORDER.day) == {block_key: ORDER}
        assert store.read_fertigations(both, day=date(2026, 7, 6)) == {}
        span = {"first_day": date(2026, 7, 1), "last_day": date(2026, 7, 31)}
        assert store.list_fertigations(block_key, **span) == [ORDER]
        assert store.list_fertigations(other_key, **span) == []
        assert store.remove_fertigation(block_key, day=ORDER.day)
        assert not store.remove_fertigation(block_key, day=ORDER.day)
        assert store.list_fertigations(block_key, **span) == []


def test_a_block_keeps_its_pipes_and_changing_them_is_a_new_version(
    open_unit: UnitOfWorkFactory,
) -> None:
    layout = BlockLayout(
        lateral_diameter_mm=16.0,
        emitter_count=100,
        supply_head_m=20.0,
        row_profile=((0.0, 0.0), (20.0, -0.5)),
        regulator_set_head_m=10.0,
    )
    day = date(2026, 6, 1)
    with open_unit(write=True) as unit:
        save = unit.blocks.save_bundle
        bundle = stored_bundle(stored_block(layout=layout))
        assert save(bundle, effective_day=day, recorded_at=NOW).created_count > 0
        assert save(bundle, effective_day=day, recorded_at=NOW).changed_count == 0
        assert unit.blocks.get_block("orchard.north", day=day).layout == layout
        other = stored_bundle(stored_block(layout=replace(layout, emitter_count=90)))
        assert save(other, effective_day=day, recorded_at=NOW).changed_count == 1
