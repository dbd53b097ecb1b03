"""The second estimate of Kc: bounds, directions and shapes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.sparse_canopy import (
    basal_coefficient,
    drip_evaporation_coefficient,
    expected_coefficient,
    full_cover_basal_coefficient,
    largest_coefficient,
)


@given(cover=st.floats(0.0, 1.0), height_m=st.floats(0.1, 8.0), wetted=st.floats(0.0, 1.0))
def test_evaporation_and_transpiration_together_stay_within_the_energy_bound(
    cover: float, height_m: float, wetted: float
) -> None:
    basal, evaporation = expected_coefficient(
        cover, height_m, wetted_fraction=wetted, climate_term=0.0
    )
    bound = largest_coefficient(height_m, 0.0, basal)
    assert basal >= 0.15 - 1e-12
    assert evaporation >= 0.0
    assert basal + evaporation <= bound + 1e-12


def test_a_bigger_canopy_transpires_more_and_shades_the_wet_strip() -> None:
    basal, evaporation = expected_coefficient(
        [0.1, 0.3, 0.6], [1.0, 1.5, 2.0], wetted_fraction=0.3, climate_term=0.0
    )
    assert (np.diff(basal) > 0.0).all()
    assert (np.diff(evaporation) < 0.0).all()


def test_days_and_blocks_broadcast() -> None:
    basal, evaporation = expected_coefficient(
        [0.2, 0.5], [1.0, 2.0], wetted_fraction=np.full(2, 0.3), climate_term=np.zeros((4, 2))
    )
    assert basal.shape == evaporation.shape == (4, 2)


def test_dry_air_raises_a_tall_canopy_more_than_a_low_one() -> None:
    rise = full_cover_basal_coefficient([0.5, 5.0], 0.1) - full_cover_basal_coefficient(
        [0.5, 5.0], 0.0
    )
    assert rise[1] > rise[0] > 0.0


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
