"""Blocks turned into batches: curves by code, sizes by age, rows in their order."""

from __future__ import annotations

from dataclasses import fields
from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.block_batch import day_of_year, take_blocks, young_canopy_is_full
from service.agronomy.canopy_density import density_coefficient
from service.agronomy.records import CropBatch, CurveDefinition, SoilBatch, SystemBatch
from service.agronomy.root_zone import grown_from_measured
from tests.factories import batch_of, make_block

TABLE = CurveDefinition(
    basis="table", season_start=(1, 1), points=((9, 1, 0.5), (3, 1, 0.3), (6, 1, 1.0))
)
HEAT = CurveDefinition(
    basis="degree-days",
    season_start=(3, 1),
    stage_knots=(200.0, 600.0, 1500.0, 2200.0),
    degree_day_floor_c=10.0,
)


@pytest.mark.parametrize(
    ("month", "day", "number"), [(1, 1, 1), (2, 28, 59), (2, 29, 59), (3, 1, 60), (12, 31, 365)]
)
def test_days_are_counted_in_a_year_of_365(month: int, day: int, number: int) -> None:
    assert day_of_year(month, day) == number
    if (month, day) != (2, 29):
        assert date(2023, month, day).timetuple().tm_yday == number


def test_each_basis_fills_its_own_columns_only() -> None:
    crop = batch_of(make_block("a"), make_block("b", curve=HEAT), make_block("c", curve=TABLE)).crop
    assert crop.curve_basis.tolist() == [0, 1, 2]
    assert crop.season_start_doy.tolist() == [79, 60, 1]  # 20 March, 1 March, 1 January
    assert crop.stage_knot[0].tolist() == [30.0, 80.0, 200.0, 230.0]
    assert np.isnan(crop.stage_knot[2]).all()
    assert np.isnan(crop.degree_day_floor_c).tolist() == [True, False, True]
    assert np.isnan(crop.kc_table_doy[:2]).all()


def test_the_points_of_a_kc_table_are_put_in_order_of_the_year() -> None:
    crop = batch_of(make_block(curve=TABLE)).crop
    assert crop.kc_table_doy[0].tolist() == [60.0, 152.0, 244.0]
    assert crop.kc_table_value[0].tolist() == [0.3, 1.0, 0.5]


def test_tables_of_different_length_are_padded_with_unknowns() -> None:
    short = CurveDefinition(basis="table", season_start=(1, 1), points=((6, 1, 0.8),))
    crop = batch_of(make_block("a", curve=TABLE), make_block("b", curve=short)).crop
    assert np.isnan(crop.kc_table_doy[1]).tolist() == [False, True, True]


def test_equal_curves_give_equal_rows_whether_or_not_they_are_one_object() -> None:
    twin = CurveDefinition(basis="table", season_start=(1, 1), points=TABLE.points)
    crop = batch_of(
        make_block("a", curve=TABLE), make_block("b", curve=twin), make_block("c", curve=TABLE)
    ).crop
    np.testing.assert_array_equal(crop.kc_table_doy[0], crop.kc_table_doy[1])
    np.testing.assert_array_equal(crop.kc_table_value[0], crop.kc_table_value[2])


def test_a_young_planting_has_the_size_of_its_age_in_what_is_scaled() -> None:
    # Age 2 of 5 years: 0.4 + 0.6 x 0.4, (0.1 + 0.9 x 0.4)^0.3, 0.02 + 0.98 x 0.4^1.5.
    young: dict[str, Any] = {
        "planting_year": 2021.0,
        "years_to_full_size": 5.0,
        "root_depth_is_scaled": 1.0,
        "root_share_is_scaled": 1.0,
        "canopy_is_scaled": 1.0,
        "canopy_height_is_scaled": 1.0,
    }
    blocks = batch_of(make_block(**young), season_year=2023)
    assert blocks.soil.root_depth_m[0] == pytest.approx(0.45 * 0.64)
    assert blocks.soil.root_share_of_wetted[0] == pytest.approx(0.46**0.3)
    assert blocks.crop.canopy_cover_fraction[0] == pytest.approx(0.6 * (0.02 + 0.98 * 0.4**1.5))
    assert blocks.crop.canopy_height_m[0] == pytest.approx(1.5 * (0.02 + 0.98 * 0.4**1.5))


@pytest.mark.parametrize("grows", ["canopy_is_scaled", "canopy_height_is_scaled"])
def test_cover_and_height_grow_each_by_itself(grows: str) -> None:
    # One of the two is given: the other keeps the size of its age, 0.02 + 0.98 x 0.4^1.5 at 2 of 5.
    young: dict[str, Any] = {"planting_year": 2021.0, "years_to_full_size": 5.0, grows: 1.0}
    crop = batch_of(make_block(**young), season_year=2023).crop
    share = 0.02 + 0.98 * 0.4**1.5
    cover, height = (share, 1.0) if grows == "canopy_is_scaled" else (1.0, share)
    assert crop.canopy_cover_fraction[0] == pytest.approx(0.6 * cover)
    assert crop.canopy_height_m[0] == pytest.approx(1.5 * height)


