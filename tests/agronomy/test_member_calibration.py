"""Members corrected by what came of earlier ones: flat ranks, honest bands, and a switch."""

from __future__ import annotations

import numpy as np
import pytest

from service.agronomy.forecast_scores import crps_mm
from service.agronomy.member_calibration import (
    LeadCorrection,
    MemberPairs,
    corrected_members,
    correction_of,
)
from service.agronomy.records import Floats

TODAY = np.datetime64("2026-09-01")
MEMBERS = 21


def weather(
    seed: int,
    day_count: int,
    *,
    skill: float = 0.8,
    rain_factor: float = 1.0,
    et0_shift_mm: float = 0.0,
    et0_width: float = 1.0,
    is_backwards: bool = False,
) -> MemberPairs:
    """Invented weather with members that are drawn as the truth is, then distorted."""
    chance = np.random.default_rng(seed)
    signal = chance.standard_normal((day_count, 1))
    rest = np.sqrt(1.0 - skill**2)
    truth = skill * signal + rest * chance.standard_normal((day_count, 1))
    told = -signal if is_backwards else signal
    middle = 5.0 + 0.8 * skill * told
    members = skill * told + rest * chance.standard_normal((day_count, MEMBERS))

    def rain(latent: Floats) -> Floats:
        return np.asarray(np.where(latent > 0.4, 6.0 * np.maximum(latent - 0.4, 0.0) ** 1.3, 0.0))

    days = (TODAY - 1 - np.arange(day_count)[::-1]).astype("datetime64[D]")
    return MemberPairs(
        days=days[:, np.newaxis],
        rain_mm=rain_factor * rain(members)[..., np.newaxis],
        et0_mm=(middle + et0_shift_mm + et0_width * (5.0 + 0.8 * members - middle))[
            ..., np.newaxis
        ],
        observed_rain_mm=rain(truth),
        observed_et0_mm=5.0 + 0.8 * truth,
    )


def applied(pairs: MemberPairs, correction: LeadCorrection) -> tuple[Floats, Floats]:
    both = [
        corrected_members(rain_mm, et0_mm, correction)
        for rain_mm, et0_mm in zip(pairs.rain_mm, pairs.et0_mm, strict=True)
    ]
    return np.stack([rain for rain, _ in both])[..., 0], np.stack([et0 for _, et0 in both])[..., 0]


def ranks(members: Floats, observed: Floats) -> Floats:
    """Rank of what was observed among the members, equal values in random order, as bins."""
    chance = np.random.default_rng(5)
    below = (members < observed[:, np.newaxis]).sum(axis=1)
    equal = (members == observed[:, np.newaxis]).sum(axis=1)
    return np.asarray(np.bincount(below + chance.integers(0, equal + 1), minlength=MEMBERS + 1))


def chi_squared(members: Floats, observed: Floats) -> float:
    expected = observed.size / (MEMBERS + 1)
    return float(((ranks(members, observed) - expected) ** 2 / expected).sum())


def coverage(members: Floats, observed: Floats, rank_count: int) -> float:
    """Share of what was observed in so many of the middle ranks."""
    edge = (MEMBERS + 1 - rank_count) // 2
    return float(ranks(members, observed)[edge : edge + rank_count].sum() / observed.size)


def both_of(pairs: MemberPairs, rain_mm: Floats, et0_mm: Floats) -> list[tuple[Floats, Floats]]:
    return [(rain_mm, pairs.observed_rain_mm[:, 0]), (et0_mm, pairs.observed_et0_mm[:, 0])]


