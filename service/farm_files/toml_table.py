"""One table of a TOML file, read key by key; every fault is recorded and none stops the reading.

A reader asks for each declared key, and calls :meth:`TomlTable.close` at the end, which turns every
key that was not asked for into a fault. After a fault a getter returns a placeholder of the right
type; nothing built from placeholders leaves this package, because any fault refuses the whole file.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Self, cast

from service.agronomy.civil_day import wall_text
from service.agronomy.records import WallWindow
from service.errors import Fault, InputInvalid
from service.farm_files.keys import (
    MOST_WINDOWS,
    SLUG_PATTERN,
    ChoiceKey,
    ChoicesKey,
    DayKey,
    IdKey,
    IntegerKey,
    Key,
    MailKey,
    MomentKey,
    MonthDayKey,
    NotesKey,
    NumberKey,
    NumbersKey,
    PatternKey,
    TableKey,
    TablesKey,
    TextKey,
    TimeKey,
    WindowsKey,
)
from service.farm_files.near_words import one_of
from service.farm_files.quantities import Measure, read_quantity, show
from service.records.mail import stored_address

_WALL_ALLOWED = "a time of day such as '19:00', 00:00 to 23:59"
_END_ALLOWED = "a time of day such as '20:00', up to 24:00, the end of the day"
_WALL = re.compile(r"([01]?[0-9]|2[0-4]):([0-5][0-9])")
_SLUG = re.compile(SLUG_PATTERN)
_MONTH_DAY = re.compile(r"([0-9]{2})-([0-9]{2})")
_LOCAL = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(?:[ T][0-9]{2}:[0-9]{2}(?::[0-9]{2})?)?")
_SLUG_ALLOWED = "1 to 40 small letters a-z, digits and hyphens, such as 'north-2'"
_WINDOW_ALLOWED = "spans within one day such as ['04:00-21:00'], '24:00' for the day's end"


class TomlTable:
    """One table, its place in the file, and the list that its faults go to."""

    def __init__(self, content: Mapping[str, object], place: str, faults: list[Fault]) -> None:
        self._content = content
        self._place = place
        self._faults = faults
        self._asked: dict[str, None] = {}
        self.unit_system = ""
        """In which faults say what is allowed; empty: in the units that keys are stored in."""

    # --- faults --------------------------------------------------------------------------------

    def where(self, key: Key | str) -> str:
        """The place of a key, or of an item in its list, for a message."""
        return self._at(_name(key))

    def _at(self, name: str) -> str:
        """The same, for a name as written."""
        return f"{self._place}{name}"

    def _inside(self, key: str) -> str:
        """The place that a table under a key gives its own keys."""
        return f"{self._place}{key}."

    def _inside_item(self, key: str, index: int, item: Mapping[str, object]) -> str:
        """The same for a table in a list, whose places count from 1."""
        return f"{self._place}{key}[{index}]{_label(item)} "

    def in_words(self, measure: Measure) -> str:
        """What a measure allows, for the readers of this file."""
        return measure.in_words(measure.unit_for(self.unit_system))

    def amount(self, number: float, measure: Measure) -> str:
        """A number of a measure, for the readers of this file."""
        return measure.amount(number, measure.unit_for(self.unit_system))

    def refuse(self, key: Key | str, found: str, allowed: str) -> None:
        """Record a fault."""
        self._faults.append(Fault(self.where(key), found, allowed))

    def fault_count(self) -> int:
        """Number of faults of the whole file so far."""
        return len(self._faults)

    def close(self) -> None:
        """Record a fault for every key that was not asked for."""
        for key in self._content:
            if key not in self._asked:
                self.refuse(key, "a key of that name", one_of(key, list(self._asked)))

    # --- getters -------------------------------------------------------------------------------

    def has(self, key: Key | str) -> bool:
        """Whether the file has the key."""
        self._asked.setdefault(_name(key))
        return _name(key) in self._content

    def names(self) -> list[str]:
        """Every key of a table whose keys are names of things."""
        self._asked.update(dict.fromkeys(self._content))
        return list(self._content)

    def value(self, key: Key | str) -> object:
        """The raw value, None if there is none."""
        self._asked.setdefault(_name(key))
        return self._content.get(_name(key))

    def text(self, key: TextKey, default: str | None = None) -> str:
        """A line of text without control characters."""
        value = self.value(key)
        if default is None:
            default = key.default
        if value is None and default is not None:
            return default
        is_short = isinstance(value, str) and len(value) <= key.longest
        if isinstance(value, str) and is_short and value.strip() and _printable(value):
            return value
        self.refuse(key, show(value), f"a text of 1 to {key.longest} characters in one line")
        return ""

    def slug(self, key: IdKey) -> str:
        """An id."""
        value = self.value(key)
        if isinstance(value, str) and _SLUG.fullmatch(value):
            return value
        self.refuse(key, show(value), _SLUG_ALLOWED)
        return ""

    def pattern(self, key: PatternKey) -> str:
        """A text that matches the key's pattern; empty after a fault."""
        value = self.value(key)
        if isinstance(value, str) and re.fullmatch(key.pattern, value):
            return value
        self.refuse(key, show(value), key.allowed)
        return ""

    def choice(self, key: ChoiceKey, default: str | None = None) -> str | None:
        """One of some words; None after a fault."""
        value = self.value(key)
        if default is None:
            default = key.default
        if value is None and default is not None:
            return default
        if isinstance(value, str) and value in key.choices:
            return value
        self.refuse(key, show(value), one_of(value, key.choices))
        return None

    def choices(self, key: ChoicesKey) -> tuple[str, ...]:
        """Some of a few words, none twice, in their own order; all of them after a fault."""
        value = self.value(key)
        if value is None:
            return key.choices
        if isinstance(value, list) and all(item in key.choices for item in value):
            return tuple(word for word in key.choices if word in value)
        self.refuse(key, show(value), f"a list of some of {', '.join(map(repr, key.choices))}")
        return key.choices

    def mail_address(self, key: MailKey) -> str:
        """One mail address in the form that is compared; empty after a fault."""
        value = self.value(key)
        try:
            return stored_address(value if isinstance(value, str) else "")
        except ValueError as error:
            self.refuse(key, show(value), f"one mail address such as 'ana@example.org' ({error})")
            return ""

    def number(self, key: NumberKey, default: float | None = None) -> float:
        """A quantity in the unit of its measure; NaN after a fault."""
        value = self.value(key)
        if value is None:
            default = key.default if default is None else default
            if default is not None:
                return default
            self.refuse(key, "nothing", self.in_words(key.measure))
            return math.nan
        return self.read(value, key, key.measure)

    def read(self, value: object, key: Key | str, measure: Measure) -> float:
        """A value of the key as a quantity; NaN after a fault."""
        try:
            return read_quantity(
                value, measure, where=self.where(key), unit_system=self.unit_system
            )
        except InputInvalid as error:
            self._faults.extend(error.faults)
            return math.nan

    def integer(self, key: IntegerKey) -> int:
        """A whole number without a unit; 0 after a fault."""
        value = self.value(key)
        if type(value) is int and key.lowest <= value <= key.highest:
            return value
        self.refuse(key, show(value), f"a whole number from {key.lowest} to {key.highest}")
        return 0

    def numbers(self, key: NumbersKey) -> tuple[float, ...]:
        """A list of the required number of quantities; empty after a fault."""
        value = self.value(key)
        if not isinstance(value, list) or len(value) != key.count:
            self.refuse(
                key, show(value), f"a list of {key.count}, each {self.in_words(key.measure)}"
            )
            return ()
        read = tuple(
            self.read(item, f"{key.name}[{index}]", key.measure)
            for index, item in enumerate(value, 1)
        )
        return () if any(math.isnan(item) for item in read) else read

    def table(self, key: TableKey | NotesKey) -> Self | None:
        """A table inside this one; None if there is none or after a fault."""
        value = self.value(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            self.refuse(key, show(value), "a table such as { name = value, ... }")
            return None
        return self._below(value, self._inside(key.name))

    def tables(self, key: TablesKey) -> list[Self]:
        """The tables of a list, each named by its position, counting from 1."""
        value = self.value(key)
        if value is None:
            return []
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            allowed = f"a list of tables: write [[{key.name}]] above each"
            self.refuse(key, "no list of tables", allowed)
            return []
        return [
            self._below(item, self._inside_item(key.name, index, item))
            for index, item in enumerate(cast(list[dict[str, object]], value), 1)
        ]

    def _below(self, content: Mapping[str, object], place: str) -> Self:
        table = type(self)(content, place, self._faults)
        table.unit_system = self.unit_system
        return table

    def wall_min(self, key: TimeKey) -> int:
        """A time of day as minutes since 00:00; its default, or 0, after a fault."""
        value = self.value(key)
        if value is None and key.default is not None:
            return key.default
        minutes = read_wall(value)
        if minutes is None or minutes >= 1440 + key.is_end:
            self.refuse(key, show(value), _END_ALLOWED if key.is_end else _WALL_ALLOWED)
            return key.default or 0
        return minutes

    def windows(self, key: WindowsKey) -> tuple[WallWindow, ...]:
        """Time windows of a day in rising order, with touching ones joined; empty after a fault."""
        value = self.value(key)
        if value is None:
            return key.default
        if not isinstance(value, list) or not 1 <= len(value) <= MOST_WINDOWS:
            self.refuse(key, show(value), f"1 to {MOST_WINDOWS} {_WINDOW_ALLOWED}")
            return ()
        spans = [self._window(item, f"{key.name}[{index}]") for index, item in enumerate(value, 1)]
        known = sorted(
            (span for span in spans if span is not None), key=lambda span: span.opens_wall_min
        )
        if len(known) < len(spans):
            return ()
        joined: list[WallWindow] = []
        for span in known:
            if joined and span.opens_wall_min < joined[-1].closes_wall_min:
                self.refuse(key, show(value), "spans that do not overlap")
                return ()
            if joined and span.opens_wall_min == joined[-1].closes_wall_min:
                joined[-1] = WallWindow(joined[-1].opens_wall_min, span.closes_wall_min)
            else:
                joined.append(span)
        return tuple(joined)

    def _window(self, value: object, key: str) -> WallWindow | None:
        parts = [part.strip() for part in value.split("-")] if isinstance(value, str) else []
        ends = [read_wall(part) for part in parts]
        if len(ends) != 2 or ends[0] is None or ends[1] is None:
            self.refuse(key, show(value), _WINDOW_ALLOWED)
            return None
        opens, closes = ends[0], ends[1]
        if opens < closes:
            return WallWindow(opens, closes)
        allowed = f"a span that ends after it starts; {_WINDOW_ALLOWED}"
        if opens > closes > 0:
            allowed = (
                "a span within one day; for one across midnight write "
                f"['00:00-{wall_text(closes)}', '{wall_text(opens)}-24:00']"
            )
        elif closes == 0 and opens < 1440:
            allowed = f"a span within one day; write '{wall_text(opens)}-24:00'"
        self.refuse(key, show(value), allowed)
        return None

    def month_day(self, key: MonthDayKey) -> tuple[int, int] | None:
        """A day that every year has, as (month, day); None after a fault."""
        return self.read_month_day(self.value(key), key)

    def read_month_day(self, value: object, key: Key | str) -> tuple[int, int] | None:
        """As :meth:`month_day`, for a given value of the key."""
        match = _MONTH_DAY.fullmatch(value) if isinstance(value, str) else None
        if match is not None:
            try:
                found = date(2001, int(match[1]), int(match[2]))
            except ValueError:
                found = None
            if found is not None:
                return found.month, found.day
        self.refuse(
            key, show(value), "a month and day such as '03-20', 01-01 to 12-31 without 02-29"
        )
        return None

    def day(self, key: DayKey) -> date | None:
        """A calendar date; None if there is none or after a fault."""
        value = self.value(key)
        if value is None:
            return None
        moment = self._moment(value, key)
        if moment is not None and moment.time() == time(0):
            return moment.date()
        if moment is not None:
            self.refuse(key, show(value), "a date such as 2026-04-01, without a time")
        return None

    def local_moment(self, key: MomentKey) -> datetime | None:
        """A local date and time; a bare date is the start of that day, or its end for an end."""
        value = self.value(key)
        moment = self._moment(value, key)
        if moment is None:
            return None
        is_bare = len(value) == 10 if isinstance(value, str) else not isinstance(value, datetime)
        if key.is_end and is_bare and moment.date() < date.max:
            return moment + timedelta(days=1)
        return moment

    def _moment(self, value: object, key: Key) -> datetime | None:
        moment: datetime | None = None
        if isinstance(value, datetime):
            moment = value
        elif isinstance(value, date):
            moment = datetime.combine(value, time(0))
        elif isinstance(value, str) and _LOCAL.fullmatch(value):
            try:
                moment = datetime.fromisoformat(value)
            except ValueError:
                moment = None
        if moment is not None and moment.tzinfo is None and 1900 <= moment.year <= 2200:
            return moment
        self.refuse(
            key,
            show(value),
            "a date or a local date and time without an offset, such as 2026-06-01 or "
            "2026-06-01T06:00:00, years 1900 to 2200",
        )
        return None


def read_wall(value: object) -> int | None:
    """Minutes since 00:00 of ``HH:MM`` up to 24:00, or None."""
    if isinstance(value, time):
        return value.hour * 60 + value.minute if value.second == value.microsecond == 0 else None
    match = _WALL.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        return None
    minutes = int(match[1]) * 60 + int(match[2])
    return minutes if minutes <= 1440 else None


def _name(key: Key | str) -> str:
    return key if isinstance(key, str) else key.name


def _label(content: Mapping[str, object]) -> str:
    name = content.get("id", content.get("code", content.get("mail")))
    return f" {name[:40]!r}" if isinstance(name, str) else ""


def _printable(text: str) -> bool:
    return all(character.isprintable() for character in text)
