"""Fifteen real stations of a public network: our daily reference ET, the network's and RefET's.

Weather: California's CIMIS stations in the Sacramento-San Joaquin Delta, October 2014 to September
2016 (``data/delta_stations``, CC BY-SA 4.0, with its notice). The network's own figure is the sum
of hourly Penman-Monteith values: a few per cent between the two are of the method, not a fault.
RefET (method "asce") shares no code with this service and computes the same daily equation.
The coordinates are one point for all (38.1 N, 5 m), from memory, which is near enough: half a
degree of latitude moves the sums by under one per cent. Which station is nearest to which follows
from the places in ``PLACES``, the towns' coordinates, from memory and within about 5 km.
"""

from __future__ import annotations

import csv
import gzip
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import refet
from numpy.typing import NDArray

from service.agronomy.atmosphere import day_number
from service.agronomy.great_circle import distance_km
from service.agronomy.reference_et import fill_reference_et, reference_et_mm
from service.agronomy.reference_et_gaps import borrow_reference_et, bridge_reference_et
from service.agronomy.reference_et_outage import outage_reference_et
from service.agronomy.weather_day import RawWeather, WeatherDays, check_weather
from service.agronomy.weather_flags import FieldFlag
from service.agronomy.weather_nearby import NEAR_KM
from service.operations.evening.neighbour_weather import MOST_NEIGHBOURS

FILE = Path(__file__).parent / "data" / "delta_stations" / "daily_2014_2016.csv.gz"
LATITUDE_DEG, ELEVATION_M = 38.1, 5.0
PLACES = {
    "brentwood": (37.93, -121.66),
    "bryte": (38.60, -121.54),
    "concord": (38.02, -122.02),
    "davis": (38.54, -121.78),
    "dixon": (38.42, -121.79),
    "esparto": (38.69, -122.01),
    "fair_oaks": (38.65, -121.22),
    "hastings_east": (38.28, -121.74),
    "lodi_west": (38.13, -121.38),
    "manteca": (37.83, -121.22),
    "modesto": (37.65, -121.19),
    "pleasanton": (37.66, -121.89),
    "tracy": (37.73, -121.47),
    "twitchell_island": (38.12, -121.66),
    "winters": (38.50, -121.98),
}
MJ_PER_W = 0.0864  # FAO-56 Table 3: 1 W/m2 over a day in MJ/m2


@dataclass(frozen=True)
class Station:
    """One station's days; arrays (days,) of the network, our checked weather (days, 1)."""

    raw: RawWeather
    checked: WeatherDays
    et0_mm: NDArray[np.float64]
    network_et0_mm: NDArray[np.float64]
    is_unflagged: NDArray[np.bool_]


def number(text: str) -> float:
    return float(text) if text not in {"", "NA"} else np.nan


def station_of(rows: Sequence[dict[str, str]]) -> Station:
    days, chosen = np.unique(np.array([row["date"] for row in rows], "M8[D]"), return_index=True)
    rows = [rows[place] for place in chosen]

    def column(name: str) -> NDArray[np.float64]:
        return np.array([[number(row[name])] for row in rows])

    raw = replace(
        RawWeather.empty(days, 1),
        tmax_c=column("tmax_c"),
        tmin_c=column("tmin_c"),
        tdew_c=column("tdew_c"),
        rs_mj_m2=column("rs_wm2") * MJ_PER_W,
        wind_m_s=column("u2_ms"),
        rain_mm=column("rain_mm"),
        wind_height_m=np.array([2.0]),
    )
    checked = check_weather(raw, latitude_deg=LATITUDE_DEG, elevation_m=ELEVATION_M)
    return Station(
        raw=raw,
        checked=checked,
        et0_mm=reference_et_mm(checked, latitude_deg=LATITUDE_DEG, elevation_m=ELEVATION_M)[:, 0],
        network_et0_mm=column("eto_asce_mm")[:, 0],
        is_unflagged=np.array([not row["qc_flags"] and not row["eto_qc"] for row in rows]),
    )


