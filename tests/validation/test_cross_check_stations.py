"""Sources against each other on real stations: what is caught, and how often it cries.

Weather: California's CIMIS stations in the Sacramento-San Joaquin Delta, October 2014 to September
2016 (``data/delta_stations``, CC BY-SA 4.0, with its notice); places as in
``test_real_stations.py``. Each evening every station is judged with the others within 60 km, as
the service does. That a value is wrong is taken from the network's own flags, or from the plain
median of all the other stations on that day, which the service does not use.

For faults, two sources at a place are two stations: its own and the nearest one, which differ by
more than two services do of one place. The "forecast" is what was measured later.
"""

from __future__ import annotations

import csv
import gzip
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from service.agronomy.great_circle import distance_km
from service.agronomy.records import Floats
from service.agronomy.weather_agreement import Judgement, judge_weather
from service.agronomy.weather_nearby import Nearby, nearby_weather, nearest_places
from service.agronomy.weather_voices import (
    QUANTITIES,
    RAIN,
    TOLERANCES,
    Voices,
    comparable_values,
)
from tests.validation.test_real_stations import (
    ELEVATION_M,
    FILE,
    LATITUDE_DEG,
    MJ_PER_W,
    PLACES,
    number,
)

DAYS = np.arange("2014-10-01", "2016-10-01", dtype="M8[D]")
BACK, AHEAD = 45, 8
COLUMNS = {
    "tmax_c": "tmax_c",
    "tmin_c": "tmin_c",
    "tdew_c": "tdew_c",
    "wind_m_s": "u2_ms",
    "rs_mj_m2": "rs_wm2",
    "rain_mm": "rain_mm",
}
Said = Mapping[str, Floats]


@dataclass(frozen=True)
class Network:
    """All stations, arrays (days, stations)."""

    said: Said
    is_flagged: NDArray[np.bool_]
    km: Floats
    nearby: Nearby


@cache
def network() -> Network:
    raw = {name: np.full((DAYS.size, len(PLACES)), np.nan) for name in COLUMNS}
    is_flagged = np.zeros((DAYS.size, len(PLACES)), dtype=np.bool_)
    places = {name: place for place, name in enumerate(PLACES)}
    with gzip.open(FILE, "rt", encoding="utf-8") as file:
        for line in csv.DictReader(file):
            day = int((np.datetime64(line["date"]) - DAYS[0]).astype(int))
            for name, column in COLUMNS.items():
                raw[name][day, places[line["name"]]] = number(line[column])
            is_flagged[day, places[line["name"]]] = bool(line["qc_flags"])
    raw["rs_mj_m2"] *= MJ_PER_W
    count = raw["tmax_c"].size
    said = comparable_values(
        {name: values.ravel() for name, values in raw.items()},
        days=np.repeat(DAYS, len(PLACES)),
        latitude_deg=np.full(count, LATITUDE_DEG),
        elevation_m=np.full(count, ELEVATION_M),
        wind_height_m=np.full(count, 2.0),
    )
    said = {name: values.reshape(DAYS.size, -1) for name, values in said.items()}
    latitude_deg, longitude_deg = np.array(list(PLACES.values())).T
    km = distance_km(latitude_deg, longitude_deg, latitude_deg, longitude_deg)
    np.fill_diagonal(km, np.inf)
    return Network(said, is_flagged, km, nearby_weather(said, *nearest_places(km)))


def past_of(today: int) -> dict[str, Floats]:
    """What the places had before, and a year ago where that is known."""
    then = slice(max(0, today - 380), max(0, today - 350))
    return {
        name: np.concatenate([values[max(0, today - 60) : today - 14], values[then]])
        for name, values in network().said.items()
    }


def evenings() -> Iterator[tuple[int, Judgement]]:
    """Each day, judged as the last one known."""
    found = network()
    for today in range(60, DAYS.size):
        span = slice(today - BACK, today + 1)
        shape = (1, BACK + 1, len(PLACES))
        yield (
            today,
            judge_weather(
                Voices(
                    DAYS[span],
                    {name: values[np.newaxis, span] for name, values in found.said.items()},
                    np.ones(shape, dtype=np.bool_),
                    np.full(shape, np.nan),
                ),
                today_row=BACK,
                nearby=Nearby(
                    {name: values[span] for name, values in found.nearby.values.items()},
                    {name: values[span] for name, values in found.nearby.witness_counts.items()},
                ),
                past=past_of(today),
            ),
        )


