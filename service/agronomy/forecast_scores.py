"""How good forecasts were: scores of what was issued against what was observed.

In: pairs of issued and observed values of one place, source and lead. Out: their scores, and those
of always expecting what the other days of the season had. With fewer pairs than ``FEWEST_PAIRS``
every score is NaN: so few say nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats, Ints

FEWEST_PAIRS = 30  # [CHOICE] pairs from which scores are given
RAIN_EVENT_MM = 0.2  # [CHOICE] mm/d, rain from which a day counts as one with rain
SEASON_DAYS = 45  # [CHOICE] d, how far away in the year days still have the same climate
FEWEST_OTHER_DAYS = 10  # [CHOICE] of the season, from which it can be held against a forecast
CHANCE_EDGES = np.array([0.0, 0.2, 0.4, 0.6, 0.8, 1.0])
"""Issued chances are compared with what happened in five classes of equal width."""
_DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class AmountScores:
    """Scores of issued amounts; NaN where they cannot be given."""

    pair_count: int
    bias_mm: float
    """Mean of issued less observed."""
    mae_mm: float
    """Mean absolute error of the issued amount."""
    crps_mm: float
    """Continuous ranked probability score, fair; of a single value its absolute error."""
    climatology_crps_mm: float
    """The same of the other days of the season."""
    skill_ratio: float
    """1: perfect; 0: no better than the season; below: worse."""
    coverage_fraction: float
    """Share of the observed amounts within the issued band; NaN without a band."""
    band_count: int
    """Pairs with a band."""
    half_coverage_fraction: float = nan
    """Share of the observed amounts within the middle half of an ensemble; NaN without one."""
    most_coverage_fraction: float = nan
    """Share of them within its middle nine tenths."""


@dataclass(frozen=True, slots=True)
class MemberQuantiles:
    """What is known of the ensembles of forecasts, arrays (pairs,); NaN where there is none."""

    stands_for: Ints
    """Members that the values scored are quantiles of; 0: they are members themselves."""
    half: tuple[Floats, Floats]
    """Ends of the middle half of them."""
    most: tuple[Floats, Floats]
    """Ends of their middle nine tenths."""


@dataclass(frozen=True, slots=True)
class ChanceScores:
    """Scores of issued chances of rain; NaN where they cannot be given."""

    pair_count: int
    brier: float
    reliability: float
    """How far the issued chances are from what happened, by class; 0 is best."""
    resolution: float
    """How far what happened differs between the classes; the more, the better."""
    uncertainty: float
    """Of the days themselves."""
    skill_ratio: float
    """Against the share of the season's other days that had rain."""
    right_fraction: float
    """Share of days on which a chance above or below one half said rightly whether it rained."""
    class_count: Ints
    """(classes,) pairs of each class of ``CHANCE_EDGES``."""
    class_issued_fraction: Floats
    """(classes,) mean chance issued; NaN for an empty class."""
    class_observed_fraction: Floats
    """(classes,) share of its days that had rain."""


