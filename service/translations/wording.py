"""Texts, numbers, days and times in one reader's language and units."""

from __future__ import annotations

import gettext
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import cache, lru_cache
from zoneinfo import ZoneInfo

from babel import Locale
from babel.dates import format_date, format_skeleton, format_time, get_timezone_name
from babel.numbers import format_decimal, format_percent

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.depth_rounding import depth_decimals, shown_depth
from service.agronomy.reasoning import Step
from service.agronomy.step_template import put_in
from service.translations.catalogue import SOURCE_LANGUAGE, translations
from service.translations.number_labels import NUMBER_LABELS, UNIT_LABELS
from service.translations.patterns import ISO_DAY, put_together
from service.unit_sizes import L_PER_GALLON, L_PER_M3, M_PER_KM, M_PER_MILE, MM_PER_INCH

US = "us"
_LOCALES = {
    ("en", "us"): "en_US",
    ("en", "si"): "en_001",
    ("es", "us"): "es_US",
    ("es", "si"): "es_MX",
}
_LONG_DAYS = {
    "en_US": "EEEE, MMMM d",
    "en_001": "EEEE d MMMM",
    "es_US": "EEEE d 'de' MMMM",
    "es_MX": "EEEE d 'de' MMMM",
}
_BEFORE_YEAR = {"en_US": ", ", "en_001": " ", "es_US": " de ", "es_MX": " de "}
LITRES_UP_TO = 100_000.0
UNKNOWN = "?"


_IN_BOTH_UNITS = re.compile(r"([0-9][0-9.,]*) kg/ha \(([0-9][0-9.,]*) lb/ac\)")


def own_unit_first(text: str, unit_system: str) -> str:
    """A text whose rates are in both units, the reader's own before the other.

    >>> own_unit_first("54 kg/ha (48 lb/ac) of sulfur", "us")
    '48 lb/ac (54 kg/ha) of sulfur'
    """
    if unit_system != US or " kg/ha (" not in text:
        return text
    return _IN_BOTH_UNITS.sub(r"\2 lb/ac (\1 kg/ha)", text)


