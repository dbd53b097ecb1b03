"""A farm's calendar behind a link that is secret, replaced as a whole and cut to near days."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import timedelta

import pytest

from service.bootstrap import Service
from service.errors import NotFound
from service.operations.access.share_calendar import (
    COMING_DAYS,
    PAST_DAYS,
    read_calendar,
    renew_link,
)
from service.records.farms import FarmDefinition
from service.records.plans import PlanVersion
from tests.api.invented_farm import (
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    FixedClock,
    bring_weather,
    plan_evening,
)
from tests.databases import stored_bytes


def renew(service: Service) -> str:
    return renew_link(FARM_ID, unit_of_work=service.unit_of_work, clock=service.clock)


def in_words(farm: FarmDefinition, versions: Iterable[PlanVersion]) -> bytes:
    """A calendar that names its farm, and each version by block, day and number."""
    lines = [f"{each.block_id} {each.day} v{each.version}" for each in versions]
    return "\n".join([farm.farm_id, *sorted(lines)]).encode()


def read(service: Service, token: str, *, later: timedelta = timedelta(0)) -> list[str]:
    clock = FixedClock(RUN_AT + later)
    found = read_calendar(token, in_words, unit_of_work=service.unit_of_work, clock=clock)
    return found.decode().splitlines()


def test_a_link_opens_the_farm_and_the_plans_of_its_blocks(own_service: Service) -> None:
    farm_id, *plans = read(own_service, renew(own_service))
    assert farm_id == FARM_ID
    assert f"{BLOCK_ID} {PLAN_DAY} v1" in plans
    assert {line.partition(".")[0] for line in plans} == {FARM_ID}


def test_a_new_link_ends_the_old_one(own_service: Service) -> None:
    old = renew(own_service)
    assert read(own_service, old)
    new = renew(own_service)
    assert new != old
    with pytest.raises(NotFound, match="no calendar has this link"):
        read(own_service, old)
    assert read(own_service, new)


def test_only_the_hash_of_a_link_is_stored(own_service: Service) -> None:
    secret = renew(own_service)
    stored = stored_bytes(own_service.settings.database_url)
    assert hashlib.sha256(secret.encode()).hexdigest().encode() in stored
    assert secret.encode() not in stored


def test_a_farm_that_is_not_stored_gets_no_link(own_service: Service) -> None:
    with pytest.raises(NotFound):
        renew_link("nobody", unit_of_work=own_service.unit_of_work, clock=own_service.clock)


def test_a_plan_is_listed_from_two_days_before_its_day_to_two_weeks_after(
    own_service: Service,
) -> None:
    token = renew(own_service)
    line = f"{BLOCK_ID} {PLAN_DAY} v1"
    ahead = timedelta(days=1)  # the clock is on the day before the plan's
    early = timedelta(days=COMING_DAYS)
    assert line in read(own_service, token, later=ahead - early)
    assert line not in read(own_service, token, later=ahead - early - timedelta(days=1))
    late = timedelta(days=PAST_DAYS)
    assert line in read(own_service, token, later=ahead + late)
    assert line not in read(own_service, token, later=ahead + late + timedelta(days=1))


def test_a_replaced_version_is_listed_for_a_week(own_service: Service) -> None:
    bring_weather(own_service, warmer_c=-8.0)
    plan_evening(own_service)
    token = renew(own_service)
    old, new = (f"{BLOCK_ID} {PLAN_DAY} v{version}" for version in (1, 2))
    week = timedelta(days=7)
    assert {old, new} <= set(read(own_service, token, later=week - timedelta(seconds=1)))
    found = read(own_service, token, later=week + timedelta(seconds=1))
    assert new in found and old not in found
