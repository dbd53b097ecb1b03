"""Stores of keys, answers, soil readings and pauses, on every database."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from service.agronomy.records import NoWaterPeriod
from service.database.session import UnitOfWorkFactory
from service.errors import Conflict, NotFound
from service.records.access import ApiKey, StoredAnswer
from service.records.feedback import Pause, SoilReading
from tests.stored_farms import ints, stored_block, stored_bundle

NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)
DAY = date(2026, 7, 1)
HOUR = timedelta(hours=1)
KEY = ApiKey(
    key_id="abcdefgh",
    name="pump house",
    farm_id="orchard",
    scopes=frozenset({"plan:read", "water:write"}),
    sha256="0" * 64,
    created_at=NOW,
)
READING = SoilReading(
    block_id="orchard.north",
    read_at=NOW,
    day=DAY,
    is_evening=False,
    kind="tension",
    volumetric_water=0.2,
    tension_kpa=60.0,
    top_depth_m=0.1,
    bottom_depth_m=0.3,
    depletion_reading_mm=12.5,
    weight_fraction=0.4,
    reporter="Ann",
)
PAUSE = Pause(
    pause_id="p1",
    block_id="orchard.north",
    period=NoWaterPeriod(datetime(2026, 7, 2), datetime(2026, 7, 3, 6), "harvest"),  # noqa: DTZ001 - wall-clock times
    reporter="Ann",
    recorded_at=NOW,
)


@pytest.fixture(autouse=True)
def stored(open_unit: UnitOfWorkFactory) -> None:
    """Two blocks."""
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(
            stored_bundle(stored_block(), stored_block("orchard.south")),
            effective_day=DAY,
            recorded_at=NOW,
        )


def test_keys_come_back_as_they_were_stored(open_unit: UnitOfWorkFactory) -> None:
    later = replace(KEY, key_id="later", farm_id=None, expires_at=NOW + HOUR, created_at=NOW + HOUR)
    with open_unit(write=True) as unit:
        unit.keys.add(later)
        unit.keys.add(KEY)
        with pytest.raises(Conflict):
            unit.keys.add(KEY)
    with open_unit(write=False) as unit:
        assert unit.keys.list_keys() == [KEY, later]


def test_a_key_ends_once(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        unit.keys.add(KEY)
        assert unit.keys.revoke(KEY.key_id, at=NOW) is True
        assert unit.keys.revoke(KEY.key_id, at=NOW + HOUR) is False
        assert unit.keys.list_keys()[0].revoked_at == NOW
        with pytest.raises(NotFound):
            unit.keys.revoke("nobody", at=NOW)


def test_the_last_use_never_goes_back(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        unit.keys.add(KEY)
        for at in (NOW + HOUR, NOW):
            unit.keys.note_uses({KEY.key_id: at, "unknown": at})
        assert unit.keys.list_keys()[0].last_used_at == NOW + HOUR


def test_answers_are_kept_by_tenant_and_key_and_forgotten_by_age(
    open_unit: UnitOfWorkFactory,
) -> None:
    answer = StoredAnswer("digest", 200, b"\x00body", NOW)
    with open_unit(write=True) as unit:
        unit.answers.save("orchard", "one", replace(answer, status=201))
        unit.answers.save("orchard", "one", answer)
        unit.answers.save("", "one", replace(answer, stored_at=NOW - HOUR))
    with open_unit(write=True) as unit:
        assert unit.answers.find("orchard", "one") == answer
        assert unit.answers.find("orchard", "two") is None
        assert unit.answers.prune(before=NOW) == 1
        assert unit.answers.find("", "one") is None


def test_a_soil_reading_takes_the_place_of_one_of_the_same_instant(
    open_unit: UnitOfWorkFactory,
) -> None:
    with open_unit(write=True) as unit:
        assert unit.soil.record(READING, recorded_at=NOW).created_count == 1
        assert unit.soil.record(READING, recorded_at=NOW).unchanged_count == 1
        changed = replace(READING, depletion_reading_mm=3.0)
        assert unit.soil.record(changed, recorded_at=NOW).changed_count == 1
        key = unit.blocks.get_block_key(READING.block_id)
        found = unit.soil.read_depletions(ints(key), first_day=DAY, last_day=DAY)
        assert found.depletion_reading_mm.tolist() == [3.0]
        assert found.block_keys.tolist() == [key]
        assert unit.soil.list_readings(READING.block_id, first_day=DAY, last_day=DAY) == [changed]
        with pytest.raises(NotFound):
            unit.soil.record(replace(READING, block_id="orchard.nowhere"), recorded_at=NOW)


def test_pauses_are_listed_until_they_are_taken_back(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        unit.pauses.add(PAUSE)
        key = unit.blocks.get_block_key(PAUSE.block_id)
        other = unit.blocks.get_block_key("orchard.south")
        assert unit.pauses.list_pauses(PAUSE.block_id) == [PAUSE]
        assert unit.pauses.read_periods(ints(key, other)) == {key: (PAUSE.period,)}
        with pytest.raises(NotFound):
            unit.pauses.cancel("orchard.south", PAUSE.pause_id, at=NOW)
        assert unit.pauses.cancel(PAUSE.block_id, PAUSE.pause_id, at=NOW) is True
        assert unit.pauses.cancel(PAUSE.block_id, PAUSE.pause_id, at=NOW) is False
        assert unit.pauses.list_pauses(PAUSE.block_id) == []
        assert unit.pauses.read_periods(ints(key)) == {}


def test_the_users_of_a_site_are_the_farms_whose_blocks_draw_on_it(
    open_unit: UnitOfWorkFactory,
) -> None:
    with open_unit(write=True) as unit:
        site_key = unit.blocks.get_site_key("hollow")
        assert unit.blocks.find_users(ints(site_key)) == {site_key: ("orchard",)}
