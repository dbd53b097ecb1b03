"""The second estimate of Kc: bounds, directions and shapes."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.records import CropBatch, Floats
from service.agronomy.sparse_canopy import (
    basal_coefficient,
    drip_evaporation_coefficient,
    expected_coefficient,
    full_cover_basal_coefficient,
    largest_coefficient,
    stomatal_ratio,
)


def make_crop(cover: Floats, height_m: Floats) -> CropBatch:
    """Blocks of which only the canopy matters; every other number is 1."""
    numbers: dict[str, Any] = {part.name: np.ones_like(cover) for part in fields(CropBatch)}
    return CropBatch(**{**numbers, "canopy_cover_fraction": cover, "canopy_height_m": height_m})


@given(cover=st.floats(0.0, 1.0), height_m=st.floats(0.1, 8.0), wetted=st.floats(0.0, 1.0))
def test_evaporation_and_transpiration_together_stay_within_the_energy_bound(
    cover: float, height_m: float, wetted: float
) -> None:
    crop = make_crop(np.array([cover]), np.array([height_m]))
    basal, evaporation = expected_coefficient(
        crop, wetted_fraction=np.array([wetted]), climate_term=np.zeros(1)
    )
    bound = largest_coefficient(height_m, 0.0, basal)
    assert basal[0] >= 0.15 - 1e-12
    assert evaporation[0] >= 0.0
    assert basal[0] + evaporation[0] <= bound[0] + 1e-12


def test_a_bigger_canopy_transpires_more_and_shades_the_wet_strip() -> None:
    crop = make_crop(np.array([0.1, 0.3, 0.6]), np.array([1.0, 1.5, 2.0]))
    basal, evaporation = expected_coefficient(
        crop, wetted_fraction=np.full(3, 0.3), climate_term=np.zeros(3)
    )
    assert (np.diff(basal) > 0.0).all()
    assert (np.diff(evaporation) < 0.0).all()


def test_days_and_blocks_broadcast() -> None:
    crop = make_crop(np.array([0.2, 0.5]), np.array([1.0, 2.0]))
    basal, evaporation = expected_coefficient(
        crop, wetted_fraction=np.full(2, 0.3), climate_term=np.zeros((4, 2))
    )
    assert basal.shape == evaporation.shape == (4, 2)


def test_dry_air_raises_a_tall_canopy_more_than_a_low_one() -> None:
    rise = full_cover_basal_coefficient([0.5, 5.0], 0.1) - full_cover_basal_coefficient(
        [0.5, 5.0], 0.0
    )
    assert rise[1] > rise[0] > 0.0


def test_leaves_that_close_more_than_grass_lower_the_coefficient() -> None:
    ratios = [
        float(stomatal_ratio(0.19, 0.067, 2.0, leaf_resistance_s_m=resistance))
        for resistance in (100.0, 200.0, 420.0)
    ]
    assert ratios[0] == 1.0
    assert ratios[0] > ratios[1] > ratios[2] > 0.0


def test_seldom_wetted_ground_has_the_higher_bound() -> None:
    assert largest_coefficient(3.0, 0.0, 0.5, wetting_kc_max=1.2) == pytest.approx(1.2)
    assert largest_coefficient(3.0, 0.0, 0.5) == pytest.approx(1.1)
    assert largest_coefficient(3.0, 0.0, 1.3) == pytest.approx(1.35)


def test_no_exposed_wet_ground_evaporates_nothing() -> None:
    assert drip_evaporation_coefficient(1.0, 0.3, 1.0, kc_max=1.2) == 0.0
    assert drip_evaporation_coefficient(0.5, 0.0, 1.0, kc_max=1.2) == 0.0


def test_unknown_cover_gives_unknown_only_for_its_block() -> None:
    kcb = basal_coefficient([np.nan, 0.4], [np.nan, 0.4], 2.0, full_cover_kc=1.1)
    assert np.isnan(kcb[0])
    assert np.isfinite(kcb[1])


def test_the_estimate_of_a_crop_that_closes_its_leaves_transpires_less() -> None:
    crop = make_crop(np.array([0.4]), np.array([4.0]))
    terms = {"wetted_fraction": np.array([0.3]), "climate_term": np.zeros(1)}
    open_basal, _ = expected_coefficient(crop, **terms)
    closed_basal, _ = expected_coefficient(crop, **terms, closing_ratio=0.67)
    assert closed_basal[0] == pytest.approx(0.67 * open_basal[0])
