"""Leaf, petiole and soil tests in the database."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from service.database.session import UnitOfWorkFactory
from service.nutrition.readings import NutrientReading
from service.records.nutrition import NutrientTest
from tests.stored_farms import stored_block, stored_bundle

NOW = datetime(2026, 9, 1, 12, tzinfo=UTC)
LEAF = NutrientTest(
    block_id="orchard.north",
    day=date(2026, 8, 1),
    kind="leaf",
    readings=(
        NutrientReading("N", 1.6, "%"),
        NutrientReading("Zn", 5.0, "ppm", is_below_detection=True),
    ),
    crop="highbush-blueberry",
    tissue="leaf",
    stage="mid-season",
    leaf_count=60,
    last_spray_day=date(2026, 7, 1),
    own_ranges={"N": (1.7, 2.1)},
)


@pytest.fixture
def block_key(open_unit: UnitOfWorkFactory) -> int:
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(
            stored_bundle(stored_block()), effective_day=date(2026, 6, 1), recorded_at=NOW
        )
        return unit.blocks.get_block_key("orchard.north")


def test_a_test_comes_back_as_it_was_and_again_changes_nothing(
    open_unit: UnitOfWorkFactory, block_key: int
) -> None:
    with open_unit(write=True) as unit:
        assert unit.nutrition.save_test(block_key, LEAF, recorded_at=NOW).created_count == 1
        assert unit.nutrition.save_test(block_key, LEAF, recorded_at=NOW).unchanged_count == 1
        assert unit.nutrition.list_tests(block_key) == [LEAF]
        changed = replace(LEAF, leaf_count=50)
        assert unit.nutrition.save_test(block_key, changed, recorded_at=NOW).changed_count == 1
        assert unit.nutrition.list_tests(block_key) == [changed]


def test_tissues_and_stages_of_one_day_are_kept_apart(
    open_unit: UnitOfWorkFactory, block_key: int
) -> None:
    petiole = replace(LEAF, kind="petiole", tissue="petiole", stage="bloom")
    soil = replace(LEAF, kind="soil", tissue="", stage="", day=date(2026, 8, 3))
    with open_unit(write=True) as unit:
        for each in (LEAF, petiole, soil):
            unit.nutrition.save_test(block_key, each, recorded_at=NOW)
        assert unit.nutrition.list_tests(block_key) == [soil, LEAF, petiole]
        assert unit.nutrition.remove_tests(block_key, day=LEAF.day, kind="leaf") == 1
        assert unit.nutrition.remove_tests(block_key, day=LEAF.day, kind="leaf") == 0
        assert unit.nutrition.list_tests(block_key) == [soil, petiole]
