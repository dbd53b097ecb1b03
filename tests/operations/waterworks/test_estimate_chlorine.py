"""Chlorine for a block's water and flow, with its cautions."""

from __future__ import annotations

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.reading.block_pipes import expected_flow_l_per_h
from service.operations.waterworks.estimate_chlorine import (
    ChlorineRequest,
    estimate_block_chlorine,
    estimate_chlorine,
)
from service.operations.waterworks.report_water import record_sample
from service.records.waterworks import WaterSample
from service.waterworks.caution import CHLORINE_CAUTIONS
from service.waterworks.water_analysis import Reading
from tests.api.invented_farm import BARE_BLOCK_ID, FARM_ID, RUN_AT, TODAY, FixedClock

SAMPLE = WaterSample(
    farm_id=FARM_ID,
    supply_id="well",
    day=TODAY,
    laboratory="Invented",
    readings=(Reading("ph", 8.0, ""), Reading("iron", 1.0, "mg/L")),
    temperature_c=15.0,
)
REQUEST = ChlorineRequest(free_mg_per_l=2.0, product_g_per_l=125.0)


def test_the_newest_analysis_and_the_blocks_flow_make_the_rate(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    with pytest.raises(NotFound, match="no water analysis"):
        estimate_block_chlorine(BARE_BLOCK_ID, REQUEST, on=TODAY, unit_of_work=unit_of_work)
    record_sample(SAMPLE, unit_of_work=unit_of_work, clock=FixedClock(RUN_AT))
    found = estimate_block_chlorine(BARE_BLOCK_ID, REQUEST, on=TODAY, unit_of_work=unit_of_work)
    with unit_of_work(write=False) as unit:
        flow, origin = expected_flow_l_per_h(unit.blocks.get_block(BARE_BLOCK_ID, day=TODAY))
    assert (found.block_id, found.flow_l_per_h, found.flow_origin) == (BARE_BLOCK_ID, flow, origin)
    # 1 mg of iron takes 0.635 mg of chlorine: by hand.
    assert found.dose.dose_mg_per_l == pytest.approx(2.635, abs=0.001)
    assert found.dose.injector_l_per_h == pytest.approx(
        found.dose.dose_mg_per_l * flow / 1000.0 / 125.0
    )
    assert found.dose.cautions == CHLORINE_CAUTIONS


def test_without_a_block_there_is_a_dose_and_no_rate() -> None:
    found = estimate_chlorine(SAMPLE, REQUEST)
    assert found.block_id is None and found.dose.injector_l_per_h is None
    assert found.dose.product_ml_per_m3 > 0.0


def test_acid_in_the_same_water_is_refused() -> None:
    both = ChlorineRequest(free_mg_per_l=2.0, product_g_per_l=125.0, is_acid_injected=True)
    with pytest.raises(InputInvalid, match="chlorine gas"):
        estimate_chlorine(SAMPLE, both)
