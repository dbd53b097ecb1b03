"""Gaps of past reference ET at some sites, closed after the places nearby in the archive.

In: the weather of a run as its own sites know it. Out: the same with its gaps of up to ten days
closed where a place nearby knows them, and how. Every place in the database counts, not only those
of the run, so that one farm alone gets the same numbers as all farms together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats, Ints
from service.agronomy.reference_et_gaps import COMMON_SPAN_DAYS, borrow_reference_et, gaps_of
from service.agronomy.site_weather import SiteWeather, with_borrowed_reference_et
from service.agronomy.weather_nearby import NEAR_KM
from service.database.session import UnitOfWork
from service.operations.evening.past_weather import SETTLING_DAYS, measured_site_weather
from service.operations.evening.site_columns import distances_km, monthly_normals
from service.records.farms import SiteTable

MOST_NEIGHBOURS = 5  # [CHOICE] the nearest that know a day of the gap


@dataclass(frozen=True, slots=True)
class BorrowedWeather:
    """Where reference ET was borrowed, arrays (days, sites); NaN where it is a site's own."""

    et0_mm: Floats
    distance_km: Floats
    neighbour_ratio: Floats
    common_days_count: Floats


@dataclass(frozen=True, slots=True)
class _Gap:
    """Some past days without reference ET at one site of the run."""

    site: int
    rows: slice
    neighbours: Ints
    """Places among all sites that know a day of it, nearest first."""
    distance_km: Floats


def borrow_from_neighbours(
    unit: UnitOfWork,
    sites: SiteTable,
    weather: SiteWeather,
    *,
    is_observed: NDArray[np.bool_],
    first_future_row: int,
    source_order: Mapping[str, int],
) -> tuple[SiteWeather, BorrowedWeather | None]:
    """The weather with its gaps closed after places nearby, and how; None: nothing was borrowed.

    ``is_observed`` (days, sites): days that may be compared with a neighbour's.
    """
    past_mm = weather.computed_et0_mm[:first_future_row]
    days = weather.days.days[:first_future_row]
    found = gaps_of(past_mm)
    if not found:
        return weather, None
    everywhere = unit.blocks.read_site_table()
    gaps = _with_neighbours(unit, sites, everywhere, days, found)
    if not gaps:
        return weather, None
    lenders = np.unique(np.concatenate([gap.neighbours for gap in gaps]))
    begin = max(0, min(gap.rows.start for gap in gaps) - COMMON_SPAN_DAYS - SETTLING_DAYS)
    lent_mm = np.full((days.size, lenders.size), np.nan)
    lent_mm[begin:] = measured_site_weather(
        unit.weather,
        everywhere.keys[lenders],
        [everywhere.definitions[place] for place in lenders.tolist()],
        days[begin:],
        source_order,
    ).computed_et0_mm
    known_mm = np.where(is_observed[:first_future_row], past_mm, np.nan)
    borrowed = BorrowedWeather(*np.full((4, *weather.computed_et0_mm.shape), np.nan))
    for gap in gaps:
        _close(gap, known_mm, lent_mm[:, np.searchsorted(lenders, gap.neighbours)], borrowed)
    closed = with_borrowed_reference_et(
        weather,
        borrowed.et0_mm,
        normal_et0_mm=monthly_normals(sites.definitions, "et0_mm"),
        first_future_row=first_future_row,
    )
    return closed, borrowed


def _with_neighbours(
    unit: UnitOfWork,
    sites: SiteTable,
    everywhere: SiteTable,
    days: Days,
    found: list[tuple[int, int, int]],
) -> list[_Gap]:
    """The gaps for which there are neighbours, with them."""
    lacking = sorted({site for site, _, _ in found})
    own = SiteTable(sites.keys[lacking], tuple(sites.definitions[site] for site in lacking))
    away_km = distances_km(own, everywhere)
    near = np.flatnonzero((away_km <= NEAR_KM).any(axis=0))
    if not near.size:
        return []
    is_known = _known_days(unit, everywhere, near, days, found)
    gaps = []
    for site, first, end in found:
        km = away_km[lacking.index(site)]
        knows = is_known[first:end].any(axis=0) & (km <= NEAR_KM)
        nearest = np.argsort(np.where(knows, km, np.inf), kind="stable")[:MOST_NEIGHBOURS]
        nearest = nearest[knows[nearest]]
        if nearest.size:
            gaps.append(_Gap(site, slice(first, end), nearest, km[nearest]))
    return gaps


def _known_days(
    unit: UnitOfWork,
    everywhere: SiteTable,
    near: Ints,
    days: Days,
    found: list[tuple[int, int, int]],
) -> NDArray[np.bool_]:
    """(days, all sites) whether temperatures were measured there, between the first gap and the
    last.
    """
    first, end = min(gap[1] for gap in found), max(gap[2] for gap in found)
    keys, measured = unit.weather.list_measured_days(
        everywhere.keys[near], first_day=days[first].item(), last_day=days[end - 1].item()
    )
    is_known = np.zeros((days.size, everywhere.keys.size), dtype=np.bool_)
    rows = (measured - days[0]).astype(np.int64)
    is_known[rows, np.searchsorted(everywhere.keys, keys)] = True
    return is_known


def _close(gap: _Gap, known_mm: Floats, lent_mm: Floats, borrowed: BorrowedWeather) -> None:
    """Write what one gap is closed with; ``lent_mm`` (days, neighbours of the gap)."""
    found = borrow_reference_et(known_mm[:, [gap.site]], lent_mm[:, np.newaxis, :], gap=gap.rows)
    neighbour = found.neighbour[:, 0]
    is_lent = neighbour >= 0
    for target, values in (
        (borrowed.et0_mm, found.et0_mm[:, 0]),
        (borrowed.distance_km, gap.distance_km[neighbour]),
        (borrowed.neighbour_ratio, found.neighbour_ratio[:, 0]),
        (borrowed.common_days_count, found.common_days_count[:, 0]),
    ):
        target[gap.rows, gap.site] = np.where(is_lent, values, np.nan)
