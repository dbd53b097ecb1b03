"""The log book in words: each entry of the record of changes as plain sentences."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from itertools import islice
from typing import Any, Final

from service.delivery.plain_text import clean
from service.delivery.value_words import label_of, length, value_of, wall_moment
from service.records.audit import Actor, ActorKind, AuditEntry, Document, Entrance, Subject
from service.records.season import VisitNote
from service.translations import Wording
from service.translations.catalogue import marked

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
MOST_RUNS: Final = 6
"""Sentences of one report; the rest is counted."""
MOST_VALUES: Final = 8
LONGEST_SENTENCE: Final = 400
_LEFT_OUT: Final = frozenset(
    {"origins", "layout", "curve", "note_id", "farm_id", "block_id", "valid_from"}
)
"""Parts that a sentence cannot hold, or that say again what the sentence is about."""
_ADDED, _CHANGED, _REMOVED = (
    marked("{thing} {name}: added."),
    marked("{thing} {name}: changed."),
    marked("{thing} {name}: removed."),
)


@dataclass(frozen=True, slots=True)
class LogLine:
    """One entry in words."""

    at: datetime
    kind: str
    about: str
    """Block, site or other thing, by name."""
    sentences: tuple[str, ...]
    text: str
    """What somebody wrote, in their own words; empty: nothing."""
    who: str


@dataclass(frozen=True, slots=True)
class Telling:
    """What a sentence is written with."""

    words: Wording
    zone: str
    names: Mapping[str, str]
    """Of the farm, its blocks, sites and supplies, by id."""

    def moment(self, text: object) -> str:
        """An instant on the farm's clock; as it is where it is none."""
        try:
            return self.words.moment(datetime.fromisoformat(str(text)), self.zone)
        except ValueError:
            return str(text)

    def wall(self, text: object) -> str:
        """A wall-clock time."""
        try:
            return wall_moment(str(text), self.words)
        except ValueError:
            return str(text)

    def day(self, text: object) -> str:
        """A day with its year."""
        try:
            return self.words.dated(date.fromisoformat(str(text)))
        except ValueError:
            return str(text)


def log_line(entry: AuditEntry, note: VisitNote | None, telling: Telling) -> LogLine:
    """An entry in words; ``note`` is the whole of a note that the entry holds the beginning of."""
    tell = _TELLERS.get(entry.subject, _tell_anything)
    text = ""
    if entry.subject is Subject.VISIT_NOTE:
        text = note.text if note is not None else str((entry.after or {}).get("text", ""))
    name = telling.names.get(entry.subject_id, entry.subject_id)
    return LogLine(
        at=entry.at,
        kind=telling.words.gettext(SUBJECTS[entry.subject]),
        about=clean(name),
        sentences=tuple(_sentence(each) for each in tell(entry, telling)),
        text=text,
        who=who_did(entry.actor, telling.words),
    )


def _sentence(text: str) -> str:
    """One line; a time such as 4:30 a.m. ends a sentence by its own point."""
    return clean(text, longest=LONGEST_SENTENCE).replace("m..", "m.")


def who_did(actor: Actor, words: Wording) -> str:
    """Who made a change, and where it came in."""
    where = ENTRANCES[actor.entrance]
    parts = (who(actor, words), words.gettext(where) if where else "")
    return ", ".join(part for part in parts if part)


def who(actor: Actor, words: Wording) -> str:
    """Who made a change."""
    if actor.kind is ActorKind.OPEN:
        return words.gettext("somebody at the machine, before there was a key")
    if actor.kind is ActorKind.LINK:
        return words.gettext("somebody with the link of a mail")
    if actor.kind is ActorKind.SERVICE:
        return words.gettext("the service")
    if actor.kind is ActorKind.KEY:
        return words.gettext("{name}, key {key}", name=actor.name, key=actor.actor_id)
    return " ".join(part for part in (actor.name, actor.actor_id) if part) or "?"


# --- what each kind of thing says ----------------------------------------------------------------


