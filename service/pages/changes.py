"""The page of a farm's record of changes: who changed what, and when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

import orjson
from starlette.responses import Response

from service.delivery.log_words import ENTRANCES, SUBJECTS, flat, who
from service.delivery.value_words import cut, plain_number, rounded
from service.operations.audit.read_audit import read_audit
from service.pages.plans import farm_of
from service.pages.visit import Visit
from service.records.audit import Actor, AuditEntry, Subject
from service.translations import Wording
from service.translations.catalogue import marked
from service.translations.number_labels import NUMBER_LABELS

PAGE_SIZE: Final = 50
_MOST_DIGITS: Final = 18
ADDED: Final = marked("added")
CHANGED: Final = marked("changed")
REMOVED: Final = marked("removed")


@dataclass(frozen=True, slots=True)
class ValueLine:
    """One value of a change."""

    name: str
    is_label: bool
    """Whether the name is in the reader's language; else it is that of the API."""
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class ChangeCard:
    """One change on the page."""

    when: str
    who: str
    entrance: str
    subject: str
    subject_id: str
    verb: str
    has_both: bool
    """Whether there are values before and after."""
    values: tuple[ValueLine, ...]


def show_changes(visit: Visit) -> Response:
    """A page of changes, the newest first."""
    farm = farm_of(visit)
    words = visit.words
    asked = visit.query.get("of", "")
    before = visit.query.get("before", "")
    chosen = Subject(asked) if asked in set(Subject) else None
    found = read_audit(
        farm.farm_id,
        count=PAGE_SIZE,
        older_than=int(before) if before.isdecimal() and len(before) <= _MOST_DIGITS else None,
        subjects=() if chosen is None else (chosen,),
        unit_of_work=visit.service.unit_of_work,
    )
    return visit.show(
        "changes.html",
        farm=farm,
        changes=[_card(each, farm.zone, words) for each in found.entries],
        older=found.entries[-1].entry_key if found.has_more else None,
        is_first="before" not in visit.query,
        subjects=[(each.value, words.gettext(text)) for each, text in SUBJECTS.items()],
        chosen="" if chosen is None else chosen.value,
    )


def _card(entry: AuditEntry, zone: str, words: Wording) -> ChangeCard:
    verb = CHANGED
    if entry.before is None:
        verb = ADDED
    elif entry.after is None:
        verb = REMOVED
    before, after = flat(entry.before), flat(entry.after)
    return ChangeCard(
        when=_when(entry.at, zone, words),
        who=who(entry.actor, words),
        entrance=_entrance(entry.actor, words),
        subject=words.gettext(SUBJECTS[entry.subject]),
        subject_id=entry.subject_id,
        verb=words.gettext(verb),
        has_both=verb == CHANGED,
        values=tuple(
            ValueLine(
                name=words.label(name) if name in NUMBER_LABELS else name,
                is_label=name in NUMBER_LABELS,
                before=_value(before.get(name), words),
                after=_value(after.get(name), words),
            )
            for name in {**before, **after}
            if verb != CHANGED or before.get(name) != after.get(name)
        ),
    )


def _when(at: datetime, zone: str, words: Wording) -> str:
    local = at.astimezone(ZoneInfo(zone))
    day = words.with_year(words.short_day(local.date()), local.year)
    return f"{day}, {words.clock(at, zone)}"


def _entrance(actor: Actor, words: Wording) -> str:
    """Where it came in; empty for the service, which needs no entrance."""
    text = ENTRANCES[actor.entrance]
    return words.gettext(text) if text else ""


def _value(value: object, words: Wording) -> str:
    """A value as it is recorded, but for digits that do not count."""
    if value is None:
        return "–"
    if isinstance(value, str):
        return cut(value)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return plain_number(value, words)
    return cut(orjson.dumps(rounded(value)).decode())
