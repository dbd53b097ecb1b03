"""Programs of controllers: written when plans are, and left alone where they say the same."""

from __future__ import annotations

import numpy as np

from service.bootstrap import Service
from service.database.session import UnitOfWork
from service.operations.evening.publish_programs import (
    PLANS_TOPIC,
    TOPIC,
    announce_plans,
    json_body,
    publish_programs,
    render_program,
)
from service.records.controllers import StoredProgram
from tests.api.invented_farm import FARM_ID, RUN_AT, bring_weather, plan_evening
from tests.api.paired_controllers import SHED, SHED_CONTROLLER, checked_program, pair


def publish(service: Service) -> int:
    with service.unit_of_work(write=True) as unit:
        return publish_programs(unit, farm_keys(unit), now=RUN_AT)


def farm_keys(unit: UnitOfWork) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.array([unit.blocks.farm_keys([FARM_ID])[FARM_ID]], dtype=np.int64)


def program(service: Service) -> StoredProgram:
    with service.unit_of_work(write=False) as unit:
        return unit.controllers.find_programs([SHED])[0]


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
    with own_service.unit_of_work(write=True) as unit:
        announce_plans(unit, farm_keys(unit), now=RUN_AT)
    assert mark(own_service, PLANS_TOPIC) == count + 1


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
