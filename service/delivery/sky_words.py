"""The weather of a day in one line, in a reader's language: for mails and pages."""

from __future__ import annotations

from collections.abc import Sequence

from service.records.letters import SiteLine, SkyDay
from service.translations import Wording
from service.unit_sizes import M_S_PER_MPH

LEAST_RAIN_MM = 0.5
"""[CHOICE] Rain of a day that is worth naming; less wets the leaves."""


def sky_of(site: SiteLine, words: Wording) -> str:
    """The weather of a site in one line; empty where nothing is known."""
    if not site.sky:
        return ""
    day, *later = site.sky
    parts = [part for part in (_warmth(day, words), _wind(day, words), _rain(day, words)) if part]
    if not parts:
        return ""
    return f"{', '.join(parts)}. {_next_rain(later, words)}".strip()


def _warmth(day: SkyDay, words: Wording) -> str:
    if day.tmin_c is None or day.tmax_c is None:
        return ""
    if words.unit_system == "us":
        low, high = (words.number(value * 1.8 + 32.0) for value in (day.tmin_c, day.tmax_c))
        return words.gettext("{low} to {high} °F", low=low, high=high)
    low, high = (words.number(value) for value in (day.tmin_c, day.tmax_c))
    return words.gettext("{low} to {high} °C", low=low, high=high)


def _wind(day: SkyDay, words: Wording) -> str:
    if day.wind_m_s is None:
        return ""
    if words.unit_system == "us":
        return words.gettext("wind {speed} mph", speed=words.number(day.wind_m_s / M_S_PER_MPH))
    return words.gettext("wind {speed} km/h", speed=words.number(day.wind_m_s * 3.6))


def _rain(day: SkyDay, words: Wording) -> str:
    if day.rain_mm is None:
        return ""
    chance = day.rain_probability_fraction
    if day.rain_mm >= LEAST_RAIN_MM:
        depth = words.depth(day.rain_mm)
        if chance is None:
            return words.gettext("{depth} of rain", depth=depth)
        return words.gettext(
            "{depth} of rain at a chance of {chance}", depth=depth, chance=words.percent(chance)
        )
    if not chance or chance >= 1.0:  # a source without chances says that what it says is certain
        return words.gettext("no rain")
    return words.gettext("{chance} chance of rain", chance=words.percent(chance))


def _next_rain(later: Sequence[SkyDay], words: Wording) -> str:
    coming = next((day for day in later if (day.rain_mm or 0.0) >= LEAST_RAIN_MM), None)
    if coming is not None:
        return words.gettext(
            "Next rain: {day}, {depth}.",
            day=words.short_day(coming.day),
            depth=words.depth(coming.rain_mm or 0.0),
        )
    known = [day.day for day in later if day.rain_mm is not None]
    if not known:
        return ""
    return words.gettext("No rain in sight up to {day}.", day=words.short_day(known[-1]))
