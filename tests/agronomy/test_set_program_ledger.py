"""A program that is left on a timer: the ledger against the same days minute by minute.

The days, soils and programs are invented, and most of them water too much: a plan's own pulses
never drain, so only a program that nobody changes shows where water above capacity goes.
"""

from __future__ import annotations

import enum
import math
from datetime import date
from typing import NamedTuple

import numpy as np
import pytest

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.records import Floats
from service.agronomy.water_balance import DayLedger, PulseTimes, step_days
from service.agronomy.week_ahead import DayRule
from service.pulses import Pulse
from service.records.timers import TimerProgram
from tests.agronomy.ledger_error import mass_balance_error_mm
from tests.agronomy.minute_simulation import simulate_day

FIRST_DAY = date(2026, 6, 1)
DAY_COUNT = 14
MOST_PER_DAY = 1.0
"""AquaCrop lets at most this share of the water above field capacity drain in a day: tau = 0.0866
Ksat^0.35 with Ksat in mm/d, held at 1, which it reaches at 1,100 mm/d (Raes et al., AquaCrop
reference manual, chapter 3)."""


class Case(NamedTuple):
    """One zone under one program; day by day where it is an array."""

    taw_mm: float
    raw_mm: float
    start_mm: float
    net_rate_mm_per_min: float
    crop_et_mm: Floats
    rain_mm: Floats
    sunrise_min: Floats
    sunset_min: Floats
    pulses: list[tuple[Pulse, ...]]


def invented_case(seed: int) -> Case:
    """A zone of 8 to 60 mm under a program that gives 0.6 to 2.5 times what the crop uses."""
    dice = np.random.default_rng(seed)
    taw_mm = float(dice.uniform(8.0, 60.0))
    crop_et_mm = dice.uniform(1.0, 7.0, DAY_COUNT)
    starts = int(dice.integers(1, 5))
    run_min = float(dice.integers(20, 240)) / 2.0
    mask = int(dice.integers(1, 128))
    program = TimerProgram(
        first_day=FIRST_DAY,
        day_rule=DayRule.WEEKDAYS,
        day_mask=mask,
        start_count=starts,
        first_start_min=int(dice.integers(60, 420)),
        spacing_min=int(dice.integers(125, 320)),
        run_min=run_min,
    )
    given_mm = float(dice.uniform(0.6, 2.5)) * crop_et_mm.mean() * 7.0
    return Case(
        taw_mm=taw_mm,
        raw_mm=taw_mm * float(dice.uniform(0.3, 0.6)),
        start_mm=taw_mm * float(dice.uniform(0.0, 0.5)),
        net_rate_mm_per_min=given_mm / program.minutes_a_week,
        crop_et_mm=crop_et_mm,
        rain_mm=np.where(dice.random(DAY_COUNT) < 0.25, dice.exponential(8.0, DAY_COUNT), 0.0),
        sunrise_min=dice.uniform(280.0, 420.0, DAY_COUNT),
        sunset_min=dice.uniform(1080.0, 1260.0, DAY_COUNT),
        pulses=[program.pulses_on(FIRST_DAY + day * ONE_DAY) for day in range(DAY_COUNT)],
    )


def ledger_of(case: Case) -> DayLedger:
    """The days by the public balance, one column."""

    def column(values: Floats) -> Floats:
        return np.asarray(values, np.float64)[:, np.newaxis]

    by_day = [
        [pulse for pulse in pulses if pulse.start_min >= sunrise_min]
        for pulses, sunrise_min in zip(case.pulses, case.sunrise_min, strict=True)
    ]
    all_min = np.array([sum(each.duration_min for each in pulses) for pulses in case.pulses], float)
    day_min = np.array([sum(each.duration_min for each in pulses) for pulses in by_day], float)
    ones = np.ones((DAY_COUNT, 1))
    return step_days(
        np.array([case.start_mm]),
        first_day_index=np.zeros(1, np.int64),
        taw_mm=case.taw_mm * ones,
        raw_mm=case.raw_mm * ones,
        rain_entering_mm=column(case.rain_mm),
        crop_et_mm=column(case.crop_et_mm),
        early_net_mm=column((all_min - day_min) * case.net_rate_mm_per_min),
        day_net_mm=column(day_min * case.net_rate_mm_per_min),
        times=PulseTimes(
            offset=np.concatenate(([0], np.cumsum([len(pulses) for pulses in by_day]))),
            start_min=np.array([float(each.start_min) for day in by_day for each in day]),
            duration_min=np.array([float(each.duration_min) for day in by_day for each in day]),
            sunrise_min=column(case.sunrise_min),
            sunset_min=column(case.sunset_min),
        ),
    )


