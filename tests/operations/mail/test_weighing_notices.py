"""What a mail says of blocks that begin to weigh the forecast unasked."""

from __future__ import annotations

from service.bootstrap import Service
from service.operations.schedule.turn_on_risk import NOTICE, TurnedOn
from service.records.shadow import RiskNotice
from tests.api.invented_farm import BLOCK_ID, TODAY, plan_evening
from tests.operations.reading.test_read_risk_trial import keep_days
from tests.operations.schedule.test_turn_on_risk import look, mailed


def test_the_mail_of_the_first_such_plan_says_so(own_service: Service) -> None:
    keep_days(own_service, 95)
    with own_service.unit_of_work(write=True) as unit:
        unit.shadows.save_notice(
            unit.blocks.get_block_key(BLOCK_ID),
            RiskNotice(told_on=TODAY - NOTICE, turns_on=TODAY),
        )
    assert look(own_service) == TurnedOn(0, 1)
    assert plan_evening(own_service) == []
    assert "weighs the forecast from this plan on" in mailed(own_service)