def far_from_the_others(name: str, day: int, station: int) -> bool:
    """Whether a value is beyond half the tolerance from the plain median of all others."""
    others = np.delete(network().said[name][day], station)
    apart = abs(float(network().said[name][day, station]) - float(np.nanmedian(others)))
    return apart > TOLERANCES[name].apart / 2.0


def test_real_stations_are_set_aside_where_they_are_wrong_and_hardly_ever_else() -> None:
    set_aside = flagged = confirmed = 0
    stations: set[int] = set()
    for today, judged in evenings():
        for name in QUANTITIES:
            for station in np.flatnonzero(judged.reason[name][0, -1]).tolist():
                set_aside += 1
                stations.add(station)
                if network().is_flagged[today, station]:
                    flagged += 1
                elif far_from_the_others(name, today, station):
                    confirmed += 1
    station_years = float(np.isfinite(network().said["tmax"][60:]).sum()) / 365.25
    cries = set_aside - flagged - confirmed
    assert station_years == pytest.approx(25.8, abs=0.1)
    assert set_aside == 242
    assert flagged == 117
    assert confirmed == 116
    assert cries / station_years < 0.5
    assert len(stations) == 14  # all but one have had a fault in two years


def scaled(name: str, change: Callable[[Floats], Floats]) -> Callable[[Said], Said]:
    return lambda said: {**said, name: change(said[name])}


def late(values: Floats) -> Floats:
    return np.concatenate([values[:1], values[:-1]])


def turned(values: Floats) -> Floats:
    return np.concatenate([values[: BACK - 14], values[BACK - 14 :][::-1]])


def only_ahead(change: Callable[[Floats], Floats]) -> Callable[[Floats], Floats]:
    return lambda values: np.concatenate([values[: BACK + 1], change(values[BACK + 1 :])])


# By fault: the least share that is set aside or marked, and the least that is set aside in the
# faulty source. Of two sources whose days do not fit nothing says which is wrong: both are marked.
FAULTS: Mapping[str, tuple[Callable[[Said], Said], float, float]] = {
    "rain times ten, where 10 mm fell": (scaled(RAIN, lambda mm: 10.0 * mm), 0.75, 0.72),
    "rain of 480 mm on all days": (
        scaled(RAIN, only_ahead(lambda mm: np.full_like(mm, 480.0))),
        0.99,
        0.99,
    ),
    "a tenth of the radiation": (scaled("radiation", lambda share: 0.1 * share), 0.99, 0.99),
    "wind in km/h": (scaled("wind", lambda logarithm: logarithm + np.log(3.6)), 0.65, 0.64),
    "eight degrees too high": (
        lambda said: {**said, "tmax": said["tmax"] + 8.0, "tmin": said["tmin"] + 8.0},
        0.97,
        0.90,
    ),
    "rows turned round": (lambda said: {n: turned(v) for n, v in said.items()}, 0.90, 0.0),
    "late by a day": (lambda said: {n: late(v) for n, v in said.items()}, 0.90, 0.0),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_in_one_of_two_sources_is_set_aside_or_marked(fault: str) -> None:
    spoil, least_found, least_right = FAULTS[fault]
    second = np.argmin(network().km, axis=1)
    total = found = right = 0
    for today in range(70, DAYS.size - AHEAD, 23):
        span = slice(today - BACK, today + AHEAD)
        own = {name: values[span] for name, values in network().said.items()}
        said = spoil(own)
        both = {name: np.stack([said[name], values[:, second]]) for name, values in own.items()}
        shape = both[RAIN].shape
        judged = judge_weather(
            Voices(DAYS[span], both, np.zeros(shape, np.bool_), np.full(shape, np.nan)),
            today_row=BACK,
            past=past_of(today),
        )
        is_first = np.any([judged.reason[name][0, BACK:] > 0 for name in QUANTITIES], axis=(0, 1))
        is_doubt = np.any([judged.is_doubtful[name][BACK:] for name in QUANTITIES], axis=(0, 1))
        counts = np.isfinite(both["tmax"][:, BACK:]).all(axis=(0, 1))
        counts &= np.isfinite(own[RAIN][BACK:]).any(axis=0)
        if fault.startswith("rain times"):
            counts &= np.nansum(own[RAIN][BACK - 14 :], axis=0) >= 10.0
        total += int(counts.sum())
        found += int(((is_first | is_doubt) & counts).sum())
        right += int((is_first & counts).sum())
    assert found / total >= least_found
    assert right / total >= least_right
