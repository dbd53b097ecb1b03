"""The weather behind the plans of a site, as it is stored with them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import orjson

from service.agronomy.dewpoint import dewpoint_c
from service.agronomy.step_template import Numbers
from service.agronomy.weather_agreement import Reason


@dataclass(frozen=True, slots=True)
class WeatherOrigin:
    """Where weather values come from."""

    source: str
    kind: str
    """``observed``, ``analysis`` or ``forecast``."""
    issued_at: datetime
    fetched_at: datetime


@dataclass(frozen=True, slots=True)
class FieldOrigin:
    """Where one weather quantity of a day was taken from."""

    name: str
    origin: WeatherOrigin
    hours_present: float | None
    """Hours of the day that the source had; None where it gave the day as a whole."""
    estimated_from: str | None
    """What the source's value was estimated from; None: it is the source's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BorrowedSpan:
    """Past days whose reference ET is that of a place nearby times a ratio."""

    first_day: date
    last_day: date
    distance_km: float
    neighbour_ratio: float
    """Sum of reference ET here over that there, on the days around that both know."""
    common_days_count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ValueSetAside:
    """A value of the most trusted source that was not used, and why."""

    day: date
    name: str
    """The quantity, in the unit of the name: wind at 2 m, humidity as the dewpoint."""
    value: float
    source: str
    kind: str
    reason: Reason
    used: float | None
    """What was used in its place; None: nothing is known."""


Band = tuple[float, float, float]


def whole_band(low: float | None, middle: float | None, high: float | None) -> Band | None:
    """A band of which all three are known; else None."""
    return None if low is None or middle is None or high is None else (low, middle, high)


@dataclass(frozen=True, slots=True, kw_only=True)
class RainSpread:
    """Rain of the coming days by the members of a forecast, columns over its days."""

    days: tuple[date, ...]
    member_count: int
    models: str
    """Models of an ensemble; empty: made from the chance of rain and the amount."""
    flags: int
    """Bits of :class:`service.agronomy.member_checks.MemberFlag`."""
    rain_p10_mm: tuple[float | None, ...]
    rain_p50_mm: tuple[float | None, ...]
    rain_p90_mm: tuple[float | None, ...]
    wet_fraction: tuple[float | None, ...]
    """Share of the members with rain."""
    counted_fraction: tuple[float | None, ...] = ()
    """Share of the members with at least a fifth of their reference ET of rain, which counts for
    the root zone; empty in plans from before it was looked at."""

    def band_mm(self, day: date) -> Band | None:
        """Rain of a day that one member in ten, half and nine in ten do not pass; None: unknown."""
        if day not in self.days:
            return None
        row = self.days.index(day)
        return whole_band(self.rain_p10_mm[row], self.rain_p50_mm[row], self.rain_p90_mm[row])

    def chance_that_counts(self, day: date) -> float | None:
        """Chance of rain that counts; None where it is not known."""
        if day not in self.days or not self.counted_fraction:
            return None
        return self.counted_fraction[self.days.index(day)]


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherBasis:
    """The weather behind the plans of a site: columns over the days, by quantity."""

    zone: str
    latitude_deg: float | None
    elevation_m: float | None
    days: tuple[date, ...]
    """The day before the evening, the evening's own, and the coming days."""
    fields: Mapping[str, Sequence[float | None]]
    flags: Mapping[str, Sequence[int]]
    """Bits of :class:`service.agronomy.weather_flags.FieldFlag`."""
    unit_fault: str
    """Which quantity seems to be in a wrong unit; empty: none."""
    origins: tuple[WeatherOrigin, ...]
    origin_of: Mapping[str, Sequence[int]]
    """Place among the origins of each quantity and day; negative: no source gave it."""
    field_notes: Mapping[str, Mapping[str, Mapping[str, Any]]]
    """A source's notes on its own values, by quantity and day."""
    borrowed: tuple[BorrowedSpan, ...] = ()
    """Days of the last ten before the evening."""
    set_aside: tuple[ValueSetAside, ...] = ()
    rain_spread: RainSpread | None = None
    """None where the forecast has no members, and in plans from before there were any."""

    def row_of(self, day: date) -> int:
        """Place of a day in the columns; raises ValueError for a day that is not among them."""
        return self.days.index(day)

    def value(self, name: str, day: date) -> float | None:
        """One quantity of a day; None where it is not known."""
        column = self.fields.get(name)
        return column[self.days.index(day)] if column and day in self.days else None

    def numbers_of(self, day: date) -> Numbers:
        """All quantities of a day."""
        row = self.row_of(day)
        return {name: column[row] for name, column in self.fields.items()}

    def origin(self, name: str, day: date) -> WeatherOrigin | None:
        """Where one quantity of a day was taken from; None where no source gave it."""
        places = self.origin_of.get(name)
        if not places or places[self.row_of(day)] < 0:
            return None
        return self.origins[places[self.row_of(day)]]

    def field_origins(self, day: date) -> list[FieldOrigin]:
        """Where the weather of a day was taken from, quantity by quantity."""
        found = []
        for name in self.origin_of:
            origin = self.origin(name, day)
            if origin is None:
                continue
            note = self.field_notes.get(name, {}).get(day.isoformat(), {})
            hours, estimated = note.get("hours_present"), note.get("estimated_from")
            found.append(
                FieldOrigin(
                    name=name,
                    origin=origin,
                    hours_present=float(hours) if isinstance(hours, int | float) else None,
                    estimated_from=estimated if isinstance(estimated, str) else None,
                )
            )
        return found


