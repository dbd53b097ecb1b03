"""The record of changes: who changed what, and the values before and after."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any, Final

import orjson

LARGEST_DOCUMENT: Final = 4000
"""Characters of one side of a change as JSON; what does not fit is counted, not kept."""
LARGEST_VALUE: Final = 1500
"""Characters of one value as JSON; of a larger one only its size is kept."""
LONGEST_TEXT: Final = 200
SECRET_NAMES: Final = frozenset({"sha256", "token", "token_digest", "secret"})
"""Values that no record of changes may hold, even as digests."""
NOT_A_CHANGE: Final = frozenset({"reporter", "recorded_at"})
"""Facts about the report itself, which the entry has already as its actor and time."""
ORIGINS: Final = "origins"

Document = dict[str, Any]


class ActorKind(StrEnum):
    """What an actor is identified by."""

    KEY = "key"
    PERSON = "person"
    """Somebody who signed in with a link sent by mail."""
    LINK = "link"
    """Whoever follows a secret link, such as the one that ends mails."""
    COMMAND = "command"
    """A user of the machine, on the command line."""
    OPEN = "open"
    """Whoever is at the machine while the service has no key yet."""
    SERVICE = "service"
    """The service itself."""


class Entrance(StrEnum):
    """Where a change came in."""

    API = "api"
    PAGES = "pages"
    COMMAND_LINE = "command-line"
    SERVICE = "service"
    AGENT_TOOLS = "agent-tools"
    """A tool that an agent calls with a key."""


class Subject(StrEnum):
    """What kind of thing a change is about."""

    FARM = "farm"
    SITE = "site"
    COUNTY = "county"
    BOUNDARIES = "county-boundaries"
    SUPPLY = "supply"
    BLOCK = "block"
    CONTROLLER = "controller"
    PERSON = "person"
    RUNS = "runs"
    SOIL = "soil-reading"
    PAUSE = "pause"
    TIMER = "timer"
    RAIN = "rain"
    WEATHER = "weather"
    NUTRIENT_TEST = "nutrient-test"
    WATER_SAMPLE = "water-sample"
    CATCH_TEST = "catch-test"
    FLOW_FINDING = "flow-finding"
    PRODUCT = "product"
    INJECTION = "injection"
    KEY = "key"
    CALENDAR_LINK = "calendar-link"
    ACID = "acid"
    VISIT_NOTE = "visit-note"
    SUBSCRIPTION = "event-subscription"


@dataclass(frozen=True, slots=True)
class Actor:
    """Who opens a unit of work."""

    kind: ActorKind
    entrance: Entrance
    actor_id: str = ""
    """Of a key the part that may be shown, of a person the shortened mail address."""
    name: str = ""
    farm_ids: frozenset[str] | None = None
    """The farms that the actor is bound to; None: any."""

    def may_touch(self, farm_id: str) -> bool:
        """Whether a farm is among those that the actor is bound to."""
        return self.farm_ids is None or farm_id in self.farm_ids


SERVICE: Final = Actor(ActorKind.SERVICE, Entrance.SERVICE)


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditEntry:
    """One change of one thing."""

    entry_key: int
    """Rises with time: changes are written one after the other."""
    at: datetime
    farm_id: str | None
    """None: of no single farm, such as a county or a key for the region."""
    actor: Actor
    subject: Subject
    subject_id: str
    before: Document | None
    """The parts that changed, as they were; None: the thing is new."""
    after: Document | None
    """The same parts as they are now; None: the thing is gone."""


def shortened_address(mail_address: str) -> str:
    """A mail address as far as a record of changes needs it: ``a…@example.org``."""
    name, at, domain = mail_address.rpartition("@")
    return f"{name[:1]}…{at}{domain}"


def document_of(thing: object) -> Document | None:
    """A record or mapping as a JSON document without secrets; None stays None."""
    if thing is None:
        return None
    text = orjson.dumps(
        thing, default=_plain, option=orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_NON_STR_KEYS
    )
    found: Document = _without_secrets(orjson.loads(text))
    return {name: value for name, value in found.items() if name not in NOT_A_CHANGE}


def changed_parts(before: object, after: object) -> tuple[Document | None, Document | None] | None:
    """What differs between two states of a thing, bounded in size; None where nothing does.

    Of a thing that is new or gone, all its parts that have a value, except where its numbers come
    from. Parts that are mappings are compared one level deeper.
    """
    old, new = document_of(before), document_of(after)
    if old is None or new is None:
        if old is new:
            return None
        return _bounded(_stated(old)), _bounded(_stated(new))
    names = [name for name in {**old, **new} if old.get(name) != new.get(name)]
    if not names:
        return None
    was: Document = {}
    now: Document = {}
    for name in names:
        was[name], now[name] = old.get(name), new.get(name)
        if isinstance(was[name], dict) and isinstance(now[name], dict):
            parts = [
                each
                for each in {**was[name], **now[name]}
                if was[name].get(each) != now[name].get(each)
            ]
            was[name] = {each: was[name].get(each) for each in parts}
            now[name] = {each: now[name].get(each) for each in parts}
    return _bounded(was), _bounded(now)


def _plain(value: object) -> object:
    if isinstance(value, frozenset | set):
        return sorted(value)
    raise TypeError(f"a change holds a {type(value).__name__}, which is not JSON")


def _without_secrets(value: Any) -> Any:
    if isinstance(value, dict):
        return {
            name: shortened_address(part)
            if name == "mail_address" and isinstance(part, str)
            else _without_secrets(part)
            for name, part in value.items()
            if name not in SECRET_NAMES
        }
    if isinstance(value, list):
        return [_without_secrets(part) for part in value]
    if isinstance(value, str) and len(value) > LONGEST_TEXT:
        return f"{value[:LONGEST_TEXT]}…"
    return value


def _stated(document: Document | None) -> Document | None:
    if document is None:
        return None
    return {
        name: value
        for name, value in document.items()
        if name != ORIGINS and value not in (None, "", [], {})
    }


def _bounded(document: Document | None) -> Document | None:
    if document is None:
        return None
    kept: Document = {}
    room = LARGEST_DOCUMENT
    for place, (name, value) in enumerate(document.items()):
        size = len(orjson.dumps(value).decode())
        shown = value if size <= LARGEST_VALUE else f"({size} characters)"
        room -= len(name) + min(size, LARGEST_VALUE)
        if room < 0:
            kept["…"] = f"({len(document) - place} more)"
            break
        kept[name] = shown
    return kept
