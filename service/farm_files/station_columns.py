"""The columns of a station's files: names that carry the unit, and what a logger's names mean.

A logger writes a name, a unit and how the value was formed (mean, extreme, total) over each column.
A column is recognised only if all three agree on one quantity and one unit; otherwise it is
ignored, or asked about if it looks like a quantity that is needed. Nothing is guessed, above all
not between Celsius and Fahrenheit. The names are those that loggers commonly use (common practice,
no source).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from service.unit_sizes import FAHRENHEIT_PER_CELSIUS, FREEZING_POINT_F, M_S_PER_MPH, MM_PER_INCH

SUSPECT_MEDIAN_C = 55.0  # [degC] a median of the days' maxima above it is degF or K


@dataclass(frozen=True, slots=True, kw_only=True)
class StationColumn:
    """One way to give a quantity of an interval: its field, its unit, its possible range."""

    field: str
    lowest: float
    highest: float
    """In the column's own unit; a value outside counts as missing and is flagged."""
    factor: float = 1.0
    offset: float = 0.0
    """The field's unit is ``factor`` times the value plus ``offset``."""
    suspect_median: float = math.inf
    """Above this median (of days' maxima, for temperatures) the column is in another unit."""
    suspect: str = ""
    radiation: str | None = None
    """``w-m2`` for a mean flux, ``mj-m2`` for a total."""
    is_counter: bool = False
    """A running total, whose differences are the rain."""


def _temperatures(quantity: str) -> dict[str, StationColumn]:
    return {
        f"{quantity}_c": StationColumn(
            field=f"{quantity}_c",
            lowest=-60.0,
            highest=60.0,
            suspect_median=SUSPECT_MEDIAN_C,
            suspect=f"degrees Fahrenheit; then it is {quantity}_f",
        ),
        f"{quantity}_f": StationColumn(
            field=f"{quantity}_c",
            lowest=-76.0,
            highest=140.0,
            factor=1.0 / FAHRENHEIT_PER_CELSIUS,
            offset=-FREEZING_POINT_F / FAHRENHEIT_PER_CELSIUS,
            suspect_median=150.0,
            suspect="kelvin; convert it",
        ),
    }


def _radiation(name: str, factor: float, highest: float, kind: str) -> dict[str, StationColumn]:
    # A pyranometer reads a few W/m2 below zero at night; that counts as zero.
    return {
        name: StationColumn(
            field="rs_mj_m2",
            lowest=-0.02 * highest,
            highest=highest,
            factor=factor,
            radiation=kind,
            suspect_median=highest,
            suspect="another unit",
        )
    }


STATION_COLUMNS: Mapping[str, StationColumn] = MappingProxyType(
    {
        **_temperatures("temperature"),
        **_temperatures("tmax"),
        **_temperatures("tmin"),
        **_temperatures("tdew"),
        "ea_kpa": StationColumn(
            field="ea_kpa", lowest=0.0, highest=10.0, suspect_median=5.0, suspect="hectopascals"
        ),
        **{
            name: StationColumn(field=name, lowest=0.0, highest=105.0)
            for name in ("rhmean_pct", "rhmax_pct", "rhmin_pct")
        },
        "wind_m_s": StationColumn(
            field="wind_m_s",
            lowest=0.0,
            highest=40.0,
            suspect_median=20.0,
            suspect="miles or kilometres an hour; then it is wind_mph or wind_km_h",
        ),
        "wind_mph": StationColumn(
            field="wind_m_s", lowest=0.0, highest=90.0, factor=M_S_PER_MPH, suspect_median=45.0
        ),
        "wind_km_h": StationColumn(
            field="wind_m_s", lowest=0.0, highest=144.0, factor=1.0 / 3.6, suspect_median=72.0
        ),
        # The sun gives 1361 W/m2 above the air; edges of clouds lift the ground's share above it.
        # A mean is made a total with the length of its interval.
        **_radiation("rs_w_m2", 1e-6, 1500.0, "w-m2"),
        **_radiation("rs_kw_m2", 1e-3, 1.5, "w-m2"),
        **_radiation("rs_mj_m2", 1.0, 50.0, "mj-m2"),
        **_radiation("rs_kj_m2", 1e-3, 50_000.0, "mj-m2"),
        "rain_mm": StationColumn(field="rain_mm", lowest=0.0, highest=500.0),
        "rain_in": StationColumn(field="rain_mm", lowest=0.0, highest=20.0, factor=MM_PER_INCH),
        "rain_counter_mm": StationColumn(
            field="rain_mm", lowest=0.0, highest=100_000.0, is_counter=True
        ),
        "rain_counter_in": StationColumn(
            field="rain_mm", lowest=0.0, highest=4000.0, factor=MM_PER_INCH, is_counter=True
        ),
    }
)
"""Every column that a station's file may have in addition to ``timestamp``."""

