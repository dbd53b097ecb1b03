"""What the archive says of the spread of forecasts: their members, or what stands for them.

In: archived leads. Out: members with weights, and bands, by which scores judge them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.forecast_scores import MemberQuantiles
from service.agronomy.rain_members import PlainForecast, members_of_forecast
from service.agronomy.records import Floats, Ints
from service.agronomy.weather_members import MemberBatch, weighted_quantile
from service.operations.evening.gather_members import EXPECTED_AMOUNT_SOURCES
from service.records.forecasts import (
    ET0_QUANTILES,
    LONGEST_LEAD_DAYS,
    MEMBER_QUANTILES,
    LeadRows,
)


def quantiles_of(leads: LeadRows, which: NDArray[np.bool_], name: str) -> MemberQuantiles:
    """What the archive knows of the ensembles of some rows."""
    low, quarter, rest, high = (
        leads.numbers[f"{name}_p{share:02d}_mm"][which] for share in (5, 25, 75, 95)
    )
    count = np.where(np.isfinite(low), leads.member_count[which], 0)
    return MemberQuantiles(stands_for=count, half=(quarter, rest), most=(low, high))


@dataclass(frozen=True, slots=True)
class ArchivedSpread:
    """What a source's forecasts say of the chances of amounts, by ``rain`` and ``et0``."""

    members_mm: Mapping[str, Floats]
    """(rows, members)"""
    weights: Floats
    """(rows, members) 0 for a member that is not there."""
    band_mm: Mapping[str, tuple[Floats, Floats]]
    """(rows,) quantiles of 10 and 90 %."""


def archived_spread(leads: LeadRows) -> ArchivedSpread:
    """The spread of each forecast, as decisions take it.

    An ensemble's quantiles stand for its members, ten with the same weight, or three with the
    weights of what lies about them [CHOICE]; without one, members are made of the chance of rain
    and the amount. Where neither can be, as where only one lead was read, the amount is its own
    only member.
    """
    made, row_of = _made_members(leads)
    count = made.weights.shape[1]
    quantiles = leads.member_count > 0
    has_made = (made.weights[row_of].sum(axis=1) > 0.0) & ~quantiles
    weights = np.zeros((len(leads), max(count, len(MEMBER_QUANTILES))))
    weights[:, 0] = 1.0
    weights[has_made] = made.weights[row_of[has_made]]
    weights[quantiles, :3] = (0.3, 0.4, 0.3)
    fine = quantiles & np.isfinite(leads.numbers["rain_p05_mm"])
    weights[fine, : len(MEMBER_QUANTILES)] = 1.0 / len(MEMBER_QUANTILES)
    members, bands = {}, {}
    for name, of_made in (("rain", made.rain_mm), ("et0", made.et0_mm)):
        table = np.full(weights.shape, np.nan)
        table[:, 0] = leads.numbers[f"{name}_mm"]
        table[has_made] = of_made[row_of, :, leads.lead_days - 1][has_made]
        names = [f"{name}_p{share}_mm" for share in (10, 50, 90)]
        for column, quantile in enumerate(names):
            table[quantiles, column] = leads.numbers[quantile][quantiles]
        for column, share in enumerate(MEMBER_QUANTILES):
            table[fine, column] = _at_share(leads, name, share)[fine]
        members[name] = table
        ends = [
            np.where(has_made, weighted_quantile(table, weights, share), leads.numbers[quantile])
            for share, quantile in ((0.1, names[0]), (0.9, names[2]))
        ]
        bands[name] = (ends[0], ends[1])
    return ArchivedSpread(members, weights, bands)


def _at_share(leads: LeadRows, name: str, share: int) -> Floats:
    """(rows,) a quantile of the members, between its neighbors where it is not kept itself."""
    if f"{name}_p{share:02d}_mm" in leads.numbers:
        return leads.numbers[f"{name}_p{share:02d}_mm"]
    kept = sorted((*ET0_QUANTILES, 10, 50, 90))
    above = next(place for place, each in enumerate(kept) if each > share)
    low, high = kept[above - 1], kept[above]
    below_mm, above_mm = (leads.numbers[f"{name}_p{each:02d}_mm"] for each in (low, high))
    return np.asarray(below_mm + (share - low) / (high - low) * (above_mm - below_mm))


def _made_members(leads: LeadRows) -> tuple[MemberBatch, Ints]:
    """Members of every issue that has no ensemble, and the issue of each row."""
    issued_on, row_of = np.unique(leads.issued_on(), return_inverse=True)
    table = {
        name: np.full((issued_on.size, LONGEST_LEAD_DAYS), np.nan)
        for name in ("rain_mm", "rain_probability_fraction", "et0_mm")
    }
    for name, values in table.items():
        values[row_of, leads.lead_days - 1] = leads.numbers[name]
    is_expected = any(source in EXPECTED_AMOUNT_SOURCES for source in set(leads.sources))
    forecast = PlainForecast(
        days=np.datetime64("2000-01-01", "D") + np.arange(LONGEST_LEAD_DAYS),
        is_expected_amount=np.full(table["rain_mm"].shape, is_expected),
        seeds=issued_on.astype("datetime64[D]").astype(np.int64),
        **table,
    )
    return members_of_forecast(forecast), row_of
