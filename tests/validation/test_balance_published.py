"""The root-zone balance against the worked examples of FAO-56 (Allen et al. 1998) chapter 8."""

from __future__ import annotations

import numpy as np
import pytest

from service.agronomy.effective_rain import rain_entering_mm, runoff_mm
from service.agronomy.records import Floats, SoilBatch
from service.agronomy.root_zone import (
    depletion_fraction,
    readily_available_water_mm,
    total_available_water_mm,
)
from service.agronomy.stress_kernel import stress_coefficient
from service.agronomy.water_balance import DayLedger, step_day, step_days
from tests.agronomy.ledger_error import mass_balance_error_mm


def make_soil(
    capacity: float = 0.18,
    wilting: float = 0.08,
    *,
    root_m: float = 0.45,
    wetted: float = 0.33,
    mulch: tuple[float, float] = (0.0, 1.0),
) -> SoilBatch:
    one = np.ones(1)
    return SoilBatch(
        field_capacity=capacity * one,
        wilting_point=wilting * one,
        saturated_conductivity_mm_per_h=50.3 * one,
        root_depth_m=root_m * one,
        wetted_fraction=wetted * one,
        root_share_of_wetted=one,
        mulch_cover_fraction=mulch[0] * one,
        mulch_rain_pass_fraction=mulch[1] * one,
        curve_number=np.nan * one,
    )


def run_dry(
    start_mm: float, taw_mm: float, raw_mm: float, *, crop_et_mm: float, days: int
) -> DayLedger:
    day = np.ones((days, 1))
    return step_days(
        np.array([start_mm]),
        first_day_index=np.zeros(1, dtype=np.int64),
        taw_mm=taw_mm * day,
        raw_mm=raw_mm * day,
        rain_entering_mm=0.0 * day,
        crop_et_mm=crop_et_mm * day,
        early_net_mm=0.0 * day,
        day_net_mm=0.0 * day,
    )


@pytest.mark.parametrize(
    ("root_m", "p", "printed"),
    [(0.4, 0.30, (11, 20, 14)), (0.8, 0.40, (29, 54, 38)), (1.2, 0.55, (59, 112, 79))],
)
def test_readily_available_water_of_example_36(
    root_m: float, p: float, printed: tuple[int, int, int]
) -> None:
    # FAO-56 Ex. 36: onion, tomato, maize on loamy sand, silt, silty clay. Field capacity and
    # wilting point (0.15/0.06, 0.32/0.15, 0.35/0.23); printed in whole millimetres.
    soils = ((0.15, 0.06), (0.32, 0.15), (0.35, 0.23))
    for (capacity, wilting), expected in zip(soils, printed, strict=True):
        taw = total_available_water_mm(make_soil(capacity, wilting, root_m=root_m, wetted=1.0))
        assert readily_available_water_mm(taw, p)[0] == pytest.approx(expected, abs=0.6)


def test_stress_of_example_37() -> None:
    # FAO-56 Ex. 37: TAW 160, RAW 64, 55 mm depleted, Kc ET0 6 mm/d, ten days without water;
    # printed Ks 0.97, 0.80 and 0.62 on days 3, 6 and 10, depletion 104.5 mm at the end. The book
    # holds the Ks of the morning for the day.
    depletion_mm, ks = 55.0, []
    for _ in range(10):
        ks.append(stress_coefficient(depletion_mm, 160.0, 64.0))
        depletion_mm += 6.0 * ks[-1]
    assert ks[:2] == [1.0, 1.0]
    assert [ks[2], ks[5], ks[9]] == pytest.approx([0.97, 0.80, 0.62], abs=0.005)
    assert depletion_mm == pytest.approx(104.51, abs=0.01)
    # The ledger follows the depletion through the day: 160 - 96 exp(-(60 - 9) / 96) by hand.
    ledger = run_dry(55.0, 160.0, 64.0, crop_et_mm=6.0, days=10)
    assert ledger.depletion_end_mm[9, 0] == pytest.approx(103.565, abs=0.001)
    assert ledger.stress_ratio[[0, 1, 2, 5, 9], 0] == pytest.approx(
        [1.0, 0.9923, 0.9396, 0.7789, 0.6066], abs=0.0001
    )


def test_schedule_of_example_38() -> None:
    # FAO-56 Ex. 38: sandy loam (0.23, 0.10), p 0.6, roots from 0.30 m on day 1 to 0.35 m on day 10,
    # depletion RAW at the start, 40 mm on day 1 and enough on day 10 early in the day, 6 mm of rain
    # on day 6. Printed depletions 5 12 16 18 21 18 22 25 27 6 and drainage of 17 mm on day 1. The
    # crop ET of the days is that of the printed columns (one digit). In the afternoon
    # of day 9 the depletion passes RAW by 0.5 mm, which costs 0.53^2 / (2 x 17.9) = 0.008 mm of ET.
    root_m = np.linspace(0.30, 0.35, 10)
    taw_mm = (1000.0 * 0.13 * root_m)[:, np.newaxis]
    column = np.zeros((10, 1))
    crop_et_mm = np.array([5.5, 6.1, 4.0, 2.9, 2.5, 2.7, 4.7, 2.8, 2.2, 6.3])[:, np.newaxis]
    rain_mm, early_mm = column.copy(), column.copy()
    rain_mm[5] = 6.0
    early_mm[0], early_mm[9] = 40.0, 27.4
    ledger = step_days(
        0.6 * taw_mm[0],
        first_day_index=np.zeros(1, dtype=np.int64),
        taw_mm=taw_mm,
        raw_mm=0.6 * taw_mm,
        rain_entering_mm=rain_mm,
        crop_et_mm=crop_et_mm,
        early_net_mm=early_mm,
        day_net_mm=column,
    )
    end_mm = ledger.depletion_end_mm[:, 0]
    assert end_mm == pytest.approx([5, 12, 16, 18, 21, 18, 22, 25, 27, 6], abs=0.6)
    assert end_mm == pytest.approx(
        [5.5, 11.6, 15.6, 18.5, 21.0, 17.7, 22.4, 25.2, 27.392, 6.3], abs=0.001
    )
    assert ledger.irrigation_drainage_mm[0, 0] == pytest.approx(17.0, abs=0.6)
    assert np.delete(ledger.stress_ratio[:, 0], 8).tolist() == [1.0] * 9
    assert ledger.stress_ratio[8, 0] == pytest.approx(0.9965, abs=0.0001)
    assert np.abs(mass_balance_error_mm(ledger)).max() < 1e-9


