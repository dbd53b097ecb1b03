"""The safe depth: the least water tomorrow that a forecast with a spread calls for.

In: members of the coming weather at each site, and the blocks over the same days. Out: for each
block the depth that it must have, what would still fit, and the chance of running short without
water. Which share of the members may turn out drier follows from what a grower would rather risk
(:mod:`service.agronomy.risk_attitude`). A closed form of sorts: nothing is drawn at random and
nothing is searched. A caller who has blocks and members does two calls::

    costs = costs_of(attitude)                  # (blocks,) of RiskAttitude
    depth = safe_depth(days, members, costs)    # RiskDays, MemberBatch

``depth.need_mm`` is then the net depth to give tomorrow, before pulses. Where another rule is
better is said by :mod:`service.agronomy.risk_guard`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.agronomy.effective_rain import rain_entering_mm
from service.agronomy.records import Floats, Ints, SoilBatch
from service.agronomy.risk_attitude import CostRatios, credit_fraction
from service.agronomy.root_zone import depletion_fraction, readily_available_water_mm
from service.agronomy.weather_members import MemberBatch, weighted_quantile

HORIZON_DAYS = 5
"""[CHOICE] Days ahead that water of tomorrow answers for."""
FILL_SHARE = 0.5
"""[CHOICE] Share of what would still fit that is given along with what must be given: 0 waters
every day a little, 1 seldom and much."""
DRY_CREDIT_FRACTION = 0.10
"""[CHOICE] Nine members in ten bring more rain than what a block that hardly keeps up counts on."""
HIGH_DEMAND_FRACTION = 0.90
"""[CHOICE] One member day in ten asks for more than what a system has to keep up with."""
MUST_TOLERANCE_MM = 1e-9
"""A must smaller than this is the rounding of sums."""
CHUNK_BLOCKS = 2_000
"""So many blocks with their members stay in a processor's near memory."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskDays:
    """The blocks over the coming days, arrays (blocks,) unless noted; days as in the members."""

    site_index: Ints
    """Row of each block's site in the members."""
    soil: SoilBatch
    depletion_midnight_mm: Floats
    """Depletion at the midnight before the first day."""
    crop_coefficient: Floats
    """(days, blocks)"""
    zone_share: Floats
    """(days, blocks) share of the crop's use that the managed zone is asked for; 1 where roots
    reach nowhere else."""
    taw_mm: Floats
    """(days, blocks)"""
    table_depletion_fraction: Floats
    """p of the crop table, at 5 mm/d."""
    is_dormant: NDArray[np.bool_]
    """(days, blocks) days on which the block is not watered."""
    later_day_mm: Floats
    """X: net depth that any later day can still add; (days, blocks) where days differ, of which the
    first does not count."""
    rain_room_fraction: Floats


@dataclass(frozen=True, slots=True)
class SafeDepth:
    """What the members call for tomorrow, arrays (blocks,); NaN without members."""

    need_mm: Floats
    """x: the net depth to give; 0 where nothing must be given."""
    must_mm: Floats
    """The least that keeps every day of the horizon within RAW at its safety."""
    fill_mm: Floats
    """What fits tomorrow and still leaves the room for rain, in a wet turn of the weather."""
    credit_fraction: Floats
    """q*: share of the members that may turn out drier than planned for tomorrow."""
    rain_credit_mm: Floats
    """Entering rain of tomorrow that is counted on, the q* quantile."""
    wet_depletion_mm: Floats
    """D1: depletion at midnight less tomorrow's rain of a wet turn; before it nothing drains."""
    planned_depletion_mm: Floats
    """Depletion tomorrow evening without water that only the share q* of the members passes."""
    highest_crop_et_mm: Floats
    """Use of the zone that one member day in ten passes, over the horizon."""
    mean_crop_et_mm: Floats
    """Tomorrow's, over the members."""
    dry_credit_mm: Floats
    """Entering rain of tomorrow that nine members in ten pass."""
    raw_mm: Floats
    """Tomorrow's readily available water at the members' mean demand."""

    @property
    def has_members(self) -> NDArray[np.bool_]:
        """(blocks,) whether a decision could be made from members."""
        known: NDArray[np.bool_] = np.isfinite(self.need_mm)
        return known