class Drainage(enum.Enum):
    """When water above capacity leaves the zone."""

    BY_THE_LEDGER = "rain and what came before sunrise then, the rest after the day's ET"
    AT_ONCE = "at the pulse that brought it"
    SLOWLY = "by AquaCrop's share a day, while the crop goes on using it"


def simulated(case: Case, drainage: Drainage) -> tuple[Floats, float]:
    """Depletion at every midnight and all that drained, minute by minute."""
    depletion_mm, drained_mm, ends_mm = case.start_mm, 0.0, []

    def let_go() -> None:
        nonlocal depletion_mm, drained_mm
        if drainage is not Drainage.SLOWLY:
            drained_mm += max(0.0, -depletion_mm)
            depletion_mm = max(0.0, depletion_mm)

    for day, pulses in enumerate(case.pulses):
        sunrise_min = float(case.sunrise_min[day])
        let_go_at_min = {
            Drainage.BY_THE_LEDGER: (math.ceil(sunrise_min) - 1,),
            Drainage.AT_ONCE: None,
            Drainage.SLOWLY: (),
        }
        depletion_mm -= float(case.rain_mm[day])
        let_go()
        result = simulate_day(
            depletion_after_rain_mm=depletion_mm,
            crop_et_mm=float(case.crop_et_mm[day]),
            taw_mm=case.taw_mm,
            raw_mm=case.raw_mm,
            sunrise_min=sunrise_min,
            sunset_min=float(case.sunset_min[day]),
            net_rate_mm_per_min=case.net_rate_mm_per_min,
            starts_min=[pulse.start_min for pulse in pulses],
            durations_min=[pulse.duration_min for pulse in pulses],
            drains_at_min=let_go_at_min[drainage],
            drained_per_day=MOST_PER_DAY if drainage is Drainage.SLOWLY else 0.0,
        )
        drained_mm += result.drainage_mm
        depletion_mm = result.depletion_end_mm
        let_go()
        ends_mm.append(depletion_mm)
    return np.array(ends_mm), drained_mm


@pytest.mark.parametrize("seed", range(24))
def test_the_ledger_of_a_set_program_is_a_simulation_of_its_minutes(seed: int) -> None:
    case = invented_case(seed)
    ledger = ledger_of(case)
    ends_mm, drained_mm = simulated(case, Drainage.BY_THE_LEDGER)
    np.testing.assert_allclose(ledger.depletion_end_mm[:, 0], ends_mm, rtol=0.0, atol=1e-6)
    booked_mm = ledger.irrigation_drainage_mm.sum() + ledger.rain_drainage_mm.sum()
    assert booked_mm == pytest.approx(drained_mm, abs=1e-6)
    assert np.abs(mass_balance_error_mm(ledger)).max() < 1e-9


def test_the_cases_drain_and_go_short() -> None:
    ledgers = [ledger_of(invented_case(seed)) for seed in range(24)]
    assert sum(ledger.irrigation_drainage_mm.any() for ledger in ledgers) >= 15
    assert sum((ledger.stress_ratio < 1.0).any() for ledger in ledgers) >= 5


def test_soil_above_field_capacity_is_nearer_to_the_ledger_than_to_drainage_at_the_pulse() -> None:
    from_ledger_mm, from_at_once_mm = [], []
    for seed in range(24):
        case = invented_case(seed)
        slow_mm, _ = simulated(case, Drainage.SLOWLY)
        at_once_mm, _ = simulated(case, Drainage.AT_ONCE)
        slow_mm = slow_mm.clip(0.0)
        from_ledger_mm.append(np.abs(ledger_of(case).depletion_end_mm[:, 0] - slow_mm).mean())
        from_at_once_mm.append(np.abs(at_once_mm - slow_mm).mean())
    assert np.mean(from_ledger_mm) < 0.75 * np.mean(from_at_once_mm)
