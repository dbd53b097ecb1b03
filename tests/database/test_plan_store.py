"""What every PlanStore does, whatever is behind it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import orjson
import pytest

from service.agronomy.records import Ints
from service.database.session import UnitOfWorkFactory
from service.errors import NotFound
from service.records.farms import LoadOutcome
from service.records.feedback import GaugeReading, RunRows
from service.records.plan_reasoning import read_reasoning, read_weather_basis
from service.records.plans import PlanRows, PublishedPlan
from tests.stored_farms import day_after, days, ints, stored_block, stored_bundle

DAY = date(2026, 7, 2)
NOW = datetime(2026, 7, 1, 19, tzinfo=UTC)
SOON = NOW + timedelta(minutes=30)
ZONE = ZoneInfo("America/Los_Angeles")


@pytest.fixture
def keys(open_unit: UnitOfWorkFactory) -> Ints:
    """Blocks north and south of one site."""
    bundle = stored_bundle(stored_block("orchard.north"), stored_block("orchard.south"))
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(bundle, effective_day=date(2026, 6, 1), recorded_at=NOW)
        return ints(*(unit.blocks.get_block_key(name) for name in ("north", "south")))


@pytest.fixture
def basis_key(open_unit: UnitOfWorkFactory, keys: Ints) -> int:
    return save_basis(open_unit, weather_document(et0_mm=7.1))


def weather_document(*, et0_mm: float) -> bytes:
    """The weather of one day at a site, as plans store it."""
    return orjson.dumps(
        {
            "zone": "America/Los_Angeles",
            "days": [DAY],
            "fields": {"et0_mm": [et0_mm]},
            "flags": {"et0_mm": [0]},
            "origins": [],
            "origin_of": {},
        }
    )


def save_basis(open_unit: UnitOfWorkFactory, document: bytes, *, day: date = DAY) -> int:
    with open_unit(write=True) as unit:
        site_key = unit.blocks.get_site_key("hollow")
        (key,) = unit.plans.save_basis(ints(site_key), [document], day=day, issued_at=NOW)
        return int(key)


def make_plans(
    keys: Ints,
    basis_key: int,
    *,
    day: date = DAY,
    status: str = "water",
    planned_min: int = 90,
    digest: str = "first",
) -> PlanRows:
    count = keys.size
    has_water = planned_min > 0
    return PlanRows(
        block_keys=keys,
        day=day,
        status=(status,) * count,
        planned_min=np.full(count, planned_min),
        early_min=np.full(count, planned_min // 3),
        ready_min=np.full(count, 420.0 if has_water else np.nan),
        gross_mm=np.full(count, 4.5 if has_water else np.nan),
        net_mm=np.full(count, 4.0),
        pulses=(b"[[300,30],[360,60]]" if has_water else b"[]",) * count,
        numbers=(b'{"taw_mm":12.5}',) * count,
        basis_keys=np.full(count, basis_key),
        digest=(digest,) * count,
    )


def publish(open_unit: UnitOfWorkFactory, rows: PlanRows, *, at: datetime = NOW) -> int:
    with open_unit(write=True) as unit:
        return unit.plans.publish(rows, issued_at=at).count


def find(
    open_unit: UnitOfWorkFactory, name: str = "orchard.north", *, version: int | None = None
) -> PublishedPlan | None:
    with open_unit(write=False) as unit:
        return unit.plans.find_plan(name, day=DAY, version=version)


# --- plans -------------------------------------------------------------------------------------


def test_a_published_plan_comes_back_whole(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    assert publish(open_unit, make_plans(keys, basis_key)) == 2
    found = find(open_unit)
    assert found is not None
    assert found == PublishedPlan(
        plan_key=found.plan_key,
        block_id="orchard.north",
        day=DAY,
        version=1,
        status="water",
        issued_at=NOW,
        superseded_at=None,
        planned_min=90,
        gross_mm=4.5,
        net_mm=4.0,
        pulses=((300, 30), (360, 60)),
        reasoning=read_reasoning(b'{"taw_mm":12.5}'),
        weather=read_weather_basis(weather_document(et0_mm=7.1)),
    )


def test_the_same_plan_again_is_no_new_version(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys, basis_key))
    assert publish(open_unit, make_plans(keys, basis_key), at=SOON) == 0
    found = find(open_unit)
    assert found is not None
    assert (found.version, found.issued_at) == (1, NOW)


def test_only_blocks_whose_plan_says_something_else_get_a_new_version(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys, basis_key))
    rows = replace(make_plans(keys, basis_key, planned_min=60), digest=("first", "second"))
    assert publish(open_unit, rows, at=SOON) == 1
    north, south = find(open_unit), find(open_unit, "orchard.south")
    assert north is not None
    assert south is not None
    assert (north.version, north.planned_min) == (1, 90)
    assert (south.version, south.planned_min) == (2, 60)


def test_older_versions_stay_as_they_were_and_say_when_they_ended(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys, basis_key))
    before = find(open_unit)
    publish(open_unit, make_plans(keys, basis_key, planned_min=60, digest="second"), at=SOON)
    assert before is not None
    assert find(open_unit, version=1) == replace(before, superseded_at=SOON)
    in_force = find(open_unit)
    assert in_force is not None
    assert in_force == find(open_unit, version=2)
    assert in_force.superseded_at is None
    assert find(open_unit, version=3) is None


def test_going_back_to_an_earlier_plan_is_a_version_of_its_own(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    for digest in ("first", "second", "first"):
        assert publish(open_unit, make_plans(keys, basis_key, digest=digest)) == 2
    found = find(open_unit)
    assert found is not None
    assert found.version == 3


def test_a_plan_without_weather_never_takes_the_place_of_one_with_minutes(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    blind = make_plans(keys, basis_key, status="no-weather", planned_min=0, digest="blind")
    publish(open_unit, make_plans(keys, basis_key))
    assert publish(open_unit, blind, at=SOON) == 0
    found = find(open_unit)
    assert found is not None
    assert found.status == "water"


def test_a_plan_without_weather_takes_the_place_of_rest_and_yields_to_any(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    rest = make_plans(keys, basis_key, status="rest", planned_min=0, digest="rest")
    blind = make_plans(keys, basis_key, status="no-weather", planned_min=0, digest="blind")
    assert publish(open_unit, rest) == 2
    assert publish(open_unit, blind) == 2
    assert publish(open_unit, make_plans(keys, basis_key)) == 2
    found = find(open_unit)
    assert found is not None
    assert (found.version, found.status) == (3, "water")
    blind_plan = find(open_unit, version=2)
    assert blind_plan is not None
    assert np.isnan(blind_plan.gross_mm)
    assert blind_plan.pulses == ()


def test_publishing_nothing_stores_nothing(open_unit: UnitOfWorkFactory, basis_key: int) -> None:
    assert publish(open_unit, make_plans(ints(), basis_key)) == 0


def test_plans_of_a_day_are_listed_by_block(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys[::-1], basis_key))
    publish(open_unit, make_plans(keys, basis_key, day=day_after(DAY)))
    publish(open_unit, make_plans(keys, basis_key, digest="second"), at=SOON)
    with open_unit(write=False) as unit:
        found = unit.plans.list_plans(day=DAY)
        assert [each.block_id for each in found] == ["orchard.north", "orchard.south"]
        assert {each.version for each in found} == {2}
        assert found[0].weather is found[1].weather
        assert unit.plans.list_plans(day=DAY, farm_id="orchard") == found
        assert unit.plans.list_plans(day=DAY, farm_id="meadow") == []
        assert unit.plans.list_plans(day=day_after(DAY, 2)) == []


def test_the_latest_day_is_the_last_that_a_plan_is_for(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    with open_unit(write=False) as unit:
        assert unit.plans.find_latest_day() is None
    publish(open_unit, make_plans(keys, basis_key))
    publish(open_unit, make_plans(keys[:1], basis_key, day=day_after(DAY)))
    with open_unit(write=False) as unit:
        assert unit.plans.find_latest_day() == day_after(DAY)
        assert unit.plans.find_latest_day("north") == day_after(DAY)
        assert unit.plans.find_latest_day("orchard.south") == DAY
        assert unit.plans.find_latest_day("orchard.west") is None


def test_there_is_no_plan_for_an_unknown_block_or_day(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    assert find(open_unit, "orchard.west") is None
    assert find(open_unit) is None


def test_the_same_basis_document_has_the_same_key(open_unit: UnitOfWorkFactory, keys: Ints) -> None:
    first = save_basis(open_unit, weather_document(et0_mm=7.1))
    assert save_basis(open_unit, weather_document(et0_mm=7.1)) == first
    assert save_basis(open_unit, weather_document(et0_mm=7.2)) != first
    assert save_basis(open_unit, weather_document(et0_mm=7.1), day=day_after(DAY)) != first


def test_basis_keys_come_back_in_the_order_of_the_documents(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    with open_unit(write=True) as unit:
        site_keys = ints(*[unit.blocks.get_site_key("hollow")] * 3)
        found = unit.plans.save_basis(site_keys, [b"1", b"2", b"1"], day=DAY, issued_at=NOW)
    assert found[0] == found[2] != found[1]


# --- what was applied --------------------------------------------------------------------------


def make_runs(
    block_key: int, *starts_min: int, duration_min: float = 45.0, sunrise_min: int = 340
) -> RunRows:
    """Runs of a block on DAY at these minutes since local midnight."""
    midnight = datetime(DAY.year, DAY.month, DAY.day, tzinfo=ZONE).astimezone(UTC)
    count = len(starts_min)
    return RunRows(
        block_keys=ints(*[block_key] * count),
        days=days(*[str(DAY)] * count),
        started_at=tuple(midnight + timedelta(minutes=start) for start in starts_min),
        start_min=ints(*starts_min),
        duration_min=np.full(count, duration_min),
        volume_l=np.full(count, np.nan),
        is_early=np.array([start < sunrise_min for start in starts_min], dtype=np.bool_),
        reporter="controller 7",
    )


def record(open_unit: UnitOfWorkFactory, rows: RunRows) -> LoadOutcome:
    with open_unit(write=True) as unit:
        return unit.plans.record_runs(rows, recorded_at=NOW)


def test_a_plan_counts_as_applied_where_nobody_reported(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys[:1], basis_key, planned_min=60, digest="old"))
    publish(open_unit, make_plans(keys[:1], basis_key), at=SOON)
    span = days("2026-07-01", "2026-07-02", "2026-07-03")
    with open_unit(write=False) as unit:
        found = unit.plans.read_applied(keys, span)
    np.testing.assert_array_equal(found.early_min, [[0, 0], [30, 0], [0, 0]])
    np.testing.assert_array_equal(found.day_min, [[0, 0], [60, 0], [0, 0]])
    nan = np.nan
    np.testing.assert_array_equal(found.ready_min, [[nan, nan], [420, nan], [nan, nan]])
    assert not found.is_reported.any()


def test_reported_runs_take_the_place_of_the_plan(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys, basis_key))
    record(open_unit, make_runs(int(keys[1]), 500, 120, 200))
    with open_unit(write=False) as unit:
        found = unit.plans.read_applied(keys, days(str(DAY)))
    np.testing.assert_array_equal(found.is_reported, [[False, True]])
    np.testing.assert_array_equal(found.early_min, [[30, 90]])
    np.testing.assert_array_equal(found.day_min, [[60, 45]])
    # The last run ends at 545; the off time held across midnight is as long as the run.
    np.testing.assert_array_equal(found.ready_min, [[420, 545 + 45]])


def test_a_reported_run_of_no_minutes_says_that_the_plan_was_not_carried_out(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys, basis_key))
    record(open_unit, make_runs(int(keys[0]), 300, duration_min=0.0))
    with open_unit(write=False) as unit:
        found = unit.plans.read_applied(keys[:1], days(str(DAY)))
    assert (found.early_min[0, 0], found.day_min[0, 0]) == (0.0, 0.0)
    assert found.is_reported[0, 0]


def test_applied_water_follows_the_order_of_days_and_blocks_asked_for(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys[:1], basis_key))
    publish(open_unit, make_plans(keys[1:], basis_key, day=day_after(DAY, 2), planned_min=30))
    record(open_unit, make_runs(int(keys[1]), 100))
    with open_unit(write=False) as unit:
        found = unit.plans.read_applied(keys[::-1], days("2026-07-04", "2026-07-02"))
        none = unit.plans.read_applied(ints(), days(str(DAY)))
        no_days = unit.plans.read_applied(keys, days())
    np.testing.assert_array_equal(found.early_min, [[10, 0], [45, 30]])
    np.testing.assert_array_equal(found.day_min, [[20, 0], [0, 60]])
    assert none.early_min.shape == (1, 0)
    assert no_days.early_min.shape == (0, 2)


def test_the_same_run_again_is_unchanged_and_other_minutes_correct_it(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    key = int(keys[0])
    assert record(open_unit, make_runs(key, 100, 200)) == LoadOutcome(2, 0, 0)
    assert record(open_unit, make_runs(key, 100, 200)) == LoadOutcome(0, 0, 2)
    outcome = record(open_unit, make_runs(key, 100, 300, duration_min=60.0))
    assert outcome == LoadOutcome(1, 1, 0)
    with open_unit(write=False) as unit:
        found = unit.plans.read_applied(keys[:1], days(str(DAY)))
    assert found.early_min[0, 0] == 60.0 + 45.0 + 60.0


def test_a_metered_volume_added_later_corrects_the_run(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    rows = make_runs(int(keys[0]), 100)
    record(open_unit, rows)
    metered = replace(rows, volume_l=np.array([1234.5]))
    assert record(open_unit, metered) == LoadOutcome(0, 1, 0)
    assert record(open_unit, metered) == LoadOutcome(0, 0, 1)


def test_the_last_of_two_reports_of_one_run_counts(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    rows = make_runs(int(keys[0]), 100, 100)
    rows.duration_min[:] = [10.0, 20.0]
    assert record(open_unit, rows) == LoadOutcome(1, 0, 0)
    with open_unit(write=False) as unit:
        found = unit.plans.read_applied(keys[:1], days(str(DAY)))
    assert found.early_min[0, 0] == 20.0


# --- rain gauges -------------------------------------------------------------------------------


def make_reading(
    hour: int = 7, *, day: int = 2, rain_mm: float = 6.25, **changes: str
) -> GaugeReading:
    """A reading at this hour of the local day."""
    read_at = datetime(2026, 7, day, hour, tzinfo=ZONE)
    facts = {"site_id": "hollow", "kind": "measured", "note": "", "reporter": "Kim", **changes}
    return GaugeReading(
        read_at=read_at, covers_from=read_at - timedelta(hours=24), rain_mm=rain_mm, **facts
    )


def record_reading(open_unit: UnitOfWorkFactory, reading: GaugeReading) -> LoadOutcome:
    with open_unit(write=True) as unit:
        return unit.plans.record_reading(reading, recorded_at=NOW)


def readings(
    open_unit: UnitOfWorkFactory, first_day: date = DAY, last_day: date = DAY
) -> list[GaugeReading]:
    with open_unit(write=False) as unit:
        site_key = unit.blocks.get_site_key("hollow")
        return unit.plans.list_readings(site_key, first_day=first_day, last_day=last_day)


def test_a_reading_comes_back_and_again_it_is_unchanged(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    assert record_reading(open_unit, make_reading()) == LoadOutcome(1, 0, 0)
    assert record_reading(open_unit, make_reading(reporter="Lee")) == LoadOutcome(0, 0, 1)
    assert readings(open_unit) == [make_reading()]


def test_a_changed_reading_is_a_new_version_and_the_one_in_force(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    for rain_mm in (6.25, 8.5, 6.25):
        record_reading(open_unit, make_reading(rain_mm=rain_mm))
    corrected = make_reading(rain_mm=8.5, note="misread")
    assert record_reading(open_unit, corrected) == LoadOutcome(0, 1, 0)
    assert readings(open_unit) == [corrected]


def test_readings_are_of_the_days_on_which_their_cover_ends(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    at_midnight = make_reading(0, day=3)  # covers 2 July
    others = [make_reading(23, day=1), make_reading(0, day=2), make_reading(1, day=3)]
    for reading in (at_midnight, make_reading(), *others):
        record_reading(open_unit, reading)
    assert readings(open_unit) == [make_reading(), at_midnight]
    assert len(readings(open_unit, date(2026, 7, 1), date(2026, 7, 3))) == 5


def test_a_reading_of_an_unknown_site_is_not_found(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    with pytest.raises(NotFound, match="'nowhere'"):
        record_reading(open_unit, make_reading(site_id="nowhere"))
    with open_unit(write=False) as unit, pytest.raises(NotFound):
        unit.plans.list_readings(987, first_day=DAY, last_day=DAY)
