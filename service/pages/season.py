"""The page of a farm's season calendar: what is open now, and what each coming month asks for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from starlette.responses import Response

from service.delivery.plain_text import reading_order
from service.delivery.season_words import day_words, task_days, task_steps, task_title
from service.nutrition.season_tasks import GroupedTask
from service.nutrition.task_words import TaskKind
from service.operations.access.manage_keys import Right
from service.operations.access.share_calendar import CalendarLinks, calendar_links, renew_link
from service.operations.reading.read_farms import local_day
from service.operations.season.plan_season import plan_season
from service.pages.plans import farm_of
from service.pages.visit import Visit
from service.records.farms import FarmDefinition
from service.records.season import SeasonCalendar
from service.translations import Wording

_TESTS, _WATER, _PARTS = "leaf-and-soil-tests", "pipes-and-water", "parts"
PLACES: dict[TaskKind, str] = {
    TaskKind.START_UP: f"{_PARTS}#spring",
    TaskKind.END_OF_SEASON: f"{_PARTS}#winter",
    TaskKind.WINTER: f"{_PARTS}#winter",
    TaskKind.WATER_TEST: _WATER,
    TaskKind.CATCH_TEST: _WATER,
    TaskKind.ACID: _WATER,
    TaskKind.LEAF_SAMPLE: f"{_TESTS}#enter",
    TaskKind.SOIL_SAMPLE: f"{_TESTS}#enter",
    TaskKind.SOIL_RETEST: f"{_TESTS}#enter",
    TaskKind.NITROGEN: f"{_TESTS}#plan",
    TaskKind.LAST_NITROGEN: f"{_TESTS}#plan",
    TaskKind.SULFUR: f"{_TESTS}#plan",
}
"""Where a block's page of the task is: its checklist, its form, its plan."""
MOST_BLOCKS = 6
"""Blocks of a task that are shown at once; more are counted and folded."""


@dataclass(frozen=True, slots=True)
class TaskBlock:
    """A block of a task."""

    name: str
    address: str
    remark: str
    """Done on a day, or what holds for this block alone."""
    is_done: bool


@dataclass(frozen=True, slots=True)
class TaskRow:
    """One task of the page."""

    days: str
    title: str
    blocks: list[TaskBlock]
    steps: list[str]
    source: str


@dataclass(frozen=True, slots=True)
class Month:
    """The tasks that open in one month; the first is of those that are open."""

    name: str
    rows: list[TaskRow]


def show_season(visit: Visit) -> Response:
    """The page."""
    return _show(visit, farm_of(visit))


def make_calendar_link(visit: Visit) -> Response:
    """Make a secret link to the farm's calendars, shown on this answer alone."""
    farm = farm_of(visit, Right.FARM_WRITE)
    service = visit.service
    secret = renew_link(farm.farm_id, unit_of_work=service.unit_of_work, clock=service.clock)
    settings = service.settings
    base = settings.public_url or f"http://{settings.host}:{settings.port}"
    return _show(visit, farm, calendar_links(secret, base))


def _show(visit: Visit, farm: FarmDefinition, links: CalendarLinks | None = None) -> Response:
    service, words = visit.service, visit.words
    today = local_day(service.clock.now(), farm.zone)
    found = plan_season(farm.farm_id, on=today, unit_of_work=service.unit_of_work)
    return visit.show(
        "season.html",
        farm=farm,
        months=_months(found, words),
        cautions=found.cautions,
        most_blocks=MOST_BLOCKS,
        links=links,
        may_share=visit.may(Right.FARM_WRITE),
    )


def _months(found: SeasonCalendar, words: Wording) -> list[Month]:
    months: dict[str, list[TaskRow]] = {}
    for group in found.tasks:
        opens = group.task.first_day
        name = words.gettext("Open now") if opens <= found.first_day else words.month(opens)
        months.setdefault(name, []).append(_row(group, found, words))
    return [Month(name, rows) for name, rows in months.items()]


def _row(group: GroupedTask, found: SeasonCalendar, words: Wording) -> TaskRow:
    task = group.task
    return TaskRow(
        days=task_days(task, found.first_day, words),
        title=task_title(group, words),
        blocks=[
            TaskBlock(
                name=found.block_names[block_id],
                address=f"/blocks/{block_id}/{PLACES[task.kind]}",
                remark=_remark(own.done_on, own.before_on, own.note, words),
                is_done=own.done_on is not None,
            )
            for block_id, own in sorted(
                group.blocks, key=lambda each: reading_order(found.block_names[each[0]])
            )
        ],
        steps=task_steps(group, words),
        source=task.source,
    )


def _remark(done_on: date | None, before_on: date | None, note: str, words: Wording) -> str:
    if done_on is not None:
        return words.gettext("done {day}", day=day_words(done_on, words))
    if before_on is not None:
        return words.gettext(
            "last on {day}", day=words.with_year(day_words(before_on, words), before_on.year)
        )
    return words.gettext(note) if note else ""
