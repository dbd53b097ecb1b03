"""A farm's season calendar from what is stored of its blocks."""

from __future__ import annotations

from datetime import date

import pytest

from service.bootstrap import Service
from service.errors import NotFound
from service.nutrition.readings import NutrientReading
from service.nutrition.season_tasks import GroupedTask
from service.nutrition.task_words import TaskKind
from service.operations.nutrition.record_tests import record_test
from service.operations.season.plan_season import plan_season
from service.operations.waterworks.report_water import record_sample
from service.records.nutrition import NutrientTest
from service.records.season import SeasonCalendar
from service.records.waterworks import WaterSample
from service.waterworks.water_analysis import Reading
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM_ID, TODAY
from tests.operations.nutrition.test_plan_nutrients import with_tests


def season(service: Service, on: date = TODAY) -> SeasonCalendar:
    return plan_season(FARM_ID, on=on, unit_of_work=service.unit_of_work)


def sample_petioles(service: Service) -> None:
    """A petiole test at veraison of the vines, taken today."""
    test = NutrientTest(
        block_id=BARE_BLOCK_ID, day=TODAY, kind="petiole", stage="veraison", leaf_count=75,
        readings=(NutrientReading("N", 0.9, "%"),),
    )  # fmt: skip
    record_test(test, unit_of_work=service.unit_of_work, clock=service.clock)


def of_kind(calendar: SeasonCalendar, kind: TaskKind) -> list[GroupedTask]:
    return [each for each in calendar.tasks if each.task.kind is kind]


def test_each_crop_of_a_farm_gets_its_own_windows(own_service: Service) -> None:
    found = season(own_service)
    samples = {
        each.task.detail: [block for block, _ in each.blocks]
        for each in of_kind(found, TaskKind.LEAF_SAMPLE)
    }
    assert samples["highbush-blueberry.leaf.mid-season"] == [BLOCK_ID]
    assert samples["grape.petiole.veraison"] == samples["grape.petiole.bloom"] == [BARE_BLOCK_ID]
    # Soil and water are the same for both.
    (soil,) = of_kind(found, TaskKind.SOIL_SAMPLE)
    assert [block for block, _ in soil.blocks] == [BLOCK_ID, BARE_BLOCK_ID]
    # The vines' own season has other days than that of the bushes.
    assert len(of_kind(found, TaskKind.END_OF_SEASON)) == 2


def test_tests_on_file_decide_what_is_due(own_service: Service) -> None:
    service = with_tests(own_service)
    found = season(service)
    (leaves,) = [
        each
        for each in of_kind(found, TaskKind.LEAF_SAMPLE)
        if each.task.detail.startswith("highbush")
    ]
    assert leaves.blocks[0][1].before_on == date(2025, 8, 1)
    assert all(not each.task.detail.startswith("rabbiteye") for each in found.tasks)
    # Alkalinity of 80 mg/L as CaCO3 is 1.6 meq/L: a crop of acid soils suffers from 1 on.
    (acid,) = of_kind(found, TaskKind.ACID)
    assert "titration" in acid.task.how[0]
    assert any("Never mix acid with chlorine" in each.text for each in found.cautions)
    # pH 5.8 on sandy loam: 768 kg/ha in three parts, the first from the test's own spring on.
    assert of_kind(found, TaskKind.SOIL_RETEST)
    parts = of_kind(found, TaskKind.SULFUR)
    assert parts[-1].blocks[0][1].note.startswith("Part 2 of 3: 256 kg/ha")


def test_soft_water_needs_no_acid(own_service: Service) -> None:
    sample = WaterSample(
        farm_id=FARM_ID, supply_id="well", day=date(2026, 2, 1), laboratory="Invented",
        readings=(Reading("ph", 6.8, ""), Reading("alkalinity", 30.0, "mg/L CaCO3")),
        temperature_c=15.0,
    )  # fmt: skip
    record_sample(sample, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    assert of_kind(season(own_service), TaskKind.ACID) == []


def test_a_test_of_this_window_is_done(own_service: Service) -> None:
    sample_petioles(own_service)
    (found,) = [
        each
        for each in of_kind(season(own_service), TaskKind.LEAF_SAMPLE)
        if each.task.detail == "grape.petiole.veraison"
    ]
    assert found.blocks[0][1].done_on == TODAY
    assert found.open_blocks == ()


def test_a_farm_without_blocks_has_nothing_to_do_and_an_unknown_one_is_refused(
    own_service: Service,
) -> None:
    before = season(own_service, date(2020, 1, 1))
    assert before.tasks == () and before.cautions == ()
    with pytest.raises(NotFound):
        plan_season("nowhere", on=TODAY, unit_of_work=own_service.unit_of_work)
