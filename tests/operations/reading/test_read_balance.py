"""The ledger of a block over a span: its days, what calls for water, and each day as a sum."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid
from service.operations.reading.read_balance import (
    LONGEST_SPAN_DAYS,
    TABLE_COLUMNS,
    BlockBalance,
    ledger_lines,
    read_balance,
    table_rows,
)
from service.operations.reading.read_plans import get_plan
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM, PLAN_DAY, TODAY, load


def balance_of(
    service: Service, first_day: date | None = None, last_day: date | None = None
) -> BlockBalance:
    return read_balance(
        BLOCK_ID,
        first_day=first_day,
        last_day=last_day,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def test_the_balance_holds_each_day_of_the_span_once(own_service: Service) -> None:
    first_day = TODAY - timedelta(days=6)
    found = balance_of(own_service, first_day, TODAY)
    assert found.rows.days.tolist() == [first_day + timedelta(days=ahead) for ahead in range(7)]
    assert (found.block_id, found.name) == (BLOCK_ID, "North blueberries")


@pytest.mark.parametrize("length", [-1, LONGEST_SPAN_DAYS + 1])
def test_an_impossible_span_is_refused_with_what_is_allowed(
    own_service: Service, length: int
) -> None:
    last_day = date(2026, 1, 1) + timedelta(days=length)
    with pytest.raises(InputInvalid) as refused:
        balance_of(own_service, date(2026, 1, 1), last_day)
    (fault,) = refused.value.faults
    assert (fault.where, fault.found) == ("to", last_day.isoformat())
    assert "up to 400 days" in fault.allowed


def test_a_balance_without_days_is_that_of_the_last_thirty(own_service: Service) -> None:
    def span(first_day: date | None, last_day: date | None) -> tuple[date, date]:
        found = balance_of(own_service, first_day, last_day)
        return found.first_day, found.last_day

    assert span(None, None) == (TODAY - timedelta(days=30), TODAY)
    assert span(date(2026, 7, 1), None) == (date(2026, 7, 1), TODAY)
    assert span(None, date.min) == (date.min, date.min)


def test_a_block_is_found_by_the_part_of_its_name_that_is_unique(own_service: Service) -> None:
    found = read_balance("south", unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    assert (found.block_id, found.name) == (BARE_BLOCK_ID, BARE_BLOCK_ID.partition(".")[2])


def test_the_trigger_is_that_of_the_plan_and_changes_with_the_block(own_service: Service) -> None:
    plan = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=own_service.unit_of_work).plan
    fraction = plan.reasoning.trigger_fraction
    assert fraction is not None
    # In force from today on: 0.4 of RAW instead of what holds by default.
    text = FARM.replace('root_depth = "18 in"', 'root_depth = "18 in"\ntrigger = 0.4')
    load(own_service, text, effective_day=TODAY)
    found = balance_of(own_service, TODAY - timedelta(days=2))
    raw_mm = found.rows.numbers["raw_mm"]
    shares = [fraction, fraction, 0.4]
    assert found.trigger_mm.tolist() == pytest.approx([*(shares * raw_mm)])


def test_each_line_is_a_sum_that_leads_to_the_next(own_service: Service) -> None:
    found = balance_of(own_service)
    lines = ledger_lines(found.rows, found.trigger_fraction)
    assert len(lines) == 31
    for line in lines:
        # FAO-56 Eq. 85, solved for the depletion at the end of the day.
        assert line.depletion_end_mm == pytest.approx(
            line.depletion_start_mm
            - line.rain_entering_mm
            - line.net_mm
            + line.drainage_mm
            + line.actual_crop_et_mm
            + line.other_mm,
            abs=1e-9,
        )
    for line, following in pairwise(lines):
        assert following.depletion_start_mm == line.depletion_end_mm


def test_the_table_has_the_days_of_the_ledger(own_service: Service) -> None:
    found = balance_of(own_service, TODAY - timedelta(days=1))
    first, _ = (dict(zip(TABLE_COLUMNS, row, strict=True)) for row in table_rows(found))
    assert first["day"] == (TODAY - timedelta(days=1)).isoformat()
    assert first["depletion_end_mm"] == pytest.approx(
        found.rows.numbers["depletion_end_mm"][0], abs=5e-5
    )
    assert first["trigger_mm"] == pytest.approx(found.trigger_mm[0], abs=5e-5)
    assert first["alley_store_mm"] is None  # no roots outside the wet strip


def test_an_empty_ledger_is_no_error(own_service: Service) -> None:
    found = balance_of(own_service, date(2020, 1, 1), date(2020, 1, 2))
    assert ledger_lines(found.rows, found.trigger_fraction) == ()
    assert list(table_rows(found)) == []