def _tell_runs(entry: AuditEntry, telling: Telling) -> Iterator[str]:
    before, after = entry.before or {}, entry.after or {}
    starts = sorted({**before, **after})
    told = (_tell_run(start, before.get(start), after.get(start), telling) for start in starts)
    sentences = [each for each in told if each]
    yield from islice(sentences, MOST_RUNS)
    if len(sentences) > MOST_RUNS:
        more = len(sentences) - MOST_RUNS
        yield telling.words.ngettext("and {count} more run", "and {count} more runs", more)


def _tell_run(start: str, was: Any, now: Any, telling: Telling) -> str:
    words = telling.words
    if not isinstance(now, dict) and not isinstance(was, dict):
        return ""
    at = telling.moment(start)
    if not isinstance(now, dict):
        return words.gettext("The run of {start} was taken back.", start=at)
    minutes = _run_water(now, words)
    if isinstance(was, dict):
        return words.gettext(
            "The run of {start} was corrected: {after} instead of {before}.",
            start=at,
            after=minutes,
            before=_run_water(was, words),
        )
    if now.get("duration_min") == 0.0:
        return words.gettext("Did not run on {start}.", start=at)
    return words.gettext("Ran {water} from {start}.", water=minutes, start=at)


def _run_water(run: Mapping[str, Any], words: Wording) -> str:
    parts = [
        value_of(name, run[name], words, "UTC")
        for name in ("duration_min", "volume_l")
        if run.get(name) is not None
    ]
    return ", ".join(parts) or words.gettext(marked("no metered water"))


def _tell_soil(entry: AuditEntry, telling: Telling) -> Iterator[str]:
    after = entry.after or {}
    readings = [after] if "kind" in after else list(after.values())
    whole = [each for each in readings if isinstance(each, dict) and "kind" in each]
    if entry.before is not None or not whole:
        yield from _tell_anything(entry, telling)
        return
    for reading in whole[:MOST_RUNS]:
        yield _tell_reading(reading, telling)
    if len(whole) > MOST_RUNS:
        more = len(whole) - MOST_RUNS
        yield telling.words.ngettext("and {count} more reading", "and {count} more readings", more)


def _tell_reading(reading: Mapping[str, Any], telling: Telling) -> str:
    words = telling.words
    at = telling.moment(reading.get("read_at"))
    missing = words.depth(float(reading.get("depletion_reading_mm") or 0.0))
    if reading.get("kind") == "estimate":
        return words.gettext(
            "Soil felt on {start}: {depth} missing from the root zone.", start=at, depth=missing
        )
    top_m, bottom_m = (
        float(reading.get(name) or 0.0) for name in ("top_depth_m", "bottom_depth_m")
    )
    tension = reading.get("tension_kpa")
    shown = (
        f"{words.number(100.0 * float(reading.get('volumetric_water') or math.nan), 1)}%"
        if tension is None
        else value_of("tension_kpa", tension, words, telling.zone)
    )
    return words.gettext(
        "Sensor at {place} on {start}: {value}, that is {depth} missing from the root zone.",
        place=length((top_m + bottom_m) / 2.0, words),
        start=at,
        value=shown,
        depth=missing,
    )


def _tell_pause(entry: AuditEntry, telling: Telling) -> Iterator[str]:
    pause = entry.after or entry.before or {}
    period = pause.get("period")
    if not isinstance(period, dict):
        yield from _tell_anything(entry, telling)
        return
    span = {
        "start": telling.wall(period.get("starts_local")),
        "end": telling.wall(period.get("ends_local")),
    }
    if entry.after is None:
        yield telling.words.gettext("The pause from {start} to {end} was canceled.", **span)
        return
    reason = str(period.get("reason", ""))
    yield telling.words.gettext(
        "No water from {start} to {end}: {reason}.", **span, reason=reason.rstrip(".")
    )


def _tell_timer(entry: AuditEntry, telling: Telling) -> Iterator[str]:
    program, words = entry.after or {}, telling.words
    if "set_from" not in program or program["set_from"] is None:
        yield from _tell_anything(entry, telling)
        return
    day = telling.day(program["set_from"])
    yield words.gettext("The timer was set; its program runs from {day} on.", day=day)