def _value_set_aside(entry: Mapping[str, Any], stored: Mapping[str, Any]) -> ValueSetAside:
    name, row = entry["name"], stored["days"].index(entry["day"])
    of_humidity = name == "tdew_c"
    used = stored["fields"]["ea_kpa" if of_humidity else name][row]
    return ValueSetAside(
        day=date.fromisoformat(entry["day"]),
        name=name,
        value=entry["value"],
        source=entry["source"],
        kind=entry["kind"],
        reason=Reason[entry["reason"].upper()],
        used=round(float(dewpoint_c(used)), 2) if of_humidity and used is not None else used,
    )


def read_weather_basis(text: str | bytes) -> WeatherBasis:
    """The weather behind the plans of a site out of its stored JSON."""
    stored: dict[str, Any] = orjson.loads(text)
    return WeatherBasis(
        zone=stored["zone"],
        latitude_deg=stored.get("latitude_deg"),
        elevation_m=stored.get("elevation_m"),
        days=tuple(map(date.fromisoformat, stored["days"])),
        fields=stored["fields"],
        flags=stored["flags"],
        unit_fault=stored.get("unit_fault") or "",
        origins=tuple(
            WeatherOrigin(
                origin["source"],
                origin["kind"],
                datetime.fromisoformat(origin["issued_at"]),
                datetime.fromisoformat(origin["fetched_at"]),
            )
            for origin in stored["origins"]
        ),
        origin_of=stored["origin_of"],
        field_notes=stored.get("field_notes", {}),
        borrowed=tuple(
            BorrowedSpan(
                first_day=date.fromisoformat(span["first_day"]),
                last_day=date.fromisoformat(span["last_day"]),
                distance_km=span["distance_km"],
                neighbour_ratio=span["neighbour_ratio"],
                common_days_count=int(span["common_days_count"]),
            )
            for span in stored.get("borrowed_et0", ())
        ),
        set_aside=tuple(_value_set_aside(entry, stored) for entry in stored.get("set_aside", ())),
        rain_spread=_spread(stored.get("rain_spread")),
    )


def _spread(stored: Mapping[str, Any] | None) -> RainSpread | None:
    if stored is None:
        return None
    columns = ("rain_p10_mm", "rain_p50_mm", "rain_p90_mm", "wet_fraction")
    return RainSpread(
        days=tuple(map(date.fromisoformat, stored["days"])),
        member_count=stored["member_count"],
        models=stored["models"],
        flags=stored["flags"],
        **{name: tuple(stored[name]) for name in columns},
        counted_fraction=tuple(stored.get("counted_fraction", ())),
    )
