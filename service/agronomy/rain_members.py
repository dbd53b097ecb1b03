"""Members of a forecast that has no ensemble: from a chance of rain and an amount.

In: what one forecast says of the coming days at each site. Out: a :class:`MemberBatch` of equally
likely courses. Rain of a day is nothing with the chance of a dry day, else from a gamma
distribution; reference ET is spread about its forecast. The draws are the middles of equal slices
of the distribution, and only their order differs by site, issue and lead, so that the same
forecast always gives the same members and no member is wet or dry by bad luck.

Shape, wet amounts and spread were fitted to a forecast model over twenty summers of De Bilt and are
[CHOICE] elsewhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats, Ints
from service.agronomy.weather_members import (
    NEEDED_DAYS,
    MemberBatch,
    MemberOrigin,
    known_until_a_gap,
)

MADE_MEMBER_COUNT = 31
"""[CHOICE] As many as an ensemble in wide use has."""
ET0_LOG_SPREADS = (0.10, 0.12, 0.14, 0.16, 0.18, 0.20, 0.22)
"""[CHOICE] Standard deviation of the logarithm of reference ET by lead, one day ahead first."""
WET_CHANCES = (0.3, 0.5, 0.7, 0.9)
WET_MEANS_NEAR_MM = (1.7, 2.3, 3.2, 8.3)
WET_MEANS_FAR_MM = (3.7, 5.1, 7.0, 10.4)
"""Mean rain of a wet day by chance of rain, one and six days ahead, in the model forecasts."""
FAR_LEAD_DAYS = 6
WET_MEAN_LIMITS = (0.5, 5.0)
"""[CHOICE] Multiples of that mean: less is not believed, since models take a chance and an amount
from different runs, and 80 % with no rain at all is common; nor is more that comes of a division by
a small chance."""
AMOUNT_STEPS_MM = (0.2, 1.0, 5.0)
CHANCES_OF_AMOUNT = (0.10, 0.35, 0.65, 0.85)
"""[CHOICE] Chance of rain that an amount below each step, or above the last, stands for one day
ahead, where a forecast has no chance."""
CHANCE_DECAY = 0.1
"""[CHOICE] How much of the way to ``USUAL_WET_SHARE`` such a chance loses by each further day."""
USUAL_WET_SHARE = 0.3
"""[CHOICE] Share of days with rain where nothing else is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainForecast:
    """One forecast of consecutive days from the day that is planned on, arrays (sites, days)."""

    days: Days
    """(days,)"""
    rain_mm: Floats
    """NaN where there is no forecast."""
    rain_probability_fraction: Floats
    """NaN where only an amount is known."""
    is_expected_amount: NDArray[np.bool_]
    """The amount is that of rain times its chance, not that of the rain if it comes."""
    et0_mm: Floats
    seeds: Ints
    """(sites,) what tells one site's order of members from another's; any whole number from 0 on
    that stays with the site."""


def members_of_forecast(
    forecast: PlainForecast, *, member_count: int = MADE_MEMBER_COUNT
) -> MemberBatch:
    """Courses that a forecast without a spread may take.

    Shapes: forecast (sites, days); result (sites, members, days).
    Returns: members of equal weight; none at sites without rain or reference ET on any of the days
    that a decision needs. Later days without a forecast are NaN.
    Equation: rain 0 with 1 - p, else gamma of shape 0.55 + 0.7 p and mean amount / p where the
    amount is an expected one (at most 5 times the usual one of a wet day), else the amount, and at
    least half the usual one [CHOICE]; reference ET times exp(s z - s2 / 2), z standard normal, s by
    lead. Fitted, see above.
    >>> forecast = PlainForecast(
    ...     days=np.arange("2026-07-01", "2026-07-06", dtype="datetime64[D]"),
    ...     rain_mm=np.full((1, 5), 4.0),
    ...     rain_probability_fraction=np.full((1, 5), 0.6),
    ...     is_expected_amount=np.zeros((1, 5), dtype=bool),
    ...     et0_mm=np.full((1, 5), 5.0),
    ...     seeds=np.array([7]),
    ... )
    >>> members = members_of_forecast(forecast, member_count=10)
    >>> np.count_nonzero(members.rain_mm[0], axis=0).tolist()
    [6, 6, 6, 6, 6]
    """
    chance = rain_chance(forecast.rain_mm, forecast.rain_probability_fraction)
    mean_mm = _wet_day_mean_mm(forecast, chance)
    is_known = known_until_a_gap(forecast.rain_mm + forecast.et0_mm)
    has_members = np.all(is_known[:, :NEEDED_DAYS], axis=1)
    site_count, day_count = is_known.shape
    rain_mm = np.full((site_count, member_count, day_count), np.nan)
    et0_mm = np.full_like(rain_mm, np.nan)
    issue = int(forecast.days[0].astype(np.int64)) if day_count else 0
    normal = np.array([NormalDist().inv_cdf(u) for u in _middles(member_count)])
    for site in np.flatnonzero(has_members).tolist():
        for lead in np.flatnonzero(is_known[site]).tolist():
            order = np.random.default_rng([int(forecast.seeds[site]), abs(issue), lead])
            unit = unit_rain(round(100.0 * float(chance[site, lead])), member_count)
            rain_mm[site, :, lead] = order.permutation(unit) * mean_mm[site, lead]
            spread = ET0_LOG_SPREADS[min(lead, len(ET0_LOG_SPREADS) - 1)]
            factor = np.exp(spread * order.permutation(normal) - spread**2 / 2.0)
            et0_mm[site, :, lead] = factor * forecast.et0_mm[site, lead]
    return MemberBatch(
        days=forecast.days,
        rain_mm=rain_mm,
        et0_mm=et0_mm,
        weights=np.where(has_members[:, np.newaxis], 1.0 / member_count, 0.0)
        * np.ones(member_count),
        origin=np.where(has_members, MemberOrigin.PROBABILITY, MemberOrigin.NONE),
    )


