"""How much water the rest of a season would take, if it went as usual.

First what the farm itself used on the same days of earlier seasons, as its ledgers have it. Where
no earlier season is on record, the crop's use at the place's stated normal reference ET, without
rain, of which no normal is known. Where neither is known, nothing is said.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from service.agronomy.block_batch import make_block_batch
from service.agronomy.civil_day import ONE_DAY
from service.agronomy.climatology import normals_on
from service.agronomy.crop_water_use import crop_coefficient
from service.agronomy.dormancy import is_dormant
from service.agronomy.records import Days, Floats, Ints
from service.agronomy.root_zone import gross_depth_mm
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.evening.site_columns import monthly_normals
from service.operations.reading.water_used import season_month, season_start, water_by_day
from service.ports import Clock
from service.records.farms import BlockTable
from service.records.water_use import WaterWish

MOST_SEASONS = 5
"""[CHOICE] So many earlier seasons at most make the usual one."""


class AheadBasis(enum.Enum):
    """What the rest of a season is taken from."""

    EARLIER_SEASONS = "earlier seasons"
    NORMALS = "normals"


@dataclass(frozen=True, slots=True)
class SeasonAhead:
    """The days from the one after the last until the season ends."""

    days: Days
    volume_l: Floats
    """(days,) expected at the supply."""
    basis: AheadBasis
    season_count: int
    """Earlier seasons that were counted; 0 for normals."""


def season_ahead(
    wish: WaterWish, last_day: date, *, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> SeasonAhead | None:
    """What follows ``last_day``; None where the season is over or nothing usual is known."""
    with unit_of_work(write=False) as unit:
        farm_keys = np.array([*unit.blocks.farm_keys([wish.farm_id]).values()], dtype=np.int64)
        starts_in = season_month(unit, farm_keys)
        begun = season_start(last_day, starts_in)
        ends = date(begun.year + 1, begun.month, 1) - ONE_DAY
        days = np.arange(np.datetime64(last_day) + 1, np.datetime64(ends) + 1)
        by_normals = _by_normals(unit, wish, farm_keys, last_day, days) if days.size else None
    if not days.size:
        return None
    earlier = _of_earlier_seasons(wish, days, unit_of_work, clock)
    if earlier:
        mean_l = np.mean(earlier, axis=0)
        return SeasonAhead(days, mean_l, AheadBasis.EARLIER_SEASONS, len(earlier))
    if by_normals is None:
        return None
    return SeasonAhead(days, by_normals, AheadBasis.NORMALS, 0)


def _of_earlier_seasons(
    wish: WaterWish, days: Days, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> list[Floats]:
    """The water of the same days of each earlier season that the ledgers cover from its first."""
    found = []
    for years in range(1, MOST_SEASONS + 1):
        first, last = (_years_before(each.item(), years) for each in (days[0], days[-1]))
        earlier = replace(wish, first_day=first - ONE_DAY, last_day=last, limit=None)
        booked, volume_l = water_by_day(earlier, unit_of_work=unit_of_work, clock=clock)
        booked = booked.astype("datetime64[D]")
        # A ledger of a part of these days would make that season look dry.
        if not booked.size or booked[0].item() > first or booked[-1].item() < last:
            continue
        place = (booked - np.datetime64(first)).astype(np.int64)
        own = np.zeros(days.size)
        inside = (place >= 0) & (place < days.size)
        own[place[inside]] = volume_l[inside]
        found.append(own)
    return found


def _years_before(day: date, years: int) -> date:
    """The same day of an earlier year; 28 February for the 29th."""
    if (day.month, day.day) == (2, 29):
        return date(day.year - years, 2, 28)
    return day.replace(year=day.year - years)


def _by_normals(
    unit: UnitOfWork, wish: WaterWish, farm_keys: Ints, last_day: date, days: Days
) -> Floats | None:
    """Use at the normal reference ET and without rain, (days,); None where a block's is unknown."""
    table = unit.blocks.read_block_table(last_day + ONE_DAY, farm_keys=farm_keys)
    own = _chosen(unit, wish, table, farm_keys)
    if not own.size:
        return None
    sites = unit.blocks.read_site_table(table.site_keys)
    site_index = np.searchsorted(sites.keys, table.site_keys)
    et0_mm = normals_on(monthly_normals(sites.definitions, "et0_mm"), days)[:, site_index]
    blocks = make_block_batch(
        table.numbers,
        table.curves,
        site_index=site_index,
        supply_index=np.zeros(table.keys.size, dtype=np.int64),
        season_year=last_day.year,
    )
    nothing = np.zeros(et0_mm.shape)
    coefficient = crop_coefficient(
        blocks.crop, days=days, climate_term=nothing, degree_day_sum_c_day=nothing * np.nan
    )
    system = blocks.system
    asleep = is_dormant(days, system.watering_start_doy, system.watering_end_doy)
    gross_mm = gross_depth_mm(
        np.where(asleep, 0.0, coefficient * et0_mm),
        system.emission_uniformity_pct,
        blocks.soil.root_share_of_wetted,
        transmission_ratio=system.transmission_ratio,
        leaching_fraction=system.leaching_fraction,
    )
    volume_l = gross_mm * blocks.area_m2 / (1.0 - system.leakage_fraction)
    total_l: Floats = volume_l[:, own].sum(axis=1)
    return total_l if np.isfinite(total_l).all() else None


def _chosen(unit: UnitOfWork, wish: WaterWish, table: BlockTable, farm_keys: Ints) -> Ints:
    """Rows of the blocks that the wish is about."""
    chosen = np.ones(table.keys.size, dtype=np.bool_)
    if wish.supply_id is not None:
        supplies = unit.blocks.read_supply_table(farm_keys)
        key = supplies.keys[supplies.supply_ids.index(wish.supply_id)]
        chosen &= table.supply_keys == key
    if wish.block_id is not None:
        chosen &= np.array([each == wish.block_id for each in table.block_ids], dtype=np.bool_)
    return np.flatnonzero(chosen)
