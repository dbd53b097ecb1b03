"""Reads of stored farms: which there are, what belongs to them, what day it is there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import NotFound
from service.ports import Clock
from service.records.farms import (
    BlockDefinition,
    CountyDefinition,
    FarmBundle,
    FarmDefinition,
    SiteDefinition,
)


def list_farms(
    farm_ids: Sequence[str] | None = None, *, unit_of_work: UnitOfWorkFactory
) -> list[FarmDefinition]:
    """The named farms, or all, by id; raises NotFound for an unknown id."""
    with unit_of_work(write=False) as unit:
        wanted = set(unit.blocks.farm_keys(farm_ids))
        return [farm for farm in unit.blocks.list_farms() if farm.farm_id in wanted]


def list_counties(*, unit_of_work: UnitOfWorkFactory) -> list[CountyDefinition]:
    """All counties, by code."""
    with unit_of_work(write=False) as unit:
        return unit.blocks.list_counties()


def get_farm(farm_id: str, *, day: date, unit_of_work: UnitOfWorkFactory) -> FarmBundle:
    """A farm with its sites, supplies and blocks as of a day; raises NotFound."""
    with unit_of_work(write=False) as unit:
        return unit.blocks.get_bundle(farm_id, day=day)


def get_site(site_id: str, *, unit_of_work: UnitOfWorkFactory) -> SiteDefinition:
    """One site; raises NotFound."""
    with unit_of_work(write=False) as unit:
        keys = np.array([unit.blocks.get_site_key(site_id)], dtype=np.int64)
        return unit.blocks.read_site_table(keys).definitions[0]


def local_day(now: datetime, zone: str) -> date:
    """The civil day in a zone at an instant."""
    return now.astimezone(ZoneInfo(zone)).date()


def today_at(unit: UnitOfWork, farm_id: str, now: datetime) -> date:
    """The current civil day at a farm; raises NotFound for an unknown farm."""
    return local_day(now, unit.blocks.get_farm(farm_id).zone)


def today_at_block(unit: UnitOfWork, block_id: str, now: datetime) -> date:
    """The current civil day at a block's farm; raises NotFound for an unknown block.

    As for a block itself, the part of its name after the dot is enough if it is unique.
    """
    return local_day(now, unit.blocks.get_farm_of(block_id).zone)


def blocks_in_force(
    unit: UnitOfWork, now: datetime, *, farm_ids: Iterable[str] | None = None
) -> list[BlockDefinition]:
    """Blocks of these farms, or (None) of all, by id, each as of today at its own farm.

    Raises NotFound for an unknown farm.
    """
    if farm_ids is not None:
        found = [
            block
            for farm_id in farm_ids
            for block in unit.blocks.list_blocks(farm_id=farm_id, day=today_at(unit, farm_id, now))
        ]
    else:
        today_of = {farm.farm_id: local_day(now, farm.zone) for farm in unit.blocks.list_farms()}
        found = [
            block
            for day in set(today_of.values())  # at most three dates are in use on Earth at once
            for block in unit.blocks.list_blocks(farm_id=None, day=day)
            if today_of[block.farm_id] == day
        ]
    return sorted(found, key=lambda block: block.block_id)


def get_today(block_id: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> date:
    """As :func:`today_at_block`, for callers without an open transaction."""
    with unit_of_work(write=False) as unit:
        return today_at_block(unit, block_id, clock.now())


def get_farms_today(farm_id: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> date:
    """As :func:`today_at`, for callers without an open transaction."""
    with unit_of_work(write=False) as unit:
        return today_at(unit, farm_id, clock.now())


def farms_by_day(
    farms: Sequence[FarmDefinition], now: datetime
) -> dict[date, list[FarmDefinition]]:
    """Farms grouped by their civil day at an instant; raises NotFound if there are none."""
    if not farms:
        raise NotFound("no farm is stored; `rillwright load FARM.toml` loads one")
    groups: dict[date, list[FarmDefinition]] = {}
    for farm in farms:
        groups.setdefault(local_day(now, farm.zone), []).append(farm)
    return groups