def crps_mm(
    members_mm: Floats,
    observed_mm: Floats,
    *,
    weights: Floats | None = None,
    is_fair: bool = True,
    stands_for: Ints | None = None,
) -> Floats:
    """Continuous ranked probability score of an ensemble, in the unit of what it forecasts.

    Shapes: members_mm, weights (pairs, members); observed_mm and result (pairs,).
    members_mm: NaN for a member that is not known; weights: 0 or more, equal unless given; is_fair:
    without what the score owes to the small number of members; stands_for: (pairs,) of how many
    members what is given are quantiles, 0: they are the members themselves.
    Returns: score, 0 for a perfect forecast; NaN where nothing was issued or observed. A single
    member has its absolute error.
    Equation: mean |x - y| - 1/2 mean |x - x'|, Gneiting and Raftery 2007, Eq. 21; fair: the second
    mean over pairs of different members, Ferro 2014 (with weights w: over 1 - sum of w squared).
    >>> score = crps_mm(np.array([[0.0, 1.0, 3.0]]), np.array([2.0]), is_fair=False)
    >>> round(float(score[0]), 4)  # 4/3 - 1/2 x 12/9
    0.6667
    """
    is_known = np.isfinite(members_mm)
    given = np.ones(members_mm.shape) if weights is None else weights
    usable = np.where(is_known, given, 0.0)
    total = usable.sum(axis=1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        weight = usable / total
    values = np.where(is_known, members_mm, 0.0)
    error = (weight * np.abs(values - observed_mm[:, None])).sum(axis=1)
    order = np.argsort(values, axis=1, kind="stable")
    values = np.take_along_axis(values, order, axis=1)
    weight = np.take_along_axis(weight, order, axis=1)
    below = np.cumsum(weight, axis=1) - weight
    spread = (weight * values * (2.0 * below + weight - 1.0)).sum(axis=1)
    if is_fair:
        different = 1.0 - (weight**2).sum(axis=1)
        if stands_for is not None:
            ratio = 1.0 - 1.0 / np.maximum(stands_for, 2)
            different = np.where(stands_for > 0, ratio, different)
        has_spread = different > 1e-9
        spread = np.where(has_spread, spread / np.where(has_spread, different, 1.0), 0.0)
    return np.asarray(error - spread)


def score_amounts(
    days: Days,
    issued_mm: Floats,
    observed_mm: Floats,
    *,
    members_mm: Floats | None = None,
    weights: Floats | None = None,
    band_mm: tuple[Floats, Floats] | None = None,
    quantiles: MemberQuantiles | None = None,
) -> AmountScores:
    """Scores of amounts of rain or reference ET that were issued.

    Shapes: days, issued_mm, observed_mm and both ends of band_mm (pairs,); members_mm and weights
    (pairs, members).
    issued_mm, observed_mm: [mm]; pairs that lack either do not count; members_mm: the ensemble that
    was issued, the amount alone unless given; band_mm: the 10 % and 90 % quantiles issued;
    quantiles: what is known of an ensemble beside.
    Returns: AmountScores; all NaN with fewer than ``FEWEST_PAIRS`` pairs.
    Equation: skill = 1 - CRPS / CRPS of the season's other days.
    >>> days = np.arange("2026-06-01", "2026-07-01", dtype="M8[D]")
    >>> fell = np.tile([0.0, 4.0], 15)
    >>> found = score_amounts(days, np.full(30, 1.0), fell)
    >>> [round(x, 3) for x in (found.bias_mm, found.climatology_crps_mm, found.skill_ratio)]
    [-1.0, 1.034, -0.933]
    """
    kept = np.isfinite(issued_mm) & np.isfinite(observed_mm)
    pair_count = int(kept.sum())
    if pair_count < FEWEST_PAIRS:
        return AmountScores(pair_count, *(nan,) * 6, band_count=0)
    issued, observed = issued_mm[kept], observed_mm[kept]
    if members_mm is None:
        score = np.abs(issued - observed)
    else:
        chosen = None if weights is None else weights[kept]
        stands_for = None if quantiles is None else quantiles.stands_for[kept]
        score = crps_mm(members_mm[kept], observed, weights=chosen, stands_for=stands_for)
    season = crps_mm(
        np.broadcast_to(observed, (pair_count, pair_count)),
        observed,
        weights=_of_season(days[kept]).astype(np.float64),
    )
    both = np.isfinite(score) & np.isfinite(season)
    coverage_fraction, band_count = _coverage(band_mm, observed_mm, kept)
    half, most = (
        (nan, nan)
        if quantiles is None
        else (_coverage(each, observed_mm, kept)[0] for each in (quantiles.half, quantiles.most))
    )
    return AmountScores(
        pair_count=pair_count,
        bias_mm=float((issued - observed).mean()),
        mae_mm=float(np.abs(issued - observed).mean()),
        crps_mm=_mean(score[both]),
        climatology_crps_mm=_mean(season[both]),
        skill_ratio=_skill(_mean(score[both]), _mean(season[both])),
        coverage_fraction=coverage_fraction,
        band_count=band_count,
        half_coverage_fraction=half,
        most_coverage_fraction=most,
    )


def score_chances(days: Days, chance_fraction: Floats, observed_mm: Floats) -> ChanceScores:
    """Scores of chances of rain that were issued.

    Shapes: days, chance_fraction, observed_mm (pairs,).
    chance_fraction: issued chance of rain of the day, 0 to 1; observed_mm: rain of the day; pairs
    that lack either do not count.
    Returns: ChanceScores; all NaN with fewer than ``FEWEST_PAIRS`` pairs.
    Equation: Brier 1950; reliability, resolution and uncertainty after Murphy 1973, which add up to
    it as far as the chances within a class are alike.
    >>> days = np.arange("2026-06-01", "2026-07-01", dtype="M8[D]")
    >>> found = score_chances(days, np.tile([0.1, 0.7], 15), np.tile([0.0, 4.0], 15))
    >>> [round(x, 3) for x in (found.brier, found.reliability, found.resolution, found.uncertainty)]
    [0.05, 0.05, 0.25, 0.25]
    """
    kept = np.isfinite(chance_fraction) & np.isfinite(observed_mm)
    pair_count = int(kept.sum())
    class_count = len(CHANCE_EDGES) - 1
    if pair_count < FEWEST_PAIRS:
        nothing = np.full(class_count, nan)
        none = np.zeros(class_count, dtype=np.int64)
        return ChanceScores(pair_count, *(nan,) * 6, none, nothing, nothing)
    chance, rained = chance_fraction[kept], observed_mm[kept] >= RAIN_EVENT_MM
    of_class = np.clip(np.digitize(chance, CHANCE_EDGES[1:-1]), 0, class_count - 1)
    counts = np.bincount(of_class, minlength=class_count)
    with np.errstate(invalid="ignore", divide="ignore"):
        issued = np.bincount(of_class, weights=chance, minlength=class_count) / counts
        happened = np.bincount(of_class, weights=rained, minlength=class_count) / counts
    share = float(rained.mean())
    is_there = counts > 0
    weight = counts[is_there] / pair_count
    brier_of_day = (chance - rained) ** 2
    others = _of_season(days[kept])
    enough = others.sum(axis=1) >= FEWEST_OTHER_DAYS
    season = (others @ rained.astype(np.float64)) / np.maximum(others.sum(axis=1), 1)
    return ChanceScores(
        pair_count=pair_count,
        brier=float(brier_of_day.mean()),
        reliability=float((weight * (issued - happened)[is_there] ** 2).sum()),
        resolution=float((weight * (happened[is_there] - share) ** 2).sum()),
        uncertainty=share * (1.0 - share),
        skill_ratio=_skill(_mean(brier_of_day[enough]), _mean(((season - rained) ** 2)[enough])),
        right_fraction=float(((chance >= 0.5) == rained).mean()),
        class_count=counts.astype(np.int64),
        class_issued_fraction=issued,
        class_observed_fraction=happened,
    )


def last_useful_lead_days(lead_days: Ints, skill_ratio: Floats) -> int:
    """Up to how many days ahead a forecast is better than the season, without a day between.

    Shapes: lead_days, skill_ratio (leads,), rising from 1.
    Returns: lead [d]; 0 if not even the first is better, or none is known.
    >>> last_useful_lead_days(np.array([1, 2, 3, 4]), np.array([0.4, 0.2, -0.1, 0.1]))
    2
    """
    found = 0
    for lead, skill in zip(lead_days.tolist(), skill_ratio.tolist(), strict=True):
        if lead != found + 1 or not skill > 0.0:
            break
        found = lead
    return found


def _of_season(days: Days) -> NDArray[np.bool_]:
    """(pairs, pairs) which other days are of the same season of any year."""
    number = days.astype("datetime64[D]").astype(np.float64)
    apart = np.abs(number[:, None] - number)
    of_year = apart % _DAYS_PER_YEAR
    near = np.minimum(of_year, _DAYS_PER_YEAR - of_year) <= SEASON_DAYS
    is_other = near & (apart > 0.0)
    return np.asarray(is_other & (is_other.sum(axis=1, keepdims=True) >= FEWEST_OTHER_DAYS))


def _coverage(
    band_mm: tuple[Floats, Floats] | None, observed_mm: Floats, kept: NDArray[np.bool_]
) -> tuple[float, int]:
    if band_mm is None:
        return nan, 0
    low, high = band_mm
    has_band = kept & np.isfinite(low) & np.isfinite(high)
    count = int(has_band.sum())
    if count < FEWEST_PAIRS:
        return nan, count
    within = (observed_mm >= low) & (observed_mm <= high)
    return float(within[has_band].mean()), count


def _skill(score: float, season: float) -> float:
    return 1.0 - score / season if season > 0.0 else nan


def _mean(values: Floats) -> float:
    return float(values.mean()) if values.size else nan
