"""What stored readings teach of a block, against an invented season whose truth is known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from service.agronomy.learning_gate import Refusal
from service.agronomy.records import Floats
from service.agronomy.sensor_check import SensorState
from service.bootstrap import Service
from service.errors import NotFound
from service.operations.feedback.read_learned import LearnedBlock, read_learned
from service.records.farms import BlockDefinition
from service.records.feedback import SoilReading
from service.records.ledger import LEDGER_NUMBERS, IrrigationOrigin, LedgerRows
from tests.api.invented_farm import BLOCK_ID, TODAY
from tests.validation.learning_seasons import Seasons, invent, share_without_stress

TRUTH = np.array([[-0.25, 0.1, 0.0, 0.01]])
DAYS = 100
SEASON = invent(1, every_days=1.0, seed=12, truth=TRUTH)
FIRST = TODAY - timedelta(days=DAYS - 1)


def stored_block(service: Service) -> tuple[BlockDefinition, int]:
    with service.unit_of_work(write=False) as unit:
        return unit.blocks.get_block(BLOCK_ID, day=TODAY), unit.blocks.get_block_key(BLOCK_ID)


def ledger_rows(key: int, seasons: Seasons, *, origin: IrrigationOrigin) -> LedgerRows:
    """The nominal ledger of the season's first days."""
    numbers = {name: np.zeros(DAYS) for name in LEDGER_NUMBERS}
    et = seasons.crop_et_mm[0, :DAYS]
    numbers["crop_et_mm"] = numbers["et0_mm"] = et
    numbers["rain_entering_mm"] = numbers["rain_mm"] = seasons.entering_mm[0, :DAYS]
    numbers["early_net_mm"] = seasons.net_mm[0, :DAYS]
    numbers["taw_mm"] = np.full(DAYS, 19.44)
    numbers["raw_mm"] = 19.44 * share_without_stress(et)
    # What a stored ledger corrected by its readings must not matter.
    numbers["correction_mm"] = np.full(DAYS, 3.0)
    none = np.zeros(DAYS, dtype=np.int64)
    return LedgerRows(
        block_keys=np.full(DAYS, key, dtype=np.int64),
        days=np.datetime64(FIRST) + np.arange(DAYS),
        is_observed=np.ones(DAYS, dtype=np.bool_),
        irrigation_origin=np.where(numbers["early_net_mm"] > 0.0, int(origin), 0),
        flags=none,
        numbers=numbers,
    )


def reading(block: BlockDefinition, day: date, water: float, **changes: object) -> SoilReading:
    """At the end of a day, of a block whose soil is not that of the season: as far along."""
    missing = (0.23 - water) / 0.12
    given = block.field_capacity - (block.field_capacity - block.wilting_point) * missing
    made = SoilReading(
        block_id=BLOCK_ID,
        read_at=datetime(day.year, day.month, day.day, 20, tzinfo=UTC),
        day=day,
        is_evening=True,
        kind="volumetric",
        volumetric_water=given,
        top_depth_m=0.0,
        bottom_depth_m=0.5,
        depletion_reading_mm=0.0,
        weight_fraction=0.8,
    )
    return replace(made, **changes)  # type: ignore[arg-type]  # any field of the record


def learned(
    service: Service,
    spoil: Callable[[Floats], Floats] = lambda water: water,
    *,
    origin: IrrigationOrigin = IrrigationOrigin.METERED,
    every: int = 2,
) -> LearnedBlock:
    block, key = stored_block(service)
    water = SEASON.water[0, :DAYS].copy()
    truth = 0.23 - 0.12 * SEASON.depletion_mm[0, :DAYS] / SEASON.true_taw_mm[0] + 0.01
    water = spoil(np.where(np.isfinite(water), water, truth))
    readings = [
        reading(block, FIRST + timedelta(days=row), float(water[row]))
        for row in range(0, DAYS, every)
    ]
    with service.unit_of_work(write=True) as unit:
        unit.ledger.save_rows(ledger_rows(key, SEASON, origin=origin))
        unit.soil.record_all(readings, recorded_at=service.clock.now())
    return read_learned(BLOCK_ID, unit_of_work=service.unit_of_work, clock=service.clock)