def safe_depth(
    days: RiskDays,
    members: MemberBatch,
    costs: CostRatios,
    *,
    fill_share: float = FILL_SHARE,
    horizon_days: int = HORIZON_DAYS,
) -> SafeDepth:
    """The least water tomorrow that keeps the coming days within RAW at each block's safety.

    Shapes: days as there, from tomorrow on; members (sites, members, days); costs (blocks,).
    fill_share: phi, share of what would still fit that is added to what must be given.
    horizon_days: days that count, as far as days and members go.
    Returns: SafeDepth; NaN where a site has no members or a block's numbers are not known.
    Equation: without water U_mj = max(0, U_m,j-1 - e_mj) + C_mj from U_m0 = D; U_j at safety is its
    1 - q*_j quantile, must = max(0, max_j (U_j - RAW_j - (j - 1) X)), fill = max(0, q* quantile of
    U_1 - rain room RAW_1), x = must + phi max(0, fill - must) where must > 0, else 0. Rises with D
    and with the cost of stress, falls with more rain in every member; equal members without fill
    give D + C - e - RAW. Days of dormancy ask for nothing.
    """
    count = min(horizon_days, members.days.size, days.taw_mm.shape[0])
    size = days.site_index.size
    found = [
        _chunk(
            _taken(days, slice(first, first + CHUNK_BLOCKS)),
            members,
            CostRatios(
                **{
                    part.name: getattr(costs, part.name)[first : first + CHUNK_BLOCKS]
                    for part in fields(CostRatios)
                }
            ),
            fill_share=fill_share,
            count=count,
        )
        for first in range(0, max(size, 1), CHUNK_BLOCKS)
    ]
    return SafeDepth(
        **{
            part.name: np.concatenate([getattr(each, part.name) for each in found])
            for part in fields(SafeDepth)
        }
    )


def _taken(days: RiskDays, rows: slice) -> RiskDays:
    """The same of some blocks."""
    taken = {
        part.name: getattr(days, part.name)[..., rows]
        for part in fields(RiskDays)
        if part.name != "soil"
    }
    soil = {part.name: getattr(days.soil, part.name)[rows] for part in fields(SoilBatch)}
    return RiskDays(soil=SoilBatch(**soil), **taken)


class _Spread:
    """Values of the members of each block in order, (blocks, members), to read quantiles from."""

    def __init__(self, values: Floats, weights: Floats) -> None:
        used = weights > 0.0
        values = values if used.all() else np.where(used, values, np.inf)
        top = weights.max(axis=1, keepdims=True)
        self.reached: Floats | None = None
        self.count = np.count_nonzero(used, axis=1)
        if (np.where(used, weights, top) >= top * (1.0 - 1e-9)).all():
            self.values = np.sort(values, axis=1)
        else:
            order = np.argsort(values, axis=1, kind="stable")
            self.values = np.take_along_axis(values, order, axis=1)
            self.reached = np.cumsum(np.take_along_axis(weights, order, axis=1), axis=1)
        self.values[self.count == 0] = np.nan

    def at(self, share: Floats | float) -> Floats:
        """(blocks,) the quantile; as :func:`weather_members.weighted_quantile`."""
        wanted = np.broadcast_to(np.asarray(share) - 1e-6, self.count.shape)
        if self.reached is None:
            place = np.ceil(wanted * self.count).astype(np.int64) - 1
        else:
            total = self.reached[:, -1:]
            place = np.count_nonzero(self.reached < wanted[:, np.newaxis] * total, axis=1)
        place = np.clip(place, 0, np.maximum(self.count - 1, 0))
        return np.asarray(self.values[np.arange(place.size), place])


class _Day(NamedTuple):
    """What one day asks of the blocks, (blocks,)."""

    crop_et_mm: Floats
    """Mean of the members."""
    raw_mm: Floats
    fraction: Floats
    """q* of the day."""
    spread: _Spread
    """The members' depletion at its end."""
    safe_mm: Floats
    """Depletion that only the share q* of the members passes."""


