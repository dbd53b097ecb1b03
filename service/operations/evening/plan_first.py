"""The plan for tomorrow at once, for a farm that was set up after its evening or before its first.

Asks one weather service after another until there is a forecast for the farm's sites, unless there
is one already, then does what the evening run does, for this farm alone. A second request plans
again; a plan that has not changed gets no new version.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.database.session import UnitOfWorkFactory
from service.operations.evening.replan_after import Replanning
from service.operations.evening.run_day import run_day
from service.operations.reading.read_farms import local_day
from service.operations.reading.set_up_progress import has_forecast
from service.ports import RefreshWeather
from service.records.farms import FarmDefinition


class FirstPlan(StrEnum):
    """How a request for a first plan ended."""

    PLANNED = "planned"
    NO_BLOCK = "no-block"
    NO_WEATHER = "no-weather"
    FAILED = "failed"


def plan_first(
    farm: FarmDefinition,
    *,
    unit_of_work: UnitOfWorkFactory,
    replanning: Replanning,
    refreshers: Mapping[str, RefreshWeather],
) -> FirstPlan:
    """Make the farm's plan for tomorrow now; returns how that ended.

    No transaction is open while a weather service is being queried.
    """
    now = replanning.clock.now()
    today = local_day(now, farm.zone)
    with unit_of_work(write=False) as unit:
        farm_keys = np.array(list(unit.blocks.farm_keys([farm.farm_id]).values()), dtype=np.int64)
        has_blocks = any(unit.blocks.count_blocks(farm_keys, day=today + ONE_DAY).values())
        site_keys = unit.blocks.list_site_keys(farm_keys)
    if not has_blocks:
        return FirstPlan.NO_BLOCK

    def has_weather() -> bool:
        with unit_of_work(write=False) as unit:
            return has_forecast(unit, site_keys, today)

    is_known = has_weather()
    for refresh in refreshers.values():
        if is_known:
            break
        refresh(site_keys, now=now)
        is_known = has_weather()
    if not is_known:
        return FirstPlan.NO_WEATHER
    run = run_day(
        today,
        farm_ids=[farm.farm_id],
        unit_of_work=unit_of_work,
        clock=replanning.clock,
        source_order=replanning.source_order,
        after_publish=replanning.after_publish,
    )
    return FirstPlan.FAILED if run.failures else FirstPlan.PLANNED
