"""After a report or a change: replan what it affects, in the transaction that stored it.

Tomorrow's plan is replaced if it would now be different. Today's plan is replaced for the rest of
the day: pulses that have started or start within minutes stay, since a controller may have them
already. If no plan is stored for a day yet, its evening run will make one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.database.session import UnitOfWork
from service.operations.evening.run_day import replan_farms
from service.operations.evening.turn import ChangeThreshold, Turn
from service.operations.reading.read_farms import local_day
from service.ports import AfterPublish, Clock
from service.records.farms import FarmDefinition


@dataclass(frozen=True, slots=True)
class Replanning:
    """What replanning works with, the same for every report and every change."""

    clock: Clock
    source_order: Mapping[str, int]
    """Rank of each weather source, higher is better."""
    after_publish: AfterPublish | None
    """Called when plans are replaced, in the transaction of the report; None: nothing follows."""


def replan_after(
    unit: UnitOfWork,
    farm_ids: Sequence[str],
    *,
    touched_day: date | None,
    replanning: Replanning,
) -> int:
    """Replace the plans of these farms that a change affects; returns the number of new versions.

    ``touched_day`` is the first day whose balance has changed, None if the rules of today have
    changed instead (a pause, a block). What happened today affects tomorrow only: today's plan has
    its own pulses booked as running. If the balance has changed, today's plan is replaced only if
    its minutes change by more than the evening's threshold.
    """
    clock = replanning.clock
    now = clock.now()
    wanted = set(farm_ids)
    new_version_count = 0
    for farm in unit.blocks.list_farms():
        if farm.farm_id not in wanted:
            continue
        today = local_day(now, farm.zone)
        if (touched_day is None or touched_day < today) and _has_plan(unit, farm, today):
            run = replan_farms(
                unit,
                [farm.farm_id],
                on=today - ONE_DAY,
                source_order=replanning.source_order,
                turn=Turn(
                    clock=clock,
                    earliest_start=now,
                    supersedes_from=None if touched_day is None else ChangeThreshold(),
                    after_publish=replanning.after_publish,
                ),
            )
            new_version_count += run.new_version_count
        if _has_plan(unit, farm, today + ONE_DAY):
            run = replan_farms(
                unit,
                [farm.farm_id],
                on=today,
                source_order=replanning.source_order,
                turn=Turn(clock=clock, after_publish=replanning.after_publish),
            )
            new_version_count += run.new_version_count
    return new_version_count


def replan_for_site(
    unit: UnitOfWork,
    site_id: str,
    *,
    farm_id: str | None = None,
    touched_day: date | None,
    replanning: Replanning,
) -> int:
    """As :func:`replan_after`, for all farms that draw on a site whose weather has changed.

    With ``farm_id`` it has changed for that farm alone; with ``touched_day`` None nothing has
    changed.
    """
    if touched_day is None:
        return 0
    site_key = unit.blocks.get_site_key(site_id)
    users = unit.blocks.find_users(np.array([site_key], dtype=np.int64)).get(site_key, ())
    return replan_after(
        unit,
        users if farm_id is None else [farm_id],
        touched_day=touched_day,
        replanning=replanning,
    )


def _has_plan(unit: UnitOfWork, farm: FarmDefinition, day: date) -> bool:
    farm_keys = np.array([unit.blocks.farm_keys([farm.farm_id])[farm.farm_id]], dtype=np.int64)
    blocks = unit.blocks.read_block_table(day, farm_keys=farm_keys)
    in_force = unit.plans.read_in_force(blocks.keys, day=day)
    return bool(np.isfinite(in_force.planned_min).any())