_UNITS: Mapping[str, str] = MappingProxyType(
    {
        spelling: unit
        for unit, spellings in {
            "c": "c degc deg_c degreesc celsius °c",
            "f": "f degf deg_f degreesf fahrenheit °f",
            "pct": "% pct percent %rh",
            "kpa": "kpa",
            "m_s": "m/s meters/second meters/sec metres/second ms ms-1 m.s-1",
            "mph": "mph miles/hour mile/hour",
            "km_h": "km/h kph km/hr kmh kilometers/hour",
            "w_m2": "w/m2 w/m^2 w/m² wm-2 watts/m2 watts/meter2",
            "kw_m2": "kw/m2 kw/m^2 kw/m²",
            "mj_m2": "mj/m2 mj/m^2 mj/m² mjm-2",
            "kj_m2": "kj/m2 kj/m^2 kj/m²",
            "mm": "mm millimeter millimeters",
            "in": "in inch inches",
        }.items()
        for spelling in spellings.split()
    }
)

_WORDS: Mapping[str, re.Pattern[str]] = MappingProxyType(
    {
        quantity: re.compile(pattern, re.IGNORECASE)
        for quantity, pattern in {
            "temperature": r"(air_?t|t_?air|ta(_|$)|air_?temp|temp_?air)",
            "tdew": r"(dew|td(_|[cf]_|$)|tdew|tdp|dp_?t)",
            "ea": r"(vp_|vp$|ea_|ea$|vap)",
            "rh": r"(rh|rel_?hum|humidity)",
            "wind": r"(ws(_|$)|wspd|wnd_?spd|wind_?sp)",
            "rs": r"(slr|sol_?rad|solar|srad|swin|sw_in|rs(_|$)|glob)",
            "rain": r"(rain|precip|ppt|prcp)",
        }.items()
    }
)
_UNITS_OF: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "temperature": ("c", "f"),
        "tdew": ("c", "f"),
        "ea": ("kpa",),
        "rh": ("pct",),
        "wind": ("m_s", "mph", "km_h"),
        "rs": ("w_m2", "kw_m2", "mj_m2", "kj_m2"),
        "rain": ("mm", "in"),
    }
)
_EXTREMES = {("temperature", "max"): "tmax", ("temperature", "min"): "tmin"}
_DEGREES_IN_NAME = re.compile(r"(?:_|(?<=T)|(?<=Temp))([CF])(?=_|$)")
_COUNTER = re.compile(r"(cum|count|accum|running)", re.IGNORECASE)
_WAYS = ("max", "min", "avg", "tot", "smp")
_NOT_A_VALUE = re.compile(r"(TMx|TMn|_std|Std|Time)", re.ASCII)
_LAST_WORD = re.compile(r"_([A-Za-z]+)(?:\(\d+\))?$")


@dataclass(frozen=True, slots=True)
class Recognised:
    """What a logger's column was recognised as."""

    name: str | None
    """Our name, or None."""
    question: str = ""
    """Why it is asked about rather than used or ignored."""


def recognise(label: str, unit: str, way: str) -> Recognised:
    """What a logger's column is, by its name, unit and processing (Avg, Max, Tot)."""
    quantity = next((word for word, pattern in _WORDS.items() if pattern.match(label)), None)
    if quantity is None or _NOT_A_VALUE.search(label):
        return Recognised(None)
    how = _way(label, way)
    if quantity in ("wind", "tdew", "ea") and how in ("max", "min"):
        return Recognised(None)  # gusts and the like
    known = _UNITS.get(unit.strip().casefold().replace(" ", ""))
    if known not in _UNITS_OF[quantity]:
        return Recognised(None, f"unit {unit!r}, where {quantity} may have" + _choices(quantity))
    degrees = _DEGREES_IN_NAME.search(label)
    if known in ("c", "f") and degrees and degrees[1].casefold() != known:
        return Recognised(None, f"unit {unit!r} under a name that says degrees {degrees[1]}")
    return _named(quantity, known, how, label)


def _way(label: str, way: str) -> str:
    """How the value was formed: by the logger's own label, else by the end of the name."""
    stated = way.strip().casefold()
    if stated in _WAYS:
        return stated
    last = _LAST_WORD.search(label)
    word = last[1].casefold() if last else ""
    return word if word in _WAYS else ""


def _named(quantity: str, unit: str, how: str, label: str) -> Recognised:
    if quantity == "rain":
        if _COUNTER.search(label):
            return Recognised(f"rain_counter_{unit}")
        if how == "tot":
            return Recognised(f"rain_{unit}")
        if how in ("max", "min"):
            return Recognised(None)
        return Recognised(None, "not stated whether it is the rain of the interval or a counter")
    if quantity == "rs":
        if how in ("max", "min"):
            return Recognised(None)
        is_total = unit in ("mj_m2", "kj_m2")
        if is_total != (how == "tot"):
            return Recognised(None, f"a flux is a mean and an energy a total; this is {how or '?'}")
        return Recognised(f"rs_{unit}")
    if quantity == "rh":
        return Recognised(f"rh{how if how in ('max', 'min') else 'mean'}_pct")
    if quantity == "temperature":
        return Recognised(f"{_EXTREMES.get((quantity, how), quantity)}_{unit}")
    return Recognised(f"{quantity}_{unit}")


def _choices(quantity: str) -> str:
    return f" {' or '.join(_UNITS_OF[quantity])}"
