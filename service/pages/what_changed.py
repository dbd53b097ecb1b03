"""The page after a report or a pause: what it changed, block by block."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from starlette.responses import Response

from service.agronomy.pulse_plan import ShortfallCause
from service.delivery.day_order import BlockState, state_of
from service.errors import NotFound
from service.operations.access.manage_keys import Right
from service.operations.reading.what_changed import BlockChange, Moment, moment, what_changed
from service.pages.plans import farm_of, parsed_day
from service.pages.visit import Visit, redirect
from service.pages.whole_name import whole_name
from service.records.farms import FarmDefinition
from service.records.letters import BlockLine
from service.translations import Wording
from service.translations.catalogue import marked

SAVED = {
    "rain": marked("The rain is saved."),
    "runs": marked("The run is saved."),
    "run-corrected": marked("The run is corrected."),
    "run-undone": marked("The run has been taken back."),
    "run-file": marked("The runs of the file are saved."),
    "soil": marked("The reading is saved."),
    "sensor": marked("The reading is saved."),
    "pauses": marked("The pause is saved."),
    "pause-ended": marked("The pause has been canceled."),
    "day": marked("The day is saved."),
    "days": marked("The days are saved."),
}
"""What the page begins with, by what was saved."""
LARGEST_KEY = 2**63 - 1


@dataclass(frozen=True, slots=True)
class Change:
    """What was saved, and the plans around it."""

    done: str
    """A key of ``SAVED``; ``-changed`` or ``-kept`` may follow."""
    tomorrow: date
    before: Moment
    after: Moment
    block_id: str = ""
    """The block that it was entered for."""
    is_kept: bool = False
    """Some blocks had been reported before and stay so."""


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """One block."""

    block_id: str
    name: str
    state_before: BlockState
    state: BlockState
    before: str
    now: str
    difference: str
    day: date


@dataclass(frozen=True, slots=True)
class DayChanges:
    """The blocks of one day."""

    day: date
    changed: tuple[ChangeRow, ...]
    unchanged: tuple[ChangeRow, ...]


def moment_now(visit: Visit) -> Moment:
    """Now, in the history of the plans."""
    with visit.service.unit_of_work(write=False) as unit:
        return moment(unit)


def changed_page(farm_id: str, change: Change) -> Response:
    """Go on to the page of what a change did, which is the same however often it is read."""
    query = {
        "day": change.tomorrow.isoformat(),
        "before": str(change.before.key),
        "after": str(change.after.key),
        **({"block": change.block_id} if change.block_id else {}),
        **({"kept": "1"} if change.is_kept else {}),
        "done": change.done,
    }
    return redirect(f"/farms/{farm_id}/what-changed", **query)


def show_what_changed(visit: Visit) -> Response:
    """Old and new minutes and state of each block."""
    farm = farm_of(visit, Right.PLAN_READ)
    change = _asked(visit)
    with visit.service.unit_of_work(write=False) as unit:
        changes = what_changed(
            unit, farm.farm_id, tomorrow=change.tomorrow, before=change.before, after=change.after
        )
    return show_change(visit, farm, change, changes)


def show_change(
    visit: Visit, farm: FarmDefinition, change: Change, changes: tuple[BlockChange, ...]
) -> Response:
    """The page itself."""
    days = changes_by_day(changes, farm.zone, visit.words)
    own = f"{farm.farm_id}."
    names = {each.after.block_id: whole_name(each.after.name) for each in changes}
    kind = change.done.removesuffix("-changed").removesuffix("-kept")
    return visit.show(
        "what_changed.html",
        farm=farm,
        saved=visit.words.gettext(SAVED[kind]) if kind in SAVED else "",
        days=days,
        changed_count=len({row.block_id for day in days for row in day.changed}),
        block_count=len(names),
        block_id=change.block_id if change.block_id.startswith(own) else "",
        block_name=names.get(change.block_id, change.block_id.removeprefix(own)),
        tomorrow=change.tomorrow,
        is_kept=change.is_kept,
    )


def changes_by_day(
    changes: tuple[BlockChange, ...], zone: str, words: Wording
) -> tuple[DayChanges, ...]:
    """The rows of the page, days in order, within one what changed first."""
    found = []
    for day in sorted({each.day for each in changes}):
        of_day = [each for each in changes if each.day == day]
        changed, unchanged = (
            tuple(_row(each, zone, words) for each in of_day if each.is_changed is which)
            for which in (True, False)
        )
        found.append(DayChanges(day, changed, unchanged))
    return tuple(found)


def _row(change: BlockChange, zone: str, words: Wording) -> ChangeRow:
    return ChangeRow(
        block_id=change.after.block_id,
        name=whole_name(change.after.name),
        state_before=_state(change.before),
        state=_state(change.after),
        before=_minutes(change.before, zone, words),
        now=_minutes(change.after, zone, words),
        difference=_difference(change, words),
        day=change.day,
    )


def _state(line: BlockLine) -> BlockState:
    """The state of a version; one that is not in force any more does not say who paused it."""
    if not line.pulses and line.cause == ShortfallCause.OUTAGE:
        return BlockState.PAUSED
    return state_of(line)


def _minutes(line: BlockLine, zone: str, words: Wording) -> str:
    if line.status == "no-weather":
        return "?"
    if not line.pulses:
        return words.minutes(0)
    return words.gettext(
        "{minutes} from {start}",
        minutes=words.minutes(line.planned_min),
        start=words.clock(line.pulses[0].starts_at, zone),
    )


def _difference(change: BlockChange, words: Wording) -> str:
    if not change.is_changed or "no-weather" in (change.before.status, change.after.status):
        return ""
    more_min = change.after.planned_min - change.before.planned_min
    if more_min == 0:
        return words.gettext("other times")
    if more_min > 0:
        return words.gettext("{minutes} more", minutes=words.minutes(more_min))
    return words.gettext("{minutes} fewer", minutes=words.minutes(-more_min))


def _asked(visit: Visit) -> Change:
    """What the address names; raises NotFound for one that this service did not write."""
    day = parsed_day(visit.query.get("day", ""))
    keys = [visit.query.get(name, "") for name in ("before", "after")]
    if day is None or day.year < 1900 or not all(_is_key(key) for key in keys):
        raise NotFound("there is nothing under this address")
    return Change(
        done=visit.query.get("done", ""),
        tomorrow=day,
        before=Moment(int(keys[0])),
        after=Moment(int(keys[1])),
        block_id=visit.query.get("block", ""),
        is_kept=visit.query.get("kept") == "1",
    )


def _is_key(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 20 and int(text) <= LARGEST_KEY
