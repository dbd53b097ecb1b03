"""What every WeatherArchive does, whatever is behind it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from types import MappingProxyType

import numpy as np
import pytest

from service.database.session import UnitOfWorkFactory
from service.records.farms import LoadOutcome
from service.records.weather import FIELD_GROUPS, WEATHER_FIELDS, SiteFreshness, WeatherRows
from tests.stored_farms import days, ints, stored_bundle, stored_site

NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)
FIRST, LAST = date(2026, 6, 1), date(2026, 6, 30)


def make_rows(
    site_key: int,
    *texts: str,
    kind: str = "observed",
    changes: Mapping[str, float] = MappingProxyType({}),
) -> WeatherRows:
    count = len(texts)
    return WeatherRows(
        site_keys=ints(*[site_key] * count),
        days=days(*texts),
        sources=("station",) * count,
        kinds=(kind,) * count,
        issued_at=(NOW,) * count,
        wind_height_m=np.full(count, 2.0),
        fields={
            name: np.full(count, changes.get(name, np.nan if name == "ea_kpa" else index + 0.1))
            for index, name in enumerate(WEATHER_FIELDS)
        },
    )


@pytest.fixture
def site_key(open_unit: UnitOfWorkFactory) -> int:
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(
            stored_bundle(sites=(stored_site(), stored_site("ridge"))),
            effective_day=FIRST,
            recorded_at=NOW,
        )
        return unit.blocks.get_site_key("hollow")


def save(open_unit: UnitOfWorkFactory, rows: WeatherRows) -> LoadOutcome:
    with open_unit(write=True) as unit:
        return unit.weather.save_rows(rows, fetched_at=NOW)


def read(open_unit: UnitOfWorkFactory, *site_keys: int) -> WeatherRows:
    with open_unit(write=False) as unit:
        return unit.weather.read_rows(ints(*site_keys), first_day=FIRST, last_day=LAST)


def test_rows_come_back_in_order_of_day_source_and_kind(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    save(open_unit, make_rows(site_key, "2026-06-03", "2026-06-01"))
    save(open_unit, make_rows(site_key, "2026-06-01", kind="forecast", changes={"rain_mm": 7.5}))
    found = read(open_unit, site_key)
    assert found.days.tolist() == days("2026-06-01", "2026-06-01", "2026-06-03").tolist()
    assert found.kinds == ("forecast", "observed", "observed")
    assert found.sources == ("station",) * 3
    assert found.issued_at == (NOW,) * 3
    assert found.fields["rain_mm"].tolist() == [7.5, 10.1, 10.1]
    assert np.isnan(found.fields["ea_kpa"]).all()
    assert found.wind_height_m.tolist() == [2.0] * 3


def test_the_same_rows_again_are_unchanged(open_unit: UnitOfWorkFactory, site_key: int) -> None:
    rows = make_rows(site_key, "2026-06-01", "2026-06-02")
    assert save(open_unit, rows) == LoadOutcome(2, 0, 0)
    assert save(open_unit, rows) == LoadOutcome(0, 0, 2)


@pytest.mark.parametrize(
    ("field", "value"), [("rain_mm", 0.0), ("tmax_c", np.nan), ("ea_kpa", 1.0)]
)
def test_a_changed_value_is_a_change(
    open_unit: UnitOfWorkFactory, site_key: int, field: str, value: float
) -> None:
    save(open_unit, make_rows(site_key, "2026-06-01", "2026-06-02"))
    outcome = save(
        open_unit, make_rows(site_key, "2026-06-02", "2026-06-03", changes={field: value})
    )
    assert outcome == LoadOutcome(1, 1, 0)
    assert np.array_equal(read(open_unit, site_key).fields[field][1:], [value] * 2, equal_nan=True)


def test_the_same_forecast_issued_again_is_unchanged_but_newer(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    rows = make_rows(site_key, "2026-06-01", kind="forecast")
    save(open_unit, rows)
    later = NOW + timedelta(hours=6)
    assert save(open_unit, replace(rows, issued_at=(later,))) == LoadOutcome(0, 0, 1)
    assert read(open_unit, site_key).issued_at == (later,)


def test_the_last_of_two_rows_for_the_same_day_counts(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    rows = make_rows(site_key, "2026-06-01", "2026-06-01")
    rows.fields["rain_mm"][:] = [1.0, 2.0]
    assert save(open_unit, rows) == LoadOutcome(1, 0, 0)
    assert read(open_unit, site_key).fields["rain_mm"].tolist() == [2.0]


def test_an_instant_keeps_its_moment_whatever_its_offset(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    west = datetime(2026, 6, 1, 6, 0, 0, 125, tzinfo=timezone(timedelta(hours=-7)))
    save(open_unit, replace(make_rows(site_key, "2026-06-01"), issued_at=(west,)))
    (found,) = read(open_unit, site_key).issued_at
    assert found == west
    assert found.utcoffset() == timedelta(0)


def test_a_time_without_offset_is_refused(open_unit: UnitOfWorkFactory, site_key: int) -> None:
    naive = NOW.replace(tzinfo=None)
    with pytest.raises(ValueError, match="has no UTC offset"):
        save(open_unit, replace(make_rows(site_key, "2026-06-01"), issued_at=(naive,)))
    assert len(read(open_unit, site_key)) == 0


def test_only_the_sites_and_days_asked_for_are_read(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    with open_unit(write=False) as unit:
        other = unit.blocks.get_site_key("ridge")
    save(open_unit, make_rows(site_key, "2026-05-31", "2026-06-30", "2026-07-01"))
    save(open_unit, make_rows(other, "2026-06-30"))
    assert read(open_unit, site_key).days.tolist() == days("2026-06-30").tolist()
    assert read(open_unit, site_key, other).site_keys.tolist() == [site_key, other]
    assert len(read(open_unit)) == 0


def test_the_span_of_a_site_is_its_first_and_last_day(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    save(open_unit, make_rows(site_key, "2026-06-04", "2026-06-02"))
    save(open_unit, make_rows(site_key, "2026-06-09", kind="forecast"))
    with open_unit(write=False) as unit:
        observed = unit.weather.find_span(site_key, kind="observed")
        assert observed == (date(2026, 6, 2), date(2026, 6, 4))
        assert unit.weather.find_span(site_key, kind="analysis") is None


def test_the_freshness_of_sites_is_how_far_their_weather_reaches(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    with open_unit(write=False) as unit:
        other = unit.blocks.get_site_key("ridge")
    later = NOW + timedelta(hours=6)
    newer = replace(make_rows(site_key, "2026-07-03", kind="forecast"), issued_at=(later,))
    save(open_unit, make_rows(site_key, "2026-06-28", "2026-06-29"))
    save(open_unit, make_rows(site_key, "2026-06-30", kind="analysis"))
    save(open_unit, make_rows(site_key, "2026-07-02", "2026-07-04", kind="forecast"))
    save(open_unit, newer)
    save(open_unit, make_rows(other, "2026-06-01"))
    with open_unit(write=False) as unit:
        found = unit.weather.list_freshness(ints(other, site_key), first_day=date(2026, 6, 2))
        assert unit.weather.list_freshness(ints(), first_day=FIRST) == []
    all_groups = dict.fromkeys(FIELD_GROUPS, date(2026, 6, 30))
    assert found == [
        # Nothing lately, but somebody may ask how long ago it was.
        SiteFreshness({"temperature": date(2026, 6, 1)}, None, None),
        SiteFreshness(all_groups, date(2026, 7, 4), later),
    ]


def only(rows: WeatherRows, *names: str) -> WeatherRows:
    """The rows with these fields alone, of a source of their own."""
    missing = np.full(len(rows), np.nan)
    fields = {name: rows.fields[name] if name in names else missing for name in WEATHER_FIELDS}
    return replace(rows, sources=("gauge",) * len(rows), fields=fields)


def test_rain_alone_makes_no_weather_current(open_unit: UnitOfWorkFactory, site_key: int) -> None:
    save(open_unit, make_rows(site_key, "2026-06-10"))
    save(open_unit, only(make_rows(site_key, "2026-06-20"), "rain_mm"))
    save(open_unit, only(make_rows(site_key, "2026-06-25", kind="forecast"), "rain_mm"))
    with open_unit(write=False) as unit:
        (found,) = unit.weather.list_freshness(ints(site_key), first_day=FIRST)
        assert unit.weather.find_span(site_key, kind="observed") == (date(2026, 6, 10),) * 2
    assert found.last_measured_day == date(2026, 6, 10)
    assert found.measured_until["rain"] == date(2026, 6, 20)
    assert found.forecast_until_day is None


def test_weather_is_as_old_as_the_oldest_that_reference_et_takes_from_it(
    open_unit: UnitOfWorkFactory, site_key: int
) -> None:
    save(open_unit, only(make_rows(site_key, "2026-06-12"), "wind_m_s"))
    save(open_unit, only(make_rows(site_key, "2026-06-20"), "tmax_c", "tmin_c", "tdew_c"))
    save(open_unit, only(make_rows(site_key, "2026-06-22"), "tmax_c"))
    with open_unit(write=False) as unit:
        (found,) = unit.weather.list_freshness(ints(site_key), first_day=FIRST)
    assert found.measured_until == {
        "temperature": date(2026, 6, 20), "humidity": date(2026, 6, 20), "wind": date(2026, 6, 12),
    }  # fmt: skip
    assert found.last_measured_day == date(2026, 6, 12)  # radiation was never measured here


def test_no_rows_do_nothing(open_unit: UnitOfWorkFactory, site_key: int) -> None:
    assert save(open_unit, make_rows(site_key)) == LoadOutcome(0, 0, 0)
