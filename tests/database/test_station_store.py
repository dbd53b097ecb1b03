"""What every StationStore does, whatever is behind it."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest

from service.database.session import UnitOfWorkFactory
from service.records.weather import STATION_FIELDS, StationIntervals, StationSetup
from tests.stored_farms import stored_bundle, stored_site

NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)
HOUR_S, DAY_S = 3600, 86_400


@pytest.fixture
def site_key(open_unit: UnitOfWorkFactory) -> int:
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(
            stored_bundle(sites=(stored_site(), stored_site("ridge"))),
            effective_day=date(2026, 6, 1),
            recorded_at=NOW,
        )
        return unit.blocks.get_site_key("hollow")


def intervals(*bounds: tuple[int, int], rain_mm: float = 1.0) -> StationIntervals:
    count = len(bounds)
    return StationIntervals(
        start_epoch_s=np.array([begins for begins, _ in bounds], dtype=np.int64),
        end_epoch_s=np.array([ends for _, ends in bounds], dtype=np.int64),
        fields={
            name: np.full(count, rain_mm if name == "rain_mm" else np.nan)
            for name in STATION_FIELDS
        },
    )


def replace(
    open_unit: UnitOfWorkFactory, site_key: int, rows: StationIntervals, sha256: str
) -> tuple[int, int]:
    with open_unit(write=True) as unit:
        return unit.stations.replace_intervals(site_key, rows, sha256=sha256, recorded_at=NOW)


def read(
    open_unit: UnitOfWorkFactory, site_key: int, begins: int = 0, ends: int = 10 * DAY_S
) -> list[tuple[int, int, float]]:
    with open_unit(write=False) as unit:
        found = unit.stations.read_intervals(site_key, start_epoch_s=begins, end_epoch_s=ends)
    return list(
        zip(
            found.start_epoch_s.tolist(),
            found.end_epoch_s.tolist(),
            found.fields["rain_mm"].tolist(),
            strict=True,
        )
    )


def test_a_setup_is_kept_and_replaced(open_unit: UnitOfWorkFactory, site_key: int) -> None:
    with open_unit(write=False) as unit:
        assert unit.stations.find_setup(site_key) is None
    for setup in (
        StationSetup(),
        StationSetup(
            clock="-06:00",
            stamp="end",
            wind_height_m=3.0,
            radiation="mj-m2",
            columns={"AirT [Deg C]": "temperature_c"},
        ),
    ):
        with open_unit(write=True) as unit:
            unit.stations.save_setup(site_key, setup)
        with open_unit(write=False) as unit:
            assert unit.stations.find_setup(site_key) == setup


def test_intervals_come_back_by_start_with_nan_where_nothing_was(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    span = replace(open_unit, site_key, intervals((0, HOUR_S), (HOUR_S, 2 * HOUR_S)), "a")
    assert span == (0, 2 * HOUR_S)
    assert read(open_unit, site_key) == [(0, HOUR_S, 1.0), (HOUR_S, 2 * HOUR_S, 1.0)]
    with open_unit(write=False) as unit:
        found = unit.stations.read_intervals(site_key, start_epoch_s=0, end_epoch_s=DAY_S)
        assert np.isnan(found.fields["tmax_c"]).all()
        other = unit.blocks.get_site_key("ridge")
    assert read(open_unit, other) == []


def test_only_what_overlaps_the_span_is_read(open_unit: UnitOfWorkFactory, site_key: int) -> None:
    replace(open_unit, site_key, intervals((0, HOUR_S), (HOUR_S, 2 * HOUR_S)), "a")
    assert read(open_unit, site_key, HOUR_S, DAY_S) == [(HOUR_S, 2 * HOUR_S, 1.0)]
    assert read(open_unit, site_key, 2 * HOUR_S, DAY_S) == []


def test_a_file_that_comes_again_replaces_what_it_brought(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    replace(open_unit, site_key, intervals((0, HOUR_S), (HOUR_S, 2 * HOUR_S)), "a")
    span = replace(open_unit, site_key, intervals((2 * HOUR_S, 3 * HOUR_S)), "a")
    assert span == (0, 3 * HOUR_S)
    assert read(open_unit, site_key) == [(2 * HOUR_S, 3 * HOUR_S, 1.0)]


def test_another_file_replaces_what_it_overlaps_and_no_more(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    replace(
        open_unit,
        site_key,
        intervals((0, HOUR_S), (HOUR_S, 2 * HOUR_S), (2 * HOUR_S, 3 * HOUR_S)),
        "a",
    )
    new = intervals((HOUR_S, HOUR_S + 1800), (HOUR_S + 1800, 2 * HOUR_S), rain_mm=0.5)
    assert replace(open_unit, site_key, new, "b") == (HOUR_S, 2 * HOUR_S)
    assert read(open_unit, site_key) == [
        (0, HOUR_S, 1.0),
        (HOUR_S, HOUR_S + 1800, 0.5),
        (HOUR_S + 1800, 2 * HOUR_S, 0.5),
        (2 * HOUR_S, 3 * HOUR_S, 1.0),
    ]


def test_a_gap_in_a_file_takes_nothing_away(open_unit: UnitOfWorkFactory, site_key: int) -> None:
    hours = [(place * HOUR_S, (place + 1) * HOUR_S) for place in range(3)]
    replace(open_unit, site_key, intervals(*hours), "a")
    replace(open_unit, site_key, intervals(hours[0], hours[2], rain_mm=2.0), "b")
    assert [rain for _, _, rain in read(open_unit, site_key)] == [2.0, 1.0, 2.0]


def test_a_day_and_its_hours_are_kept_side_by_side(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    replace(open_unit, site_key, intervals((0, HOUR_S)), "a")
    replace(open_unit, site_key, intervals((0, DAY_S), rain_mm=9.0), "b")
    assert read(open_unit, site_key) == [(0, HOUR_S, 1.0), (0, DAY_S, 9.0)]
    replace(open_unit, site_key, intervals((HOUR_S, DAY_S + HOUR_S), rain_mm=8.0), "c")
    assert read(open_unit, site_key) == [(0, HOUR_S, 1.0), (HOUR_S, DAY_S + HOUR_S, 8.0)]
