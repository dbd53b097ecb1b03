"""How far the coming week may turn out otherwise: the plan and its rule in each course of weather.

In: the plan of tomorrow, the rule that a block follows, and the members of the weather at its site.
Out: the minutes of each day and the depletion in the evening that one course in ten, half and nine
in ten do not pass, and the chance of running short without water. Each member is taken as a
forecast that comes true: its rain is counted on in full, and the rule of the block asks for water
day by day. With one member that is what the outlook expects. No plan depends on any of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_batch import BlockBatch, take_rows
from service.agronomy.block_days import CropDays
from service.agronomy.daily_plan import DailyPlan
from service.agronomy.effective_rain import effective_rain_mm, rain_entering_mm
from service.agronomy.outlook import (
    Outlook,
    day_capacity_min,
    early_share_of,
    open_minutes,
)
from service.agronomy.records import Floats, Ints, SoilBatch, SystemBatch, WindowBatch
from service.agronomy.weather_members import BAND_SHARES, MemberBatch
from service.unit_sizes import MINUTES_PER_HOUR

if TYPE_CHECKING:
    from service.agronomy.spread_kernel import BlockTerms, DayTerms

SHORT_DAYS = 5
"""[CHOICE] The chance of running short is given for tomorrow and within so many days."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekDays:
    """The blocks over the coming days, arrays (days, blocks) unless noted; the plan's day first."""

    site_index: Ints
    """(blocks,) row of each block's site in the members."""
    soil: SoilBatch
    system: SystemBatch
    """With the trigger and the rain room of the rule that the block follows."""
    crop_coefficient: Floats
    zone_share: Floats
    """Share of the crop's use that the managed zone is asked for."""
    taw_mm: Floats
    raw_mm: Floats
    is_dormant: NDArray[np.bool_]
    depletion_midnight_mm: Floats
    """(blocks,)"""
    planned_net_mm: Floats
    """(blocks,) what the plan gives on its day."""
    early_share: Floats
    """(blocks,) the part of a day's water that comes before sunrise."""
    net_rate_mm_per_min: Floats
    """(blocks,)"""
    capacity_min: Floats
    """Minutes that a block could run if it were alone."""
    expected_min: Floats
    """The outlook's: what blocks of a supply take whose own members are not known."""
    fixed_min: Floats
    """Minutes that a timer runs; NaN where the need decides."""
    carried_l: Floats
    """(days, supplies) what a supply gives in its open hours."""


@dataclass(frozen=True, slots=True)
class WeekSpread:
    """What the members say of the coming days; NaN where it is not known."""

    band_min: Floats
    """(shares, days, blocks) minutes, by ``BAND_SHARES``."""
    band_depletion_mm: Floats
    """(shares, days, blocks) depletion at the end of the day with that water."""
    short_tomorrow_fraction: Floats
    """(blocks,) chance that a block without water passes RAW on the first day."""
    short_horizon_fraction: Floats
    """(blocks,) chance that it does on any of the first ``SHORT_DAYS``."""
    member_count: Ints
    """(blocks,)"""


