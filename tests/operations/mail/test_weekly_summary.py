"""A farm's last week: queued once, from Monday morning on, with the numbers of the ledger."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from service.attributions import ATTRIBUTIONS
from service.bootstrap import Service
from service.operations.access.people import save_person
from service.operations.mail.weekly_summary import (
    SENT_FOR,
    WEEKLY,
    due_week,
    queue_weekly_summaries,
    week_before,
    weekly_letter,
)
from service.operations.reading.read_farms import list_farms
from service.operations.timers.set_timer import list_timers
from service.records.letters import BlockWeek, WeeklyLetter
from service.records.mail import Person
from service.waterworks.flow_check import FlowVerdict
from tests.api.invented_farm import BLOCK_ID, FARM_ID, TODAY, with_timer
from tests.operations.metered_runs import store_runs
from tests.operations.waterworks.test_learn_rate import LEVEL, store_season

ZONE = "America/New_York"
SUNDAY = date(2026, 7, 12)
MONDAY_SIX = datetime(2026, 7, 13, 10, tzinfo=UTC)
"""06:00 at the farm."""
SECOND = timedelta(seconds=1)


def add(service: Service, mail_address: str, *farm_ids: str, role: str = "grower") -> None:
    person = Person(mail_address=mail_address, name="Ana", role=role)
    save_person(person, farm_ids=farm_ids, unit_of_work=service.unit_of_work)


def queue(service: Service, *, at: datetime = MONDAY_SIX) -> int:
    return queue_weekly_summaries(service.unit_of_work, now=at)


def letter_of(service: Service) -> WeeklyLetter:
    (farm,) = list_farms([FARM_ID], unit_of_work=service.unit_of_work)
    return weekly_letter(farm, SUNDAY, unit_of_work=service.unit_of_work, attributions=ATTRIBUTIONS)


def north(letter: WeeklyLetter) -> BlockWeek:
    (found,) = [block for block in letter.blocks if block.block_id == BLOCK_ID]
    return found


@pytest.mark.parametrize("day", [13, 14, 19])
def test_the_last_week_that_is_over_is_monday_to_sunday(day: int) -> None:
    assert week_before(date(2026, 7, day)) == (date(2026, 7, 6), SUNDAY)


def test_a_week_is_due_from_monday_at_six_on_the_farms_clock_for_two_days() -> None:
    until = MONDAY_SIX + SENT_FOR
    week = (date(2026, 7, 6), SUNDAY, until)
    assert due_week(ZONE, MONDAY_SIX - SECOND) is None
    assert due_week(ZONE, MONDAY_SIX) == due_week(ZONE, until - SECOND) == week
    assert due_week(ZONE, until) is None


def test_each_reader_of_each_farm_is_sent_one_summary_and_looking_again_none(
    own_service: Service,
) -> None:
    add(own_service, "ana@example.org", FARM_ID, "later-farm")
    add(own_service, "bob@example.org", FARM_ID)
    add(own_service, "adviser@example.org", role="adviser")
    assert queue(own_service, at=MONDAY_SIX - SECOND) == 0
    assert queue(own_service) == 3
    assert queue(own_service) == queue(own_service, at=MONDAY_SIX + timedelta(hours=5)) == 0
    with own_service.unit_of_work(write=False) as unit:
        rows = unit.outbox.list_mails(first_queued_at=MONDAY_SIX)
    assert {(row.kind, row.plan_day) for row in rows} == {(WEEKLY, SUNDAY)}


def test_a_reader_added_on_tuesday_is_sent_the_week_too(own_service: Service) -> None:
    add(own_service, "ana@example.org", FARM_ID)
    queue(own_service)
    add(own_service, "bob@example.org", FARM_ID)
    assert queue(own_service, at=MONDAY_SIX + timedelta(days=1)) == 1
    add(own_service, "cat@example.org", FARM_ID)
    assert queue(own_service, at=MONDAY_SIX + timedelta(days=2)) == 0


def test_the_letter_adds_up_the_ledger_of_the_week(own_service: Service) -> None:
    letter = letter_of(own_service)
    assert (letter.farm_id, letter.first_day, letter.last_day) == (
        FARM_ID, date(2026, 7, 6), SUNDAY,
    )  # fmt: skip
    with own_service.unit_of_work(write=False) as unit:
        rows = unit.ledger.read_rows(
            unit.blocks.get_block_key(BLOCK_ID), first_day=letter.first_day, last_day=SUNDAY
        )
        block = unit.blocks.get_block(BLOCK_ID, day=SUNDAY)
    assert rows.days.size == 7
    week = north(letter)
    assert week.needed_mm == pytest.approx(rows.numbers["actual_crop_et_mm"].sum())
    assert week.applied_mm == pytest.approx(rows.numbers["irrigation_gross_mm"].sum())
    assert week.applied_l == pytest.approx(week.applied_mm * block.area_m2)
    assert week.depletion_end_mm == rows.numbers["depletion_end_mm"][-1]
    assert (week.unobserved_days_count, week.flow_verdict) == (0, "")
    assert np.isfinite(week.rain_kept_mm) and 0.0 <= week.rain_kept_mm <= week.rain_mm


def test_a_farm_without_a_ledger_has_a_week_without_numbers(own_service: Service) -> None:
    (farm,) = list_farms(["later-farm"], unit_of_work=own_service.unit_of_work)
    letter = weekly_letter(
        farm, SUNDAY, unit_of_work=own_service.unit_of_work, attributions=ATTRIBUTIONS
    )
    (week,) = letter.blocks
    assert (week.depletion_end_mm, week.raw_mm, week.applied_mm) == (None, None, 0.0)


def test_a_block_with_a_meter_has_what_the_meter_says(own_service: Service) -> None:
    assert north(letter_of(own_service)).flow_verdict == ""
    store_runs(own_service.unit_of_work, BLOCK_ID, [date(2026, 7, 10)], [5000.0])
    assert north(letter_of(own_service)).flow_verdict == FlowVerdict.TOO_FEW_RUNS


def test_the_week_says_what_the_emitters_give_where_plans_can_count_with_it(
    own_service: Service,
) -> None:
    assert north(letter_of(own_service)).rate_ratio is None
    store_season(own_service, LEVEL)
    week = north(letter_of(own_service))
    assert week.rate_ratio == pytest.approx(LEVEL, abs=0.01)
    assert week.rate_run_count == 20


def test_the_week_has_what_is_still_to_be_set_on_a_timer(own_service: Service) -> None:
    assert north(letter_of(own_service)).timer is None
    with_timer(own_service)
    (farm,) = list_farms([FARM_ID], unit_of_work=own_service.unit_of_work)
    letter = weekly_letter(
        farm, TODAY, unit_of_work=own_service.unit_of_work, attributions=ATTRIBUTIONS
    )
    line = north(letter).timer
    (state,) = list_timers(
        FARM_ID, unit_of_work=own_service.unit_of_work, now=own_service.clock.now()
    )
    assert line is not None and state.to_set is not None
    assert (line.to_set, line.program_id) == (state.to_set.program, state.to_set.program_id)
    assert (line.is_set, line.excess_mm) == (False, state.to_set.excess_mm)
