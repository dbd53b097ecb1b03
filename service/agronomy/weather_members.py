"""Forecasts with a spread: several courses that the coming days' weather may take at each site.

In: what ensembles give, or a chance of rain and an amount. Out: one record, :class:`MemberBatch`,
that decisions and bands read. A member is one course of all days: its rain, cloud and reference ET
belong together, so members are dropped whole and never mixed by day. All members of a site count
with a weight, since an ensemble of many members is worth no more than one of few.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats

Origins = NDArray[np.int64]

NEEDED_DAYS = 5
"""[CHOICE] Days from the planned one on that a member must cover to be there at all."""
BAND_SHARES = (0.1, 0.5, 0.9)
"""Shares of the members that the values of a band are not passed by, rising."""


class MemberOrigin(IntEnum):
    """What the members of a site were made from."""

    NONE = 0
    """There are none: the decision follows the rule without a spread."""
    PROBABILITY = 1
    """A chance of rain and an amount; see ``rain_members``."""
    ENSEMBLE = 2
    """Runs of one or several forecast models."""


@dataclass(frozen=True, slots=True)
class MemberBatch:
    """Courses of the coming weather at many sites, all over the same days.

    Sites with fewer members than others are padded: a member that is not there has weight 0 and
    NaN on every day. A member that is there has a number on each of the first ``NEEDED_DAYS`` days;
    where a forecast ends after those, all members of the site are NaN from the same day on.
    """

    days: Days
    """(days,) consecutive civil days of each site; the first is the day that is planned."""
    rain_mm: Floats
    """(sites, members, days)"""
    et0_mm: Floats
    """(sites, members, days) reference ET of the same course."""
    weights: Floats
    """(sites, members) share of each member; the sum of a site is 1, or 0 where it has none."""
    origin: Origins
    """(sites,) a :class:`MemberOrigin`."""

    def count(self) -> NDArray[np.int64]:
        """Number of members of each site, (sites,)."""
        return np.asarray(np.count_nonzero(self.weights > 0.0, axis=1), dtype=np.int64)


def no_members(days: Days, site_count: int) -> MemberBatch:
    """A batch in which no site has a member.

    Shapes: days (days,); arrays of the result (sites, 0, days).
    Returns: the batch, with origin NONE everywhere.
    >>> batch = no_members(np.arange("2026-07-01", "2026-07-06", dtype="datetime64[D]"), 2)
    >>> batch.rain_mm.shape, batch.count().tolist()
    ((2, 0, 5), [0, 0])
    """
    empty = np.empty((site_count, 0, days.size))
    return MemberBatch(
        days=days,
        rain_mm=empty,
        et0_mm=empty.copy(),
        weights=np.empty((site_count, 0)),
        origin=np.full(site_count, MemberOrigin.NONE, dtype=np.int64),
    )


def pooled_members(
    days: Days, models: Sequence[Sequence[tuple[Floats, Floats]]], *, fewest_count: int
) -> MemberBatch:
    """The members of the models of each site, each model with the same weight.

    Shapes: days (days,); models by site: rain and reference ET, both (members, days), of each.
    fewest_count: with fewer members than that a site has none.
    Returns: the batch; a site's members end with the model that ends first.
    Equation: weight 1 / models / members of the model.
    >>> days = np.arange("2026-07-01", "2026-07-06", dtype="datetime64[D]")
    >>> few, many = np.ones((1, 5)), np.ones((3, 5))
    >>> pooled = pooled_members(days, [[(few, few), (many, many)], []], fewest_count=1)
    >>> pooled.weights.round(3).tolist()
    [[0.5, 0.167, 0.167, 0.167], [0.0, 0.0, 0.0, 0.0]]
    """
    of_site = [[own for own in site if own[0].shape[0]] for site in models]
    counts = np.array([sum(own[0].shape[0] for own in site) for site in of_site], dtype=np.int64)
    is_enough = counts >= max(fewest_count, 1)
    most = int(np.max(np.where(is_enough, counts, 0), initial=0))
    courses_mm = np.full((2, len(of_site), most, days.size), np.nan)
    weights = np.zeros((len(of_site), most))
    for row in np.flatnonzero(is_enough).tolist():
        begin = 0
        for own in of_site[row]:
            end = begin + own[0].shape[0]
            courses_mm[:, row, begin:end] = own
            weights[row, begin:end] = 1.0 / len(of_site[row]) / (end - begin)
            begin = end
        is_over = np.isnan(courses_mm[:, row, :end]).any(axis=(0, 1))
        courses_mm[:, row, :, is_over] = np.nan
    return MemberBatch(
        days=days,
        rain_mm=courses_mm[0],
        et0_mm=courses_mm[1],
        weights=weights,
        origin=np.where(is_enough, MemberOrigin.ENSEMBLE, MemberOrigin.NONE).astype(np.int64),
    )


def filled_up(batch: MemberBatch, others: MemberBatch) -> MemberBatch:
    """The members of a batch, and those of another where a site has none.

    Shapes: both over the same sites and days.
    Returns: the batch, padded to as many members as either has.
    Source: a choice of this service.
    >>> days = np.arange("2026-07-01", "2026-07-06", dtype="datetime64[D]")
    >>> one = pooled_members(days, [[(np.ones((2, 5)), np.ones((2, 5)))]], fewest_count=1)
    >>> filled_up(no_members(days, 1), one).count().tolist()
    [2]
    """
    takes_own = batch.count() > 0
    most = max(batch.weights.shape[1], others.weights.shape[1])
    own, second = (_padded(each, most) for each in (batch, others))
    return MemberBatch(
        days=batch.days,
        rain_mm=np.where(takes_own[:, np.newaxis, np.newaxis], own.rain_mm, second.rain_mm),
        et0_mm=np.where(takes_own[:, np.newaxis, np.newaxis], own.et0_mm, second.et0_mm),
        weights=np.where(takes_own[:, np.newaxis], own.weights, second.weights),
        origin=np.where(takes_own, own.origin, second.origin),
    )


def _padded(batch: MemberBatch, member_count: int) -> MemberBatch:
    missing = member_count - batch.weights.shape[1]
    by_day = ((0, 0), (0, missing), (0, 0))
    return replace(
        batch,
        rain_mm=np.pad(batch.rain_mm, by_day, constant_values=np.nan),
        et0_mm=np.pad(batch.et0_mm, by_day, constant_values=np.nan),
        weights=np.pad(batch.weights, ((0, 0), (0, missing))),
    )


def without(batch: MemberBatch, is_refused: NDArray[np.bool_]) -> MemberBatch:
    """The same without the members of some sites.

    Shapes: is_refused (sites,).
    Returns: the batch; those sites have none.
    Source: a choice of this service.
    >>> days = np.arange("2026-07-01", "2026-07-06", dtype="datetime64[D]")
    >>> one = pooled_members(days, [[(np.ones((2, 5)), np.ones((2, 5)))]], fewest_count=1)
    >>> without(one, np.array([True])).count().tolist()
    [0]
    """
    refused = is_refused[:, np.newaxis]
    return replace(
        batch,
        rain_mm=np.where(refused[..., np.newaxis], np.nan, batch.rain_mm),
        et0_mm=np.where(refused[..., np.newaxis], np.nan, batch.et0_mm),
        weights=np.where(refused, 0.0, batch.weights),
        origin=np.where(is_refused, MemberOrigin.NONE, batch.origin),
    )


def weighted_quantile(values: Floats, weights: Floats, share: Floats | float) -> Floats:
    """The least value of the members that this share of the weight does not exceed.

    Shapes: values and weights (..., members), which broadcast; share and result (...).
    share: 0 to 1. weights: of any sum; members of weight 0 are ignored, whatever their value.
    Returns: a value of a member, unit of the values; NaN where no member has weight.
    Equation: with equal weights the k-th smallest of M, k = ceil(share M), at least the first.
    >>> members = np.array([4.0, 1.0, 3.0, 2.0])
    >>> float(weighted_quantile(members, np.ones(4), 0.5))
    2.0
    >>> float(weighted_quantile(members, np.array([3.0, 1.0, 1.0, 1.0]), 0.5))
    3.0
    """
    values, weights = np.broadcast_arrays(values, weights)
    if values.shape[-1] == 0:
        return np.full(np.broadcast_shapes(values.shape[:-1], np.shape(share)), np.nan)
    used = weights > 0.0
    order = np.argsort(np.where(used, values, np.inf), axis=-1, kind="stable")
    reached = np.cumsum(np.take_along_axis(np.where(used, weights, 0.0), order, axis=-1), axis=-1)
    total = reached[..., -1:]
    # Sums of weights are off by some rounding; a share is reached at a millionth below it.
    wanted = (np.asarray(share)[..., np.newaxis] - 1e-6) * total
    place = np.minimum(np.count_nonzero(reached < wanted, axis=-1), values.shape[-1] - 1)
    found = np.take_along_axis(
        values, np.take_along_axis(order, place[..., np.newaxis], axis=-1), axis=-1
    )[..., 0]
    return np.where(total[..., 0] > 0.0, found, np.nan)


def weighted_share(is_so: NDArray[np.bool_], weights: Floats) -> Floats:
    """The share of the weight that the members have of which something is true.

    Shapes: is_so and weights (..., members), which broadcast; result (...).
    Returns: 0 to 1; NaN where no member has weight.
    Equation: sum of the weights of those members over the sum of all.
    >>> float(weighted_share(np.array([True, False, True]), np.array([0.5, 0.25, 0.25])))
    0.75
    """
    total = weights.sum(axis=-1)
    part = np.where(is_so, weights, 0.0).sum(axis=-1)
    return np.where(total > 0.0, part / np.where(total > 0.0, total, 1.0), np.nan)


def known_until_a_gap(values: Floats) -> NDArray[np.bool_]:
    """The days up to the first whose value is not known.

    Shapes: values and result (..., days).
    Returns: True on those days.
    Source: a choice of this service: a course ends where its first gap begins.
    >>> known_until_a_gap(np.array([1.0, np.nan, 2.0])).tolist()
    [True, False, False]
    """
    gaps = np.cumsum(np.isnan(values), axis=-1)
    return np.asarray(gaps == 0)
