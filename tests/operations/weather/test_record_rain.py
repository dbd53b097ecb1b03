"""Rain gauges read by hand: what is stored, on which days, and what is asked first."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from service.database.session import UnitOfWorkFactory
from service.errors import InputInvalid, NotFound
from service.operations.weather.record_rain import GaugeReport, RecordedRain, record_rain
from service.records.feedback import GaugeReading
from service.records.weather import WEATHER_FIELDS, WeatherRows
from tests.database.test_rain_store import bring_neighbour
from tests.operations.weather.settled_ledger import settle, settled_day
from tests.stored_farms import (
    ints,
    stored_block,
    stored_bundle,
    stored_farm,
    stored_site,
    stored_supply,
)

ZONE = ZoneInfo("America/Los_Angeles")
NOW = datetime(2026, 7, 20, 12, tzinfo=UTC)
FIRST, LAST = date(2026, 7, 1), date(2026, 7, 31)
ORDER = {"import": 1, "gauge": 2, "station": 3}


class _Clock:
    def __init__(self, now: datetime = NOW) -> None:
        self._now = now

    def now(self) -> datetime:
        return self._now


@pytest.fixture(autouse=True)
def farm(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(stored_bundle(), effective_day=FIRST, recorded_at=NOW)


def local(day: int, hour: int, minute: int = 0) -> datetime:
    """A time on the site's clock, without an offset."""
    return datetime(2026, 7, day, hour, minute)  # noqa: DTZ001 - local on purpose


def record(open_unit: UnitOfWorkFactory, rain_mm: float, **options: Any) -> RecordedRain:
    clock = options.pop("clock", _Clock())
    facts: dict[str, Any] = {"site_id": "hollow", "reporter": "Kim", **options}
    return record_rain(
        GaugeReport(rain_mm=rain_mm, **facts),
        source_order=ORDER,
        unit_of_work=open_unit,
        clock=clock,
    )


def gauge_days(open_unit: UnitOfWorkFactory) -> dict[int, float]:
    """Rain of the gauge by day of July."""
    with open_unit(write=False) as unit:
        key = unit.blocks.get_site_key("hollow")
        rows = unit.weather.read_rows(ints(key), first_day=FIRST, last_day=LAST)
    return {
        day.day: rain
        for day, rain, source, kind in zip(
            rows.days.tolist(),
            rows.fields["rain_mm"].tolist(),
            rows.sources,
            rows.kinds,
            strict=True,
        )
        if source == "gauge" and kind == "observed" and np.isfinite(rain)
    }


def readings(open_unit: UnitOfWorkFactory) -> list[GaugeReading]:
    with open_unit(write=False) as unit:
        key = unit.blocks.get_site_key("hollow")
        return unit.rain.list_readings(key, farm_key=None, first_day=FIRST, last_day=LAST)


def save_model(open_unit: UnitOfWorkFactory, *rain_mm: float, kind: str = "analysis") -> None:
    """Rain of a model from 5 July on."""
    count = len(rain_mm)
    with open_unit(write=True) as unit:
        unit.weather.save_rows(
            WeatherRows(
                site_keys=ints(*[unit.blocks.get_site_key("hollow")] * count),
                days=np.datetime64("2026-07-05") + np.arange(count),
                sources=("model",) * count,
                kinds=(kind,) * count,
                issued_at=(NOW,) * count,
                wind_height_m=np.full(count, 2.0),
                fields={
                    name: np.array(rain_mm) if name == "rain_mm" else np.full(count, np.nan)
                    for name in WEATHER_FIELDS
                },
            ),
            fetched_at=NOW,
        )


# --- which day -----------------------------------------------------------------------------------


def test_rain_read_at_seven_is_that_of_the_day_before(open_unit: UnitOfWorkFactory) -> None:
    result = record(open_unit, 8.9, read_at=local(7, 7))
    assert gauge_days(open_unit) == {6: 8.9}
    (booked,) = result.booked
    assert (booked.day, booked.covered_h, booked.day_total_mm) == (date(2026, 7, 6), 17.0, 8.9)
    assert result.reading.covers_from == datetime(2026, 7, 6, 14, tzinfo=UTC)


def test_two_readings_of_a_day_add_up(open_unit: UnitOfWorkFactory) -> None:
    record(open_unit, 1.0, read_at=local(6, 7))
    record(open_unit, 2.0, read_at=local(6, 12))
    record(open_unit, 4.0, read_at=local(6, 23))
    record(open_unit, 8.0, read_at=local(7, 7))
    assert gauge_days(open_unit) == {5: 1.0, 6: 6.0, 7: 8.0}


def test_several_days_are_spread_by_the_stored_weather(open_unit: UnitOfWorkFactory) -> None:
    save_model(open_unit, 0.0, 2.4, 0.0, 3.3, 40.0)
    record(open_unit, 10.0, read_at=local(9, 7), covers_from=local(6, 7), kind="multi-day")
    # The 6th counts by 17 of its 24 hours: 1.7 against 3.3; the 9th is left to the next reading.
    assert gauge_days(open_unit) == pytest.approx({6: 3.4, 7: 0.0, 8: 6.6})


