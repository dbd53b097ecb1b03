"""Keys created, listed and revoked: shown once, stored as hashes, announced to every process."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy.engine import URL

from service.database.session import UnitOfWorkFactory
from service.errors import Conflict, InputInvalid, NotFound
from service.operations.access.manage_keys import (
    TOPIC,
    Right,
    has_live_key,
    list_keys,
    make_key,
    revoke_key,
)
from service.records.access import ApiKey
from tests.databases import address, stored_bytes
from tests.scheduled_farms import FixedClock

NOW = datetime(2026, 7, 14, 23, tzinfo=UTC)
CLOCK = FixedClock(NOW)


def make(open_unit: UnitOfWorkFactory, **changes: Any) -> tuple[ApiKey, str]:
    """A key of the pump house that reads plans, unless a test wants another one."""
    facts: dict[str, Any] = {
        "name": "pump house",
        "farm_id": "test-farm",
        "scopes": [Right.PLAN_READ],
        "expires_at": None,
        **changes,
    }
    return make_key(facts.pop("name"), unit_of_work=open_unit, clock=CLOCK, **facts)


def mark_of_change(open_unit: UnitOfWorkFactory) -> int:
    with open_unit(write=False) as unit:
        return unit.marks.read_all().get(TOPIC, 0)


def test_a_new_key_is_listed_as_made_and_announced_to_every_process(
    open_unit: UnitOfWorkFactory,
) -> None:
    before = mark_of_change(open_unit)
    key, _ = make(open_unit, expires_at=NOW + timedelta(days=1))
    assert list_keys(unit_of_work=open_unit) == [key]
    assert (key.name, key.farm_id, key.created_at) == ("pump house", "test-farm", NOW)
    assert key.scopes == {"plan:read"}
    assert mark_of_change(open_unit) == before + 1


def test_the_database_holds_the_hash_of_a_key_and_not_the_key(
    open_unit: UnitOfWorkFactory, database_url: URL
) -> None:
    key, token = make(open_unit)
    assert token.startswith(f"rw_{key.key_id}_") and len(token) == 44
    stored = stored_bytes(address(database_url))
    assert hashlib.sha256(token.encode()).hexdigest().encode() in stored
    assert token.rpartition("_")[2].encode() not in stored


def test_a_holder_may_have_two_live_keys_to_move_from_one_to_the_other(
    open_unit: UnitOfWorkFactory,
) -> None:
    first, _ = make(open_unit)
    make(open_unit)
    with pytest.raises(Conflict, match="2 live keys"):
        make(open_unit)
    make(open_unit, farm_id="other-farm")
    revoke_key(first.key_id, unit_of_work=open_unit, clock=CLOCK)
    make(open_unit)


def test_a_key_that_ended_by_itself_makes_room_for_another(open_unit: UnitOfWorkFactory) -> None:
    for _ in range(2):
        make(open_unit, expires_at=NOW + timedelta(hours=1))
    later = FixedClock(NOW + timedelta(hours=1))
    assert not has_live_key(unit_of_work=open_unit, clock=later)
    make_key(
        "pump house",
        farm_id="test-farm",
        scopes=[Right.PLAN_READ],
        expires_at=None,
        unit_of_work=open_unit,
        clock=later,
    )
    assert has_live_key(unit_of_work=open_unit, clock=later)


def test_a_key_with_odd_parts_is_not_made(open_unit: UnitOfWorkFactory) -> None:
    with pytest.raises(InputInvalid, match="one of plan:read"):
        make(open_unit, scopes=["root"])
    with pytest.raises(InputInvalid, match="one or more of plan:read"):
        make(open_unit, scopes=[])
    with pytest.raises(InputInvalid, match="farm's id"):
        make(open_unit, farm_id="Not A Farm")
    with pytest.raises(InputInvalid, match="who or what"):
        make(open_unit, name="two\nlines")
    with pytest.raises(InputInvalid, match="a time to come"):
        make(open_unit, expires_at=NOW)
    assert list_keys(unit_of_work=open_unit) == []


def test_every_odd_part_is_reported_at_once(open_unit: UnitOfWorkFactory) -> None:
    with pytest.raises(InputInvalid) as refused:
        make(open_unit, name=" ", farm_id="!", scopes=["root"], expires_at=NOW)
    assert [fault.where for fault in refused.value.faults] == ["name", "farm", "scope", "expires"]


def test_a_key_is_revoked_once_and_the_second_time_changes_nothing(
    open_unit: UnitOfWorkFactory,
) -> None:
    key, _ = make(open_unit)
    assert has_live_key(unit_of_work=open_unit, clock=CLOCK)
    assert revoke_key(key.key_id, unit_of_work=open_unit, clock=CLOCK)
    count = mark_of_change(open_unit)
    later = FixedClock(NOW + timedelta(hours=1))
    assert not revoke_key(key.key_id, unit_of_work=open_unit, clock=later)
    assert mark_of_change(open_unit) == count
    (ended,) = list_keys(unit_of_work=open_unit)
    assert ended.revoked_at == NOW
    assert not has_live_key(unit_of_work=open_unit, clock=CLOCK)


def test_a_key_that_was_never_made_cannot_be_revoked(open_unit: UnitOfWorkFactory) -> None:
    with pytest.raises(NotFound, match="nosuchky"):
        revoke_key("nosuchky", unit_of_work=open_unit, clock=CLOCK)