@pytest.mark.parametrize(
    ("table", "crop_et_mm", "expected"), [(0.50, 3.0, 0.58), (0.50, 7.0, 0.42), (0.35, 6.5, 0.29)]
)
def test_depletion_fraction_of_chapter_8(table: float, crop_et_mm: float, expected: float) -> None:
    # FAO-56 ch. 8, p = p_table + 0.04 (5 - ETc).
    assert depletion_fraction(table, crop_et_mm) == pytest.approx(expected, abs=1e-9)


def test_drip_wetted_zone_of_a_sandy_loam() -> None:
    # FAO-56 Eq. 82, 83 on a third of the ground, worked by hand.
    taw = total_available_water_mm(make_soil())
    assert taw[0] == pytest.approx(14.85, abs=1e-6)
    assert readily_available_water_mm(taw, 0.5)[0] == pytest.approx(7.425, abs=1e-6)


def test_a_week_of_refills_worked_by_hand() -> None:
    # Worked by hand with FAO-56 Eq. 84, 85: Kc 0.85, fabric of phi 0.6 over the strip, 3 mm missing
    # at the start, refilled before sunrise whenever RAW is used up; no published source. On days 2
    # and 6 RAW is used up by the afternoon: 14.85 - 7.425 exp(-4.5 / 7.425), exp(-3.799 / 7.425).
    soil = make_soil(mulch=(1.0, 0.6))
    et0: Floats = np.array([5.0, 5.5, 4.0, 2.0, 4.5, 5.5, 6.0])[:, np.newaxis]
    rain = np.array([0.0, 0.0, 0.5, 12.0, 0.0, 0.0, 0.0])[:, np.newaxis]
    entering = rain_entering_mm(rain, et0, soil)
    assert entering[:, 0] == pytest.approx([0, 0, 0, 2.376, 0, 0, 0], abs=1e-9)
    taw = total_available_water_mm(soil)
    raw = readily_available_water_mm(taw, 0.5)
    depletion = np.array([3.0])
    ends, waterings = [], []
    for day in range(7):
        refill = np.where(depletion >= raw, depletion, 0.0)
        ledger = step_day(
            depletion,
            taw_mm=taw,
            raw_mm=raw,
            rain_entering_mm=entering[day],
            crop_et_mm=0.85 * et0[day],
            early_net_mm=refill,
            day_net_mm=np.zeros(1),
        )
        assert (ledger.stress_ratio[0] == 1.0) == (day not in {1, 5})
        assert ledger.irrigation_drainage_mm[0] == 0.0
        depletion = ledger.depletion_end_mm
        ends.append(depletion[0])
        waterings.append(refill[0])
    assert ends == pytest.approx([7.250, 10.800, 3.400, 2.724, 6.549, 10.399, 5.100], abs=0.001)
    assert waterings == pytest.approx([0, 0, 10.800, 0, 0, 0, 10.399], abs=0.001)


def test_a_dry_down_worked_by_hand() -> None:
    # FAO-56 Eq. 84 on the same zone, 5.1 mm/d asked of it every day, integrated by hand:
    # 14.85 - 7.425 exp(-(5.1 n - 7.425) / 7.425) after n days.
    ledger = run_dry(0.0, 14.85, 7.425, crop_et_mm=5.1, days=7)
    assert ledger.depletion_end_mm[:, 0] == pytest.approx(
        [5.1, 9.740, 12.279, 13.556, 14.199, 14.523, 14.685], abs=0.0006
    )
    assert ledger.stress_ratio[:, 0] == pytest.approx(
        [1, 0.9099, 0.4978, 0.2505, 0.1260, 0.0634, 0.0319], abs=0.0001
    )


@pytest.mark.parametrize(
    ("curve_number", "rain_mm", "expected"),
    [
        (75.0, 50.0, 9.287),
        (75.0, 25.0, 0.702),
        (75.0, 16.0, 0.0),
        (61.0, 100.0, 19.830),
        (85.0, 60.0, 27.171),
    ],
)
def test_runoff_by_curve_number(curve_number: float, rain_mm: float, expected: float) -> None:
    # SCS curve number method with Ia = 0.2 S, from memory.
    assert runoff_mm(rain_mm, curve_number) == pytest.approx(expected, abs=0.001)
