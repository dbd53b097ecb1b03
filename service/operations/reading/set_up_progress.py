"""How far a farm is set up: what its first plan rests on, and what there is of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from service.agronomy.records import Ints
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.reading.read_farms import local_day
from service.ports import Clock
from service.records.farms import FarmDefinition
from service.records.feedback import OLDEST_READING


@dataclass(frozen=True, slots=True)
class SetUpProgress:
    """What there is of a farm that has no plan yet."""

    supply_ids: tuple[str, ...]
    block_ids: tuple[str, ...]
    knows_soil: bool
    """Of every block somebody said how wet its soil is."""
    has_weather: bool
    """The forecasts of all sites that its blocks draw on reach beyond today."""


def read_progress(
    farm: FarmDefinition, *, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> SetUpProgress | None:
    """How far a farm is set up today; None once a plan was made for it.

    Raises NotFound for a farm that is not stored.
    """
    today = local_day(clock.now(), farm.zone)
    with unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(farm.farm_id, day=today)
        supply_ids = tuple(each.supply_id for each in bundle.supplies)
        block_ids = tuple(each.block_id for each in bundle.blocks)
        if not block_ids:
            return SetUpProgress(supply_ids, block_ids, knows_soil=False, has_weather=False)
        if unit.plans.find_latest_day(block_ids[0]) is not None:
            return None
        farm_keys = np.array(list(unit.blocks.farm_keys([farm.farm_id]).values()), dtype=np.int64)
        block_keys = unit.blocks.read_block_table(today, farm_keys=farm_keys).keys
        readings = unit.soil.read_depletions(
            block_keys, first_day=today - OLDEST_READING, last_day=today
        )
        site_keys = unit.blocks.list_site_keys(farm_keys)
        return SetUpProgress(
            supply_ids,
            block_ids,
            knows_soil=bool(np.isin(block_keys, readings.block_keys).all()),
            has_weather=has_forecast(unit, site_keys, today),
        )


def has_forecast(unit: UnitOfWork, site_keys: Ints, today: date) -> bool:
    """Whether the forecasts of all these sites reach beyond today."""
    found = unit.weather.list_freshness(site_keys, first_day=today)
    return all(
        site.forecast_until_day is not None and site.forecast_until_day > today for site in found
    )