def test_several_days_are_spread_evenly_where_no_weather_is_stored(
    open_unit: UnitOfWorkFactory,
) -> None:
    record(open_unit, 6.5, read_at=local(9, 7), covers_from=local(6, 7), kind="multi-day")
    assert gauge_days(open_unit) == pytest.approx({6: 1.7, 7: 2.4, 8: 2.4})


def test_an_observation_goes_before_a_forecast_when_rain_is_spread(
    open_unit: UnitOfWorkFactory,
) -> None:
    save_model(open_unit, 0.0, 9.0, 9.0, 0.0, 0.0, kind="forecast")
    save_model(open_unit, 0.0, 0.0, 0.0, 5.0, 0.0, kind="observed")
    record(open_unit, 10.0, read_at=local(9, 7), covers_from=local(6, 7))
    assert gauge_days(open_unit) == {6: 0.0, 7: 0.0, 8: 10.0}


# --- what is stored ------------------------------------------------------------------------------


def test_a_reading_covers_the_time_since_the_one_before(open_unit: UnitOfWorkFactory) -> None:
    record(open_unit, 1.0, read_at=local(6, 7))
    result = record(open_unit, 2.0, read_at=local(8, 9))
    assert result.reading.covers_from == local(6, 7).replace(tzinfo=ZONE)


def test_an_offset_is_taken_as_given(open_unit: UnitOfWorkFactory) -> None:
    record(open_unit, 1.0, read_at=datetime.fromisoformat("2026-07-07T09:00-05:00"))
    assert readings(open_unit)[0].read_at == local(7, 7).replace(tzinfo=ZONE)


def test_nothing_in_the_gauge_is_a_reading_too(open_unit: UnitOfWorkFactory) -> None:
    record(open_unit, 0.0, read_at=local(7, 7))
    record(open_unit, 0.0, read_at=local(8, 7), kind="trace")
    assert gauge_days(open_unit) == {6: 0.0, 7: 0.0}
    assert [each.kind for each in readings(open_unit)] == ["measured", "trace"]


def test_the_same_reading_again_changes_nothing(open_unit: UnitOfWorkFactory) -> None:
    record(open_unit, 5.0, read_at=local(6, 7))
    record(open_unit, 8.9, read_at=local(7, 7), note="after the storm")
    settle(open_unit)
    again = record(open_unit, 8.9, read_at=local(7, 7), reporter="Lee")
    assert again.outcome.unchanged_count == 1
    assert again.first_changed_day is None
    assert settled_day(open_unit) == date(2026, 7, 9)
    assert len(readings(open_unit)) == 2


def test_a_correction_needs_a_reason_and_is_a_new_version(open_unit: UnitOfWorkFactory) -> None:
    record(open_unit, 8.9, read_at=local(7, 7))
    with pytest.raises(InputInvalid, match="why the reading is corrected"):
        record(open_unit, 9.8, read_at=local(7, 7))
    assert gauge_days(open_unit) == {6: 8.9}
    result = record(open_unit, 9.8, read_at=local(7, 7), note="misread", reporter="Lee")
    assert result.outcome.changed_count == 1
    assert gauge_days(open_unit) == {6: 9.8}
    (reading,) = readings(open_unit)
    assert (reading.rain_mm, reading.note, reading.reporter) == (9.8, "misread", "Lee")


def test_a_correction_takes_rain_back_from_days_it_no_longer_covers(
    open_unit: UnitOfWorkFactory,
) -> None:
    record(open_unit, 6.5, read_at=local(9, 7), covers_from=local(6, 7))
    result = record(
        open_unit, 6.5, read_at=local(9, 7), covers_from=local(8, 7), note="emptied on the 8th"
    )
    assert gauge_days(open_unit) == {8: 6.5}
    assert result.first_changed_day == date(2026, 7, 6)


def test_ledgers_reopen_from_the_first_day_touched(open_unit: UnitOfWorkFactory) -> None:
    settle(open_unit)
    result = record(open_unit, 8.9, read_at=local(9, 7))
    assert result.first_changed_day == date(2026, 7, 8)
    assert settled_day(open_unit) == date(2026, 7, 7)


# --- what is asked first -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("model", "most_mm"),
    [((), 150.0), ((2.0, 2.0, 2.0), 35.0), ((40.0, 40.0, 40.0), 150.0)],
)
def test_unlikely_rain_asks_for_confirmation(
    open_unit: UnitOfWorkFactory, model: tuple[float, ...], most_mm: float
) -> None:
    if model:
        save_model(open_unit, *model)
    with pytest.raises(InputInvalid, match="confirm=True"):
        record(open_unit, most_mm + 0.1, read_at=local(7, 7))
    assert readings(open_unit) == []
    record(open_unit, most_mm, read_at=local(7, 7))
    record(open_unit, most_mm + 0.1, read_at=local(7, 7), note="right", confirm=True)
    assert gauge_days(open_unit) == {6: most_mm + 0.1}


