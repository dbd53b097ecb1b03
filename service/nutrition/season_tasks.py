"""The dated tasks of a block's coming twelve months: tests, start-up, acid, nitrogen, winter.

In: a block's crop, place and watering season, and the days on which it was last tested. Out: for
each task the first and last day of its coming window, with how, why and source. Days of every year
are those of the north and lie half a year away in the south; days of the watering season are the
block's own. Which days before and after a season are meant is this project's choice.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise

from service.nutrition.crop_tasks import crop_tasks
from service.nutrition.sampling import yearly_days
from service.nutrition.task_days import (
    BlockSeason,
    SeasonTask,
    Span,
    coming_days,
    is_never_closed,
    make_task,
    seasons_around,
    with_test,
)
from service.nutrition.task_words import FROST_ONLY, TaskKind

HORIZON_DAYS = 365
START_UP_DAYS = 28  # [CHOICE]: before the watering season opens
CATCH_TEST_DAYS = 28  # [CHOICE]: after it opened
WATER_TEST_DAYS = (56, 21)  # [CHOICE]: before it opens, so that the result is in
WATER_TEST_HOLDS_DAYS = 180  # [CHOICE]: an analysis this long before the window counts for it
DRAIN_DAYS = 21  # [CHOICE]: after it closed
SHORTEST_WINTER_DAYS = 14
FROST_DAYS = ("11-01", "11-30")  # [CHOICE]
TROPIC_DEG = 23.4
_ORDER = tuple(TaskKind)


def season_tasks(facts: BlockSeason, day: date) -> tuple[SeasonTask, ...]:
    """The tasks of a block that are open on a day or open within a year.

    Shapes: one block.
    Returns: tasks by first day; of each yearly one its coming window alone.
    Source: each task names its own.
    >>> found = season_tasks(
    ...     BlockSeason(crop_key="peach", latitude_deg=34.0, watering_start_doy=60.0,
    ...                 watering_end_doy=304.0), date(2026, 6, 1))
    >>> [(task.kind.value, task.first_day.isoformat()) for task in found][:3]
    [('nitrogen', '2026-03-01'), ('leaf-sample', '2026-07-15'), ('last-nitrogen', '2026-08-15')]
    """
    found = [*_system(facts, day), *_winter(facts, day), *crop_tasks(facts, day)]
    last = day + timedelta(days=HORIZON_DAYS - 1)
    listed = [each for each in found if each.first_day <= last and each.last_day >= day]
    return tuple(
        sorted(listed, key=lambda each: (each.first_day, _ORDER.index(each.kind), each.detail))
    )


def _around(
    facts: BlockSeason, day: date, before: tuple[int, int] | None = None, after: int = 0
) -> Span:
    """The coming window that lies some days before a season opens, or from then on."""
    spans = []
    for opens, _ in seasons_around(facts, day):
        if before is not None:
            spans.append((opens - timedelta(days=before[0]), opens - timedelta(days=before[1])))
        else:
            spans.append((opens, opens + timedelta(days=after)))
    return min(each for each in spans if each[1] >= day)


def _system(facts: BlockSeason, day: date) -> list[SeasonTask]:
    water = make_task(TaskKind.WATER_TEST, _around(facts, day, WATER_TEST_DAYS))
    catch = make_task(TaskKind.CATCH_TEST, _around(facts, day, after=CATCH_TEST_DAYS))
    return [
        make_task(TaskKind.START_UP, _around(facts, day, (START_UP_DAYS, 1))),
        with_test(
            replace(water, detail=facts.supply_id),
            facts.water_day,
            early_days=WATER_TEST_HOLDS_DAYS,
        ),
        with_test(catch, facts.catch_day),
    ]


def _winter(facts: BlockSeason, day: date) -> list[SeasonTask]:
    if is_never_closed(facts):
        if abs(facts.latitude_deg) < TROPIC_DEG:
            return []
        days = coming_days(lambda year: yearly_days(*FROST_DAYS, year, facts.latitude_deg), day)
        assert days is not None  # every year has it
        return [replace(make_task(TaskKind.WINTER, days), detail="frost", how=(FROST_ONLY,))]
    seasons = list(seasons_around(facts, day))
    drains, winters = [], []
    for (_, closes), (opens, _) in pairwise(seasons):
        first = closes + timedelta(days=1)
        last = min(closes + timedelta(days=DRAIN_DAYS), opens - timedelta(days=1))
        drains.append((first, last))
        rest = (last + timedelta(days=1), opens - timedelta(days=START_UP_DAYS + 1))
        if (rest[1] - rest[0]).days >= SHORTEST_WINTER_DAYS:
            winters.append(rest)
    return [
        make_task(kind, min(coming))
        for kind, spans in ((TaskKind.END_OF_SEASON, drains), (TaskKind.WINTER, winters))
        if (coming := [each for each in spans if each[1] >= day])
    ]


# --- many blocks ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class GroupedTask:
    """A task with all blocks that have it on the same days."""

    task: SeasonTask
    """Without what holds for one block alone."""
    blocks: tuple[tuple[str, SeasonTask], ...]
    """Block and its own task; the same as above but for days done and note."""

    @property
    def open_blocks(self) -> tuple[str, ...]:
        """Blocks without a test of this window."""
        return tuple(block_id for block_id, task in self.blocks if task.done_on is None)

    @property
    def key(self) -> str:
        """The same as long as the task and its days are the same."""
        parts = (self.task.kind.value, self.task.detail, f"{self.task.first_day}")
        return ".".join((*(each for each in parts if each), f"{self.task.last_day}"))


def group_tasks(by_block: Mapping[str, Iterable[SeasonTask]]) -> tuple[GroupedTask, ...]:
    """Equal tasks of several blocks as one.

    Shapes: tasks by block.
    Returns: groups by first day; the blocks of each in the order given.
    >>> facts = BlockSeason(crop_key="peach", latitude_deg=34.0)
    >>> tasks = season_tasks(facts, date(2026, 6, 1))
    >>> {len(each.blocks) for each in group_tasks({"a": tasks, "b": tasks})}
    {2}
    """
    sharing: dict[SeasonTask, list[tuple[str, SeasonTask]]] = {}
    for block_id, tasks in by_block.items():
        for task in tasks:
            alike = replace(task, done_on=None, before_on=None, note="")
            sharing.setdefault(alike, []).append((block_id, task))
    found = [GroupedTask(task, tuple(blocks)) for task, blocks in sharing.items()]
    return tuple(
        sorted(
            found,
            key=lambda each: (
                each.task.first_day,
                _ORDER.index(each.task.kind),
                each.task.detail,
                each.task.last_day,
            ),
        )
    )
