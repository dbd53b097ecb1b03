"""Invented blocks under real weather whose true multipliers are known, and readings of them.

Weather: De Bilt, 1980 to 2019, Royal Netherlands Meteorological Institute (``data/de_bilt``, CC BY
4.0, with its notice), reference ET times 1.3 for a drier summer. The truth is stepped here, apart
from the program: FAO-56's balance with daily errors of ET and rain that no ledger knows, watered by
a rule that knows the nominal numbers alone. Spreads: daily ET 12 %, entering rain 30 % lognormal,
readings 0.015, offsets 0.020 [m³ m⁻³] [CHOICE].
"""

from __future__ import annotations

import csv
import gzip
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from service.agronomy.learned_multipliers import BlockSoil, LearnedPoints, learn_multipliers
from service.agronomy.learning_ledger import LedgerTerms
from service.agronomy.learning_likelihood import SoilObservations
from service.agronomy.learning_points import PRIOR_LOG_SPREAD, MultiplierPrior, with_meter
from service.agronomy.records import Floats, Ints

FILE = Path(__file__).parent / "data" / "de_bilt" / "rain_et0_1980_2019.csv.gz"
DAYS = 183  # from 1 April
SOIL = BlockSoil(0.23, 0.11)
KC, WETTED, TABLE_P, ROOT_M = 0.90, 0.36, 0.5, 0.45
TAW_MM = 1000.0 * SOIL.water_range * ROOT_M * WETTED
OFFSET, NOISE, METER = 0.020, 0.015, 0.03
ET_ERROR, RAIN_ERROR = 0.12, 0.30
MODEL_ERROR = 0.012
SPREADS = np.array([*PRIOR_LOG_SPREAD, OFFSET])


@dataclass(frozen=True, slots=True)
class Seasons:
    """One season of many blocks, arrays (blocks, days) unless noted."""

    crop_et_mm: Floats
    entering_mm: Floats
    net_mm: Floats
    """As reported."""
    water: Floats
    """Readings at the end of the day; NaN without one."""
    meter_log_ratio: Floats
    """(blocks,) ln of metered over nominal volume; NaN without a meter."""
    truth: Floats
    """(blocks, 4) ln k, ln c, ln r and the sensor's offset."""
    depletion_mm: Floats
    """True, at the end of the day."""
    nominal_mm: Floats
    """By the nominal ledger."""

    @property
    def true_taw_mm(self) -> Floats:
        """(blocks,)"""
        return TAW_MM * np.exp(self.truth[:, 1])


