"""Leaf and soil tests of a block: stored, classed, refused with what is wrong."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.nutrition.leaf_classes import LeafClass
from service.nutrition.readings import NutrientReading
from service.operations.nutrition.record_tests import list_reports, record_test, remove_test
from service.records.nutrition import NutrientTest
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, RUN_AT, TODAY, FixedClock

DAY = date(2025, 8, 1)
LEAF = NutrientTest(
    block_id=BLOCK_ID,
    day=DAY,
    kind="leaf",
    crop="highbush-blueberry",
    leaf_count=60,
    readings=(NutrientReading("N", 1.6, "%"), NutrientReading("B", 22.0, "ppm")),
)


def record(service: Service, test: NutrientTest = LEAF) -> int:
    _, outcome = record_test(test, unit_of_work=service.unit_of_work, clock=FixedClock(RUN_AT))
    return outcome.created_count


def test_a_test_is_stored_once_and_says_its_classes(own_service: Service) -> None:
    assert record(own_service) == 1
    assert record(own_service) == 0
    (found,) = list_reports(BLOCK_ID, on=TODAY, unit_of_work=own_service.unit_of_work)
    assert (found.test.tissue, found.test.stage) == ("leaf", "mid-season")
    assert found.test.tables_edition
    assert found.leaf is not None
    at = {card.nutrient: card.leaf_class for card in found.leaf.cards}
    assert (at["N"], at["B"], at["P"]) == (LeafClass.DEFICIENT, LeafClass.LOW, LeafClass.UNKNOWN)


@pytest.mark.parametrize(
    ("changed", "where"),
    [
        (replace(LEAF, day=TODAY + timedelta(days=2)), "day"),
        (replace(LEAF, crop=""), "crop"),
        (replace(LEAF, crop="durian"), "crop"),
        (replace(LEAF, readings=()), "readings"),
        (replace(LEAF, readings=(NutrientReading("N", 160.0, "%"),)), "N"),
        (replace(LEAF, block_id=BARE_BLOCK_ID, crop="", kind="petiole"), "stage"),
    ],
    ids=["to come", "which blueberry", "no crop", "no value", "no leaf", "no stage"],
)
def test_an_impossible_test_is_refused_with_its_place_and_not_kept(
    own_service: Service, changed: NutrientTest, where: str
) -> None:
    with pytest.raises(InputInvalid) as refused:
        record(own_service, changed)
    assert where in refused.value.faults[0].where
    found = list_reports(changed.block_id, on=TODAY, unit_of_work=own_service.unit_of_work)
    assert found == []


def test_ten_leaves_are_kept_without_a_class(own_service: Service) -> None:
    record(own_service, replace(LEAF, leaf_count=10))
    (found,) = list_reports(BLOCK_ID, on=TODAY, unit_of_work=own_service.unit_of_work)
    assert found.check is not None and not found.check.is_classed
    assert found.leaf is not None
    assert {card.leaf_class for card in found.leaf.cards} == {LeafClass.UNKNOWN}


def test_two_samples_in_three_weeks_that_contradict_ask_for_a_third(own_service: Service) -> None:
    record(own_service)
    again = replace(LEAF, day=DAY + timedelta(days=7), readings=(NutrientReading("N", 2.5, "%"),))
    record(own_service, again)
    newest, oldest = list_reports(BLOCK_ID, on=TODAY, unit_of_work=own_service.unit_of_work)
    assert newest.test.day > oldest.test.day
    assert any("N contradict: take a third sample" in note for note in newest.notes)


def test_a_test_can_be_deleted(own_service: Service) -> None:
    record(own_service)
    assert remove_test(BLOCK_ID, day=DAY, kind="leaf", unit_of_work=own_service.unit_of_work) == 1
    with pytest.raises(NotFound, match="no leaf test"):
        remove_test(BLOCK_ID, day=DAY, kind="leaf", unit_of_work=own_service.unit_of_work)
