"""Depth, rate, minutes, wetted strip and wetted bulb of drip, against published formulas."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from service.agronomy.county_need import weekly_need
from service.agronomy.records import SoilBatch, SystemBatch
from service.agronomy.root_zone import (
    RECALLED_STRIP_WIDTH_M,
    STRIP_FLOW_L_PER_H,
    STRIP_WIDTH_M,
    STRIP_WIDTH_RANGE_M,
    application_rate_mm_per_h,
    gross_depth_mm,
    running_min,
    volume_at_depth_l,
    wetted_fraction,
)
from tests.agronomy.wetted_bulb import wetted_depth_m, wetted_width_m

MM_PER_INCH = 25.4
LITRES_PER_GALLON = 3.785411784
SQUARE_METRES_PER_ACRE = 4046.8564224
SQUARE_METRES_PER_SQUARE_FOOT = 0.09290304


def test_berry_rows_with_two_laterals() -> None:
    # NEH 623 ch. 7 formulas, from memory, worked by hand: rows 3.0 m, two laterals, 2 L/h every
    # 0.46 m; ET0 5.0, Kc 0.85 x 0.98; EU 90, leaching 0.03.
    rate = application_rate_mm_per_h(2.0, 0.46, 3.0, laterals_per_row_count=2)
    assert rate == pytest.approx(2.8986, abs=0.0001)
    gross = gross_depth_mm(5.0 * 0.85 * 0.98, 90.0, 1.0, leaching_fraction=0.03)
    assert gross == pytest.approx(4.6278, abs=0.0001)
    assert running_min(gross, rate) == pytest.approx(95.80, abs=0.01)
    assert gross * 0.69 == pytest.approx(3.193, abs=0.001)  # L per emitter on 0.69 m2
    assert gross * 10.0 == pytest.approx(46.28, abs=0.01)  # m3/ha


@pytest.mark.parametrize(("leaching", "minutes"), [(0.15, 112.70), (0.20, 119.74)])
def test_leaching_above_a_tenth(leaching: float, minutes: float) -> None:
    # NEH 623 ch. 7, from memory, on the rows above.
    rate = application_rate_mm_per_h(2.0, 0.46, 3.0, laterals_per_row_count=2)
    gross = gross_depth_mm(4.165, 90.0, 1.0, leaching_fraction=leaching)
    assert running_min(gross, rate) == pytest.approx(minutes, abs=0.01)


def test_trees_with_four_emitters_in_us_units() -> None:
    # NEH 623 ch. 7 formulas, from memory, worked by hand: 18 x 20 ft, four 1 gph emitters a tree,
    # ET 0.25 in, Kc 0.90, EU 88.
    tree_ft2 = 18.0 * 20.0
    rate = application_rate_mm_per_h(
        4.0 * LITRES_PER_GALLON, 18.0 * 0.3048, 20.0 * 0.3048, laterals_per_row_count=1
    )
    assert rate == pytest.approx(0.45273, abs=0.00005)
    assert rate / MM_PER_INCH == pytest.approx(0.017824, abs=0.000002)
    gross = gross_depth_mm(0.25 * 0.90 * MM_PER_INCH, 88.0, 1.0)
    assert gross / MM_PER_INCH == pytest.approx(0.25568, abs=0.00001)
    assert running_min(gross, rate) / 60.0 == pytest.approx(14.345, abs=0.001)
    tree_m2 = tree_ft2 * SQUARE_METRES_PER_SQUARE_FOOT
    assert gross * tree_m2 / LITRES_PER_GALLON == pytest.approx(57.379, abs=0.001)
    per_acre = gross * SQUARE_METRES_PER_ACRE / LITRES_PER_GALLON
    assert per_acre == pytest.approx(6942.9, abs=0.1)


@pytest.mark.parametrize(
    ("flow_l_per_h", "laterals", "hours"),
    [(0.5 * LITRES_PER_GALLON, 1, 18.70), (2.0, 1, 17.70), (2.0, 2, 8.85)],
)
def test_hours_of_one_acre_inch_on_berry_rows(
    flow_l_per_h: float, laterals: int, hours: float
) -> None:
    # Common practice, no source: 0.5 gph every 18 in on 10 ft rows takes 17 to 19 hours for an
    # acre-inch over the whole ground, and half of that with two lines.
    rate = application_rate_mm_per_h(
        flow_l_per_h, 18.0 * 0.0254, 10.0 * 0.3048, laterals_per_row_count=laterals
    )
    assert running_min(MM_PER_INCH, rate) / 60.0 == pytest.approx(hours, abs=0.01)


# Keller & Karmeli 1975, from memory: strip width in metres by emitter flow, on coarse, medium and
# fine soil, and the spacing of emission points that it holds for.
STRIPS = {
    1.5: ((0.3, 0.7, 1.1), (0.2, 0.5, 0.9)),
    2.0: ((0.4, 0.8, 1.2), (0.3, 0.7, 1.0)),
    4.0: ((0.8, 1.2, 1.6), (0.6, 1.0, 1.3)),
    8.0: ((1.2, 1.6, 2.0), (1.0, 1.3, 1.7)),
    12.0: ((1.6, 2.0, 2.4), (1.3, 1.6, 2.0)),
}


# Read in a manufacturer's design manual, Table 3-3: at most 3, 4 and 6 ft.
WIDEST_M = (0.9144, 1.2192, 1.8288)


@pytest.mark.parametrize("flow_l_per_h", sorted(STRIPS))
def test_wetted_strip_of_keller_and_karmeli(flow_l_per_h: float) -> None:
    widths_m, spacings_m = STRIPS[flow_l_per_h]
    for group in range(3):
        fraction = wetted_fraction(
            flow_l_per_h,
            spacings_m[group],
            group,
            row_spacing_m=5.0,
            laterals_per_row_count=1,
        )
        assert fraction == pytest.approx(min(widths_m[group], WIDEST_M[group]) / 5.0)


def test_every_width_in_use_lies_inside_the_range_that_was_read() -> None:
    narrowest_m, widest_m = STRIP_WIDTH_RANGE_M
    assert widest_m == pytest.approx(WIDEST_M)
    assert np.all(narrowest_m - 0.01 <= STRIP_WIDTH_M)  # 0.30 against 0.305 m
    assert np.all(widest_m >= STRIP_WIDTH_M)
    # Up to 4 L/h nothing is cut off; of the rows of 8 and 12 L/h every width is.
    is_cut = STRIP_WIDTH_M < RECALLED_STRIP_WIDTH_M
    assert is_cut.tolist() == [[False] * 3] * 3 + [[True] * 3] * 2


def test_only_coarse_soil_under_4_and_8_litres_an_hour_is_wider_than_the_wetted_bulb() -> None:
    # Schwartzman & Zur 1986 (second-hand): the widest that one emitter wets until the bulb is 0.3
    # to 1.5 m deep, on the conductivities of the textures of a group [mm/h].
    conductivity = {0: (50.3, 114.0), 1: (7.0, 50.3), 2: (0.4, 15.0)}
    is_within = []
    for flow_l_per_h, row_m in zip(STRIP_FLOW_L_PER_H, STRIP_WIDTH_M, strict=True):
        widest_m = [
            max(
                float(
                    wetted_width_m(volume_at_depth_l(depth_m, flow_l_per_h, ks), flow_l_per_h, ks)
                )
                for ks in conductivity[group]
                for depth_m in (0.3, 1.5)
            )
            for group in range(3)
        ]
        is_within.append((row_m <= widest_m).tolist())
    assert is_within == [
        [True, True, True],
        [True, True, True],
        [False, True, True],
        [False, True, True],
        [True, True, True],
    ]


def test_forty_percent_for_four_litres_on_medium_soil_in_three_metre_rows() -> None:
    # Keller & Karmeli 1975, from memory.
    assert wetted_fraction(
        4.0, 1.0, 1, row_spacing_m=3.0, laterals_per_row_count=1
    ) == pytest.approx(0.40)


@pytest.mark.parametrize(
    ("conductivity", "depth_m", "width_m"),
    [(50.3, 0.335, 0.316), (15.5, 0.197, 0.387), (4.3, 0.111, 0.481), (96.7, 0.449, 0.283)],
)
def test_wetted_bulb_of_schwartzman_and_zur(
    conductivity: float, depth_m: float, width_m: float
) -> None:
    # Schwartzman & Zur 1986, J. Irrig. Drain. Eng. 112(3):242-253, from memory: 4 L at 2 L/h.
    assert wetted_depth_m(4.0, 2.0, conductivity) == pytest.approx(depth_m, abs=0.0006)
    assert wetted_width_m(4.0, 2.0, conductivity) == pytest.approx(width_m, abs=0.0006)


@pytest.mark.parametrize("volume_l", [0.5, 4.0, 20.0])
@pytest.mark.parametrize("conductivity", [4.3, 50.3])
def test_both_recalled_unit_sets_of_the_bulb_are_one_law(
    volume_l: float, conductivity: float
) -> None:
    # The same paper, from memory, with volume in m3 and flow in m3/s.
    volume_m3 = volume_l / 1000.0
    ratio = (conductivity / 3.6e6) / (2.0 / 3.6e6)
    depth_m = 2.54 * volume_m3**0.63 * ratio**0.45
    width_m = 1.82 * volume_m3**0.22 * ratio**-0.17
    assert wetted_depth_m(volume_l, 2.0, conductivity) == pytest.approx(depth_m, rel=0.02)
    assert wetted_width_m(volume_l, 2.0, conductivity) == pytest.approx(width_m, rel=0.02)


def test_bulbs_hold_a_possible_amount_of_water() -> None:
    # Volume over that of the half ellipsoid: a dry soil takes up some 0.2 to 0.3 m3/m3.
    conductivity = np.array([50.3, 15.5, 4.3, 96.7])
    depth_m = wetted_depth_m(4.0, 2.0, conductivity)
    width_m = wetted_width_m(4.0, 2.0, conductivity)
    ellipsoid_m3 = 2.0 / 3.0 * math.pi * (width_m / 2.0) ** 2 * depth_m
    np.testing.assert_allclose(0.004 / ellipsoid_m3, [0.228, 0.259, 0.297, 0.212], atol=0.002)


@pytest.mark.parametrize(
    ("depth_m", "flow_l_per_h", "conductivity", "volume_l"),
    [
        (0.30, 2.0, 96.7, 2.11),
        (0.30, 2.0, 50.3, 3.36),
        (0.30, 2.0, 15.5, 7.80),
        (0.30, 2.0, 4.3, 19.5),
        (0.45, 2.0, 50.3, 6.40),
        (0.30, 1.0, 50.3, 2.05),
    ],
)
def test_volume_that_wets_to_the_roots(
    depth_m: float, flow_l_per_h: float, conductivity: float, volume_l: float
) -> None:
    # Schwartzman & Zur 1986, from memory, solved for the volume.
    found = volume_at_depth_l(depth_m, flow_l_per_h, conductivity)
    assert found == pytest.approx(volume_l, rel=0.003)


def test_sandy_loam_takes_101_minutes_to_30_centimetres() -> None:
    # As above: 3.36 L at 2 L/h.
    assert 60.0 * volume_at_depth_l(0.30, 2.0, 50.3) / 2.0 == pytest.approx(101.0, abs=0.5)


def test_a_week_of_35_mm_reference_et() -> None:
    # Worked by hand: 35 mm x 0.83 without rain is 29.05 mm, 1.144 in, 31,056 gallons an acre.
    one = np.ones(1)
    # Only the net need is looked at: soil and system are all ones but for what would change it.
    soil_numbers: dict[str, Any] = {part.name: one for part in fields(SoilBatch)}
    system_numbers: dict[str, Any] = {part.name: one for part in fields(SystemBatch)}
    soil = SoilBatch(**{**soil_numbers, "curve_number": np.nan * one})
    system = SystemBatch(**{**system_numbers, "leaching_fraction": 0.0 * one})
    need = weekly_need(
        np.full((7, 1), 5.0),
        np.zeros((7, 1)),
        np.full((7, 1), 0.83),
        soil=soil,
        system=system,
        normal_et0_mm=np.full((7, 1), 30.0 / 7.0),
    )
    inches = need.net_need_mm[0] / MM_PER_INCH
    assert need.net_need_mm[0] == pytest.approx(29.05)
    assert inches == pytest.approx(1.144, abs=0.001)
    assert inches * 27_154.29 == pytest.approx(31_056, abs=1.0)
    assert need.percent_of_normal[0] == pytest.approx(100 * 35 / 30)
