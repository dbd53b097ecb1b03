"""The page of a farm's record of changes: who changed what, and when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

import orjson
from starlette.responses import Response

from service.operations.audit.read_audit import read_audit
from service.pages.plans import farm_of
from service.pages.visit import Visit
from service.records.audit import Actor, ActorKind, AuditEntry, Document, Entrance, Subject
from service.translations import Wording
from service.translations.catalogue import marked
from service.translations.number_labels import NUMBER_LABELS

PAGE_SIZE: Final = 50
LONGEST_VALUE: Final = 120
_MOST_DIGITS: Final = 18
SUBJECTS: Final[Mapping[Subject, str]] = {
    Subject.FARM: marked("Farm"),
    Subject.SITE: marked("Weather site"),
    Subject.COUNTY: marked("County"),
    Subject.BOUNDARIES: marked("County boundaries"),
    Subject.SUPPLY: marked("Supply"),
    Subject.BLOCK: marked("Block"),
    Subject.CONTROLLER: marked("Controller"),
    Subject.PERSON: marked("Who gets mail"),
    Subject.RUNS: marked("Reported runs"),
    Subject.SOIL: marked("Soil reading"),
    Subject.PAUSE: marked("Pause"),
    Subject.TIMER: marked("Timer"),
    Subject.RAIN: marked("Rain gauge"),
    Subject.WEATHER: marked("Weather file"),
    Subject.NUTRIENT_TEST: marked("Leaf or soil test"),
    Subject.WATER_SAMPLE: marked("Water analysis"),
    Subject.CATCH_TEST: marked("Catch test"),
    Subject.FLOW_FINDING: marked("Flow check"),
    Subject.PRODUCT: marked("Fertilizer"),
    Subject.INJECTION: marked("Injection"),
    Subject.KEY: marked("Key"),
    Subject.CALENDAR_LINK: marked("Calendar link"),
    Subject.ACID: marked("Acid"),
    Subject.VISIT_NOTE: marked("Visit note"),
    Subject.SUBSCRIPTION: marked("Message to another system"),
}
ENTRANCES: Final[Mapping[Entrance, str]] = {
    Entrance.API: marked("through the API"),
    Entrance.PAGES: marked("on a page"),
    Entrance.COMMAND_LINE: marked("on the command line"),
    Entrance.SERVICE: "",
    Entrance.AGENT_TOOLS: marked("through an agent's tools"),
}
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
    before, after = _flat(entry.before), _flat(entry.after)
    return ChangeCard(
        when=_when(entry.at, zone, words),
        who=_who(entry.actor, words),
        entrance=_entrance(entry.actor, words),
        subject=words.gettext(SUBJECTS[entry.subject]),
        subject_id=entry.subject_id,
        verb=words.gettext(verb),
        has_both=verb == CHANGED,
        values=tuple(
            ValueLine(
                name=words.label(name) if name in NUMBER_LABELS else name,
                is_label=name in NUMBER_LABELS,
                before=_value(before.get(name)),
                after=_value(after.get(name)),
            )
            for name in {**before, **after}
        ),
    )


def _when(at: datetime, zone: str, words: Wording) -> str:
    local = at.astimezone(ZoneInfo(zone))
    day = words.gettext("{day}, {year}", day=words.short_day(local.date()), year=local.year)
    return f"{day}, {words.clock(at, zone)}"


def _entrance(actor: Actor, words: Wording) -> str:
    """Where it came in; empty for the service, which needs no entrance."""
    text = ENTRANCES[actor.entrance]
    return words.gettext(text) if text else ""


def _flat(document: Document | None) -> Document:
    """The values of a change; those of a part by ``part.name``."""
    flat: Document = {}
    for name, value in (document or {}).items():
        parts = value.items() if isinstance(value, dict) else ()
        flat |= {f"{name}.{part}": each for part, each in parts} or {name: value}
    return flat


def _who(actor: Actor, words: Wording) -> str:
    if actor.kind is ActorKind.OPEN:
        return words.gettext("somebody at the machine, before there was a key")
    if actor.kind is ActorKind.LINK:
        return words.gettext("somebody with the link of a mail")
    if actor.kind is ActorKind.SERVICE:
        return words.gettext("the service")
    if actor.kind is ActorKind.KEY:
        return words.gettext("{name}, key {key}", name=actor.name, key=actor.actor_id)
    return " ".join(part for part in (actor.name, actor.actor_id) if part) or "?"


def _value(value: object) -> str:
    """A value as it is recorded."""
    if value is None:
        return "–"
    text = value if isinstance(value, str) else orjson.dumps(value).decode()
    return text if len(text) <= LONGEST_VALUE else f"{text[:LONGEST_VALUE]}…"