def week_of_plan(
    blocks: BlockBatch,
    crop: CropDays,
    plan: DailyPlan,
    outlook: Outlook,
    *,
    windows_of_day: Sequence[WindowBatch],
    supply_flow_l_per_h: Floats,
    fixed_min: Floats | None,
) -> WeekDays:
    """The coming days of a plan and its outlook, as :func:`week_spread` takes them.

    Shapes: crop (days, blocks) from the plan's day on; windows_of_day one per day, equal days may
    share one object; flow (supplies,); fixed_min (days, blocks) minutes that timers run, NaN for
    other blocks.
    Returns: WeekDays.
    Source: the rule of the outlook.
    """
    system = blocks.system if plan.risk is None else plan.risk.rules_ahead(blocks.system)
    shape, supply_count = crop.taw_mm.shape, supply_flow_l_per_h.size
    capacity_min, open_min = np.empty(shape), np.empty((shape[0], supply_count))
    of_windows: dict[int, tuple[Floats, Floats]] = {}
    for day, windows in enumerate(windows_of_day[: shape[0]]):
        if id(windows) not in of_windows:
            of_windows[id(windows)] = (
                day_capacity_min(system, plan.limits, windows),
                open_minutes(windows, system, supply_count),
            )
        capacity_min[day], open_min[day] = of_windows[id(windows)]
    use_mm = crop.crop_et_mm
    return WeekDays(
        site_index=blocks.site_index,
        soil=blocks.soil,
        system=system,
        crop_coefficient=crop.crop_coefficient,
        zone_share=np.divide(crop.zone_et_mm, use_mm, out=np.ones(shape), where=use_mm > 0.0),
        taw_mm=crop.taw_mm,
        raw_mm=crop.raw_mm,
        is_dormant=crop.is_dormant,
        depletion_midnight_mm=plan.depletion_midnight_mm,
        planned_net_mm=plan.schedule.planned_net_mm,
        early_share=early_share_of(plan.schedule.early_net_mm, plan.schedule.planned_net_mm),
        net_rate_mm_per_min=plan.net_rate_mm_per_min,
        capacity_min=capacity_min,
        expected_min=outlook.expected_min,
        fixed_min=np.full(shape, np.nan) if fixed_min is None else fixed_min,
        carried_l=supply_flow_l_per_h * open_min / MINUTES_PER_HOUR,
    )


def week_spread(week: WeekDays, members: MemberBatch) -> WeekSpread:
    """The coming week of every block under each course of its site's weather.

    Shapes: week as there; members (sites, members, days), the plan's day first.
    Returns: WeekSpread over the days of the week; NaN at sites without members, beyond the days
    that these reach, and for blocks with an unknown ledger or plan. The plan's own minutes are no
    band: they are decided.
    Equation: for each member, the evening rule of :mod:`service.agronomy.outlook` with its rain
    counted on in full, then the step of the water balance; quantiles over members by weight.
    Without water U_j = max(0, U_j-1 - e_j) + Kc ET0_j; short where U_j > RAW_j on any day that is
    not dormant.
    """
    from service.agronomy.spread_kernel import Bands, MemberTerms, march_supplies

    day_count, size = week.taw_mm.shape
    days = min(day_count, members.days.size)
    counts = members.count()[week.site_index]
    known = (counts > 0) & np.isfinite(week.depletion_midnight_mm + week.planned_net_mm)
    rows = np.flatnonzero(known)
    rows = rows[np.argsort(week.system.supply_index[rows], kind="stable")]
    supplies, first = np.unique(week.system.supply_index[rows], return_index=True)
    bands = Bands(
        np.full((len(BAND_SHARES), days, rows.size), np.nan),
        np.full((len(BAND_SHARES), days, rows.size), np.nan),
        np.full((2, rows.size), np.nan),
    )
    horizon_days = min(SHORT_DAYS, days)
    own = _taken(week, rows)
    if rows.size:
        effective_mm, place_index = _effective_rain(own, members)
        march_supplies(
            np.append(first, rows.size),
            _block_terms(own, place_index),
            _day_terms(own, days),
            MemberTerms(effective_mm, _kernel(members.et0_mm), _kernel(members.weights)),
            _kernel(_left_by_others(week, known)[:days, supplies]),
            horizon_days,
            bands,
        )
        ends_before = np.isnan(bands.band_depletion_mm[0, [0, horizon_days - 1]])
        bands.short_fraction[ends_before] = np.nan
    shape = (len(BAND_SHARES), day_count, size)
    band_min, band_depletion_mm = np.full(shape, np.nan), np.full(shape, np.nan)
    short_fraction = np.full((2, size), np.nan)
    band_min[:, :days, rows], band_depletion_mm[:, :days, rows] = bands[:2]
    short_fraction[:, rows] = bands.short_fraction
    return WeekSpread(
        band_min=band_min,
        band_depletion_mm=band_depletion_mm,
        short_tomorrow_fraction=short_fraction[0],
        short_horizon_fraction=short_fraction[1],
        member_count=np.where(known, counts, 0),
    )


