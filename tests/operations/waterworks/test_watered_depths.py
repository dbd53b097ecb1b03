"""What of a nutrient comes with the water of a plan and of a year."""

from __future__ import annotations

import numpy as np
import pytest

from service.bootstrap import Service
from service.operations.waterworks.watered_depths import nutrient_loads
from tests.api.invented_farm import BLOCK_ID, TODAY


def test_loads_follow_the_newest_plan_and_the_ledger_of_the_year(own_service: Service) -> None:
    with own_service.unit_of_work(write=False) as unit:
        loads = nutrient_loads(
            unit, BLOCK_ID, nutrient="nitrogen", nutrient_g_per_m3=10.0, on=TODAY
        )
        day = unit.plans.find_latest_day(BLOCK_ID)
        assert day is not None
        plan = unit.plans.find_plan(BLOCK_ID, day=day)
        rows = unit.ledger.read_rows(
            unit.blocks.get_block_key(BLOCK_ID),
            first_day=TODAY.replace(month=1, day=1),
            last_day=TODAY,
        )
    assert plan is not None
    by_plan, by_year = loads
    assert (by_plan.first_day, by_plan.last_day) == (plan.day, plan.day)
    assert by_plan.gross_mm == plan.gross_mm
    assert (by_year.first_day, by_year.last_day) == (TODAY.replace(month=1, day=1), TODAY)
    assert by_year.gross_mm == pytest.approx(np.nansum(rows.numbers["irrigation_gross_mm"]))
    # 10 mg/L in 600 mm, 6,000 m3/ha, are 60 kg/ha: by hand.
    for load in loads:
        assert load.load_kg_per_ha == pytest.approx(60.0 * load.gross_mm / 600.0)
