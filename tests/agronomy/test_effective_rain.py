"""Rain that enters the managed zone: threshold, runoff, mulch, and what is not known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.effective_rain import rain_entering_mm, runoff_mm
from service.agronomy.records import SoilBatch


def make_soil(count: int = 1) -> SoilBatch:
    """Bare soil wetted on a third of its ground, no curve number."""
    one = np.ones(count)
    return SoilBatch(
        field_capacity=0.18 * one,
        wilting_point=0.08 * one,
        saturated_conductivity_mm_per_h=50.0 * one,
        root_depth_m=0.45 * one,
        wetted_fraction=0.33 * one,
        root_share_of_wetted=one,
        mulch_cover_fraction=0.0 * one,
        mulch_rain_pass_fraction=one,
        curve_number=np.full(count, np.nan),
    )


def entering(rain_mm: float, et0_mm: float, soil: SoilBatch) -> float:
    return float(rain_entering_mm(np.array([[rain_mm]]), np.array([[et0_mm]]), soil)[0, 0])


def test_rain_below_a_fifth_of_reference_et_does_not_count() -> None:
    assert entering(0.99, 5.0, make_soil()) == 0.0
    assert entering(1.0, 5.0, make_soil()) == pytest.approx(0.33)
    assert entering(0.0, 0.0, make_soil()) == 0.0


def test_young_roots_catch_only_their_share() -> None:
    soil = replace(make_soil(), root_share_of_wetted=np.array([0.45]))
    assert entering(10.0, 5.0, soil) == pytest.approx(10.0 * 0.33 * 0.45)


@pytest.mark.parametrize(
    ("cover", "passing", "fraction"),
    [(0.0, 0.0, 0.33), (1.0, 0.6, 0.198), (1.0, 0.05, 0.0165), (0.5, 0.0, 0.165)],
)
def test_mulch_keeps_rain_off_as_far_as_it_covers(
    cover: float, passing: float, fraction: float
) -> None:
    soil = replace(
        make_soil(),
        mulch_cover_fraction=np.array([cover]),
        mulch_rain_pass_fraction=np.array([passing]),
    )
    assert entering(10.0, 5.0, soil) == pytest.approx(10.0 * fraction)


def test_runoff_is_taken_off_only_where_the_block_has_a_curve_number() -> None:
    soil = replace(make_soil(2), curve_number=np.array([75.0, np.nan]))
    rain = rain_entering_mm(np.full((1, 2), 50.0), np.full((1, 2), 5.0), soil)
    np.testing.assert_allclose(rain[0], [(50.0 - 9.287) * 0.33, 50.0 * 0.33], atol=1e-3)


def test_sealed_ground_sheds_all_rain() -> None:
    assert runoff_mm([0.0, 30.0], 100.0).tolist() == [0.0, 30.0]


def test_unknown_rain_or_reference_et_is_unknown_only_where_it_is() -> None:
    rain = np.array([[np.nan, 5.0, 5.0]])
    et0 = np.array([[4.0, np.nan, 4.0]])
    result = rain_entering_mm(rain, et0, make_soil(3))[0]
    assert np.isnan(result).tolist() == [True, True, False]


@given(
    less=st.floats(0.0, 150.0),
    more=st.floats(0.0, 150.0),
    et0=st.floats(0.0, 12.0),
    curve_number=st.one_of(st.just(float("nan")), st.floats(30.0, 100.0)),
)
def test_more_rain_never_brings_less_into_the_zone(
    less: float, more: float, et0: float, curve_number: float
) -> None:
    soil = replace(make_soil(), curve_number=np.array([curve_number]))
    first, second = entering(less, et0, soil), entering(less + more, et0, soil)
    assert 0.0 <= first <= second + 1e-12
    assert second <= (less + more) * 0.33 + 1e-12
