"""Programs of controllers: written when plans are, and left alone where they say the same."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from service.bootstrap import Service
from service.database.plan_store import PLANS_TOPIC
from service.database.session import UnitOfWork
from service.operations.evening.publish_programs import (
    TOPIC,
    json_body,
    most_min_of_day,
    publish_programs,
    render_program,
)
from service.records.controllers import StoredProgram
from service.unit_sizes import MINUTES_PER_DAY
from tests.api.invented_farm import FARM_ID, RUN_AT, FixedClock, bring_weather, plan_evening
from tests.api.paired_controllers import SHED, SHED_CONTROLLER, checked_program, pair


def publish(service: Service) -> int:
    with service.unit_of_work(write=True) as unit:
        return publish_programs(unit, farm_keys(unit), now=RUN_AT)


def farm_keys(unit: UnitOfWork) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.array([unit.blocks.farm_keys([FARM_ID])[FARM_ID]], dtype=np.int64)


def program(service: Service) -> StoredProgram:
    with service.unit_of_work(write=False) as unit:
        return unit.controllers.find_programs([SHED])[0]


def program_text(service: Service) -> str:
    row = program(service).program
    assert row is not None
    return row.json_text


def mark(service: Service, topic: str) -> int:
    with service.unit_of_work(write=False) as unit:
        return unit.marks.read_all().get(topic, 0)


def test_a_farm_without_controllers_has_no_program(own_service: Service) -> None:
    before = mark(own_service, TOPIC)
    assert publish(own_service) == 0
    assert mark(own_service, TOPIC) == before


def test_the_same_plans_again_leave_the_program_and_announce_nothing(own_service: Service) -> None:
    pair(own_service, FARM_ID, SHED_CONTROLLER)
    before, count = program(own_service), mark(own_service, TOPIC)
    assert publish(own_service) == 0
    assert (program(own_service), mark(own_service, TOPIC)) == (before, count)


def test_new_plans_are_written_into_the_program_and_announced(own_service: Service) -> None:
    pair(own_service, FARM_ID, SHED_CONTROLLER)
    before, count = program(own_service), mark(own_service, TOPIC)
    bring_weather(own_service, warmer_c=8.0)
    assert plan_evening(own_service) == []
    assert program(own_service) != before
    assert mark(own_service, TOPIC) == count + 1


def test_plans_are_announced_also_where_no_controller_follows(own_service: Service) -> None:
    count = mark(own_service, PLANS_TOPIC)
    bring_weather(own_service, warmer_c=8.0)
    assert plan_evening(own_service) == []
    assert mark(own_service, PLANS_TOPIC) == count + 1


def test_a_farm_set_up_during_the_day_is_covered_from_then_on(own_service: Service) -> None:
    # Its first plan is for tomorrow: until then the program in force holds every channel.
    assert isinstance(own_service.clock, FixedClock)
    own_service.clock.instant = noon = RUN_AT.replace(hour=16)
    pair(own_service, FARM_ID, SHED_CONTROLLER)
    sent = checked_program(json_body(program_text(own_service), int(noon.timestamp())))
    assert any(channel["openings"] for channel in sent["channels"])
    assert sent["valid_from_epoch_s"] <= noon.timestamp() < sent["valid_until_epoch_s"]
    for channel in sent["channels"]:
        assert all(start >= noon.timestamp() for start, _, _ in channel["openings"])


@pytest.mark.parametrize(
    ("farms_own", "asked", "most"),
    [
        (180, [40, 120], 180),  # what the farm set holds, also above what is asked for
        (60, [40, 120], 60),
        (1440, [40, 120], 150),  # no maximum of its own: the longest day and a quarter
        (1440, [0], 0),  # nothing is asked for: nothing may run
        (1440, [33], 42),
        (1440, [1400], 1440),
        (0, [30], 0),  # a block that is not in force
    ],
)
def test_the_most_that_a_channel_may_run_on_a_day(
    farms_own: int, asked: list[int], most: int
) -> None:
    assert most_min_of_day(farms_own, asked) == most
    assert farms_own < MINUTES_PER_DAY or most >= max(asked)


def test_openings_that_are_over_still_count_for_the_most_of_the_day(own_service: Service) -> None:
    pair(own_service, FARM_ID, SHED_CONTROLLER)
    first = checked_program(json_body(program_text(own_service), 1_784_000_000))
    assert isinstance(own_service.clock, FixedClock)
    last_start = max(start for channel in first["channels"] for start, _, _ in channel["openings"])
    own_service.clock.instant = datetime.fromtimestamp(last_start, UTC)
    with own_service.unit_of_work(write=True) as unit:
        assert publish_programs(unit, farm_keys(unit), now=own_service.clock.instant) == 1
    later = checked_program(json_body(program_text(own_service), last_start))
    openings = [[len(each["openings"]) for each in sent["channels"]] for sent in (first, later)]
    assert openings[1] < openings[0]
    most = [[each["daily_maximum_min"] for each in sent["channels"]] for sent in (first, later)]
    assert most[0] == most[1]


def test_the_time_of_the_server_changes_nothing_of_the_program_behind_it() -> None:
    json_text, _ = render_program(
        SHED_CONTROLLER,
        [(1, "run", 1440, [(1_784_106_000, "2026-07-15T05:00", 120)])],
        version=7,
        issued_epoch_s=1_784_070_000,
        valid_epoch_s=(1_784_001_600, 1_784_174_400),
        zone="America/New_York",
    )
    first, second = (json_body(json_text, epoch_s) for epoch_s in (1_784_070_000, 1_784_070_001))
    assert first != second
    assert checked_program(first) == checked_program(second)
    assert checked_program(first)["version"] == 7