@cache
def _weather() -> tuple[NDArray[np.datetime64], Floats, Floats]:
    with gzip.open(FILE, "rt", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    days = np.array([row["date"] for row in rows], dtype="M8[D]")
    et0 = np.array([float(row["et0_mm"]) for row in rows]) * 1.3
    return days, et0, np.array([float(row["rain_mm"]) for row in rows])


def stressed(depletion: Floats, et: Floats, taw: Floats, raw: Floats) -> Floats:
    """Depletion after a day's unstressed ET, FAO-56 Eq. 84 integrated over it."""
    begun = np.maximum(depletion, raw)
    beyond = np.maximum(0.0, et - (begun - depletion))
    return np.where(
        depletion + et <= raw,
        depletion + et,
        taw - (taw - begun) * np.exp(-beyond / (taw - raw)),
    )


def share_without_stress(et: Floats) -> Floats:
    """p of FAO-56's note to Table 22."""
    return np.clip(TABLE_P + 0.04 * (5.0 - et), 0.1, 0.8)


def invent(
    count: int,
    *,
    every_days: float = 3.0,
    is_metered: bool = True,
    seed: int = 5,
    truth: Floats | None = None,
) -> Seasons:
    """Seasons of this many blocks, each with a truth drawn from the prior or given."""
    random = np.random.default_rng(seed)
    days, et0, rain = _weather()
    years = random.integers(1980, 2020, count)
    first = np.searchsorted(days, np.array([f"{year}-04-01" for year in years], dtype="M8[D]"))
    rows = first[:, None] + np.arange(DAYS)
    et, fallen = KC * et0[rows], rain[rows]
    entering = np.where(fallen < 0.2 * et0[rows], 0.0, fallen * WETTED)
    drawn = random.standard_normal((count, 4)) * SPREADS
    own = drawn if truth is None else truth
    k, c, r = np.exp(own[:, :3]).T
    taw, depletion, nominal = TAW_MM * c, np.zeros(count), np.zeros(count)
    found = {name: np.zeros((count, DAYS)) for name in ("net", "true", "nominal")}
    for day in range(DAYS):
        today = et[:, day]
        raw = share_without_stress(today) * TAW_MM
        wet = np.maximum(0.0, nominal - entering[:, day])
        net = np.where(wet + today > 0.7 * raw, np.maximum(0.0, wet + today - 0.3 * raw), 0.0)
        nominal = stressed(np.maximum(0.0, wet - net), today, np.full(count, TAW_MM), raw)
        caught = np.exp(RAIN_ERROR * random.standard_normal(count) - RAIN_ERROR**2 / 2)
        used = k * today * np.exp(ET_ERROR * random.standard_normal(count) - ET_ERROR**2 / 2)
        depletion = np.maximum(0.0, depletion - entering[:, day] * np.sqrt(c) * caught)
        depletion = np.maximum(0.0, depletion - net * r)
        depletion = stressed(depletion, used, taw, share_without_stress(k * today) * taw)
        found["net"][:, day], found["true"][:, day] = net, depletion
        found["nominal"][:, day] = nominal
    is_read = random.random((count, DAYS)) < (1.0 / every_days if every_days else 0.0)
    water = SOIL.field_capacity - SOIL.water_range * found["true"] / taw[:, None]
    water += own[:, 3:] + NOISE * random.standard_normal((count, DAYS))
    meter = own[:, 2] + METER * random.standard_normal(count)
    return Seasons(
        crop_et_mm=et,
        entering_mm=entering,
        net_mm=found["net"],
        water=np.where(is_read, water, np.nan),
        meter_log_ratio=meter if is_metered else np.full(count, np.nan),
        truth=own,
        depletion_mm=found["true"],
        nominal_mm=found["nominal"],
    )


def terms_of(seasons: Seasons, block: int) -> LedgerTerms:
    """What the program is told of a block's days."""
    nothing = np.zeros(DAYS)
    return LedgerTerms(
        depletion_start_mm=0.0,
        taw_mm=np.full(DAYS, TAW_MM),
        table_depletion_fraction=np.full(DAYS, TABLE_P),
        rain_entering_mm=seasons.entering_mm[block],
        crop_et_mm=seasons.crop_et_mm[block],
        zone_et_mm=seasons.crop_et_mm[block],
        early_net_mm=seasons.net_mm[block],
        day_net_mm=nothing,
    )


def observed(water: Floats, *, model_error: float = MODEL_ERROR) -> SoilObservations:
    """Readings (days,) at the ends of days as the program takes them; NaN for none."""
    rows = np.flatnonzero(np.isfinite(water))
    return at_columns(rows + 1, water[rows], model_error=model_error)


def at_columns(
    column: Ints, water: Floats, *, model_error: float = MODEL_ERROR, sensor: Ints | None = None
) -> SoilObservations:
    """Readings of capacitance sensors at midnights."""
    ones, none = np.ones(column.size), np.zeros(column.size, dtype=np.int64)
    own = none if sensor is None else sensor
    return SoilObservations(
        column=column.astype(np.int64),
        volumetric_water=water,
        noise=NOISE * ones,
        model_error=model_error * ones,
        bound=none,
        sensor=own,
        offset_loading=ones,
        offset_spread=np.full(int(own.max(initial=0)) + 1, OFFSET),
    )


def prior_of(seasons: Seasons, block: int) -> MultiplierPrior:
    """The usual prior with what the block's meter says."""
    ratio = seasons.meter_log_ratio[block]
    return with_meter(MultiplierPrior.default(), [ratio] if np.isfinite(ratio) else [])


def learn(
    seasons: Seasons,
    block: int,
    *,
    model_error: float = MODEL_ERROR,
    until: int = DAYS,
    student_degrees: float | None = None,
) -> LearnedPoints:
    """What the readings of the first days teach of a block."""
    water = seasons.water[block].copy()
    water[until:] = np.nan
    return learn_multipliers(
        terms_of(seasons, block),
        observed(water, model_error=model_error),
        prior_of(seasons, block),
        soil=SOIL,
        student_degrees=student_degrees,
    )
