"""Samples that are due: their window is open, or opens within two weeks, and no test is on file."""

from __future__ import annotations

from datetime import date, timedelta

from service.database.session import UnitOfWorkFactory
from service.nutrition.task_words import TaskKind
from service.operations.season.plan_season import plan_season
from service.records.season import SampleReminder

REMINDED = frozenset({TaskKind.LEAF_SAMPLE, TaskKind.SOIL_SAMPLE, TaskKind.SOIL_RETEST})
AHEAD = timedelta(days=14)


def remind_to_sample(
    farm_id: str, *, on: date, unit_of_work: UnitOfWorkFactory
) -> tuple[SampleReminder, ...]:
    """The samples to take of a farm's blocks, by first day; raises NotFound for no such farm."""
    season = plan_season(farm_id, on=on, unit_of_work=unit_of_work)
    return tuple(
        SampleReminder(group, tuple(season.block_names[each] for each in group.open_blocks))
        for group in season.tasks
        if group.task.kind in REMINDED and group.task.first_day <= on + AHEAD and group.open_blocks
    )
