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
    LEAF_FILE,
    REFERENCE_BLOCK_ID,
    RUNS_FILE,
    SOIL_FILE,
    WATER_FILE,
    WATER_SUPPLY_ID,
)
from service.farm_files.nutrient_file import nutrient_test, read_nutrient_file
from service.farm_files.sample_file import read_sample_file
from service.operations.feedback.report_runs import RunReport, report_runs
from service.operations.nutrition.record_tests import record_test
from service.operations.waterworks.catch_tests import record_catch_test
from service.operations.waterworks.report_water import record_sample
from service.records.waterworks import WaterSample
from service.unit_sizes import L_PER_GALLON


def bring_reports(service: Service) -> None:
    """Store all of it; the same again changes nothing."""
    for file in (LEAF_FILE, SOIL_FILE):
        record_test(
            nutrient_test(REFERENCE_BLOCK_ID, read_nutrient_file(file)),
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
    with service.unit_of_work(write=True) as unit:
        report_runs(
            unit, _runs(), farm_id=FARM_ID, reporter="invented", replanning=service.replanning
        )


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
