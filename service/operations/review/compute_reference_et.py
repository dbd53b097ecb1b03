"""Reference ET from a table of daily weather alone: no store, no farm, nothing filled.

For people who want to check this service's numbers against their own. A day that cannot be computed
has no number, and its flags name the value at fault.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats
from service.agronomy.reference_et import reference_et_mm
from service.agronomy.weather_day import RawWeather, check_weather
from service.agronomy.weather_flags import FieldFlag
from service.errors import Fault, WeatherInvalid

SHOWN_FIELDS = ("tmax_c", "tmin_c", "ea_kpa", "rhmin_pct", "u2_m_s", "rs_mj_m2")
"""Fields that reference ET is computed from, or that are shown with it."""


@dataclass(frozen=True, slots=True)
class ReferenceEt:
    """Reference ET with the checked weather behind it; arrays (days,)."""

    days: Days
    et0_mm: Floats
    """NaN if the day cannot be computed."""
    values: Mapping[str, Floats]
    flags: Mapping[str, NDArray[np.int32]]
    """:class:`FieldFlag` bits per field."""


def compute_reference_et(
    days: Days,
    fields: Mapping[str, Floats],
    *,
    latitude_deg: float,
    elevation_m: float,
    wind_height_m: float,
    krs_per_sqrt_c: float = 0.16,
) -> ReferenceEt:
    """Reference ET of each day at one place; raises WeatherInvalid for an impossible place."""
    if days.size == 0:
        raise WeatherInvalid("no day to compute", [Fault("days", "none", "one or more days")])
    raw = replace(RawWeather.empty(days, 1), wind_height_m=np.array([wind_height_m]))
    for name, values in fields.items():
        getattr(raw, name)[:, 0] = values
    checked = check_weather(
        raw, latitude_deg=latitude_deg, elevation_m=elevation_m, krs_per_sqrt_c=krs_per_sqrt_c
    )
    et0_mm = reference_et_mm(checked, latitude_deg=latitude_deg, elevation_m=elevation_m)
    return ReferenceEt(
        days=days,
        et0_mm=et0_mm[:, 0],
        values={name: getattr(checked, name)[:, 0] for name in SHOWN_FIELDS},
        flags={name: checked.flags[name][:, 0] for name in SHOWN_FIELDS},
    )


def flag_words(result: ReferenceEt, day: int) -> tuple[str, ...]:
    """The flags of one day's values, as ``field:word`` in the order of the fields."""
    return tuple(
        f"{name}:{flag_name(flag)}"
        for name in SHOWN_FIELDS
        for flag in FieldFlag
        if int(result.flags[name][day]) & flag
    )


def flag_name(flag: FieldFlag) -> str:
    """A flag as one word for tables: ``estimated-from-tmin``."""
    return (flag.name or "").lower().replace("_", "-")
