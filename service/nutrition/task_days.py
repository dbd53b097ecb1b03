"""What the tasks of a season are made of: the facts of a block, one task, and windows of each year.

In: facts of a block, a day. Out: the window of every year that is open on the day or opens next,
with the test that counts for it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

from service.nutrition.nutrient_dates import PLAIN_YEAR
from service.nutrition.sampling import TOLERATED_DAYS, yearly_days
from service.nutrition.soil_ph import SulfurPart
from service.nutrition.task_words import TASK_TEXTS, TaskKind

PLAIN_DAYS = 365
SHORTEST_CLOSED_DAYS = 30  # [CHOICE]: as for the dormancy of a block
WHOLE_YEAR_SEASON = ("04-01", "10-31")  # [CHOICE]: for systems that are never closed

Span = tuple[date, date]
"""First and last day."""


@dataclass(frozen=True, slots=True)
class TakenSample:
    """A leaf or petiole sample that was recorded."""

    crop: str
    tissue: str
    stage: str
    day: date


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockSeason:
    """What a block's tasks follow from."""

    crop_key: str
    latitude_deg: float
    watering_start_doy: float = math.nan
    """Of a year of 365 days; NaN: watered the whole year."""
    watering_end_doy: float = math.nan
    last_nitrogen_doy: float = math.nan
    """The block's own; NaN: by crop and place."""
    supply_id: str = ""
    samples: tuple[TakenSample, ...] = ()
    """The newest first."""
    soil_day: date | None = None
    catch_day: date | None = None
    water_day: date | None = None
    water_needs_acid: bool | None = None
    """Whether alkalinity of the water harms a crop of acid soils; None: not known."""
    sulfur_parts: tuple[SulfurPart, ...] = ()
    """Of the plan that follows from the newest soil test."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonTask:
    """One task of one block."""

    kind: TaskKind
    detail: str = ""
    """Tells tasks of a kind apart: crop, tissue and stage; the supply; the part."""
    first_day: date
    last_day: date
    title: str
    reason: str
    how: tuple[str, ...]
    source: str
    crops: tuple[str, ...] = ()
    """Names of the crops that it is for, where the block's may be several."""
    done_on: date | None = None
    """A test of this window is recorded."""
    before_on: date | None = None
    """When the same was last done."""
    note: str = ""
    """What holds for this block alone."""


def make_task(kind: TaskKind, days: Span) -> SeasonTask:
    """A task with the words of its kind.

    Shapes: one task.
    Returns: the task; its caller adds what it is about.
    >>> make_task(TaskKind.ACID, (date(2026, 4, 1), date(2026, 10, 31))).title
    'Acid window'
    """
    text = TASK_TEXTS[kind]
    return SeasonTask(
        kind=kind,
        first_day=days[0],
        last_day=days[1],
        title=text.title,
        reason=text.reason,
        how=text.how,
        source=text.source,
    )


def counts_for(days: Span, tested: date | None, *, early_days: int = TOLERATED_DAYS) -> bool:
    """Whether a test lies in a window, or close to it.

    Shapes: scalars.
    early_days: before the window in which a test still counts; after it, 14.
    Returns: False without a test.
    >>> counts_for((date(2026, 7, 25), date(2026, 8, 10)), date(2026, 8, 20))
    True
    """
    if tested is None:
        return False
    first = days[0] - timedelta(days=early_days)
    return first <= tested <= days[1] + timedelta(days=TOLERATED_DAYS)


def with_test(
    task: SeasonTask, tested: date | None, *, early_days: int = TOLERATED_DAYS
) -> SeasonTask:
    """A task with the day of its test: of this window, or of one before.

    Shapes: one task.
    early_days: as for ``counts_for``.
    Returns: the task.
    """
    if counts_for((task.first_day, task.last_day), tested, early_days=early_days):
        return replace(task, done_on=tested)
    return replace(task, before_on=tested)


def coming_days(days_of: Callable[[int], Span | None], day: date) -> Span | None:
    """Of a window that years have, the first that has not closed.

    Shapes: scalars.
    days_of: the window of a year; None where the year has none.
    Returns: the window; None where none is within two years.
    >>> coming_days(lambda year: (date(year, 3, 1), date(year, 4, 30)), date(2026, 5, 1))[0].year
    2027
    """
    spans = (days_of(year) for year in range(day.year - 1, day.year + 3))
    return min((each for each in spans if each is not None and each[1] >= day), default=None)


def seasons_around(facts: BlockSeason, day: date) -> Iterator[Span]:
    """The watering seasons around a day, the earliest first.

    Shapes: one block.
    Returns: first and last day of each; April to October (October to May in the south) for a
    system that is never closed.
    """
    for year in range(day.year - 2, day.year + 3):
        if is_never_closed(facts):
            yield yearly_days(*WHOLE_YEAR_SEASON, year, facts.latitude_deg)
            continue
        first = _plain_day(year, facts.watering_start_doy)
        crosses = facts.watering_end_doy < facts.watering_start_doy
        yield first, _plain_day(year + crosses, facts.watering_end_doy)


def is_never_closed(facts: BlockSeason) -> bool:
    """Whether a block is watered the whole year, so that nothing is opened or closed.

    Shapes: one block.
    Returns: True without a watering season, or where the rest of the year is shorter than 30 days.
    """
    start, end = facts.watering_start_doy, facts.watering_end_doy
    if math.isnan(start) or math.isnan(end):
        return True
    return (start - end - 1.0) % PLAIN_DAYS < SHORTEST_CLOSED_DAYS


def _plain_day(year: int, doy: float) -> date:
    """A day of a year of 365 days, in a year that may have 366."""
    return (date(PLAIN_YEAR, 1, 1) + timedelta(days=int(doy) - 1)).replace(year=year)