@pytest.mark.parametrize(
    ("season_year", "height_m"),
    [
        # Shares of full size at 1, 2, 3, 5 and 7 of 5 years: 0.02 + 0.98 x (age / 5)^1.5.
        (2022, 1.0 * (0.02 + 0.98 * 0.2**1.5) / (0.02 + 0.98 * 0.4**1.5)),
        (2023, 1.0),
        (2024, 1.0 + 0.5 * (0.6**1.5 - 0.4**1.5) / (1.0 - 0.4**1.5)),
        (2026, 1.5),
        (2028, 1.5),
    ],
)
def test_a_measured_height_grows_from_its_year_to_full_size(
    season_year: int, height_m: float
) -> None:
    tree: dict[str, Any] = {
        "planting_year": 2021.0,
        "years_to_full_size": 5.0,
        "canopy_height_m": 1.0,
        "canopy_measured_year": 2023.5,
        "full_height_m": 1.5,
        "full_cover_fraction": 0.6,
    }
    crop = batch_of(make_block(**tree), season_year=season_year).crop
    assert crop.canopy_height_m[0] == pytest.approx(height_m)


@pytest.mark.parametrize(
    "changes",
    [{"full_height_m": 1.2}, {"planting_year": np.nan}, {"canopy_measured_year": np.nan}],
    ids=["taller than full size", "full-grown", "without a day"],
)
def test_a_measured_height_stays_where_nothing_is_known_to_grow(changes: dict[str, float]) -> None:
    tree: dict[str, Any] = {
        "planting_year": 2021.0,
        "canopy_height_m": 1.5,
        "canopy_measured_year": 2022.5,
        "full_height_m": 3.0,
        **changes,
    }
    crop = batch_of(make_block(**tree), season_year=2024).crop
    assert crop.canopy_height_m[0] == 1.5


@given(
    measured=st.floats(0.05, 5.0),
    full=st.floats(0.05, 5.0),
    then=st.floats(0.02, 1.0),
    shares=st.lists(st.floats(0.02, 1.0), min_size=2, max_size=6),
)
def test_growth_never_shrinks_a_canopy_nor_passes_full_size(
    measured: float, full: float, then: float, shares: list[float]
) -> None:
    rising = np.sort(shares)
    sizes = grown_from_measured(measured, full, measured_share=then, share=rising)
    assert (np.diff(sizes) >= -1e-12).all()
    assert (sizes <= max(measured, full) + 1e-12).all()


@pytest.mark.parametrize(
    ("planting_year", "cover", "is_full"),
    [(2021.0, 0.6, True), (2021.0, 0.2, False), (2018.0, 0.6, False), (np.nan, 0.6, False)],
)
def test_a_full_canopy_on_a_young_planting_is_noticed(
    planting_year: float, cover: float, is_full: bool
) -> None:
    # Full age is five years in 2023; the reference is 0.6 of cover at 1.5 m.
    numbers: dict[str, Any] = {
        "planting_year": planting_year,
        "years_to_full_size": 5.0,
        "canopy_cover_fraction": cover,
        "reference_canopy_ratio": float(density_coefficient(0.6, 1.5, ml=1.5)),
    }
    crop = batch_of(make_block(**numbers), season_year=2023).crop
    columns = {name: np.array([value]) for name, value in numbers.items()}
    assert young_canopy_is_full(crop, columns, season_year=2023).tolist() == [is_full]


def test_what_the_grower_gave_for_this_year_is_not_scaled() -> None:
    blocks = batch_of(make_block(planting_year=2021.0), season_year=2023)
    assert blocks.soil.root_depth_m[0] == 0.45
    assert blocks.soil.root_share_of_wetted[0] == 1.0
    assert blocks.crop.canopy_cover_fraction[0] == 0.6


@pytest.mark.parametrize("planting_year", [np.nan, 2010.0])
def test_a_planting_of_full_age_or_of_unknown_age_is_full_size(planting_year: float) -> None:
    scaled: dict[str, Any] = {
        "root_depth_is_scaled": 1.0,
        "root_share_is_scaled": 1.0,
        "canopy_is_scaled": 1.0,
        "canopy_height_is_scaled": 1.0,
    }
    blocks = batch_of(make_block(planting_year=planting_year, **scaled))
    assert blocks.soil.root_depth_m[0] == 0.45
    assert blocks.soil.root_share_of_wetted[0] == 1.0
    assert blocks.crop.canopy_height_m[0] == 1.5


def test_a_block_planted_later_than_the_season_counts_as_just_planted() -> None:
    blocks = batch_of(make_block(planting_year=2030.0, root_depth_is_scaled=True))
    assert blocks.soil.root_depth_m[0] == pytest.approx(0.4 * 0.45)


def test_rate_and_flow_follow_from_the_layout() -> None:
    # 2 L/h on 3 m x 0.46 m / 2 lines = 0.69 m2 an emitter: 2.8986 mm/h; x 4,000 m2 = 11,594 L/h.
    system = batch_of(make_block()).system
    assert system.application_rate_mm_per_h[0] == pytest.approx(2.8986, abs=5e-5)
    assert system.flow_l_per_h[0] == pytest.approx(11594.2, abs=0.1)


def test_taking_blocks_takes_the_same_rows_of_everything() -> None:
    blocks = batch_of(
        make_block("a", area_m2=1.0, initial_depletion_mm=1.0),
        make_block("b", area_m2=2.0, curve=TABLE),
        make_block("c", area_m2=3.0, curve=HEAT),
    )
    rows = np.array([2, 0])
    taken = take_blocks(blocks, rows)
    assert taken.area_m2.tolist() == [3.0, 1.0]
    for batch in (CropBatch, SoilBatch, SystemBatch):
        part = {CropBatch: "crop", SoilBatch: "soil", SystemBatch: "system"}[batch]
        for field in fields(batch):
            np.testing.assert_array_equal(
                getattr(getattr(taken, part), field.name),
                getattr(getattr(blocks, part), field.name)[rows],
            )
    assert taken.initial_depletion_mm[1] == 1.0
