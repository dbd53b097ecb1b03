"""Kinds of keys that a file may hold: the value of each, its bounds, its default, in words.

A table is declared as a class, a key as one of its attributes::

    class SupplyKeys(Table):
        \"\"\"A pump, well or hydrant that blocks share.\"\"\"

        flow = NumberKey(about="What it can deliver.", measure=SUPPLY_FLOW, is_needed=True)

Nothing else says what a key is: the reader (:mod:`service.farm_files.toml_table`), the schemas of
the API and of editors (:mod:`service.farm_files.schema`) and the pages take it from here.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass

from service.agronomy.records import WallWindow
from service.farm_files.quantities import Measure

MOST_WINDOWS = 12
NO_LIMIT = sys.maxsize
"""Most tables or points, if nothing but the size of the file bounds their number."""
UNIT_SYSTEMS = ("us", "si")
SLUG_PATTERN = "[a-z0-9][a-z0-9-]{0,39}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key; its name is that of the attribute that declares it."""

    about: str
    """What the key means, for growers, in sentences."""
    name: str = ""
    is_needed: bool = False
    """Whether every table of its kind must have it."""
    otherwise: str = ""
    """What applies if it is left out, in words; empty if the default says so itself."""

    def __set_name__(self, owner: type, name: str) -> None:
        """Take the name of the attribute, except for names that Python does not allow."""
        if not self.name:
            object.__setattr__(self, "name", name)


class Table:
    """The keys of one table; the docstring says what the table is."""

    @classmethod
    def declared(cls) -> tuple[Key, ...]:
        """The keys in the order in which they are read."""
        return tuple(value for value in vars(cls).values() if isinstance(value, Key))

    @classmethod
    def title(cls) -> str:
        """What schemas call the table."""
        return cls.__name__.replace("Keys", "Table")


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberKey(Key):
    """A quantity, or a number without a unit."""

    measure: Measure
    default: float | None = None
    """In the unit of the measure; NaN or infinity if there is none. None: see ``otherwise``."""
    origin: str = ""
    """Source of the default."""
    field: str = ""
    """Name in :class:`service.records.farms.BlockDefinition`, for the numbers of a block."""
    is_whole: bool = False
    takes_pressure: bool = False
    """May also be given as a pressure; the measure is its head of water."""

    @property
    def fixed_default(self) -> float | None:
        """The default as far as it is a number."""
        is_number = self.default is not None and math.isfinite(self.default)
        return self.default if is_number else None


@dataclass(frozen=True, slots=True, kw_only=True)
class IntegerKey(Key):
    """A whole number without a unit."""

    lowest: int
    highest: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TextKey(Key):
    """A line of text."""

    longest: int = 120
    default: str | None = None
    example: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternKey(Key):
    """A text that matches a pattern."""

    pattern: str
    allowed: str
    """The pattern in words."""
    example: str


@dataclass(frozen=True, slots=True, kw_only=True)
class IdKey(Key):
    """A new id, or the id of something defined elsewhere in the file."""

    refers_to: str = ""
    """The tables that the id may refer to."""
    example: str = "north-2"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoiceKey(Key):
    """One of some words."""

    choices: tuple[str, ...]
    default: str | None = None
    is_spelt_freely: bool = False
    """Whether capital letters, and spaces for hyphens, are accepted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoicesKey(Key):
    """Some of a few words; all of them by default."""

    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MailKey(Key):
    """One mail address."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneKey(Key):
    """A time zone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeKey(Key):
    """A time of day."""

    default: int | None = None
    """[min] since 00:00"""
    is_end: bool = False
    """May be 24:00, the end of the day."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowsKey(Key):
    """Time windows of a day."""

    default: tuple[WallWindow, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthDayKey(Key):
    """A day of every year."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DayKey(Key):
    """A calendar date."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MomentKey(Key):
    """A local date and time, or a bare date for a whole day."""

    is_end: bool = False
    """A bare date is the end of its day, not the start."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NumbersKey(Key):
    """A list of a fixed number of quantities."""

    measure: Measure
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PairKey(Key):
    """Two heads of water or pressures, the lower one first."""

    measure: Measure


@dataclass(frozen=True, slots=True, kw_only=True)
class PointsKey(Key):
    """Points along a line: pairs of a position and a number."""

    along: Measure | None
    """None: the position is a day of the year."""
    value: Measure
    fewest: int
    most: int = NO_LIMIT


@dataclass(frozen=True, slots=True, kw_only=True)
class TableKey(Key):
    """A table inside the table."""

    tables: tuple[type[Table], ...]
    """The possible forms of the table, one or more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TablesKey(Key):
    """A list of tables."""

    table: type[Table]
    fewest: int = 0
    most: int = NO_LIMIT


@dataclass(frozen=True, slots=True, kw_only=True)
class NotesKey(Key):
    """A table of notes, each a text under the name of its subject."""

    names: Callable[[], tuple[str, ...]]
    longest: int = 400

    def note(self, name: str) -> TextKey:
        """The key of one note."""
        return TextKey(name=name, about=self.about, longest=self.longest)


# --- measures that many keys share ---------------------------------------------------------------


def length(lowest: float, highest: float, *examples: str, unit: str = "m") -> Measure:
    """A length between bounds in the unit."""
    return Measure(
        noun="a length",
        unit=unit,
        lowest=lowest,
        highest=highest,
        examples=examples or ("'10 ft'", "'3 m'"),
    )


def duration(lowest: float, highest: float, *examples: str, unit: str = "min") -> Measure:
    """A duration between bounds in the unit."""
    return Measure(noun="a duration", unit=unit, lowest=lowest, highest=highest, examples=examples)


def share(lowest: float, highest: float, *examples: str) -> Measure:
    """A fraction."""
    return plain("a share", lowest, highest, *(examples or ("0.4", "'40 %'")))


def plain(noun: str, lowest: float, highest: float, *examples: str) -> Measure:
    """A number without a unit."""
    return Measure(noun=noun, unit="", lowest=lowest, highest=highest, examples=examples)
