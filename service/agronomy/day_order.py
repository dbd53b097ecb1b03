"""Sources whose days are a day late or early, or come in the reverse order.

In: what several sources say of the same days. Out: which of them gives the right weather for the
wrong days. Each value alone is plausible then; only the order, against another source, shows it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats

FEWEST_DAYS = 6  # [CHOICE] d that two sources must share in the other order
CORRELATION_FOUND = 0.7  # [CHOICE] that another order must reach
GAINED_BY_MOVING = 0.2  # [CHOICE] by how much it must be better than the order as given
GAINED_BY_TURNING = 0.5  # [CHOICE] the same; few days turned round fit more often by chance
FEWEST_SPREAD = 0.15  # [CHOICE] in tolerances; days more alike than that have no order


class DayOrder(NamedTuple):
    """Who is out of order."""

    is_out: NDArray[np.bool_]
    """(voices, sites)"""
    is_unsettled: NDArray[np.bool_]
    """(sites,) two sources are out of order with one another, and no third says which is wrong."""


def days_out_of_order(
    values: Mapping[str, Floats],
    tolerances: Mapping[str, float],
    *,
    first_row: int,
    today_row: int,
) -> DayOrder:
    """Sources that fit another one only with their days moved by one, or turned round.

    Shapes: values (voices, days, sites) by quantity, NaN where not known; days in a row.
    tolerances: by quantity, what makes one unit of distance.
    first_row: first row looked at; today_row: rows after it are forecasts, which may be turned
    round among themselves.
    Returns: DayOrder. Of two that do not fit, the one with fewer others in its order is out. That
    of equals is not settled; of two turned round, the one whose forecast begins farther from the
    last days is out all the same.
    Source: correlation over days and quantities of what differs from the median day, [CHOICE].
    >>> truth = np.array([20.0, 27, 24, 31, 22, 29, 35, 26, 24, 33])[:, None]
    >>> late = np.concatenate([[[23.0]], truth[:-1]])
    >>> said = {"tmax": np.stack([late, truth, truth + 0.5])}
    >>> days_out_of_order(said, {"tmax": 7.0}, first_row=0, today_row=0).is_out[:, 0].tolist()
    [True, False, False]
    """
    scaled = np.stack(
        [values[name][:, first_row:] / tolerance for name, tolerance in tolerances.items()]
    )
    voices, sites = scaled.shape[1], scaled.shape[3]
    fits = np.zeros((voices, voices, sites), dtype=np.bool_)
    fits_otherwise, is_turned = np.zeros_like(fits), np.zeros_like(fits)
    today = max(0, today_row - first_row)
    for one in range(voices):
        for other in range(one):
            left, right = scaled[:, one], scaled[:, other]
            as_given = _correlation(left, right)
            is_out = np.zeros(sites, dtype=np.bool_)
            turned = np.zeros(sites, dtype=np.bool_)
            with np.errstate(invalid="ignore"):
                for gain, as_pair, otherwise in _other_orders(left, right, today):
                    given, found = _correlation(*as_pair), _correlation(*otherwise)
                    is_better = (found > CORRELATION_FOUND) & (found > given + gain)
                    is_out |= is_better
                    turned |= is_better & (gain == GAINED_BY_TURNING)
                is_fit = as_given > CORRELATION_FOUND / 2.0
            fits[one, other] = fits[other, one] = is_fit & ~is_out
            fits_otherwise[one, other] = fits_otherwise[other, one] = is_out
            is_turned[one, other] = is_turned[other, one] = turned
    side = fits.sum(axis=1)
    stronger = side[None, :] > side[:, None]
    is_out = (fits_otherwise & stronger).any(axis=1)
    open_still = ~is_out[:, None] & ~is_out[None, :]
    equal = fits_otherwise & (side[None, :] == side[:, None]) & open_still
    away = _start_of_forecast(scaled, today)
    with np.errstate(invalid="ignore"):
        is_farther = (equal & is_turned & (away[:, None] > away[None, :])).any(axis=1)
    return DayOrder(is_out | is_farther, equal.any(axis=(0, 1)))


def _start_of_forecast(scaled: Floats, today: int) -> Floats:
    """(voices, sites) how far the first two days to come are from the three up to today."""
    last = scaled[:, :, max(0, today - 2) : today + 1]
    known = np.isfinite(last)
    count = known.sum(axis=(1, 2))
    mean = np.where(known, last, 0.0).sum(axis=(1, 2)) / np.where(count > 0, count, np.nan)
    apart = np.abs(scaled[:, :, today + 1 : today + 3] - mean[:, None, None])
    there = np.isfinite(apart)
    days = there.sum(axis=(0, 2))
    return np.asarray(
        np.where(there, apart, 0.0).sum(axis=(0, 2)) / np.where(days > 0, days, np.nan)
    )


def _other_orders(
    left: Floats, right: Floats, today: int
) -> list[tuple[float, tuple[Floats, Floats], tuple[Floats, Floats]]]:
    """Gain asked for, the pair as given, and the same days with those of one moved or turned."""
    pairs = [
        (GAINED_BY_MOVING, (left, right), (left[:, 1:], right[:, :-1])),
        (GAINED_BY_MOVING, (left, right), (left[:, :-1], right[:, 1:])),
    ]
    for begin in range(today + 2):  # an answer may begin on any day up to tomorrow
        one, other = left[:, begin:], right[:, begin:]
        if one.shape[1] >= FEWEST_DAYS:
            pairs.append((GAINED_BY_TURNING, (one, other), (one[:, ::-1], other)))
    return pairs


def _correlation(left: Floats, right: Floats) -> Floats:
    """(sites,) correlation over days and quantities; NaN with too few days or no differences."""
    known = np.isfinite(left) & np.isfinite(right)
    days = known.any(axis=0).sum(axis=0)
    count = known.sum(axis=1, keepdims=True)
    sides = []
    for side in (left, right):
        filled = np.where(known, side, 0.0)
        mean = filled.sum(axis=1, keepdims=True) / np.maximum(count, 1)
        sides.append(np.where(known, side - mean, 0.0))
    squares = [(side**2).sum(axis=(0, 1)) for side in sides]
    total = known.sum(axis=(0, 1))
    enough = (days >= FEWEST_DAYS) & (np.minimum(*squares) > FEWEST_SPREAD**2 * total)
    product = (sides[0] * sides[1]).sum(axis=(0, 1))
    return np.where(
        enough, product / np.sqrt(np.where(enough, squares[0] * squares[1], 1.0)), np.nan
    )