def _kernel(values: Floats | NDArray[np.bool_]) -> Floats:
    """As the kernel takes them: for the compiler a read-only array is of another type."""
    return np.require(values, np.float64, requirements=("C", "W"))


def _effective_rain(week: WeekDays, members: MemberBatch) -> tuple[Floats, Ints]:
    """(places, members, days) rain that enters bare ground, and (blocks,) the place of each block.

    A place is a site with a curve number.
    """
    curve_number = np.nan_to_num(week.soil.curve_number, nan=-1.0)
    pairs, place_index = np.unique(
        np.stack([week.site_index, curve_number], axis=1), axis=0, return_inverse=True
    )
    site = pairs[:, 0].astype(np.int64)
    rows = np.unique(place_index, return_index=True)[1]
    soil = take_rows(week.soil, rows)
    by_member = SoilBatch(
        **{
            part.name: getattr(soil, part.name)[:, np.newaxis, np.newaxis]
            for part in fields(SoilBatch)
        }
    )
    effective_mm = effective_rain_mm(members.rain_mm[site], members.et0_mm[site], by_member)
    return _kernel(effective_mm), place_index.ravel().astype(np.int64)


def _block_terms(week: WeekDays, place_index: Ints) -> BlockTerms:
    from service.agronomy.spread_kernel import BlockTerms

    system, one = week.system, np.ones(place_index.size)
    bare = replace(week.soil, curve_number=np.full(place_index.size, np.nan))
    return BlockTerms(
        site_index=week.site_index.astype(np.int64),
        place_index=place_index,
        entering_ratio=_kernel(rain_entering_mm(one, 0.0 * one, bare)),
        depletion_midnight_mm=_kernel(week.depletion_midnight_mm),
        planned_net_mm=_kernel(week.planned_net_mm),
        early_share=_kernel(week.early_share),
        net_rate_mm_per_min=_kernel(week.net_rate_mm_per_min),
        trigger_fraction=_kernel(system.trigger_fraction),
        rain_room_fraction=_kernel(system.rain_room_fraction),
        flow_l_per_h=_kernel(system.flow_l_per_h),
        priority=system.priority.astype(np.int64),
    )


def _day_terms(week: WeekDays, days: int) -> DayTerms:
    from service.agronomy.spread_kernel import DayTerms

    return DayTerms(
        *(
            _kernel(each[:days])
            for each in (
                week.crop_coefficient * week.zone_share, week.taw_mm, week.raw_mm,
                week.is_dormant, week.capacity_min, week.fixed_min,
            )
        )
    )  # fmt: skip


def _left_by_others(week: WeekDays, known: NDArray[np.bool_]) -> Floats:
    """(days, supplies) what a supply has left for the blocks whose members are known."""
    if known.all():
        return week.carried_l
    flow_l_per_h = np.where(known, 0.0, week.system.flow_l_per_h)
    taken_l = np.nan_to_num(week.expected_min * flow_l_per_h / MINUTES_PER_HOUR)
    left_l = week.carried_l.copy()
    for day in range(left_l.shape[0]):
        left_l[day] -= np.bincount(
            week.system.supply_index, weights=taken_l[day], minlength=left_l.shape[1]
        )
    return np.maximum(0.0, left_l)


def _taken(week: WeekDays, rows: Ints) -> WeekDays:
    """The same of some blocks."""
    rest = {
        part.name: getattr(week, part.name)[..., rows]
        for part in fields(WeekDays)
        if part.name not in {"soil", "system", "carried_l"}
    }
    return WeekDays(
        soil=take_rows(week.soil, rows),
        system=take_rows(week.system, rows),
        carried_l=week.carried_l,
        **rest,
    )
