"""Blocks that made no choice begin to weigh the forecast after a season on paper, with notice."""

from __future__ import annotations

from collections.abc import Collection
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from service.agronomy.risk_attitude import RiskAttitude
from service.bootstrap import Service
from service.database.session import UnitOfWork
from service.delivery.evening_words import evening_words
from service.operations.farms.choose_attitude import choose_attitude
from service.operations.mail.evening_mail import evening_letter
from service.operations.schedule.turn_on_risk import NOTICE, TurnedOn, turn_on_risk
from service.records.farms import BlockDefinition
from service.translations.wording import wording
from tests.api.invented_farm import (
    BLOCK_ID,
    FARM,
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    FixedClock,
    load,
)
from tests.operations.evening.test_lay_out_pulses import change_north
from tests.operations.reading.test_read_risk_trial import keep_days


def look(service: Service, days_later: int = 0) -> TurnedOn:
    assert isinstance(service.clock, FixedClock)
    service.clock.instant = RUN_AT + timedelta(days=days_later)
    return turn_on_risk(unit_of_work=service.unit_of_work, clock=service.clock)


def north(service: Service, days_later: int = 0) -> BlockDefinition:
    with service.unit_of_work(write=False) as unit:
        return unit.blocks.get_block(BLOCK_ID, day=TODAY + timedelta(days=days_later))


def mailed(service: Service) -> str:
    letter = evening_letter(
        service_farm(service), PLAN_DAY, unit_of_work=service.unit_of_work, attributions={}
    )
    return " ".join(evening_words(letter, wording("en", "us")).shared)


def service_farm(service: Service) -> Any:
    with service.unit_of_work(write=False) as unit:
        return unit.blocks.get_farm_of(BLOCK_ID)


def test_a_grower_is_told_first_and_the_block_turned_on_two_weeks_later(
    own_service: Service,
) -> None:
    keep_days(own_service, 95)
    assert look(own_service) == TurnedOn(told_count=1, turned_count=0)
    assert look(own_service) == TurnedOn(0, 0)  # once
    assert "will weigh the forecast from Wednesday, July 29" in mailed(own_service)
    assert look(own_service, NOTICE.days - 1) == TurnedOn(0, 0)
    assert north(own_service, NOTICE.days).risk_attitude == RiskAttitude.CLASSIC
    assert look(own_service, NOTICE.days) == TurnedOn(0, 1)
    block = north(own_service, NOTICE.days)
    assert block.risk_attitude == RiskAttitude.BALANCED and not block.has_stated_attitude
    assert "95 days on paper" in block.origins["risk_attitude"]
    assert look(own_service, NOTICE.days + 1) == TurnedOn(0, 0)
    with own_service.unit_of_work(write=False) as unit:
        subjects = [
            entry.after
            for entry in unit.audit.list_entries(FARM_ID, count=50)
            if entry.subject_id == BLOCK_ID
        ]
    assert any(after and "weighs_forecast_from" in after for after in subjects)
    assert any(after and "risk_attitude" in after for after in subjects)


@pytest.mark.parametrize("attitude", [RiskAttitude.CLASSIC, RiskAttitude.CAREFUL_CROP])
def test_who_says_what_he_wants_after_the_notice_keeps_it(
    attitude: RiskAttitude, own_service: Service
) -> None:
    keep_days(own_service, 95)
    look(own_service)
    with own_service.unit_of_work(write=True) as unit:
        choose_attitude(unit, BLOCK_ID, attitude, replanning=own_service.replanning)
    assert "weigh the forecast" not in mailed(own_service)
    for days_later in (NOTICE.days, 60, 300):
        assert look(own_service, days_later) == TurnedOn(0, 0)
    assert north(own_service, 300).risk_attitude == attitude


def test_a_block_with_a_stated_attitude_is_never_told(own_service: Service) -> None:
    change_north(own_service, origins={"risk_attitude": "given"})
    keep_days(own_service, 95)
    assert look(own_service) == TurnedOn(0, 0)


def test_who_has_nothing_to_do_writes_nothing(own_service: Service) -> None:
    keep_days(own_service, 95)
    look(own_service)
    writes: list[bool] = []

    def watched(*, write: bool, farm_keys: Collection[int] | None = None) -> UnitOfWork:
        writes.append(write)
        return own_service.unit_of_work(write=write, farm_keys=farm_keys)

    turn_on_risk(unit_of_work=watched, clock=own_service.clock)
    assert writes and not any(writes)


def test_a_short_trial_is_no_season(own_service: Service) -> None:
    keep_days(own_service, 89)
    assert look(own_service) == TurnedOn(0, 0)


def test_days_of_two_seasons_do_not_add_up(own_service: Service) -> None:
    keep_days(own_service, 200, dormant_count=0)
    # Of the two hundred days those since the season began on 20 March count: 116.
    assert look(own_service) == TurnedOn(1, 0)
    load(own_service, FARM.replace('start = "03-20"', 'start = "05-20"'))
    with own_service.unit_of_work(write=True) as unit:
        unit.shadows.forget_notice(unit.blocks.get_block_key(BLOCK_ID))
    assert look(own_service) == TurnedOn(0, 0)


@pytest.mark.parametrize(
    "worse",
    [
        {"weighed_lost_et_mm": 3.0},  # 120 in cost
        {"guards": 1},
        {"guards": 4},
    ],
)
def test_a_trial_that_costs_more_or_was_seldom_weighed_turns_nothing_on(
    worse: dict[str, Any], own_service: Service
) -> None:
    keep_days(own_service, 95, **worse)
    assert look(own_service) == TurnedOn(0, 0)


def test_a_notice_is_taken_back_where_the_trial_turns_out_worse(own_service: Service) -> None:
    keep_days(own_service, 95)
    look(own_service)
    keep_days(own_service, 95, weighed_lost_et_mm=3.0)
    assert look(own_service, NOTICE.days) == TurnedOn(0, 0)
    with own_service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_block_key(BLOCK_ID)
        assert unit.shadows.read_notices(np.array([key])) == {}


def test_loading_the_same_farm_file_again_leaves_it_on(own_service: Service) -> None:
    keep_days(own_service, 95)
    look(own_service)
    look(own_service, NOTICE.days)
    load(own_service, FARM, effective_day=TODAY + NOTICE)
    assert north(own_service, NOTICE.days).risk_attitude == RiskAttitude.BALANCED
    stated = FARM.replace("planting_year = 2019", 'planting_year = 2019\nrisk_attitude = "classic"')
    load(own_service, stated, effective_day=TODAY + NOTICE)
    block = north(own_service, NOTICE.days)
    assert block.risk_attitude == RiskAttitude.CLASSIC and block.has_stated_attitude