@dataclass(slots=True)
class _March:
    """The members of some blocks on their way through the days without water."""

    days: RiskDays
    members: MemberBatch
    costs: CostRatios
    weights: Floats
    """(blocks, members)"""
    left_mm: Floats
    """(blocks, members) depletion at the end of the day reached."""

    def step(self, day: int) -> tuple[_Day, Floats]:
        """One more day: what it asks of the blocks, and its entering rain."""
        days, site = self.days, self.days.site_index
        et0_mm = self.members.et0_mm[site, :, day]
        columns = {
            part.name: getattr(days.soil, part.name)[:, np.newaxis] for part in fields(SoilBatch)
        }
        rain_mm = self.members.rain_mm[site, :, day]
        entering_mm = rain_entering_mm(rain_mm, et0_mm, SoilBatch(**columns))
        coefficient = days.crop_coefficient[day]
        zone_et_mm = (coefficient * days.zone_share[day])[:, np.newaxis] * et0_mm
        self.left_mm = np.maximum(0.0, self.left_mm - entering_mm) + zone_et_mm
        crop_et_mm = coefficient * _mean(et0_mm, self.weights)
        table = depletion_fraction(days.table_depletion_fraction, crop_et_mm)
        raw_mm = readily_available_water_mm(days.taw_mm[day], table)
        fraction = credit_fraction(
            crop_et_mm, taw_mm=days.taw_mm[day], raw_mm=raw_mm, costs=self.costs
        )
        spread = _Spread(self.left_mm, self.weights)
        reached = _Day(
            crop_et_mm=crop_et_mm,
            raw_mm=raw_mm,
            fraction=fraction,
            spread=spread,
            safe_mm=spread.at(1.0 - fraction),
        )
        return reached, entering_mm


def _mean(values: Floats, weights: Floats) -> Floats:
    """(blocks,) weighted mean of the members that have weight."""
    values = np.where(weights > 0.0, values, 0.0)
    return np.asarray(np.einsum("bm,bm->b", values, weights))


def _chunk(
    days: RiskDays, members: MemberBatch, costs: CostRatios, *, fill_share: float, count: int
) -> SafeDepth:
    """The decision for some thousand blocks."""
    site, midnight_mm = days.site_index, days.depletion_midnight_mm
    if members.rain_mm.shape[1] == 0:
        return _without_members(site.size)
    weights = members.weights[site]
    march = _March(days, members, costs, weights, midnight_mm[:, np.newaxis])
    first, entering_mm = march.step(0)
    reached = [first, *(march.step(day)[0] for day in range(1, count))]
    must_mm = np.zeros(site.size)
    for day, each in enumerate(reached):
        asked_mm = each.safe_mm - each.raw_mm - _later_mm(days, day)
        must_mm = np.maximum(must_mm, np.where(days.is_dormant[day], 0.0, asked_mm))
    must_mm = np.where(must_mm < MUST_TOLERANCE_MM, 0.0, must_mm)
    must_mm = np.where(days.is_dormant[0], 0.0, must_mm)
    rain, fraction = _Spread(entering_mm, weights), first.fraction
    fill_mm = np.maximum(0.0, first.spread.at(fraction) - days.rain_room_fraction * first.raw_mm)
    more_mm = fill_share * np.maximum(0.0, fill_mm - must_mm)
    zone_coefficient = (days.crop_coefficient * days.zone_share)[:count].max(axis=0)
    terms = {
        "need_mm": np.where(must_mm > 0.0, must_mm + more_mm, 0.0),
        "must_mm": must_mm,
        "fill_mm": fill_mm,
        "credit_fraction": fraction,
        "rain_credit_mm": rain.at(fraction),
        "wet_depletion_mm": np.maximum(0.0, midnight_mm - rain.at(1.0 - fraction)),
        "planned_depletion_mm": first.safe_mm,
        "highest_crop_et_mm": zone_coefficient * _high_et0_mm(members, count)[site],
        "mean_crop_et_mm": first.crop_et_mm * days.zone_share[0],
        "dry_credit_mm": rain.at(DRY_CREDIT_FRACTION),
        "raw_mm": first.raw_mm,
    }
    known = np.isfinite(np.stack([each.safe_mm for each in reached]).sum(axis=0))
    known &= weights.sum(axis=1) > 0.0
    return SafeDepth(**{name: np.where(known, term, np.nan) for name, term in terms.items()})


def _later_mm(days: RiskDays, day: int) -> Floats:
    """(blocks,) net depth that the days after tomorrow can add, up to a day."""
    if days.later_day_mm.ndim == 1:
        return np.asarray(day * days.later_day_mm)
    return np.asarray(days.later_day_mm[1 : day + 1].sum(axis=0))


def _high_et0_mm(members: MemberBatch, count: int) -> Floats:
    """(sites,) reference ET that one member day in ten passes."""
    et0_mm = members.et0_mm[:, :, :count]
    weights = np.repeat(members.weights, count, axis=1)
    high: Floats = weighted_quantile(et0_mm.reshape(weights.shape), weights, HIGH_DEMAND_FRACTION)
    return high


def _without_members(block_count: int) -> SafeDepth:
    return SafeDepth(**{part.name: np.full(block_count, np.nan) for part in fields(SafeDepth)})