def test_a_reading_right_after_another_asks_whether_it_is_the_same(
    open_unit: UnitOfWorkFactory,
) -> None:
    now = datetime(2026, 7, 7, 14, tzinfo=UTC)
    record(open_unit, 8.9, clock=_Clock(now))
    later = _Clock(now + timedelta(minutes=2))
    with pytest.raises(InputInvalid, match="the last reading was 2 min before"):
        record(open_unit, 8.9, clock=later)
    record(open_unit, 0.2, clock=later, confirm=True)
    assert gauge_days(open_unit) == {6: 8.9, 7: 0.2}


def test_no_time_is_covered_twice(open_unit: UnitOfWorkFactory) -> None:
    record(open_unit, 1.0, read_at=local(6, 7))
    record(open_unit, 2.0, read_at=local(8, 7))
    for options in (
        {"read_at": local(7, 7)},  # within what the 8th covers
        {"read_at": local(9, 7), "covers_from": local(7, 7)},
        {"read_at": local(9, 7), "covers_from": local(5, 7)},
    ):
        with pytest.raises(InputInvalid, match="no rain must count twice"):
            record(open_unit, 3.0, **options)
    assert len(readings(open_unit)) == 2


@pytest.mark.parametrize(
    ("rain_mm", "options", "found"),
    [
        (-1.0, {}, "-1 mm"),
        (float("nan"), {}, "nan"),
        (3.0, {"kind": "trace"}, "with kind trace"),
        (3.0, {"kind": "guessed"}, "guessed"),
        (3.0, {"read_at": local(21, 7)}, "2026-07-21 07:00"),
        (3.0, {"read_at": local(7, 7), "covers_from": local(7, 7)}, "2026-07-07 07:00 to"),
        (
            3.0,
            {"read_at": local(19, 7), "covers_from": datetime(2026, 5, 1, tzinfo=UTC)},
            "31 days",
        ),
    ],
)
def test_an_impossible_reading_is_refused(
    open_unit: UnitOfWorkFactory, rain_mm: float, options: dict[str, Any], found: str
) -> None:
    with pytest.raises(InputInvalid, match=found):
        record(open_unit, rain_mm, **options)
    assert readings(open_unit) == []


def test_a_gauge_without_a_site_is_not_there(open_unit: UnitOfWorkFactory) -> None:
    with pytest.raises(NotFound):
        record(open_unit, 1.0, site_id="nowhere")


# --- whose gauge ---------------------------------------------------------------------------------


def own_days(open_unit: UnitOfWorkFactory) -> dict[int, float]:
    """Rain of the orchard's own gauge by day of July."""
    with open_unit(write=False) as unit:
        key = unit.blocks.get_site_key("hollow")
        found = unit.rain.read_days(ints(key), first_day=FIRST, last_day=LAST)
    return dict(zip([day.day for day in found.days.tolist()], found.rain_mm.tolist(), strict=True))


def test_a_farms_reading_is_kept_apart_from_that_of_the_place(open_unit: UnitOfWorkFactory) -> None:
    of_farm = record(open_unit, 8.9, read_at=local(7, 7), farm_id="orchard")
    of_place = record(open_unit, 2.0, read_at=local(7, 7))
    assert (of_farm.reading.farm_id, of_place.reading.farm_id) == ("orchard", None)
    assert (own_days(open_unit), gauge_days(open_unit)) == ({6: 8.9}, {6: 2.0})
    corrected = record(open_unit, 9.8, read_at=local(7, 7), farm_id="orchard", note="misread")
    assert corrected.outcome.changed_count == 1
    assert (own_days(open_unit), gauge_days(open_unit)) == ({6: 9.8}, {6: 2.0})


def test_a_farms_reading_reopens_its_own_ledgers_alone(open_unit: UnitOfWorkFactory) -> None:
    bring_neighbour(open_unit)
    settle(open_unit)
    record(open_unit, 8.9, read_at=local(9, 7), farm_id="vineyard")
    assert settled_day(open_unit) == date(2026, 7, 9)
    record(open_unit, 8.9, read_at=local(9, 7), farm_id="orchard")
    assert settled_day(open_unit) == date(2026, 7, 7)


def test_a_farm_that_does_not_use_the_site_has_no_gauge_there(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        elsewhere = stored_bundle(
            stored_block("vineyard.east", site_id="hill"),
            farm=stored_farm("vineyard"),
            sites=(stored_site("hill"),),
            supplies=(stored_supply(farm_id="vineyard"),),
            counties=(),
        )
        unit.blocks.save_bundle(elsewhere, effective_day=FIRST, recorded_at=NOW)
    with pytest.raises(NotFound, match="'vineyard': it does not use the site 'hollow'"):
        record(open_unit, 1.0, farm_id="vineyard")
    assert record(open_unit, 1.0, site_id="hill").reading.farm_id == "vineyard"