def rain_chance(rain_mm: Floats, rain_probability_fraction: Floats) -> Floats:
    """The chance of rain of a forecast, also where it only has an amount.

    Shapes: both and the result (sites, days), one day ahead first.
    Returns: 0 to 1, NaN where neither is known.
    Source: [CHOICE] of this service: 0.85 from 5 mm on, 0.65 from 1, 0.35 from 0.2, else 0.1, and
    by each further day a tenth of the way to three days in ten.
    >>> chance = rain_chance(np.full((1, 3), 6.0), np.array([[np.nan, np.nan, 0.4]]))
    >>> chance.round(3).tolist()
    [[0.85, 0.795, 0.4]]
    """
    guessed = np.array(CHANCES_OF_AMOUNT)[np.digitize(rain_mm, AMOUNT_STEPS_MM)]
    decay = np.minimum(1.0, CHANCE_DECAY * np.arange(rain_mm.shape[1]))
    guessed = guessed + (USUAL_WET_SHARE - guessed) * decay
    guessed = np.where(np.isnan(rain_mm), np.nan, guessed)
    known = np.isfinite(rain_probability_fraction)
    chance: Floats = np.where(known, np.clip(rain_probability_fraction, 0.0, 1.0), guessed)
    return chance


def _wet_day_mean_mm(forecast: PlainForecast, chance: Floats) -> Floats:
    """Mean rain of each day if it rains, (sites, days)."""
    near = np.interp(chance, WET_CHANCES, WET_MEANS_NEAR_MM)
    far = np.interp(chance, WET_CHANCES, WET_MEANS_FAR_MM)
    ahead = np.minimum(1.0, np.arange(chance.shape[1]) / (FAR_LEAD_DAYS - 1.0))
    usual_mm = near + (far - near) * ahead
    amount_mm = np.where(
        forecast.is_expected_amount,
        forecast.rain_mm / np.maximum(chance, 0.01),
        forecast.rain_mm,
    )
    lowest, highest = WET_MEAN_LIMITS
    return np.clip(amount_mm, lowest * usual_mm, np.maximum(highest * usual_mm, forecast.rain_mm))


@lru_cache(maxsize=1024)
def unit_rain(chance_pct: int, member_count: int) -> Floats:
    """Rain of equally likely members if the mean of a wet day is 1, rising.

    Shapes: two numbers; result (members,).
    chance_pct: chance of rain [%], 0 to 100.
    Returns: multiples of that mean, 0 for dry members; not to be written to.
    Equation: quantiles at (i - 0.5) / M of 0 with 1 - p, else gamma of shape 0.55 + 0.7 p, mean 1.
    >>> unit_rain(50, 4).round(3).tolist()
    [0.0, 0.0, 0.257, 1.386]
    """
    chance = chance_pct / 100.0
    shape = 0.55 + 0.7 * chance
    members = np.zeros(member_count)
    for place, share in enumerate(_middles(member_count)):
        if share > 1.0 - chance:
            wet_share = (share - (1.0 - chance)) / chance
            members[place] = _gamma_quantile(shape, wet_share) / shape
    members.flags.writeable = False
    return members


def _middles(count: int) -> list[float]:
    """The middles of equal slices of 0 to 1."""
    return [(place + 0.5) / count for place in range(count)]


def _gamma_quantile(shape: float, share: float) -> float:
    """Where a gamma distribution of scale 1 has this share below it, by bisection of its series."""
    low, high = 0.0, 1.0
    while _gamma_share(shape, high) < share:
        low, high = high, 2.0 * high
    for _ in range(60):
        middle = (low + high) / 2.0
        if _gamma_share(shape, middle) < share:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def _gamma_share(shape: float, value: float) -> float:
    """Regularized lower incomplete gamma function; series of Abramowitz and Stegun 6.5.29."""
    if value <= 0.0:
        return 0.0
    term = total = 1.0 / shape
    step = shape
    while term > 1e-16 * total:
        step += 1.0
        term *= value / step
        total += term
    return total * math.exp(shape * math.log(value) - value - math.lgamma(shape))