def test_readings_find_a_crop_that_uses_less_than_the_table_says(own_service: Service) -> None:
    found = learned(own_service)
    use, held, rate = found.multipliers
    assert use.likely[0] < np.exp(-0.25) < use.likely[1] + 0.05
    assert found.medians[0] == pytest.approx(np.exp(-0.25), abs=0.1)
    # Fifty readings halve what was unknown of it, which is not enough to be offered.
    assert (use.refusal, use.offered) == (Refusal.UNSURE, 1.0)
    assert held.likely[0] < np.exp(0.1) < held.likely[1]
    assert rate.likely == pytest.approx((0.965, 1.035), abs=0.02)
    (sensor,) = found.sensors
    assert (sensor.state, sensor.reading_count) == (SensorState.SOUND, 50)
    assert sensor.accepted_count == 50


def test_the_band_holds_the_truth_and_is_narrower_than_without_readings(
    own_service: Service,
) -> None:
    found = learned(own_service)
    low, _, high = found.depletion_mm
    before_low, _, before_high = found.beforehand_mm
    assert high - low < 0.9 * (before_high - before_low)
    assert low - 0.5 <= SEASON.depletion_mm[0, DAYS - 1] <= high + 0.5


def test_a_stuck_sensor_is_named_and_its_readings_are_left_out(own_service: Service) -> None:
    def stuck(water: Floats) -> Floats:
        return np.where(np.arange(DAYS) >= 70, water[70], water)

    found = learned(own_service, stuck)
    (sensor,) = found.sensors
    assert sensor.state is SensorState.STUCK
    assert sensor.doubted_since is not None
    assert sensor.doubted_since >= FIRST + timedelta(days=60)
    assert sensor.accepted_count < sensor.reading_count
    assert {offer.refusal for offer in found.multipliers} == {Refusal.SENSOR_IN_DOUBT}
    assert [offer.offered for offer in found.multipliers] == [1.0, 1.0, 1.0]


def test_without_readings_the_band_is_that_beforehand_and_nothing_is_offered(
    own_service: Service,
) -> None:
    found = learned(own_service, every=DAYS + 1)
    assert [offer.refusal for offer in found.multipliers] == [Refusal.FEW_READINGS] * 3
    _, key = stored_block(own_service)
    assert key
    assert found.last_day == TODAY


def test_runs_that_nobody_metered_leave_the_rate_as_unsure_as_it_was(
    own_service: Service,
) -> None:
    found = learned(own_service, origin=IrrigationOrigin.PLANNED)
    low, high = found.multipliers[2].likely
    assert high - low > 0.12
    assert found.multipliers[2].refusal is Refusal.UNSURE


def test_of_readings_before_dawn_the_median_counts_and_not_those_of_the_day(
    own_service: Service,
) -> None:
    block, key = stored_block(own_service)
    day = TODAY - timedelta(days=3)

    def hourly(hour: int, water: float) -> SoilReading:
        # The invented farm lies five hours behind UTC in summer.
        at = datetime(day.year, day.month, day.day, tzinfo=UTC) + timedelta(hours=hour)
        return reading(block, day, water, read_at=at, is_evening=False)

    readings = [hourly(8, 0.20), hourly(9, 0.19), hourly(10, 0.10), hourly(15, 0.22)]
    with own_service.unit_of_work(write=True) as unit:
        unit.ledger.save_rows(ledger_rows(key, SEASON, origin=IrrigationOrigin.METERED))
        unit.soil.record_all(readings, recorded_at=own_service.clock.now())
    found = read_learned(BLOCK_ID, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    assert [sensor.reading_count for sensor in found.sensors] == [1]


def test_an_unknown_block_is_not_found(own_service: Service) -> None:
    with pytest.raises(NotFound):
        read_learned(
            "hollow.nowhere", unit_of_work=own_service.unit_of_work, clock=own_service.clock
        )
