"""Water analyses: stored by supply, reported for a crop, and used by a plan where that is safe."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from service.bootstrap import Service
from service.database.session import UnitOfWorkFactory
from service.errors import InputInvalid, NotFound
from service.operations.waterworks.report_water import (
    LEACHING_CAUTION,
    REPORT_LEACHING_FRACTION,
    list_samples,
    newest_sample,
    record_sample,
    report_block_water,
    report_sample,
    use_leaching,
)
from service.records.farms import BlockDefinition, LoadOutcome
from service.records.waterworks import WaterSample
from service.waterworks.caution import NEVER_WITH_CHLORINE
from service.waterworks.water_analysis import Reading
from tests.api.invented_farm import BARE_BLOCK_ID, FARM_ID, RUN_AT, TODAY, FixedClock

SAMPLE = WaterSample(
    farm_id=FARM_ID,
    supply_id="well",
    day=TODAY - timedelta(days=30),
    laboratory="Invented",
    readings=(Reading("ph", 7.6, ""), Reading("ec", 1.2, "dS/m")),
    temperature_c=15.0,
)


def record(service: Service, sample: WaterSample = SAMPLE) -> LoadOutcome:
    return record_sample(sample, unit_of_work=service.unit_of_work, clock=FixedClock(RUN_AT))


def listed(open_unit: UnitOfWorkFactory) -> list[WaterSample]:
    return list_samples(FARM_ID, "well", unit_of_work=open_unit)


def block_on(service: Service, day: date = TODAY) -> BlockDefinition:
    with service.unit_of_work(write=False) as unit:
        return unit.blocks.get_block(BARE_BLOCK_ID, day=day)


def test_an_analysis_is_stored_once_and_the_newest_comes_first(own_service: Service) -> None:
    assert record(own_service).created_count == 1
    assert record(own_service).unchanged_count == 1
    newer = replace(SAMPLE, day=TODAY)
    record(own_service, newer)
    unit_of_work = own_service.unit_of_work
    assert listed(unit_of_work) == [newer, SAMPLE]
    assert newest_sample(FARM_ID, "well", unit_of_work=unit_of_work) == newer
    of_its_day = newest_sample(FARM_ID, "well", day=SAMPLE.day, unit_of_work=unit_of_work)
    assert of_its_day == SAMPLE


@pytest.mark.parametrize(
    ("changed", "where"),
    [
        (replace(SAMPLE, temperature_c=41.0), "temperature_c"),
        (replace(SAMPLE, day=TODAY + timedelta(days=2)), "day"),
        (replace(SAMPLE, readings=(Reading("ph", 77.0, ""),)), "ph"),
    ],
    ids=["too warm", "to come", "no pH"],
)
def test_an_impossible_analysis_is_refused_with_its_place_and_not_kept(
    own_service: Service, changed: WaterSample, where: str
) -> None:
    with pytest.raises(InputInvalid) as refused:
        record(own_service, changed)
    assert where in refused.value.faults[0].where
    assert listed(own_service.unit_of_work) == []


def test_an_unknown_supply_or_day_is_reported_with_what_there_is(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    with pytest.raises(NotFound, match="its supplies: well"):
        record(own_service, replace(SAMPLE, supply_id="lake"))
    with pytest.raises(NotFound, match="water-add"):
        newest_sample(FARM_ID, "well", unit_of_work=unit_of_work)
    record(own_service)
    with pytest.raises(NotFound, match=f"of {TODAY} of supply"):
        newest_sample(FARM_ID, "well", day=TODAY, unit_of_work=unit_of_work)


def test_a_report_is_for_a_block_a_crop_or_the_water_alone() -> None:
    alone = report_sample(SAMPLE)
    assert (alone.crop, alone.block_id, alone.report.salinity) == (None, None, None)
    assert alone.leaching_fraction == REPORT_LEACHING_FRACTION
    grape = report_sample(SAMPLE, crop_key="grape-wine")
    assert grape.crop is not None and grape.report.salinity is not None
    assert alone.cautions == (LEACHING_CAUTION,)


def test_chlorine_is_warned_of_where_it_is_what_is_commonly_done() -> None:
    rusty = replace(SAMPLE, readings=(*SAMPLE.readings, Reading("iron", 2.0, "mg/L")))
    assert NEVER_WITH_CHLORINE.text in report_sample(rusty).cautions
    assert NEVER_WITH_CHLORINE.text not in report_sample(SAMPLE).cautions


def test_leaching_that_is_turned_on_counts_from_its_day_and_names_the_analysis(
    own_service: Service,
) -> None:
    record(own_service)
    before = block_on(own_service)
    unit_of_work = own_service.unit_of_work
    water = report_block_water(BARE_BLOCK_ID, on=TODAY, unit_of_work=unit_of_work)
    assert water.report.salinity is not None
    required = water.report.salinity.drip_leaching_requirement_fraction
    assert required is not None and 0.0 < required < 0.5
    used = use_leaching(
        BARE_BLOCK_ID, effective_day=TODAY, unit_of_work=unit_of_work, clock=own_service.clock
    )
    block = block_on(own_service)
    assert block.leaching_fraction == used.plan_leaching_fraction == round(required, 4)
    assert used.plan_origin.startswith(f"water report of {SAMPLE.day}")
    assert block_on(own_service, TODAY - timedelta(days=1)) == before
    use_leaching(
        BARE_BLOCK_ID, effective_day=TODAY, unit_of_work=unit_of_work, clock=own_service.clock
    )
    assert block_on(own_service) == block


@pytest.mark.parametrize(
    ("readings", "found"),
    [
        ((Reading("ph", 7.6, ""),), "not known: EC or the crop's salinity numbers are missing"),
        # By hand: 14 over twice the 1.5 + 100/9.6 dS/m at which grapes yield nothing.
        ((Reading("ec", 14.0, "dS/m"),), "0.59"),
        ((Reading("ec", 30.0, "dS/m"),), "none: no leaching mends this water for this crop"),
    ],
)
def test_water_that_no_plan_can_leach_with_leaves_the_block_as_it_is(
    own_service: Service, readings: tuple[Reading, ...], found: str
) -> None:
    record(own_service, replace(SAMPLE, readings=readings))
    before = block_on(own_service)
    with pytest.raises(InputInvalid) as refused:
        use_leaching(
            BARE_BLOCK_ID,
            effective_day=TODAY,
            unit_of_work=own_service.unit_of_work,
            clock=own_service.clock,
        )
    (fault,) = refused.value.faults
    assert (fault.where, fault.found, fault.allowed) == ("leaching requirement", found, "up to 0.5")
    assert block_on(own_service) == before