def _tell_rain(entry: AuditEntry, telling: Telling) -> Iterator[str]:
    after, words = entry.after or {}, telling.words
    if "rain_mm" not in after or "read_at" not in after:
        yield from _tell_anything(entry, telling)
        return
    yield words.gettext(
        "{depth} in the rain gauge, read {start}.",
        depth=words.depth(float(after["rain_mm"])),
        start=telling.moment(after["read_at"]),
    )
    if after.get("note"):
        yield f"{after['note']}"


def _tell_note(entry: AuditEntry, telling: Telling) -> Iterator[str]:
    after = entry.after or {}
    facts = {"day": telling.day(after.get("day")), "visitor": after.get("visitor", "")}
    if after.get("corrects"):
        yield telling.words.gettext("Visit of {day}, {visitor}; corrects an earlier note:", **facts)
    else:
        yield telling.words.gettext("Visit of {day}, {visitor}:", **facts)


def _tell_dated(entry: AuditEntry, telling: Telling) -> Iterator[str]:
    """Something of a day: a test, an injection, acid."""
    parts = {**(entry.before or {}), **(entry.after or {})}
    words = telling.words
    if "day" not in parts or (entry.before is not None and entry.after is not None):
        yield from _tell_anything(entry, telling)
        return
    facts = {
        "thing": words.gettext(SUBJECTS[entry.subject]),
        "day": telling.day(parts["day"]),
    }
    if entry.after is None:
        yield words.gettext("{thing} of {day}: removed.", **facts)
    else:
        yield words.gettext("{thing} of {day}.", **facts)
    if "product_l" in parts:
        yield f"{value_of('product_l', parts['product_l'], words, telling.zone)}"


def _tell_anything(entry: AuditEntry, telling: Telling) -> Iterator[str]:
    words = telling.words
    verb = _ADDED if entry.before is None else _REMOVED if entry.after is None else _CHANGED
    name = telling.names.get(entry.subject_id, entry.subject_id)
    yield words.gettext(verb, thing=words.gettext(SUBJECTS[entry.subject]), name=name)
    if entry.before is None or entry.after is None:
        return
    told = [*dict.fromkeys(_tell_values(flat(entry.before), flat(entry.after), telling))]
    yield from told[:MOST_VALUES]
    if len(told) > MOST_VALUES:
        more = len(told) - MOST_VALUES
        yield words.ngettext("and {count} more value", "and {count} more values", more)


def _tell_values(before: Document, after: Document, telling: Telling) -> Iterator[str]:
    """Each value that differs; of rows of numbers only that they do."""
    words = telling.words
    for name in filter(_is_told, {**before, **after}):
        pair = before.get(name), after.get(name)
        if any(isinstance(value, list) for value in pair):
            yield words.gettext("{name}: changed.", name=label_of(name.partition(".")[0], words))
            continue
        was, now = (value_of(name, value, words, telling.zone) for value in pair)
        if was != now:
            yield words.gettext(
                "{name}: {after} instead of {before}.",
                name=label_of(name, words),
                before=was,
                after=now,
            )


def _is_told(name: str) -> bool:
    """Whether a field is one that a reader of sentences knows."""
    return name.partition(".")[0] not in _LEFT_OUT


def flat(document: Document | None) -> Document:
    """The values of a change; those of a part by ``part.name``."""
    found: Document = {}
    for name, value in (document or {}).items():
        parts = value.items() if isinstance(value, dict) else ()
        found |= {f"{name}.{part}": each for part, each in parts} or {name: value}
    return found


_TELLERS: Final[Mapping[Subject, Callable[[AuditEntry, Telling], Iterator[str]]]] = {
    Subject.RUNS: _tell_runs,
    Subject.SOIL: _tell_soil,
    Subject.PAUSE: _tell_pause,
    Subject.TIMER: _tell_timer,
    Subject.RAIN: _tell_rain,
    Subject.VISIT_NOTE: _tell_note,
    Subject.NUTRIENT_TEST: _tell_dated,
    Subject.WATER_SAMPLE: _tell_dated,
    Subject.CATCH_TEST: _tell_dated,
    Subject.INJECTION: _tell_dated,
    Subject.ACID: _tell_dated,
}
