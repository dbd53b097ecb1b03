"""Soil numbers: texture classes, the regression's limits, and refusals that name every fault."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.soil import (
    SUBSTRATE_KEYS,
    TEXTURE_KEYS,
    saxton_rawls,
    texture_soil,
    usda_texture_class,
)
from service.errors import InputInvalid


@pytest.mark.parametrize("key", TEXTURE_KEYS)
def test_every_texture_gives_numbers_that_a_soil_can_have(key: str) -> None:
    soil = texture_soil(key)
    assert 0.0 < soil.wilting_point < soil.field_capacity < soil.saturation < 1.0
    assert 0.0 < soil.saturated_conductivity_mm_per_h < np.inf


def test_there_are_twelve_textures_in_three_groups() -> None:
    mineral = [key for key in TEXTURE_KEYS if key not in SUBSTRATE_KEYS]
    groups = {key: texture_soil(key).texture_group for key in mineral}
    assert len(groups) == 12
    assert groups["sand"] == groups["loamy-sand"] == 0
    assert groups["sandy-loam"] == groups["loam"] == groups["silt-loam"] == 1
    assert groups["clay-loam"] == groups["clay"] == 2


def test_a_texture_says_which_table_its_numbers_come_from() -> None:
    assert "FAO-56 Table 19" in texture_soil("loam").source
    assert texture_soil("clay-loam").source.startswith("Saxton & Rawls 2006")


def test_an_unknown_texture_is_refused_with_the_list() -> None:
    with pytest.raises(InputInvalid) as refusal:
        texture_soil("sandyloam")
    assert all(key in refusal.value.faults[0].allowed for key in TEXTURE_KEYS)


@given(sand=st.floats(0.0, 1.0), share=st.floats(0.0, 1.0))
def test_every_point_of_the_triangle_has_a_class(sand: float, share: float) -> None:
    assert usda_texture_class(sand, share * (1.0 - sand)) in TEXTURE_KEYS


@pytest.mark.parametrize(
    ("sand", "clay", "key"),
    [
        (0.92, 0.03, "sand"),
        (0.82, 0.06, "loamy-sand"),
        (0.65, 0.10, "sandy-loam"),
        (0.30, 0.03, "silt-loam"),
        (0.52, 0.02, "sandy-loam"),
        (0.52, 0.07, "loam"),
        (0.40, 0.20, "loam"),
        (0.45, 0.268, "loam"),
        (0.20, 0.15, "silt-loam"),
        (0.15, 0.13, "silt-loam"),
        (0.08, 0.06, "silt"),
        (0.60, 0.28, "sandy-clay-loam"),
        (0.53, 0.20, "sandy-clay-loam"),
        (0.33, 0.34, "clay-loam"),
        (0.20, 0.30, "silty-clay-loam"),
        (0.52, 0.42, "sandy-clay"),
        (0.50, 0.36, "sandy-clay"),
        (0.06, 0.47, "silty-clay"),
        (0.22, 0.58, "clay"),
    ],
)
def test_points_of_the_triangle_have_their_usda_class(sand: float, clay: float, key: str) -> None:
    # Class limits of the USDA Soil Survey Manual, from memory.
    assert usda_texture_class(sand, clay) == key


def test_organic_matter_given_as_a_fraction_is_refused_by_name() -> None:
    with pytest.raises(InputInvalid, match=r"organic_matter_pct.*PERCENT"):
        saxton_rawls(0.40, 0.20, 0.025)


@pytest.mark.parametrize(
    ("sand", "clay", "organic", "fault"),
    [
        (65.0, 0.1, 2.5, "sand_fraction"),
        (0.1, 0.7, 2.5, "clay_fraction"),
        (0.6, 0.5, 2.5, "sand + clay"),
        (0.4, 0.2, 9.0, "organic_matter_pct"),
        (np.nan, 0.2, 2.5, "sand_fraction"),
        (0.4, -0.1, 2.5, "clay_fraction"),
        (1.0, 0.0, 0.1, "sand, clay, organic matter"),
    ],
)
def test_soil_outside_the_validity_of_the_regression_is_refused(
    sand: float, clay: float, organic: float, fault: str
) -> None:
    with pytest.raises(InputInvalid) as refusal:
        saxton_rawls(sand, clay, organic)
    assert [found.where for found in refusal.value.faults] == [fault]


def test_all_faults_are_listed_not_only_the_first() -> None:
    with pytest.raises(InputInvalid) as refusal:
        saxton_rawls(40.0, 20.0, 0.02)
    assert len(refusal.value.faults) == 3


def test_arrays_give_what_their_soils_give_one_by_one() -> None:
    sand = np.array([0.65, 0.40, 0.30])
    clay = np.array([0.10, 0.20, 0.35])
    together = saxton_rawls(sand, clay, 2.5)
    for place in range(3):
        single = saxton_rawls(sand[place], clay[place], 2.5)
        assert np.asarray(together.field_capacity)[place] == single.field_capacity
        assert np.asarray(together.texture_group)[place] == single.texture_group
        assert (
            np.asarray(together.saturated_conductivity_mm_per_h)[place]
            == single.saturated_conductivity_mm_per_h
        )
