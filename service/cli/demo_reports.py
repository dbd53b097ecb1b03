"""What somebody would have reported of the demonstration's creek block; all of it is invented.

Tests of leaves, soil and water, a field test of the emitters, and metered runs from before the
block's books begin: pages and commands have something to show, and no plan rests on it.
"""

from __future__ import annotations

import csv
from datetime import datetime

from service.bootstrap import Service
from service.demo_farm import (
    CATCH_TEST_DAY,
    CAUGHT_ML,
    FARM_ID,
    FIRST_EVENING,
    REFERENCE_BLOCK_ID,
    RUNS_FILE,
    TEST_FILES,
    TIMER_BLOCK_ID,
    VISIT_NOTES,
    VISITOR,
    WATER_FILE,
    WATER_SUPPLY_ID,
)
from service.farm_files.nutrient_file import nutrient_test, read_nutrient_file
from service.farm_files.sample_file import read_sample_file
from service.operations.feedback.report_runs import RunReport, report_runs
from service.operations.nutrition.record_tests import record_test
from service.operations.reading.read_farms import today_at
from service.operations.season.note_visits import NoteDraft, record_note
from service.operations.timers.set_timer import set_timer, timers_of
from service.operations.waterworks.catch_tests import record_catch_test
from service.operations.waterworks.report_water import record_sample
from service.records.waterworks import WaterSample
from service.unit_sizes import L_PER_GALLON


def bring_reports(service: Service) -> None:
    """Store all of it; the same again changes nothing."""
    for block_id, file in TEST_FILES:
        record_test(
            nutrient_test(block_id, read_nutrient_file(file)),
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )
    report = read_sample_file(WATER_FILE)
    sample = WaterSample(
        farm_id=FARM_ID,
        supply_id=WATER_SUPPLY_ID,
        day=report.day or FIRST_EVENING,
        laboratory=report.laboratory,
        readings=report.readings,
        temperature_c=report.temperature_c,
        titration=report.titration,
    )
    record_sample(sample, unit_of_work=service.unit_of_work, clock=service.clock)
    record_catch_test(
        REFERENCE_BLOCK_ID,
        CATCH_TEST_DAY,
        CAUGHT_ML,
        is_used=False,
        effective_day=FIRST_EVENING,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    for day, block_id, text in VISIT_NOTES:
        record_note(
            FARM_ID,
            NoteDraft(day=day, text=text, block_id=block_id, visitor=VISITOR),
            reporter="invented",
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )
    with service.unit_of_work(write=True) as unit:
        report_runs(
            unit, _runs(), farm_id=FARM_ID, reporter="invented", replanning=service.replanning
        )


def set_first_program(service: Service) -> None:
    """Set the timer to the program that the first evening offered, unless it has one."""
    with service.unit_of_work(write=True) as unit:
        today = today_at(unit, FARM_ID, service.clock.now())
        block = unit.blocks.get_block(TIMER_BLOCK_ID, day=today)
        (state,) = timers_of(unit, [block], today=today)
        if state.set_program is None:
            set_timer(
                unit, TIMER_BLOCK_ID, None, set_from=None, reporter="invented",
                replanning=service.replanning,
            )  # fmt: skip


def _runs() -> list[RunReport]:
    lines = RUNS_FILE.read_text("utf-8").splitlines()
    return [
        RunReport(
            REFERENCE_BLOCK_ID,
            datetime.fromisoformat(f"{row['date']}T{row['start']}"),
            float(row["minutes"]),
            volume_l=float(row["gallons"]) * L_PER_GALLON,
        )
        for row in csv.DictReader(line for line in lines if not line.startswith("#"))
    ]
