"""Runs of a file: all or none, duplicates recognized, amounts in any unit."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid
from service.farm_files.run_file import parse_runs
from service.operations.feedback.import_runs import ImportedRuns, import_runs
from service.operations.feedback.revise_runs import RunsWish, list_reported
from service.records.farms import BlockDefinition
from service.records.feeds import RunEntry
from tests.api.invented_farm import BLOCK_ID, FARM_ID, TODAY

TWO = "block,start,duration_min\nnorth,2026-07-13T05:10,40\nsouth,2026-07-13T05:10-05:00,30\n"


def bring(service: Service, text: str, *, block_id: str | None = None) -> ImportedRuns:
    with service.unit_of_work(write=True) as unit:
        return import_runs(
            unit,
            parse_runs(text.encode(), name="runs.csv"),
            farm_id=FARM_ID,
            block_id=block_id,
            reporter="the office",
            replanning=service.replanning,
        )


def runs_of(service: Service) -> list[RunEntry]:
    return list(list_reported(RunsWish(FARM_ID), unit_of_work=service.unit_of_work).runs)


def north(service: Service) -> BlockDefinition:
    with service.unit_of_work(write=False) as unit:
        return unit.blocks.get_block(BLOCK_ID, day=TODAY)


def faults_of(service: Service, text: str) -> list[tuple[str, str]]:
    with pytest.raises(InputInvalid) as caught:
        bring(service, text)
    assert runs_of(service) == [], "all or none"
    return [(fault.where, fault.found) for fault in caught.value.faults]


def test_runs_are_stored_with_plans_behind_them_and_again_change_nothing(
    own_service: Service,
) -> None:
    done = bring(own_service, TWO)
    assert (done.outcome.created_count, done.notes) == (2, ())
    assert done.new_version_count >= 1
    # Five and ten past five in the morning: the farm is four hours behind UTC in July.
    assert [each.started_at for each in runs_of(own_service)] == [
        datetime(2026, 7, 13, 10, 10, tzinfo=UTC), datetime(2026, 7, 13, 9, 10, tzinfo=UTC),
    ]  # fmt: skip
    again = bring(own_service, TWO)
    assert (again.outcome.unchanged_count, again.new_version_count) == (2, 0)


def test_another_amount_for_the_same_start_corrects_the_run(own_service: Service) -> None:
    bring(own_service, TWO)
    assert bring(own_service, TWO.replace(",40", ",45")).outcome.changed_count == 1
    assert {each.duration_min for each in runs_of(own_service)} == {45.0, 30.0}


def test_a_file_of_one_block_needs_no_column_for_it(own_service: Service) -> None:
    bring(own_service, "start,duration_min\n2026-07-13T05:10,40\n", block_id=BLOCK_ID)
    assert [each.block_id for each in runs_of(own_service)] == [BLOCK_ID]


def test_a_depth_or_a_volume_alone_gives_minutes_at_the_emitters_flow(
    own_service: Service,
) -> None:
    block = north(own_service)
    done = bring(
        own_service,
        "start,depth_mm,volume_l\n2026-07-12T05:10,4,\n2026-07-13T05:10,,3000\n",
        block_id=BLOCK_ID,
    )
    assert done.notes == ("the minutes of 2 runs follow from the flow of the emitters",)
    of_volume, of_depth = runs_of(own_service)
    # One millimeter over a square meter is a liter.
    assert of_depth.duration_min == pytest.approx(4.0 * block.area_m2 / block.flow_l_per_h * 60.0)
    assert of_volume.duration_min == pytest.approx(3000.0 / block.flow_l_per_h * 60.0)
    assert of_volume.volume_l is None and of_depth.volume_l is None


def test_faults_are_named_by_line_and_nothing_is_stored(own_service: Service) -> None:
    found = faults_of(
        own_service,
        "block,start,duration_min\nnorth,2026-07-13T05:10,40\nwest,2026-07-13T05:10,40\n",
    )
    assert found == [("runs.csv: line 3, column block", "'west'")]
    found = faults_of(
        own_service,
        "block,start,duration_min\nnorth,2026-07-20T05:10,40\nnorth,2026-07-13T05:10,4000\n",
    )
    assert [where for where, _ in found] == [
        "runs.csv: line 2, column start", "runs.csv: line 3, column duration",
    ]  # fmt: skip


def test_another_farms_block_is_none_of_this_farm(own_service: Service) -> None:
    text = "block,start,duration_min\nlater-farm.young,2026-07-13T05:10,40\n"
    assert faults_of(own_service, text)[0][0] == "runs.csv: line 2, column block"


def test_a_line_that_stands_twice_counts_once_and_a_contradiction_is_refused(
    own_service: Service,
) -> None:
    line = "north,2026-07-13T05:10,40\n"
    contradiction = f"block,start,duration_min\n{line}{line.replace('40', '50')}"
    assert faults_of(own_service, contradiction)[0][0] == "runs.csv: line 3"
    done = bring(own_service, f"block,start,duration_min\n{line}{line}")
    assert done.notes == ("1 repeated line with equal values",)
    assert len(runs_of(own_service)) == 1


def test_runs_of_a_block_that_overlap_are_refused(own_service: Service) -> None:
    text = "block,start,duration_min\nnorth,2026-07-13T05:30,40\nnorth,2026-07-13T05:10,40\n"
    assert faults_of(own_service, text) == [
        ("runs.csv: line 2, column start", "a start before the run of line 3 is over")
    ]
