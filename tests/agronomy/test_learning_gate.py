"""What may be offered of learned multipliers, and what is left of them later."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from service.agronomy.learned_multipliers import QUANTILE_LEVELS, MultiplierSummary
from service.agronomy.learning_carry_over import (
    ChangesOfBlock,
    faded,
    kept_over_winter,
    kept_without_readings,
    pooled_prior,
    with_other_weather,
)
from service.agronomy.learning_gate import Evidence, InUse, Refusal, is_worse, offers
from service.agronomy.learning_points import MultiplierPrior

TODAY = date(2026, 8, 1)
USUAL = MultiplierPrior.default()
NORMAL_SCORES = np.array([-1.645, -1.282, -0.674, 0.0, 0.674, 1.282, 1.645])
GOOD = Evidence(
    reading_count=30,
    first_day=date(2026, 5, 1),
    last_day=date(2026, 7, 30),
    largest_drying_fraction=0.3,
    last_doubt=None,
    is_agreed=True,
)


def summary(mean: tuple[float, ...], spread: tuple[float, ...]) -> MultiplierSummary:
    means, spreads = np.array(mean), np.array(spread)
    return MultiplierSummary(means, spreads, means + NORMAL_SCORES[:, None] * spreads)


LEARNED = summary((-0.12, 0.1, 0.0), (0.06, 0.25, 0.03))


def refusals(learned: MultiplierSummary, evidence: Evidence, in_use: InUse) -> list[Refusal]:
    found = offers(learned, USUAL, evidence, in_use=in_use, today=TODAY)
    return [offer.refusal for offer in found]


def test_a_sure_multiplier_is_offered_and_takes_the_zones_water_along() -> None:
    k, c, r = offers(LEARNED, USUAL, GOOD, in_use=InUse(), today=TODAY)
    assert (k.refusal, c.refusal) == (Refusal.NONE, Refusal.NONE)
    assert k.offered == pytest.approx(np.exp(-0.12))
    assert k.likely == pytest.approx((np.exp(-0.12 - 1.282 * 0.06), np.exp(-0.12 + 1.282 * 0.06)))
    assert (r.refusal, r.offered) == (Refusal.SMALL_CHANGE, 1.0)


def test_one_offer_moves_by_fifteen_per_cent_at_most() -> None:
    far = summary((-0.4, 0.0, 0.0), (0.05, 0.25, 0.06))
    k, _, _ = offers(far, USUAL, GOOD, in_use=InUse(), today=TODAY)
    assert k.offered == pytest.approx(0.85)
    k, _, _ = offers(far, USUAL, GOOD, in_use=InUse(values=(0.85, 1.0, 1.0)), today=TODAY)
    assert k.offered == pytest.approx(0.85 * 0.85)


@pytest.mark.parametrize(
    ("evidence", "refusal"),
    [
        (replace(GOOD, reading_count=7), Refusal.FEW_READINGS),
        (replace(GOOD, first_day=date(2026, 7, 20)), Refusal.FEW_READINGS),
        (replace(GOOD, first_day=None, last_day=None), Refusal.FEW_READINGS),
        (replace(GOOD, largest_drying_fraction=0.1), Refusal.NO_DRYING),
        (replace(GOOD, last_doubt=date(2026, 7, 25)), Refusal.SENSOR_IN_DOUBT),
        (replace(GOOD, is_agreed=False), Refusal.DISAGREES),
    ],
)
def test_too_little_or_doubtful_evidence_offers_nothing(
    evidence: Evidence, refusal: Refusal
) -> None:
    assert refusals(LEARNED, evidence, InUse()) == [refusal] * 3


def test_a_doubt_is_over_after_fourteen_days() -> None:
    past = replace(GOOD, last_doubt=date(2026, 7, 18))
    assert refusals(LEARNED, past, InUse())[0] is Refusal.NONE


def test_what_is_unsure_or_outside_the_bounds_is_not_offered() -> None:
    unsure = summary((-0.3, 0.1, 0.2), (0.12, 0.2, 0.05))
    assert refusals(unsure, GOOD, InUse()) == [Refusal.UNSURE] * 3
    outside = summary((0.4, 0.1, 0.2), (0.06, 0.17, 0.03))
    assert refusals(outside, GOOD, InUse())[::2] == [Refusal.OUT_OF_BOUNDS] * 2


def test_nothing_is_offered_within_fourteen_days_of_a_change() -> None:
    in_use = InUse(values=(0.95, 1.0, 1.0), since=date(2026, 7, 19))
    assert refusals(LEARNED, GOOD, in_use)[0] is Refusal.TOO_SOON
    assert refusals(LEARNED, GOOD, replace(in_use, since=date(2026, 7, 18)))[0] is Refusal.NONE


def test_a_value_that_makes_readings_agree_less_is_taken_back() -> None:
    without = np.ones(10)
    assert is_worse(1.2 * without, without)
    assert not is_worse(1.09 * without, without)


def test_what_was_learned_fades_towards_what_is_usual() -> None:
    after = faded(LEARNED, USUAL, np.zeros(3))
    assert after.log_mean.tolist() == USUAL.log_mean.tolist()
    assert after.log_spread == pytest.approx(USUAL.log_spread)
    winter = faded(LEARNED, USUAL, kept_over_winter(ChangesOfBlock()))
    assert np.all(winter.log_spread > LEARNED.log_spread)
    assert np.all(winter.log_spread < USUAL.log_spread)
    assert winter.log_mean[0] == pytest.approx(-0.084)
    assert kept_over_winter(ChangesOfBlock(True, True, True)).tolist() == [0.5, 0.5, 0.0]
    assert kept_without_readings(30.0) > 0.9
    assert with_other_weather(winter).log_spread[0] > winter.log_spread[0]


def test_a_new_block_begins_from_four_alike_blocks_of_its_farm() -> None:
    assert pooled_prior([LEARNED] * 3, USUAL) is USUAL
    pooled = pooled_prior([LEARNED] * 4, USUAL)
    assert -0.12 < pooled.log_mean[0] < -0.06
    assert 0.12 < pooled.log_spread[0] < 0.18
    assert pooled.log_mean[2] == 0.0
    many = pooled_prior([LEARNED] * 200, USUAL)
    assert many.log_mean[0] == pytest.approx(-0.12, abs=0.005)
    assert many.log_spread[0] == pytest.approx(0.12, abs=0.005)


def test_levels_of_the_quantiles_are_those_that_the_gate_reads() -> None:
    assert {0.05, 0.1, 0.5, 0.9, 0.95} <= set(QUANTILE_LEVELS)
