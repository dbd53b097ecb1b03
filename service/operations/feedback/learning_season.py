"""A block's season as it is learned from: the terms of its ledger, and its readings thinned out.

In: stored ledger days and readings. Out: what the core learns from, without the corrections that
the readings had made to the ledger.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import groupby
from statistics import median
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from service.agronomy.learned_multipliers import (
    BlockSoil,
    LearnedPoints,
    learn_multipliers,
    no_observations,
)
from service.agronomy.learning_ledger import LedgerTerms
from service.agronomy.learning_likelihood import STUDENT_DEGREES, SoilObservations
from service.agronomy.learning_points import APPLICATION, METER_LOG_SPREAD, MultiplierPrior
from service.agronomy.learning_readings import SeasonReadings, soil_observations
from service.agronomy.records import Days, Floats, Ints
from service.database.session import UnitOfWork
from service.errors import NotFound
from service.operations.feedback.read_soil import batch_of
from service.records.farms import BlockDefinition
from service.records.feedback import SoilReading
from service.records.ledger import IrrigationOrigin, LedgerRows

METERED_SHARE = 0.8
"""[CHOICE] Of the water, from which on the ledger's water is the meter's."""
BEFORE_DAWN_H = (2, 6)


@dataclass(frozen=True, slots=True)
class LearningSeason:
    """A block's terms and readings."""

    days: Days
    terms: LedgerTerms
    soil: BlockSoil
    prior: MultiplierPrior
    observations: SoilObservations
    raw_water: Floats
    """(readings,) as read."""
    entered_mm: Floats

    @property
    def reading_days(self) -> Days:
        """(readings,)"""
        days: Days = self.days[0] + self.observations.column - 1
        return days

    def learned(self, accepted: NDArray[np.bool_]) -> LearnedPoints:
        """What the accepted readings teach."""
        return learn_multipliers(
            self.terms,
            self.observations.some(accepted),
            self.prior,
            soil=self.soil,
            student_degrees=STUDENT_DEGREES,
        )


def same_soil_since(unit: UnitOfWork, block: BlockDefinition, first: date, last: date) -> date:
    """First day of the span from which the block's soil and roots are those it has now."""
    farm_key = unit.blocks.farm_keys([block.farm_id])[block.farm_id]
    keys = np.array([farm_key], dtype=np.int64)
    since = first
    for change in unit.blocks.list_version_days(keys, first_day=first, last_day=last):
        try:
            before = unit.blocks.get_block(block.block_id, day=change - timedelta(days=1))
        except NotFound:
            continue  # its first version: a ledger that begins before it has the same soil
        if _soil_of(before) != _soil_of(block):
            since = change
    return since


def _soil_of(block: BlockDefinition) -> tuple[float | None, ...]:
    return block.field_capacity, block.wilting_point, block.root_depth_m


def unbroken(rows: LedgerRows) -> LedgerRows:
    """The last ledger days that follow each other."""
    gaps = np.flatnonzero(np.diff(rows.days) != np.timedelta64(1, "D"))
    begin = int(gaps[-1]) + 1 if gaps.size else 0
    return LedgerRows(
        rows.block_keys[begin:],
        rows.days[begin:],
        rows.is_observed[begin:],
        rows.irrigation_origin[begin:],
        rows.flags[begin:],
        {name: values[begin:] for name, values in rows.numbers.items()},
    )


def thinned(readings: Sequence[SoilReading], zone: ZoneInfo) -> list[SoilReading]:
    """One reading for each sensor and half of a day: the median of those before dawn, or of all."""

    def slot(reading: SoilReading) -> tuple[date, bool, str, float, float]:
        own = reading.kind, reading.top_depth_m, reading.bottom_depth_m
        return reading.day, reading.is_evening, *own

    found = []
    for _, group in groupby(sorted(readings, key=slot), key=slot):
        members = list(group)
        early, late = BEFORE_DAWN_H
        dawn = [each for each in members if early <= each.read_at.astimezone(zone).hour < late]
        used = dawn or members
        middle = median(each.volumetric_water for each in used)
        tensions = [each.tension_kpa for each in used if each.tension_kpa is not None]
        found.append(
            replace(
                used[-1],
                volumetric_water=middle,
                tension_kpa=median(tensions) if tensions else None,
            )
        )
    return found


def sensor_keys(readings: Sequence[SoilReading]) -> list[tuple[str, float, float]]:
    """Kind and layer of each sensor, in the order of their numbers."""
    keys = {(each.kind, each.top_depth_m, each.bottom_depth_m) for each in readings}
    return sorted(keys)


def season_of(
    block: BlockDefinition, rows: LedgerRows, readings: Sequence[SoilReading]
) -> LearningSeason:
    """The block's terms, and its readings of days on which it is watered at all."""
    numbers = {name: np.nan_to_num(values) for name, values in rows.numbers.items()}
    batch = batch_of(block, rows.days[-1].item().year)
    soil = BlockSoil(float(batch.soil.field_capacity[0]), float(batch.soil.wilting_point[0]))
    entered_mm = numbers["rain_entering_mm"] + numbers["early_net_mm"] + numbers["day_net_mm"]
    table_p = np.full(rows.days.size, float(batch.crop.depletion_fraction[0]))
    terms = LedgerTerms(
        depletion_start_mm=float(numbers["depletion_start_mm"][0]),
        taw_mm=rows.numbers["taw_mm"],
        table_depletion_fraction=table_p,
        rain_entering_mm=numbers["rain_entering_mm"],
        crop_et_mm=rows.numbers["crop_et_mm"],
        zone_et_mm=rows.numbers["crop_et_mm"] - numbers["alley_et_mm"],
        early_net_mm=numbers["early_net_mm"],
        day_net_mm=numbers["day_net_mm"],
    )
    sensors = {key: number for number, key in enumerate(sensor_keys(readings))}
    column = [(np.datetime64(each.day) - rows.days[0]).astype(int) for each in readings]
    kept = SeasonReadings(
        column=np.array(
            [row + int(each.is_evening) for row, each in zip(column, readings, strict=True)],
            dtype=np.int64,
        ),
        volumetric_water=np.array([each.volumetric_water for each in readings], dtype=np.float64),
        tension_kpa=np.array(
            [np.nan if each.tension_kpa is None else each.tension_kpa for each in readings],
            dtype=np.float64,
        ),
        weight_fraction=np.array([each.weight_fraction for each in readings], dtype=np.float64),
        sensor=np.array(
            [sensors[each.kind, each.top_depth_m, each.bottom_depth_m] for each in readings],
            dtype=np.int64,
        ),
    )
    origin = rows.irrigation_origin
    observations = no_observations()
    if readings:
        observations = soil_observations(
            kept,
            soil=soil,
            entered_mm=entered_mm,
            is_assumed=origin == IrrigationOrigin.PLANNED,
        )
    prior = _prior(origin, numbers["early_net_mm"] + numbers["day_net_mm"])
    return LearningSeason(
        rows.days, terms, soil, prior, observations, kept.volumetric_water, entered_mm
    )


def _prior(origin: Ints, net_mm: Floats) -> MultiplierPrior:
    """The usual prior; of the rate that of a meter where the ledger's water is the meter's."""
    prior = MultiplierPrior.default()
    metered_mm = float(net_mm[origin == IrrigationOrigin.METERED].sum())
    if metered_mm <= METERED_SHARE * float(net_mm.sum()) or metered_mm == 0.0:
        return prior
    spread = prior.log_spread.copy()
    spread[APPLICATION] = METER_LOG_SPREAD
    return replace(prior, log_spread=spread)
