"""How evenly water is given: published formulas, worked sets, and what must always hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.waterworks.uniformity import (
    FieldUniformity,
    christiansen_uniformity_pct,
    design_uniformity_pct,
    field_uniformity,
    low_quarter_mean,
    low_quarter_uniformity_pct,
    statistical_uniformity_pct,
)

# An invented field set of sixteen emitters [L/h].
FIELD_SET = [
    2.05, 1.98, 1.92, 2.10, 1.80, 2.00, 1.95, 1.88,
    2.02, 1.70, 1.96, 2.08, 1.90, 2.04, 1.85, 1.99,
]  # fmt: skip

samples = st.lists(st.floats(0.1, 100.0), min_size=16, max_size=60)


def test_design_uniformity_is_that_of_keller_and_karmeli() -> None:
    # CV41. Keller and Karmeli 1974, from memory: 100 (1 - 1.27 * 0.04 / sqrt 2) * 1.9 / 2.0.
    assert float(design_uniformity_pct(1.9 / 2.0, 0.04, 2)) == pytest.approx(91.588, abs=0.001)


def test_field_set_gives_its_worked_uniformities() -> None:
    # CV42, worked by hand: mean 1.95125, four lowest 1.70 1.80 1.85 1.88 -> 1.8075, sd 0.10670.
    # DU: Merriam and Keller 1978; Us: ASAE EP458; CU: Christiansen 1942; formulas from memory.
    found = field_uniformity(FIELD_SET, seed=1)
    assert found.mean == pytest.approx(1.95125)
    assert found.low_quarter_mean == pytest.approx(1.8075)
    assert found.low_quarter_uniformity_pct == pytest.approx(92.633, abs=0.001)
    assert found.statistical_uniformity_pct == pytest.approx(94.532, abs=0.001)
    assert found.christiansen_uniformity_pct == pytest.approx(95.780, abs=0.001)


def test_plan_uses_the_low_quarter() -> None:
    found = field_uniformity(FIELD_SET, seed=1)
    assert found.emission_uniformity_pct == found.low_quarter_uniformity_pct


def test_low_quarter_of_a_normal_field_is_1_27_deviations_below_the_mean() -> None:
    # The constant of Keller and Karmeli's formula: mean of a normal's lowest quarter.
    flow = np.random.default_rng(3).normal(2.0, 0.2, size=400_000)
    assert float(low_quarter_uniformity_pct(flow)) == pytest.approx(100 - 1.271 * 10, abs=0.1)


def test_quarter_that_is_no_whole_number_counts_a_part_of_the_next_emitter() -> None:
    assert float(low_quarter_mean([1.0, 2.0, 3.0, 4.0, 5.0, 6.0])) == pytest.approx(4.0 / 3.0)


def test_volumes_in_another_unit_give_the_same_uniformities() -> None:
    in_ml = field_uniformity([1000.0 * flow for flow in FIELD_SET], seed=1)
    in_l = field_uniformity(FIELD_SET, seed=1)
    assert in_ml.emission_uniformity_low_pct == pytest.approx(in_l.emission_uniformity_low_pct)
    assert in_ml.statistical_uniformity_pct == pytest.approx(in_l.statistical_uniformity_pct)


def test_same_seed_gives_the_same_interval_and_another_nearly_the_same() -> None:
    first, again = field_uniformity(FIELD_SET, seed=1), field_uniformity(FIELD_SET, seed=1)
    other = field_uniformity(FIELD_SET, seed=2)
    assert first == again
    assert other.emission_uniformity_low_pct != first.emission_uniformity_low_pct
    assert other.emission_uniformity_low_pct == pytest.approx(
        first.emission_uniformity_low_pct, abs=1.0
    )


def test_interval_holds_the_estimate_and_narrows_with_more_emitters() -> None:
    random = np.random.default_rng(8)

    def width(count: int) -> float:
        found = field_uniformity(random.normal(2.0, 0.2, size=count), seed=4)
        assert found.emission_uniformity_low_pct < found.emission_uniformity_pct
        assert found.emission_uniformity_pct < found.emission_uniformity_high_pct
        return found.emission_uniformity_high_pct - found.emission_uniformity_low_pct

    assert np.mean([width(256) for _ in range(5)]) < 0.5 * np.mean([width(16) for _ in range(5)])


def test_interval_of_stated_90_percent_holds_the_truth_about_as_often_as_the_docs_say() -> None:
    # Simulated normal fields of 10 % variation, whose true low-quarter uniformity is 87.29 %.
    random = np.random.default_rng(20)
    true_pct = 100.0 - 12.711
    held = 0
    for seed in range(300):
        found = field_uniformity(random.normal(2.0, 0.2, size=36), seed=seed, resample_count=600)
        held += found.emission_uniformity_low_pct <= true_pct <= found.emission_uniformity_high_pct
    assert 0.80 <= held / 300 <= 0.94


def test_equal_emitters_have_no_doubt_and_full_uniformity() -> None:
    found = field_uniformity([2.0] * 16, seed=1)
    assert (found.emission_uniformity_low_pct, found.emission_uniformity_high_pct) == (100.0, 100.0)
    assert found.statistical_uniformity_pct == 100.0


def test_missing_flow_makes_the_uniformity_missing() -> None:
    flow = [[1.0, np.nan, 2.0, 3.0], [1.0, 3.0, 2.0, 4.0]]
    found = low_quarter_uniformity_pct(flow)
    assert np.isnan(found[0])
    assert found[1] == pytest.approx(40.0)


@pytest.mark.parametrize(
    ("caught", "text"),
    [
        ([2.0] * 15, "at least 16"),
        ([2.0] * 15 + [-0.1], "caught volume 16"),
        ([2.0] * 15 + [np.nan], "caught volume 16"),
        ([0.0] * 16, "at least one emitter"),
    ],
)
def test_test_that_cannot_be_used_says_why(caught: list[float], text: str) -> None:
    with pytest.raises(InputInvalid, match=text):
        field_uniformity(caught, seed=1)


def test_confidence_outside_its_range_is_refused() -> None:
    with pytest.raises(InputInvalid, match="confidence_pct"):
        field_uniformity(FIELD_SET, seed=1, confidence_pct=100.0)


@given(samples)
def test_low_quarter_never_gets_more_than_the_mean(flow: list[float]) -> None:
    assert 0.0 < float(low_quarter_uniformity_pct(flow)) <= 100.0 + 1e-9
    assert float(christiansen_uniformity_pct(flow)) <= 100.0 + 1e-9
    assert float(statistical_uniformity_pct(flow)) <= 100.0 + 1e-9


@given(samples, st.floats(0.001, 1000.0), st.integers(0, 1000))
def test_neither_unit_nor_order_matters(flow: list[float], scale: float, seed: int) -> None:
    order = np.random.default_rng(seed).permutation(len(flow))
    turned = np.asarray(flow)[order] * scale
    for measure in (
        low_quarter_uniformity_pct,
        statistical_uniformity_pct,
        christiansen_uniformity_pct,
    ):
        assert float(measure(turned)) == pytest.approx(float(measure(flow)), rel=1e-9, abs=1e-9)


@given(samples)
def test_clogging_the_weakest_emitter_never_raises_the_plan_value(flow: list[float]) -> None:
    clogged = list(flow)
    clogged[int(np.argmin(flow))] = 0.0
    before: FieldUniformity = field_uniformity(flow, seed=1, resample_count=50)
    after = field_uniformity(clogged, seed=1, resample_count=50)
    assert after.emission_uniformity_pct <= before.emission_uniformity_pct + 1e-9
