"""What a block does with the forecast, stated in one step."""

from __future__ import annotations

import pytest

from service.agronomy.risk_attitude import RiskAttitude
from service.bootstrap import Service
from service.errors import NotFound
from service.operations.farms.choose_attitude import choose_attitude
from service.records.farms import BlockDefinition
from tests.api.invented_farm import BLOCK_ID


def choose(
    service: Service, attitude: RiskAttitude, block_id: str = BLOCK_ID
) -> tuple[BlockDefinition, int]:
    with service.unit_of_work(write=True) as unit:
        return choose_attitude(unit, block_id, attitude, replanning=service.replanning)


def test_the_evening_rule_can_be_stated_and_changes_no_plan(own_service: Service) -> None:
    block, count = choose(own_service, RiskAttitude.CLASSIC)
    assert block.has_stated_attitude and block.risk_attitude == RiskAttitude.CLASSIC
    assert count == 0
    with own_service.unit_of_work(write=False) as unit:
        entries = unit.audit.list_entries(block.farm_id, count=5)
    assert any(entry.subject_id == BLOCK_ID for entry in entries)


def test_plans_follow_a_choice_at_once_and_the_same_choice_again_changes_nothing(
    own_service: Service,
) -> None:
    block, count = choose(own_service, RiskAttitude.BALANCED)
    assert (block.risk_attitude, count) == (RiskAttitude.BALANCED, 1)
    assert choose(own_service, RiskAttitude.BALANCED) == (block, 0)
    assert choose(own_service, RiskAttitude.CLASSIC)[1] == 1


def test_an_unknown_block_is_not_found(own_service: Service) -> None:
    with pytest.raises(NotFound):
        choose(own_service, RiskAttitude.BALANCED, "test-farm.west")
