"""What several sources say of the same days, on scales on which they can be compared.

In: rows of weather of several sources. Out: for each quantity one array of voices by days by sites.
A voice is all that one source says of a site. Temperatures and dewpoints are compared by their
difference, wind by its ratio at 2 m, radiation as a share of that under a clear sky, rain by the
ratio of its sums.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.agronomy.atmosphere import (
    clear_sky_radiation_mj_m2,
    mean_saturation_vapour_pressure_kpa,
    saturation_vapour_pressure_kpa,
    wind_at_2m_m_s,
)
from service.agronomy.dewpoint import dewpoint_c
from service.agronomy.records import Days, Floats

RAIN = "rain"
QUANTITIES = ("tmax", "tmin", "dewpoint", "wind", "radiation", RAIN)
FIELDS_OF: Mapping[str, tuple[str, ...]] = {
    "tmax": ("tmax_c",),
    "tmin": ("tmin_c",),
    "dewpoint": ("tdew_c", "ea_kpa", "rhmax_pct", "rhmin_pct", "rhmean_pct"),
    "wind": ("wind_m_s",),
    "radiation": ("rs_mj_m2", "sunshine_h"),
    RAIN: ("rain_mm", "rain_probability_fraction"),
}
"""The fields of a row that stand or fall with each quantity."""
CALM_M_S = 0.5  # [m/s] FAO-56 ch. 3: below it a ratio of winds says nothing
BRIGHTEST_SHARE = 1.25  # [CHOICE] of clear sky; more is no weather


class Tolerance(NamedTuple):
    """How far two values may lie apart, on the scale of their quantity. All are [CHOICE]."""

    apart: float
    """On one day."""
    per_lead: float
    """How much more for each day that a forecast looks ahead."""
    series_apart: float
    """The median over days."""
    place_offset: float
    """What two places, or a place and a model's ground, may differ by for good."""


TOLERANCES: Mapping[str, Tolerance] = {
    "tmax": Tolerance(7.0, 0.4, 5.0, 4.0),
    "tmin": Tolerance(7.0, 0.4, 5.0, 4.0),
    "dewpoint": Tolerance(8.0, 0.4, 6.0, 4.0),
    "wind": Tolerance(1.3, 0.02, 1.0, 0.7),
    "radiation": Tolerance(0.60, 0.02, 0.35, 0.15),
    RAIN: Tolerance(np.inf, 0.0, float(np.log(5.0)), 0.0),
}


@dataclass(frozen=True, slots=True)
class Voices:
    """What each source says, arrays (voices, days, sites); NaN where it says nothing."""

    days: Days
    values: Mapping[str, Floats]
    """By name of ``QUANTITIES``: °C, °C, °C, ln(m/s at 2 m), share of clear sky, mm."""
    is_measured: NDArray[np.bool_]
    """Whether the value was read from instruments at the place, not taken from a model."""
    sun_offset_h: Floats
    """By how many hours the source's sun is late; NaN where it does not say."""

    def of_sites(self, which: NDArray[np.bool_]) -> Voices:
        """The same of some sites."""
        return Voices(
            self.days,
            {name: values[:, :, which] for name, values in self.values.items()},
            self.is_measured[:, :, which],
            self.sun_offset_h[:, :, which],
        )


def comparable_values(
    fields: Mapping[str, Floats],
    *,
    days: Days,
    latitude_deg: Floats,
    elevation_m: Floats,
    wind_height_m: Floats,
) -> dict[str, Floats]:
    """Rows of weather as the quantities in which sources are compared.

    Shapes: all arrays and each result (rows,); fields by their names in a weather row, NaN where
    not known; days, latitude and elevation are those of each row.
    Returns: by name of ``QUANTITIES``, see :class:`Voices`; NaN where not known or not possible.
    Equation: dewpoint of the best evidence of humidity, FAO-56 Eq. 14, 17, 18, 19 in that order,
    by Eq. 11; wind Eq. 47; clear sky Eq. 37. Sunshine is not compared with radiation.
    >>> day, one = np.array(["2026-07-01"], "M8[D]"), np.ones(1)
    >>> found = comparable_values(
    ...     {"tmax_c": 30 * one, "tmin_c": 18 * one, "tdew_c": 16 * one, "wind_m_s": 2 * one,
    ...      "rs_mj_m2": 15 * one, "rain_mm": 0 * one},
    ...     days=day, latitude_deg=36 * one, elevation_m=100 * one, wind_height_m=2 * one)
    >>> round(float(found["radiation"][0]), 2), round(float(np.exp(found["wind"][0])), 2)
    (0.48, 2.0)
    """
    nothing = np.full(days.shape, np.nan)

    def given(name: str) -> Floats:
        return fields.get(name, nothing)

    clear_mj_m2 = np.full(days.shape, np.nan)
    for day in np.unique(days):
        rows = days == day
        clear_mj_m2[rows] = clear_sky_radiation_mj_m2(
            np.array([day]), latitude_deg[rows], elevation_m[rows]
        )[0]
    with np.errstate(invalid="ignore", divide="ignore"):
        usable_height = np.where(wind_height_m >= 0.5, wind_height_m, 2.0)
        wind_m_s = np.where(given("wind_m_s") >= 0.0, given("wind_m_s"), np.nan)
        return {
            "tmax": given("tmax_c"),
            "tmin": given("tmin_c"),
            "dewpoint": _dewpoint_c(fields, nothing),
            "wind": np.log(np.maximum(wind_at_2m_m_s(wind_m_s, usable_height), CALM_M_S)),
            "radiation": np.where(clear_mj_m2 > 1.0, given("rs_mj_m2") / clear_mj_m2, np.nan),
            RAIN: np.where(given("rain_mm") >= 0.0, given("rain_mm"), np.nan),
        }


def _dewpoint_c(fields: Mapping[str, Floats], nothing: Floats) -> Floats:
    tmax_c, tmin_c = fields.get("tmax_c", nothing), fields.get("tmin_c", nothing)
    rhmax, rhmin = fields.get("rhmax_pct", nothing), fields.get("rhmin_pct", nothing)
    es_tmin = saturation_vapour_pressure_kpa(tmin_c)
    evidence = (
        fields.get("ea_kpa", nothing),
        saturation_vapour_pressure_kpa(fields.get("tdew_c", nothing)),
        (es_tmin * rhmax + saturation_vapour_pressure_kpa(tmax_c) * rhmin) / 200.0,
        es_tmin * rhmax / 100.0,
        mean_saturation_vapour_pressure_kpa(tmax_c, tmin_c)
        * fields.get("rhmean_pct", nothing)
        / 100.0,
    )
    ea_kpa = nothing
    for estimate in evidence:
        ea_kpa = np.where(np.isnan(ea_kpa), estimate, ea_kpa)
    return dewpoint_c(ea_kpa)