def test_members_drawn_as_the_truth_is_have_flat_ranks_and_honest_bands() -> None:
    """2,000 days. Chi-squared of 22 bins passes 50 once in 3,000 times; the middle 12 and 20 ranks
    of 22, about half and nine tenths, hold their share within three standard errors. Correcting
    what needs no correction, as learned on 90 days, changes that by little."""
    later = weather(4, 2000)
    for members, observed in both_of(later, later.rain_mm[..., 0], later.et0_mm[..., 0]):
        assert chi_squared(members, observed) < 50.0
        for rank_count in (12, 20):
            share = rank_count / (MEMBERS + 1)
            error = np.sqrt(share * (1.0 - share) / observed.size)
            assert coverage(members, observed, rank_count) == pytest.approx(share, abs=3 * error)
    learned = correction_of(weather(3, 90), on=TODAY)
    for members, observed in both_of(later, *applied(later, learned)):
        assert chi_squared(members, observed) < 150.0
        for rank_count in (12, 20):
            share = rank_count / (MEMBERS + 1)
            assert coverage(members, observed, rank_count) == pytest.approx(share, abs=0.04)


def test_reference_et_that_is_too_high_and_too_narrow_gets_nearly_flat_ranks() -> None:
    """Half a millimeter too high and three quarters as wide, learned on 90 days."""
    learned, later = (
        weather(seed, count, et0_shift_mm=0.5, et0_width=0.75)
        for seed, count in ((1, 90), (2, 2000))
    )
    observed = later.observed_et0_mm[:, 0]
    _, et0_mm = applied(later, correction_of(learned, on=TODAY))
    assert chi_squared(later.et0_mm[..., 0], observed) > 1000.0
    assert chi_squared(et0_mm, observed) < 150.0
    assert coverage(et0_mm, observed, 20) == pytest.approx(20 / 22, abs=0.04)


@pytest.mark.parametrize("factor", [0.6, 1.8])
def test_a_bias_of_amounts_is_learned_and_the_score_improves(factor: float) -> None:
    correction = correction_of(weather(5, 90, rain_factor=factor), on=TODAY)
    later = weather(6, 1500, rain_factor=factor)
    rain_mm, _ = applied(later, correction)
    observed = later.observed_rain_mm[:, 0]
    raw = crps_mm(later.rain_mm[..., 0], observed).mean()
    assert crps_mm(rain_mm, observed).mean() < raw
    assert abs(correction.rain_ratio[0] - 1.0 / factor) < abs(1.0 - 1.0 / factor)


def test_fewer_than_ten_days_correct_nothing() -> None:
    pairs = weather(7, 9, rain_factor=2.0)
    rain_mm, et0_mm = applied(pairs, correction_of(pairs, on=TODAY))
    assert np.array_equal(rain_mm, pairs.rain_mm[..., 0])
    assert et0_mm == pytest.approx(pairs.et0_mm[..., 0])


def test_rain_without_skill_is_not_counted_on_once_sixty_days_say_so() -> None:
    """Members that say the opposite of what comes."""
    few, many = (weather(9, count, is_backwards=True) for count in (50, 80))
    assert np.isnan(correction_of(few, on=TODAY).skill_ratio[0])
    correction = correction_of(many, on=TODAY)
    assert correction.skill_ratio[0] < 0.0
    rain_mm, _ = applied(many, correction)
    assert not rain_mm.any()
    good = correction_of(weather(9, 80, skill=0.9), on=TODAY)
    assert good.skill_ratio[0] > 0.2


def test_an_unknown_day_teaches_nothing() -> None:
    pairs = weather(10, 60)
    before = correction_of(pairs, on=TODAY)
    more = weather(10, 60)
    gap = MemberPairs(
        days=np.concatenate([more.days, more.days[-1:] + 1]),
        rain_mm=np.concatenate([more.rain_mm, np.full((1, MEMBERS, 1), np.nan)]),
        et0_mm=np.concatenate([more.et0_mm, np.full((1, MEMBERS, 1), np.nan)]),
        observed_rain_mm=np.concatenate([more.observed_rain_mm, [[50.0]]]),
        observed_et0_mm=np.concatenate([more.observed_et0_mm, [[np.nan]]]),
    )
    after = correction_of(gap, on=TODAY)
    for name in ("rain_ratio", "chance_shift", "chance_slope", "et0_ratio", "et0_spread_ratio"):
        assert getattr(after, name) == pytest.approx(getattr(before, name)), name