@cache
def stations() -> dict[str, Station]:
    by_name: dict[str, list[dict[str, str]]] = {}
    with gzip.open(FILE, "rt", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            by_name.setdefault(row["name"], []).append(row)
    return {name: station_of(rows) for name, rows in by_name.items()}


def test_the_dewpoint_lies_above_the_night_minimum_on_real_days_and_is_kept() -> None:
    days = above = used = 0
    for station in stations().values():
        is_above = (station.raw.tdew_c > station.raw.tmin_c + 2.0)[:, 0]
        from_tmin = station.checked.flags["ea_kpa"][:, 0] & FieldFlag.ESTIMATED_FROM_TMIN
        days += is_above.size
        above += int(is_above.sum())
        used += int((is_above & (from_tmin == 0)).sum())
    assert days == 10_406
    assert above == 2_202  # every fifth day
    assert used == above


# Found: the ratio of the sums over the days that the network did not flag. One station stands out;
# many of its other days are flagged.
RATIOS = {
    "brentwood": 0.986,
    "concord": 0.960,
    "davis": 0.999,
    "dixon": 1.015,
    "esparto": 0.975,
    "fair_oaks": 0.989,
    "hastings_east": 1.106,
    "manteca": 0.957,
    "modesto": 0.976,
    "pleasanton": 0.948,
    "tracy": 0.986,
    "twitchell_island": 1.027,
}


@pytest.mark.parametrize("name", RATIOS)
def test_the_sum_agrees_with_the_networks_own_reference_et(name: str) -> None:
    station = stations()[name]
    both = station.is_unflagged & np.isfinite(station.et0_mm) & np.isfinite(station.network_et0_mm)
    assert both.sum() >= 300
    ratio = station.et0_mm[both].sum() / station.network_et0_mm[both].sum()
    assert ratio == pytest.approx(RATIOS[name], abs=0.002)


def test_every_possible_day_agrees_with_refet_to_a_hundredth_of_a_millimetre() -> None:
    largest, compared = 0.0, 0
    for station in stations().values():
        weather, raw = station.checked, station.raw
        # RefET gets what the station measured; our checks must not have changed what is possible.
        possible = np.isfinite(station.et0_mm)
        for name in ("tmax_c", "tmin_c", "ea_kpa", "u2_m_s", "rs_mj_m2"):
            kept = weather.flags[name] & ~np.int32(FieldFlag.SUSPECT_STUCK | FieldFlag.SUSPECT_JUMP)
            possible &= kept[:, 0] == 0
        oracle = refet.Daily(
            tmin=raw.tmin_c[possible, 0],
            tmax=raw.tmax_c[possible, 0],
            tdew=raw.tdew_c[possible, 0],
            rs=raw.rs_mj_m2[possible, 0],
            uz=raw.wind_m_s[possible, 0],
            zw=2.0,
            elev=ELEVATION_M,
            lat=LATITUDE_DEG,
            doy=day_number(raw.days[possible]),
            method="asce",
        ).eto()
        difference = np.abs(np.maximum(oracle, 0.0) - station.et0_mm[possible])
        largest, compared = max(largest, float(difference.max())), compared + difference.size
    assert compared >= 9_000
    assert largest <= 0.01


def test_the_wind_that_seems_stuck_at_one_station_is_a_stalled_anemometer() -> None:
    # Esparto repeats 0.4 or 0.5 m/s for up to 31 days in the springs of 2015 and 2016, and its
    # network rejected most of the second; in summer, with 1.1 to 1.3 m/s, it works.
    suspect = {
        name: (station.checked.flags["u2_m_s"][:, 0] & FieldFlag.SUSPECT_STUCK) != 0
        for name, station in stations().items()
    }
    stalled = suspect["esparto"] & (stations()["esparto"].raw.wind_m_s[:, 0] <= 0.5)
    assert stalled.sum() >= 0.9 * suspect["esparto"].sum() >= 100
    others = [found.mean() for name, found in suspect.items() if name != "esparto"]
    assert max(others) <= 0.02


# Found: mean error of the sum over a gap, and the mean sum itself [mm].
BRIDGED = {4: (2.3, 15.0), 7: (3.2, 26.4), 10: (4.4, 37.6)}


@pytest.mark.parametrize("gap_days", BRIDGED)
def test_a_gap_cut_into_a_real_series_is_bridged_to_within_the_error_on_record(
    gap_days: int,
) -> None:
    errors_mm, sums_mm = [], []
    for station in stations().values():
        known_mm = station.network_et0_mm
        for first in range(40, known_mm.size - 40, 17):
            gap = slice(first, first + gap_days)
            if not np.isfinite(known_mm[first - 7 : first + gap_days + 7]).all():
                continue
            cut = known_mm.copy()
            cut[gap] = np.nan
            bridged_mm = bridge_reference_et(cut[:, np.newaxis])[0][:, 0]
            errors_mm.append(abs(float((bridged_mm[gap] - known_mm[gap]).sum())))
            sums_mm.append(float(known_mm[gap].sum()))
    assert len(errors_mm) >= 400
    error_mm, sum_mm = BRIDGED[gap_days]
    assert np.mean(errors_mm) == pytest.approx(error_mm, abs=0.1)
    assert np.mean(sums_mm) == pytest.approx(sum_mm, abs=0.2)


def aligned() -> tuple[list[str], NDArray[np.float64]]:
    """The stations that have an ET0 of their network, and it on every day, (days, stations)."""
    names = [name for name, each in stations().items() if np.isfinite(each.network_et0_mm).any()]
    first = min(stations()[name].raw.days[0] for name in names)
    last = max(stations()[name].raw.days[-1] for name in names)
    table = np.full((int((last - first).astype(int)) + 1, len(names)), np.nan)
    for column, name in enumerate(names):
        rows = (stations()[name].raw.days - first).astype(np.int64)
        table[rows, column] = stations()[name].network_et0_mm
    return names, table


def neighbours_of(names: Sequence[str]) -> list[list[int]]:
    """The other stations within the distance that the service uses, the nearest first."""
    latitude, longitude = np.array([PLACES[name] for name in names]).T
    away_km = distance_km(latitude, longitude, latitude, longitude)
    return [
        [place for place in np.argsort(row).tolist() if place != own and row[place] <= NEAR_KM][
            :MOST_NEIGHBOURS
        ]
        for own, row in enumerate(away_km)
    ]


# Found: mean error of the sum over a gap after a neighbour, and after the days of the site alone
# (the mean of the days before up to three days, of the days around from four on) [mm].
BORROWED = {1: (0.3, 0.7), 3: (0.7, 2.1), 4: (0.9, 2.3), 7: (1.4, 3.2), 10: (2.1, 4.4)}


@pytest.mark.parametrize("gap_days", BORROWED)
def test_a_gap_cut_into_a_real_series_is_closed_after_a_neighbour_with_half_the_error(
    gap_days: int,
) -> None:
    names, known_mm = aligned()
    errors_mm, alone_mm = [], []
    for own, places in enumerate(neighbours_of(names)):
        assert places  # each of the twelve has one
        for first in range(40, known_mm.shape[0] - 40, 17):
            gap = slice(first, first + gap_days)
            if not np.isfinite(known_mm[first - 7 : first + gap_days + 7, own]).all():
                continue
            cut = known_mm[:, [own]].copy()
            cut[gap] = np.nan
            found = borrow_reference_et(cut, known_mm[:, np.newaxis, places], gap=gap).et0_mm[:, 0]
            if np.isnan(found).any():
                continue
            short, long = fill_reference_et(cut, max_gap_days=3)[0], bridge_reference_et(cut)[0]
            without = np.where(np.isnan(short), long, short)[gap, 0]
            true_mm = known_mm[gap, own].sum()
            errors_mm.append(abs(float(found.sum() - true_mm)))
            alone_mm.append(abs(float(without.sum() - true_mm)))
    assert len(errors_mm) >= 400
    borrowed_error_mm, own_error_mm = BORROWED[gap_days]
    assert np.mean(errors_mm) == pytest.approx(borrowed_error_mm, abs=0.1)
    assert np.mean(alone_mm) == pytest.approx(own_error_mm, abs=0.1)
    assert np.mean(errors_mm) <= 0.51 * np.mean(alone_mm)


# Found: mean error of an outage's mean by the year before, by the last thirty days and the sun, and
# by the last seven days as they are [mm/d].
OUTAGES = {15: (0.50, 0.53, 0.72), 30: (0.45, 0.57, 0.82), 60: (0.38, 0.75, 1.15)}


@pytest.mark.parametrize("outage_days", OUTAGES)
def test_an_outage_cut_into_a_real_series_is_nearer_by_what_the_place_knows_of_its_seasons(
    outage_days: int,
) -> None:
    _, known_mm = aligned()
    days = np.datetime64("2014-10-01") + np.arange(known_mm.shape[0])
    errors_mm: list[list[float]] = [[], [], []]
    for first in range(400, known_mm.shape[0] - outage_days, 17):
        out = slice(first, first + outage_days)
        before_mm = known_mm[:first]
        whole = np.isfinite(before_mm).sum(axis=0) >= 300
        true_mm = np.nanmean(known_mm[out], axis=0)
        whole &= np.isnan(known_mm[out]).mean(axis=0) <= 0.1
        last = np.cumsum(np.isfinite(before_mm[::-1]), axis=0)[::-1] <= 7
        year_mm = np.array(
            [np.nanmean(before_mm[at - 7 : at + 8], axis=0) for at in range(first - 365, first)]
        )[np.newaxis, :outage_days]
        for place, years_mm in enumerate((year_mm, np.full(year_mm.shape, np.nan))):
            found_mm, _ = outage_reference_et(
                days[out],
                years_mm,
                days[:first],
                before_mm,
                latitude_deg=np.full(known_mm.shape[1], LATITUDE_DEG),
            )
            errors_mm[place] += np.abs(found_mm.mean(axis=0) - true_mm)[whole].tolist()
        as_it_was_mm = np.nanmean(np.where(last, before_mm, np.nan), axis=0)
        errors_mm[2] += np.abs(as_it_was_mm - true_mm)[whole].tolist()
    assert len(errors_mm[0]) >= 150
    assert [np.mean(each) for each in errors_mm] == pytest.approx(OUTAGES[outage_days], abs=0.05)
