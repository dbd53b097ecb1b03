"""Farms in the order in which they need somebody: overdue, short, unreported, stale, silent.

The number of queries is the same for one farm as for a thousand, as long as it is the same day at
all of them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.pulse_plan import ShortfallCause, waiting_mm
from service.agronomy.records import Ints
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.reading.read_farms import local_day
from service.operations.schedule.read_status import read_status
from service.operations.schedule.watch_farms import SILENT_AFTER
from service.ports import Clock
from service.records.farms import FarmDefinition
from service.records.standing import FarmStanding, PlanNote

UNREPORTED_DAYS = 7
"""How far back days are asked about."""


def rank_farms(
    farm_ids: Collection[str] | None,
    *,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    sources: Sequence[str],
    evening_lead_min: int,
) -> list[FarmStanding]:
    """These farms, or (None) all, the worst first, those of equal standing by name.

    Unknown ids are left out.
    """
    now = clock.now()
    status = read_status(
        unit_of_work=unit_of_work,
        clock=clock,
        sources=sources,
        evening_lead_min=evening_lead_min,
    )
    overdue = {each.farm_id for each in status.farms if each.is_overdue}
    stale = {each.site_id: each.last_observed_day for each in status.sites if each.is_stale}
    with unit_of_work(write=False) as unit:
        keys = unit.blocks.farm_keys()
        farms_of_day: dict[date, dict[int, FarmDefinition]] = defaultdict(dict)
        for farm in unit.blocks.list_farms():
            if farm_ids is None or farm.farm_id in farm_ids:
                farms_of_day[local_day(now, farm.zone)][keys[farm.farm_id]] = farm
        standings = [
            standing
            for today, farms in farms_of_day.items()
            for standing in _of_day(unit, farms, today=today, now=now, overdue=overdue, stale=stale)
        ]
    return sorted(standings, key=lambda each: ([-part for part in each.urgency], each.farm.name))


def _of_day(
    unit: UnitOfWork,
    farms: dict[int, FarmDefinition],
    *,
    today: date,
    now: datetime,
    overdue: Collection[str],
    stale: dict[str, date | None],
) -> list[FarmStanding]:
    """Farms at which it is the same day, by key."""
    farm_keys = np.array(list(farms), dtype=np.int64)
    blocks = unit.blocks.read_block_table(today, farm_keys=farm_keys)
    farm_of_block = dict(zip(blocks.keys.tolist(), blocks.farm_keys.tolist(), strict=True))
    plans = _plans_by_farm(
        unit.standings.read_plans(blocks.keys, first_day=today, last_day=today + ONE_DAY),
        farm_of_block,
    )
    unreported = unit.standings.count_unreported_days(
        blocks.keys, first_day=today - timedelta(days=UNREPORTED_DAYS), last_day=today - ONE_DAY
    )
    silent: dict[int, list[tuple[str, datetime]]] = defaultdict(list)
    for poll in unit.standings.read_polls(farm_keys):
        if now - poll.polled_at >= SILENT_AFTER:
            silent[poll.farm_key].append((poll.controller_id, poll.polled_at))
    sites = _stale_sites(unit, blocks.site_keys, blocks.farm_keys, stale)
    found = []
    for key, farm in farms.items():
        notes = plans.get(key, [])
        found.append(
            FarmStanding(
                farm=farm,
                block_count=int((blocks.farm_keys == key).sum()),
                plan_day=notes[0].day if notes else None,
                is_overdue=farm.farm_id in overdue
                and not (notes and notes[0].day >= _wanted_day(farm, now)),
                short_count=sum(is_short(note) for note in notes),
                without_weather_count=sum(note.status == "no-weather" for note in notes),
                unreported_days_count=unreported.get(key, 0),
                stale_sites=tuple(sites.get(key, ())),
                silent_controllers=tuple(silent[key]),
            )
        )
    return found


def _wanted_day(farm: FarmDefinition, now: datetime) -> date:
    """The day whose plan should be there by now: plans may also be made without the scheduler."""
    local = now.astimezone(ZoneInfo(farm.zone))
    is_issued = local.hour * 60 + local.minute >= farm.issue_wall_min
    return local.date() + ONE_DAY * is_issued


def is_short(note: PlanNote) -> bool:
    """Whether a block gets less than it needs, and nobody has paused it for all of the day."""
    cause = note.reasoning.cause
    if note.status == "no-weather" or cause is ShortfallCause.DORMANT:
        return False
    if cause is ShortfallCause.OUTAGE and not note.planned_min:
        return False
    missing_mm = waiting_mm(
        note.reasoning.shortfall_mm or 0.0,
        note.reasoning.deferred_mm or 0.0,
        cause,
        note.reasoning.quantities,
    )
    return missing_mm > 0.0


def _plans_by_farm(
    notes: Sequence[PlanNote], farm_of_block: dict[int, int]
) -> dict[int, list[PlanNote]]:
    """Each farm's plans of the latest of the days."""
    found: dict[int, list[PlanNote]] = {}
    for note in sorted(notes, key=lambda each: each.day, reverse=True):
        of_farm = found.setdefault(farm_of_block[note.block_key], [])
        if not of_farm or of_farm[0].day == note.day:
            of_farm.append(note)
    return found


def _stale_sites(
    unit: UnitOfWork, site_keys: Ints, farm_keys: Ints, stale: dict[str, date | None]
) -> dict[int, list[tuple[str, date | None]]]:
    """By farm key, the places in use whose weather is stale."""
    table = unit.blocks.read_site_table(np.unique(site_keys))
    site_of_key = dict(zip(table.keys.tolist(), table.definitions, strict=True))
    found: dict[int, list[tuple[str, date | None]]] = defaultdict(list)
    for farm_key, site_key in sorted(set(zip(farm_keys.tolist(), site_keys.tolist(), strict=True))):
        site = site_of_key[site_key]
        if site.site_id in stale:
            found[farm_key].append((site.name, stale[site.site_id]))
    return found