@dataclass(frozen=True, slots=True)
class Wording:
    """One language and one unit system; get it from :func:`wording`."""

    language: str
    unit_system: str
    locale: Locale
    catalogue: gettext.GNUTranslations

    @property
    def tag(self) -> str:
        """The name of the locale, by which caches know it: a Locale takes long to hash."""
        return _LOCALES[self.language, self.unit_system]

    # --- texts ---------------------------------------------------------------------------------

    def gettext(self, text: str, **values: object) -> str:
        """A text in the language, with values put into its braces.

        A text that has its values in it already, as faults and origins of numbers have, is taken
        apart where it follows one of ``PATTERNS``; any other unknown text stays as it is.
        """
        translated = self.catalogue.gettext(text)
        if values:
            # A clock in Spanish ends in a point of its own, which also ends the sentence.
            filled = translated.format(**values).replace(".m..", ".m.")
            return own_unit_first(filled, self.unit_system)
        if translated is text and (self.language != SOURCE_LANGUAGE or ISO_DAY.search(text)):
            translated = put_together(text, self.gettext, self.short_day)
        return own_unit_first(translated, self.unit_system)

    def ngettext(self, one: str, many: str, count: int, **values: object) -> str:
        """A text that depends on a number, with ``{count}`` in it."""
        translated = self.catalogue.ngettext(one, many, count)
        return translated.format(count=self.number(count), **values)

    def listed(self, parts: Iterable[str]) -> str:
        """``a, b and c``."""
        *most, last = parts
        return self.gettext("{most} and {last}", most=", ".join(most), last=last) if most else last

    def label(self, name: str) -> str:
        """What people call a number of a block."""
        known = NUMBER_LABELS.get(name)
        return name.replace("_", " ") if known is None else self.gettext(known)

    def unit(self, key: str) -> str:
        """A unit as people write it."""
        return self.gettext(UNIT_LABELS[key]) if key in UNIT_LABELS else key

    def worked(self, step: Step) -> str:
        """The equation of a step of the reasoning with its numbers put in."""
        return put_in(self.catalogue.gettext(step.template), step.values, self.number)

    # --- numbers -------------------------------------------------------------------------------

    def number(self, value: float, decimals: int = 0) -> str:
        """A number with the marks of the language."""
        if not math.isfinite(value):
            return UNKNOWN
        return _in_decimals(value + 0.0, decimals, self.tag)

    def percent(self, fraction: float) -> str:
        """A share as a whole percentage."""
        if not math.isfinite(fraction):
            return UNKNOWN
        return format_percent(fraction, format="#,##0%", locale=self.locale)

    def depth(self, depth_mm: float) -> str:
        """A depth of water with its unit."""
        if self.unit_system == US:
            return self.gettext("{depth} in", depth=self.bare_depth(depth_mm))
        return self.gettext("{depth} mm", depth=self.bare_depth(depth_mm))

    def bare_depth(self, depth_mm: float) -> str:
        """A depth of water without its unit, which the heading names."""
        in_inches = self.unit_system == US
        return self.number(
            shown_depth(depth_mm, in_inches=in_inches), depth_decimals(in_inches=in_inches)
        )

    def ledger_depth(self, depth_mm: float) -> str:
        """A bare depth with one decimal more, so that a line of a ledger adds up."""
        if self.unit_system == US:
            return self.number(depth_mm / MM_PER_INCH, 3)
        return self.number(depth_mm, 2)

    @property
    def depth_unit(self) -> str:
        """The unit of depths, for a heading."""
        return self.gettext("inches") if self.unit_system == US else self.gettext("mm")

    def volume(self, volume_l: float) -> str:
        """A volume of water with its unit."""
        if self.unit_system == US:
            return self.gettext("{volume} gal", volume=self.number(volume_l / L_PER_GALLON))
        if abs(volume_l) >= LITRES_UP_TO:
            return self.gettext("{volume} m³", volume=self.number(volume_l / L_PER_M3))
        return self.gettext("{volume} L", volume=self.number(volume_l))

    def distance(self, distance_km: float) -> str:
        """A distance over land with its unit."""
        if self.unit_system == US:
            return self.gettext(
                "{miles} miles", miles=self.number(distance_km * M_PER_KM / M_PER_MILE)
            )
        return self.gettext("{kilometres} km", kilometres=self.number(distance_km))

    def minutes(self, minutes: float) -> str:
        """Run time in whole minutes, as controllers take it."""
        return self.gettext("{minutes} min", minutes=self.number(minutes))

    # --- days and times ------------------------------------------------------------------------

    def clock(self, instant: datetime, zone: str) -> str:
        """Time of day on the zone's clock: twelve hours with US units, else twenty-four."""
        local = instant.astimezone(ZoneInfo(zone))
        pattern = "h:mm a" if self.unit_system == US else "HH:mm"
        return _on_clock(local.hour, local.minute, pattern, self.tag)

    def wall_clock(self, wall_min: int) -> str:
        """A time of day as :meth:`clock` writes it, by its minutes since midnight."""
        pattern = "h:mm a" if self.unit_system == US else "HH:mm"
        return _on_clock(wall_min // 60 % 24, wall_min % 60, pattern, self.tag)

    def moment(self, instant: datetime, zone: str) -> str:
        """Day and time on the zone's clock."""
        return f"{self.short_day(instant.astimezone(ZoneInfo(zone)).date())}, " + self.clock(
            instant, zone
        )

    def clock_of_day(self, day: date, zone: str) -> str:
        """What people call the zone's clock on a day; two names when the clocks change."""
        midnights = (
            datetime.combine(each, time.min, ZoneInfo(zone)) for each in (day, day + ONE_DAY)
        )
        names = dict.fromkeys(
            get_timezone_name(midnight, width="long", locale=self.locale) for midnight in midnights
        )
        first, *later = names
        return self.gettext("{first}, then {then}", first=first, then=later[0]) if later else first

    def long_day(self, day: date) -> str:
        """A day with its weekday in full."""
        return _in_full(day, _LONG_DAYS[self.tag], self.tag)

    def dated(self, day: date) -> str:
        """A day with its year, where it may be long past."""
        return self.with_year(self.long_day(day), day.year)

    def with_year(self, day: str, year: int) -> str:
        """A day that is written already, and its year."""
        return f"{day}{_BEFORE_YEAR[self.tag]}{year}"

    def short_day(self, day: date) -> str:
        """A day in few letters."""
        return _in_skeleton("MMMEd", day, self.tag)

    def yearly_day(self, month: int, day: int) -> str:
        """A day that every year has, in few letters."""
        return _in_skeleton("MMMd", date(2024, month, day), self.tag)

    def weekday(self, day: date) -> str:
        """The weekday in a few letters."""
        return _in_skeleton("EEE", day, self.tag).rstrip(".")

    def month(self, day: date) -> str:
        """The month of a day, with its year."""
        return _in_skeleton("yMMMM", day, self.tag)

    def month_name(self, day: date) -> str:
        """The month of a day in a few letters, without its year."""
        return _in_skeleton("MMM", day, self.locale).rstrip(".")

    def span(self, first_day: date, last_day: date) -> str:
        """Two days and all between them."""
        return self.gettext(
            "{first} to {last}", first=self.short_day(first_day), last=self.short_day(last_day)
        )

    def depths(self, depths_mm: Mapping[str, float | None]) -> dict[str, str]:
        """Depths by name, with their unit."""
        return {
            name: self.depth(math.nan if value is None else value)
            for name, value in depths_mm.items()
        }


@cache
def wording(language: str, unit_system: str) -> Wording:
    """How a reader of this language (``en`` or ``es``) and unit system (``us`` or ``si``) reads."""
    return Wording(
        language=language,
        unit_system=unit_system,
        locale=Locale.parse(_LOCALES[language, unit_system]),
        catalogue=translations(language),
    )


@lru_cache(maxsize=16_384)
def _in_decimals(value: float, decimals: int, locale: str) -> str:
    """A number; cached, because a page of a hundred blocks has thousands, many of them equal."""
    pattern = "#,##0." + "0" * decimals if decimals else "#,##0"
    return format_decimal(value, format=pattern, locale=locale)


@lru_cache(maxsize=4096)
def _on_clock(hour: int, minute: int, pattern: str, locale: str) -> str:
    """A time of day; cached, because there are few of them."""
    return _plain(format_time(time(hour, minute), format=pattern, locale=locale))


@lru_cache(maxsize=1024)
def _in_full(day: date, pattern: str, locale: str) -> str:
    """A day as the pattern has it."""
    return _plain(format_date(day, format=pattern, locale=locale))


@lru_cache(maxsize=4096)
def _in_skeleton(skeleton: str, day: date, locale: str) -> str:
    """A day; cached, because finding the pattern costs more than the rest of a line."""
    return _plain(format_skeleton(skeleton, day, locale=locale))


def _plain(text: str) -> str:
    """Locale data with ordinary spaces: the narrow ones are missing from fonts of old phones."""
    return text.replace("\u202f", " ").replace("\u00a0", " ")
