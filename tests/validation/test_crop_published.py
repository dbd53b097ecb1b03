"""Crop coefficients against the worked examples and tables of FAO-56 (Allen et al. 1998).

Inputs and results of the examples and every row of the tables were compared with the book's text.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from service.agronomy.canopy_density import density_coefficient
from service.agronomy.crop_table import find_crop
from service.agronomy.crop_water_use import (
    climate_term,
    crop_coefficient,
    height_factor,
)
from service.agronomy.mulch import mulch_effect
from service.agronomy.records import CropBatch, Floats
from service.agronomy.sparse_canopy import (
    basal_coefficient,
    drip_evaporation_coefficient,
    full_cover_basal_coefficient,
    largest_coefficient,
)
from tests.agronomy.fao56_formulas import psychrometric_constant_kpa_per_c


def adjusted_mid(kc_mid: float, u2_m_s: float, rhmin_pct: float, *, height_m: float) -> float:
    return float(kc_mid + climate_term(u2_m_s, rhmin_pct) * height_factor(height_m))


def whole_canopy(
    kc: tuple[float, float, float],
    *,
    height_m: float,
    start_doy: int,
    knots: tuple[float, ...],
    mulch_cover: float = 0.0,
) -> CropBatch:
    """A crop whose canopy is the reference, so that only the curve is at work."""
    one = np.ones(1)
    return CropBatch(
        kc_initial=kc[0] * one,
        kc_mid=kc[1] * one,
        kc_end=kc[2] * one,
        kc_off_season=0.2 * one,
        table_height_m=height_m * one,
        reference_canopy_ratio=one,
        canopy_density_factor=1.5 * one,
        canopy_cover_fraction=one,
        canopy_height_m=one,
        mulch_cover_fraction=mulch_cover * one,
        mulch_kc_initial=0.10 * one,
        mulch_kc_reduction_fraction=0.15 * one,
        depletion_fraction=0.5 * one,
        curve_basis=np.zeros(1, dtype=np.int64),
        season_start_doy=np.array([start_doy]),
        stage_knot=np.array([knots]),
        degree_day_floor_c=np.nan * one,
        kc_table_doy=np.full((1, 1), np.nan),
        kc_table_value=np.full((1, 1), np.nan),
        ground_kc=0.15 * one,
    )


def kc_on(crop: CropBatch, day: str, term: float = 0.0) -> float:
    kc: Floats = crop_coefficient(
        crop, days=np.array([day], "M8[D]"), climate_term=np.full((1, 1), term)
    )
    return float(kc[0, 0])


@pytest.mark.parametrize(
    ("u2_m_s", "rhmin_pct", "printed", "computed"),
    [(1.3, 75.0, 1.07, 1.0690), (4.6, 44.0, 1.30, 1.2956)],  # Taipei, Mocha
)
def test_maize_of_example_27(
    u2_m_s: float, rhmin_pct: float, printed: float, computed: float
) -> None:
    # FAO-56 Ex. 27: Kc mid 1.20 of the table, height 2 m.
    kc = adjusted_mid(1.20, u2_m_s, rhmin_pct, height_m=2.0)
    assert kc == pytest.approx(printed, abs=0.005)
    assert kc == pytest.approx(computed, abs=0.0001)


def test_the_whole_chain_gives_example_27_too() -> None:
    # FAO-56 Ex. 27 through crop_coefficient, in mid-season of an arbitrary calendar.
    maize = whole_canopy((0.3, 1.20, 0.35), height_m=2.0, start_doy=91, knots=(20, 50, 90, 120))
    assert kc_on(maize, "2025-06-10", float(climate_term(4.6, 44.0))) == pytest.approx(
        1.30, abs=0.005
    )


def test_beans_of_box_15() -> None:
    # FAO-56 Box 15, printed 1.19: Kc mid 1.15, h 0.4 m, u2 2.2 m/s, RHmin 30 %.
    assert adjusted_mid(1.15, 2.2, 30.0, height_m=0.4) == pytest.approx(1.1872, abs=0.0001)


@pytest.mark.parametrize(
    ("day_number", "printed", "tight"),
    [(20, 0.15, 0.15), (40, 0.77, 0.774), (70, 1.19, 1.19), (95, 0.56, 0.56)],
)
def test_bean_curve_of_example_28(day_number: int, printed: float, tight: float) -> None:
    # FAO-56 Ex. 28: stages 25/25/30/20 d, Kc 0.15/1.19/0.35, planted 23 May; printed to 2 digits.
    beans = whole_canopy((0.15, 1.19, 0.35), height_m=0.4, start_doy=143, knots=(25, 50, 80, 100))
    day = np.datetime64("2025-05-23") + (day_number - 1)
    kc = kc_on(beans, str(day))
    assert kc == pytest.approx(printed, abs=0.005)
    assert kc == pytest.approx(tight, abs=1e-9)


@pytest.mark.parametrize(
    ("crop_key", "height_m", "u2_m_s", "rhmin_pct", "expected"),
    [
        ("blueberry", 1.5, 1.5, 60.0, 0.9850),
        ("blueberry", 1.5, 3.0, 20.0, 1.1637),
        ("grape-wine", 2.0, 1.5, 55.0, 0.6469),
        ("peach-bare-frost", 3.0, 2.0, 50.0, 0.8800),
    ],
)
def test_fruit_crops_in_humid_and_dry_air(
    crop_key: str, height_m: float, u2_m_s: float, rhmin_pct: float, expected: float
) -> None:
    # FAO-56 Eq. 62 worked by hand on the rows of Table 12.
    kc = adjusted_mid(find_crop(crop_key).kc_mid, u2_m_s, rhmin_pct, height_m=height_m)
    assert kc == pytest.approx(expected, abs=0.0001)


# FAO-56 Table 12 (Kc) and Table 22 (smaller root depth in m, p).
TABLE_12_AND_22 = [
    ("berry-bush", 0.30, 1.05, 0.50, 0.6, 0.50),
    ("strawberry", 0.40, 0.85, 0.75, 0.2, 0.20),
    ("grape-table", 0.30, 0.85, 0.45, 1.0, 0.35),
    ("grape-wine", 0.30, 0.70, 0.45, 1.0, 0.45),
    ("hops", 0.30, 1.05, 0.85, 1.0, 0.50),
    ("almond", 0.40, 0.90, 0.65, 1.0, 0.40),
    ("apple-bare-frost", 0.45, 0.95, 0.70, 1.0, 0.50),
    ("cherry-bare-no-frost", 0.60, 0.95, 0.75, 1.0, 0.50),
    ("pear-cover-frost", 0.50, 1.20, 0.95, 1.0, 0.50),
    ("apple-cover-no-frost", 0.80, 1.20, 0.85, 1.0, 0.50),
    ("peach-bare-frost", 0.45, 0.90, 0.65, 1.0, 0.50),
    ("apricot-bare-no-frost", 0.55, 0.90, 0.65, 1.0, 0.50),
    ("plum-cover-frost", 0.50, 1.15, 0.90, 1.0, 0.50),
    ("stone-fruit-cover-no-frost", 0.80, 1.15, 0.85, 1.0, 0.50),
    ("avocado", 0.60, 0.85, 0.75, 0.5, 0.70),
    ("citrus-70-bare", 0.70, 0.65, 0.70, 1.2, 0.50),
    ("citrus-50-bare", 0.65, 0.60, 0.65, 1.1, 0.50),
    ("citrus-20-bare", 0.50, 0.45, 0.55, 0.8, 0.50),
    ("citrus-70-cover", 0.75, 0.70, 0.75, 1.2, 0.50),
    ("citrus-50-cover", 0.80, 0.80, 0.80, 1.1, 0.50),
    ("citrus-20-cover", 0.85, 0.85, 0.85, 0.8, 0.50),
    ("kiwi", 0.40, 1.05, 1.05, 0.7, 0.35),
    ("olive", 0.65, 0.70, 0.70, 1.2, 0.65),
    ("pistachio", 0.40, 1.10, 0.45, 1.0, 0.40),
    ("walnut", 0.50, 1.10, 0.65, 1.7, 0.50),
    ("banana-first-year", 0.50, 1.10, 1.00, 0.5, 0.35),
    ("banana-second-year", 1.00, 1.20, 1.10, 0.5, 0.35),
    ("date-palm", 0.90, 0.95, 0.95, 1.5, 0.50),
]


@pytest.mark.parametrize(("key", "initial", "mid", "end", "root_m", "p"), TABLE_12_AND_22)
def test_rows_of_tables_12_and_22(
    key: str, initial: float, mid: float, end: float, root_m: float, p: float
) -> None:
    row = find_crop(key)
    assert (row.kc_initial, row.kc_mid, row.kc_end) == (initial, mid, end)
    assert (row.root_depth_low_m, row.depletion_fraction) == (root_m, p)


@pytest.mark.parametrize(
    ("key", "lengths", "start"),
    [
        ("grape-wine", (30, 60, 40, 80), "04-01"),
        ("grape-table", (20, 50, 75, 60), "03-01"),
        ("hops", (25, 40, 80, 10), "04-01"),
        ("apple-bare-frost", (30, 50, 130, 30), "03-01"),
        ("citrus-50-bare", (60, 90, 120, 95), "01-01"),
        ("olive", (30, 90, 60, 90), "03-01"),
        ("pistachio", (20, 60, 30, 40), "02-01"),
        ("walnut", (20, 10, 130, 30), "04-01"),
        ("banana-second-year", (120, 60, 180, 5), "02-01"),
    ],
)
def test_stage_lengths_of_table_11(
    key: str, lengths: tuple[int, int, int, int], start: str
) -> None:
    row = find_crop(key)
    assert row.stage_lengths_day == lengths
    assert row.season_start == start


@pytest.mark.parametrize(
    ("key", "threshold", "slope"),
    [
        ("blackberry", 1.5, 22.0),
        ("boysenberry", 1.5, 22.0),
        ("grape-table", 1.5, 9.6),
        ("grape-wine", 1.5, 9.6),
        ("almond", 1.5, 19.0),
        ("peach-bare-frost", 1.7, 21.0),
        ("apricot-cover-frost", 1.6, 24.0),
        ("plum-bare-frost", 1.5, 18.0),
        ("citrus-70-bare", 1.7, 16.0),
        ("date-palm", 4.0, 3.6),
    ],
)
def test_salinity_of_table_23(key: str, threshold: float, slope: float) -> None:
    row = find_crop(key)
    assert (row.salinity_threshold_ds_m, row.salinity_slope_pct_per_ds_m) == (threshold, slope)


@pytest.mark.parametrize(
    ("cover", "height_m", "ml", "expected"),
    [
        (0.25, 1.0, 1.5, 0.375),
        (0.25, 1.0, 2.0, 0.500),
        (0.40, 1.2, 1.5, 0.6000),
        (0.40, 1.2, 2.0, 0.6594),
        (0.60, 1.5, 1.5, 0.8152),
        (0.60, 3.5, 1.5, 0.8927),
    ],
)
def test_density_coefficient(cover: float, height_m: float, ml: float, expected: float) -> None:
    # Allen & Pereira 2009, Irrig. Sci. 28:17-34, from memory; values worked by hand.
    assert density_coefficient(cover, height_m, ml=ml) == pytest.approx(expected, abs=0.0001)


def test_sparse_crop_of_example_41() -> None:
    # FAO-56 Ex. 41: fc 0.3, h 2 m, fc_eff 0.41, u2 1.5, RHmin 55; printed 1.15 and 0.75.
    full_cover = full_cover_basal_coefficient(2.0, climate_term(1.5, 55.0))
    assert full_cover == pytest.approx(1.1469, abs=0.0001)
    kcb = basal_coefficient(0.3, 0.41, 2.0, full_cover_kc=full_cover)
    assert kcb == pytest.approx(0.7481, abs=0.0001)
    assert kcb == pytest.approx(0.75, abs=0.01)


def test_olives_of_example_43() -> None:
    # FAO-56 Ex. 43: crowns of 5 m, 10 x 10 m and 5 x 10 m; printed 1.29, 0.60, 0.67, 0.40, 1.04.
    # Inputs: h 5 m, u2 2 m/s, RHmin 25 %, 25 degC at sea level, leaves of 420 s/m.
    full_cover = full_cover_basal_coefficient(5.0, climate_term(2.0, 25.0))
    assert full_cover == pytest.approx(1.2932, abs=0.0001)
    crown_m2 = math.pi * 2.5**2
    wide = basal_coefficient(crown_m2 / 100.0, crown_m2 / 100.0, 5.0, full_cover_kc=full_cover)
    close = basal_coefficient(crown_m2 / 50.0, crown_m2 / 50.0, 5.0, full_cover_kc=full_cover)
    assert wide == pytest.approx(0.5990, abs=0.0005)
    assert close == pytest.approx(1.0479, abs=0.0005)
    slope = 4098.0 * 0.6108 * math.exp(17.27 * 25.0 / 262.3) / 262.3**2  # FAO-56 Eq. 13
    # FAO-56 Eq. 102, which the service leaves out: the tables of such crops hold it already.
    gamma = psychrometric_constant_kpa_per_c(0.0)
    closing = (slope + gamma * (1.0 + 0.34 * 2.0)) / (slope + gamma * (1.0 + 0.34 * 2.0 * 4.2))
    assert closing == pytest.approx(0.6729, abs=0.0005)
    # The printed 0.40 is Fr times Kcb, not Kcb of a full cover reduced by Fr (which gives 0.43).
    assert closing * wide == pytest.approx(0.40, abs=0.005)


def test_film_of_example_45() -> None:
    # FAO-56 Ex. 45, p. 197: cucumbers under film, watered weekly; printed 0.10, 0.85, 0.64.
    film = mulch_effect("film", 0.4, interval_day=7.0, is_bare_at_first=True)
    assert film == pytest.approx((0.10, 0.15))
    cucumber = whole_canopy(
        (0.4, 1.0, 0.75), height_m=0.3, start_doy=1, knots=(20, 50, 90, 105), mulch_cover=1.0
    )
    found = [kc_on(cucumber, day) for day in ("2025-01-10", "2025-03-01", "2025-04-15")]
    assert found == pytest.approx([0.10, 0.85, 0.64], abs=0.005)


def test_film_takes_off_what_page_196_says_and_straw_what_page_197_does() -> None:
    # p. 196: 10 to 30 %, most with frequent drip; p. 197: Kc ini less by 25 % under 50 % of straw.
    taken = [
        mulch_effect(
            "film", 0.4, interval_day=days, is_bare_at_first=True
        ).mulch_kc_reduction_fraction
        for days in (0.2, 1.0, 4.0, 30.0)
    ]
    assert taken == pytest.approx([0.30, 0.30, 0.225, 0.10])
    straw = mulch_effect("organic", 0.4, interval_day=3.0, is_bare_at_first=True)
    assert 0.5 * 0.4 + 0.5 * straw.kc_initial == pytest.approx(0.75 * 0.4)
    assert 0.025 <= straw.mulch_kc_reduction_fraction <= 0.05  # half of 5-10 %


def test_evaporation_under_drip_of_example_34() -> None:
    # FAO-56 Ex. 32 to 34: Kcb 0.90, Kc max 1.30, fc 0.53, fw 0.3; few 0.19, Ke 0.25, Kc 1.15.
    # Inputs of Kc max: h 1 m, u2 3 m/s, RHmin 20 %, seldom wetted.
    kc_max = largest_coefficient(1.0, climate_term(3.0, 20.0), 0.90, wetting_kc_max=1.2)
    assert kc_max == pytest.approx(1.30, abs=0.001)
    evaporation = drip_evaporation_coefficient(0.53, 0.3, 0.90, kc_max=kc_max)
    assert evaporation / kc_max == pytest.approx(0.1935, abs=0.00005)
    assert evaporation == pytest.approx(0.25, abs=0.005)
    assert 0.90 + evaporation == pytest.approx(1.15, abs=0.005)


@pytest.mark.parametrize(("canopy", "height_m", "estimate"), [(0.70, 4.0, 0.66), (0.50, 3.0, 0.61)])
def test_citrus_rows_of_table_12_agree_with_their_canopy(
    canopy: float, height_m: float, estimate: float
) -> None:
    # FAO-56 Eq. 98 against Table 12, citrus of 70 % and 50 % canopy: 0.65 and 0.60 tabulated.
    # Citrus closes its stomata: Kc of 0.70 at full cover (FAO-56 Table 12, footnote 21) is scaled.
    row = find_crop(f"citrus-{round(100 * canopy)}-bare")
    kcb = basal_coefficient(canopy, canopy, height_m, full_cover_kc=0.70)
    assert kcb == pytest.approx(estimate, abs=0.005)
    assert kcb == pytest.approx(row.kc_mid, abs=0.02)
