"""A station's files in the archive: intervals, days, ledgers; the weather is invented."""

from __future__ import annotations

import csv
import gzip
from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest

from service.agronomy.records import Floats
from service.database.session import UnitOfWorkFactory
from service.errors import NotFound
from service.farm_files.station_file import parse_station
from service.farm_files.weather_file import parse_weather
from service.operations.evening.gather_weather import GatheredWeather, gather_weather
from service.operations.weather.import_station_file import (
    StationImport,
    find_station_setup,
    import_station_file,
    merge_setup,
)
from service.operations.weather.import_weather import import_weather
from service.records.weather import STATION_FIELDS, StationIntervals, StationSetup, WeatherRows
from tests.operations.weather.settled_ledger import settle, settled_day
from tests.stored_farms import ints, stored_bundle, stored_site

NOW = datetime(2026, 7, 20, 12, tzinfo=UTC)
SETUP = StationSetup(clock="-08:00", stamp="end", wind_height_m=3.0, radiation="w-m2")
FIRST_S = round(datetime(2026, 7, 6, 7, tzinfo=UTC).timestamp())  # midnight at the site
FIRST, LAST = date(2026, 7, 1), date(2026, 7, 31)


class _Clock:
    def now(self) -> datetime:
        return NOW


@pytest.fixture(autouse=True)
def farm(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(stored_bundle(), effective_day=FIRST, recorded_at=NOW)


def hours(first: int, count: int, *, step_s: int = 3600, **fields: Floats) -> StationIntervals:
    """Intervals from a number of hours after midnight of the 6th; 20 degrees unless given."""
    starts = FIRST_S + 3600 * first + step_s * np.arange(count)
    given = {"temperature_c": 20.0 + np.arange(count) / 100.0, "wind_m_s": np.full(count, 2.0)}
    return StationIntervals(
        start_epoch_s=starts,
        end_epoch_s=starts + step_s,
        fields={
            name: {**given, **fields}.get(name, np.full(count, np.nan)) for name in STATION_FIELDS
        },
    )


def import_hours(
    open_unit: UnitOfWorkFactory,
    intervals: StationIntervals,
    *,
    sha256: str = "a",
    setup: StationSetup = SETUP,
) -> StationImport:
    return import_station_file(
        "hollow", intervals, sha256=sha256, setup=setup, unit_of_work=open_unit, clock=_Clock()
    )


def stored(open_unit: UnitOfWorkFactory) -> WeatherRows:
    with open_unit(write=False) as unit:
        key = unit.blocks.get_site_key("hollow")
        return unit.weather.read_rows(ints(key), first_day=FIRST, last_day=LAST)


def stored_days(open_unit: UnitOfWorkFactory, name: str = "tmax_c") -> dict[str, float]:
    rows = stored(open_unit)
    return {
        str(day): value
        for day, value in zip(rows.days, rows.fields[name].tolist(), strict=True)
        if np.isfinite(value)
    }


def test_whole_days_become_observations_of_the_station(open_unit: UnitOfWorkFactory) -> None:
    result = import_hours(open_unit, hours(0, 48))
    rows = stored(open_unit)
    assert rows.sources == ("station", "station")
    assert rows.kinds == ("observed", "observed")
    assert rows.wind_height_m.tolist() == [3.0, 3.0]
    assert (result.first_day, result.last_day) == (date(2026, 7, 6), date(2026, 7, 7))
    assert result.outcome.created_count == 2
    assert result.notes[date(2026, 7, 6)]["wind_m_s"]["hours_present"] == 24


def test_the_same_file_again_changes_nothing(open_unit: UnitOfWorkFactory) -> None:
    import_hours(open_unit, hours(0, 48))
    before = stored_days(open_unit)
    result = import_hours(open_unit, hours(0, 48))
    assert result.outcome.unchanged_count == 2
    assert result.first_changed_day is None
    assert stored_days(open_unit) == before


def test_two_files_that_meet_within_a_day_make_that_day(open_unit: UnitOfWorkFactory) -> None:
    first = import_hours(open_unit, hours(0, 34), sha256="a")
    assert list(stored_days(open_unit)) == ["2026-07-06"]
    assert first.first_changed_day == date(2026, 7, 6)
    second = import_hours(open_unit, hours(34, 38), sha256="b")
    assert list(stored_days(open_unit)) == ["2026-07-06", "2026-07-07", "2026-07-08"]
    assert second.first_changed_day == date(2026, 7, 7)


def test_a_file_that_begins_within_a_day_does_not_take_that_day_away(
    open_unit: UnitOfWorkFactory,
) -> None:
    import_hours(open_unit, hours(0, 48), sha256="a")
    before = stored_days(open_unit)
    import_hours(open_unit, hours(36, 12, temperature_c=20.36 + np.arange(12) / 100), sha256="b")
    assert stored_days(open_unit) == pytest.approx(before)


def test_a_file_read_again_with_another_clock_replaces_what_it_brought(
    open_unit: UnitOfWorkFactory,
) -> None:
    import_hours(open_unit, hours(-24, 72))
    assert list(stored_days(open_unit)) == ["2026-07-05", "2026-07-06", "2026-07-07"]
    result = import_hours(open_unit, hours(0, 72))
    assert list(stored_days(open_unit)) == ["2026-07-06", "2026-07-07", "2026-07-08"]
    assert result.first_changed_day == date(2026, 7, 5)


def test_finer_steps_replace_coarser_ones_and_do_not_add_to_them(
    open_unit: UnitOfWorkFactory,
) -> None:
    import_hours(open_unit, hours(0, 24, rain_mm=np.full(24, 0.5)), sha256="a")
    quarters = hours(0, 96, step_s=900, rain_mm=np.full(96, 0.125))
    import_hours(open_unit, quarters, sha256="b")
    assert stored_days(open_unit, "rain_mm") == {"2026-07-06": pytest.approx(12.0)}


def test_only_some_hours_make_no_day(open_unit: UnitOfWorkFactory) -> None:
    result = import_hours(open_unit, hours(0, 10))
    assert result.first_day is None
    assert len(stored(open_unit)) == 0


def test_the_setup_is_remembered_for_the_site(open_unit: UnitOfWorkFactory) -> None:
    assert find_station_setup("hollow", unit_of_work=open_unit) == StationSetup()
    setup = StationSetup(clock="-08:00", stamp="end", columns={"AirT []": "tmax_f"})
    import_hours(open_unit, hours(0, 24), setup=setup)
    assert find_station_setup("hollow", unit_of_work=open_unit) == setup
    import_hours(open_unit, hours(0, 24), setup=SETUP)
    assert find_station_setup("hollow", unit_of_work=open_unit) == SETUP


def test_what_is_given_goes_before_what_is_remembered() -> None:
    remembered = StationSetup(clock="-08:00", wind_height_m=2.0, columns={"A": "tmax_c"})
    given = StationSetup(stamp="end", wind_height_m=3.0, columns={"B": "tmin_c"})
    assert merge_setup(given, remembered) == StationSetup(
        clock="-08:00", stamp="end", wind_height_m=3.0, columns={"A": "tmax_c", "B": "tmin_c"}
    )


def test_ledgers_reopen_from_the_first_day_that_changed(open_unit: UnitOfWorkFactory) -> None:
    import_hours(open_unit, hours(0, 96))
    settle(open_unit)
    import_hours(open_unit, hours(0, 96))
    assert settled_day(open_unit) == date(2026, 7, 9)
    warmer = hours(0, 96, temperature_c=20.0 + np.arange(96) / 100.0 + (np.arange(96) >= 60))
    import_hours(open_unit, warmer, sha256="b")
    assert settled_day(open_unit) == date(2026, 7, 7)


def test_a_site_that_is_not_there_stores_nothing(open_unit: UnitOfWorkFactory) -> None:
    with pytest.raises(NotFound):
        import_station_file(
            "nowhere", hours(0, 24), sha256="a", setup=SETUP, unit_of_work=open_unit, clock=_Clock()
        )
    assert len(stored(open_unit)) == 0


# --- the same days by both routes ----------------------------------------------------------------

REAL_DAYS = Path(__file__).parents[2] / "validation/data/delta_stations/daily_2014_2016.csv.gz"
"""Davis, California, of the public network CIMIS, with its notice (CC BY-SA 4.0)."""


def real_days() -> bytes:
    """A spring of one real station, in the columns that both routes read."""
    names = {"tmax_c": "tmax_c", "tmin_c": "tmin_c", "tdew_c": "tdew_c", "wind_m_s": "u2_ms",
             "rs_w_m2": "rs_wm2", "rain_mm": "rain_mm"}  # fmt: skip
    lines = [",".join(["date", *names])]
    with gzip.open(REAL_DAYS, "rt", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["name"] == "davis" and "2016-02-01" <= row["date"] <= "2016-04-30":
                cells = (row[name].replace("NA", "") for name in names.values())
                lines.append(",".join([row["date"], *cells]))
    return "\n".join(lines).encode()


def test_the_station_route_and_the_daily_route_give_the_same_days(
    open_unit: UnitOfWorkFactory,
) -> None:
    content = real_days()
    day_file = parse_weather(content, name="days.csv")
    zone = stored_site().zone
    setup = StationSetup(clock=zone, stamp="end", wind_height_m=2.0, radiation="w-m2")
    station_file = parse_station(content, name="days.csv", setup=setup, zone=zone, now=NOW)
    import_station_file("hollow", station_file.intervals, sha256=station_file.sha256, setup=setup,
                        unit_of_work=open_unit, clock=_Clock())  # fmt: skip
    by_station = gathered(open_unit)
    import_weather("hollow", day_file.days, day_file.fields, source="import",
                   forecast_from=NOW.date(), unit_of_work=open_unit, clock=_Clock())  # fmt: skip
    by_days = gathered(open_unit, source_order={"import": 2, "station": 1})
    assert by_days.rows.days.size > by_station.rows.days.size
    for name in ("tmax_c", "tmin_c", "ea_kpa", "u2_m_s", "rs_mj_m2", "rain_mm"):
        first, second = (getattr(each.weather.checked, name) for each in (by_station, by_days))
        np.testing.assert_allclose(first, second, rtol=1e-9, err_msg=name)
        first, second = (each.weather.checked.flags[name] for each in (by_station, by_days))
        np.testing.assert_array_equal(first, second, err_msg=name)
    et0_mm = by_station.weather.days.et0_mm
    np.testing.assert_allclose(et0_mm, by_days.weather.days.et0_mm, rtol=1e-9)
    assert np.isfinite(et0_mm).sum() == 90


def gathered(
    open_unit: UnitOfWorkFactory, source_order: Mapping[str, int] = MappingProxyType({})
) -> GatheredWeather:
    with open_unit(write=False) as unit:
        sites = unit.blocks.read_site_table(ints(unit.blocks.get_site_key("hollow")))
        return gather_weather(
            unit,
            sites,
            on=NOW.date(),
            now=NOW,
            first_day=date(2016, 2, 1),
            last_day=date(2016, 4, 30),
            source_order=source_order,
        )
