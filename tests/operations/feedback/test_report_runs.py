"""Runs that took place: all of a report or none, once, with balance and plans behind them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from service.agronomy.civil_day import ONE_DAY
from service.attributions import ATTRIBUTIONS
from service.bootstrap import Service
from service.errors import InputInvalid
from service.operations.evening.run_day import run_day
from service.operations.farms.manage_farms import load_bundle
from service.operations.feedback.report_runs import (
    LONGEST_RUN_MIN,
    MOST_RUNS,
    OLDEST_RUN,
    ReportedRuns,
    RunReport,
    report_runs,
)
from service.operations.mail.evening_mail import evening_letter
from service.operations.reading.read_balance import ledger_lines
from service.operations.reading.read_farms import list_farms
from service.operations.reading.read_plans import explain
from service.operations.waterworks.order_fertigation import FertigationRequest, order_fertigation
from service.records.ledger import IrrigationOrigin
from service.unit_sizes import L_PER_GALLON
from service.waterworks.block_layout import BlockLayout
from service.waterworks.metered_run import FlowLimit
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    YOUNG_BLOCK_ID,
    FixedClock,
)

INJECTION = FertigationRequest(
    block_id=BLOCK_ID,
    day=PLAN_DAY,
    product_kg=(("urea", 3.0),),
    stock_l=30.0,
    temperature_c=15.0,
    injector_lowest_l_per_h=5.0,
    injector_highest_l_per_h=120.0,
    fill_min=3.0,
    travel_min=10.0,
)
RUN = RunReport(BLOCK_ID, datetime(2026, 7, 14, 9, tzinfo=UTC), 240.0)
"""Four hours from five in the morning on, at the farm."""


def report(service: Service, *runs: RunReport, farm_id: str | None = FARM_ID) -> ReportedRuns:
    with service.unit_of_work(write=True) as unit:
        return report_runs(
            unit, runs, farm_id=farm_id, reporter="the grower", replanning=service.replanning
        )


def version_of(service: Service, block_id: str = BLOCK_ID) -> int:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(block_id, day=PLAN_DAY)
    assert plan is not None
    return plan.version


def booked(service: Service) -> tuple[float, IrrigationOrigin]:
    """Irrigation of today in the ledger, gross, and where it comes from."""
    with service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_block_key(BLOCK_ID)
        rows = unit.ledger.read_rows(key, first_day=TODAY, last_day=TODAY)
    return float(rows.numbers["irrigation_gross_mm"][0]), IrrigationOrigin(
        rows.irrigation_origin[0]
    )


def test_a_run_is_booked_and_tomorrows_plan_replaced_before_the_report_ends(
    own_service: Service,
) -> None:
    before = booked(own_service)
    found = report(own_service, RUN)
    assert (found.outcome.created_count, found.flow) == (1, ())
    assert found.new_version_count >= 1
    assert booked(own_service) != before
    assert version_of(own_service) == 2


def test_the_same_run_again_changes_nothing_and_other_minutes_correct_it(
    own_service: Service,
) -> None:
    report(own_service, RUN)
    before = booked(own_service), version_of(own_service)
    again = report(own_service, RUN)
    assert (again.outcome.unchanged_count, again.new_version_count) == (1, 0)
    assert (booked(own_service), version_of(own_service)) == before
    shorter = report(own_service, replace(RUN, duration_min=120.0))
    assert (shorter.outcome.created_count, shorter.outcome.changed_count) == (0, 1)
    assert booked(own_service)[0] == pytest.approx(before[0][0] / 2.0)


def test_a_time_without_a_zone_is_on_the_clock_of_the_block(own_service: Service) -> None:
    report(own_service, RUN)
    local = datetime.fromisoformat("2026-07-14T05:00:00")
    again = report(own_service, replace(RUN, started_at=local))
    assert again.outcome.unchanged_count == 1


@pytest.mark.parametrize(
    ("changes", "where", "allowed"),
    [
        ({"block_id": f"{FARM_ID}.nowhere"}, "block_id", "a block that is in force, farm.block"),
        ({"block_id": YOUNG_BLOCK_ID}, "block_id", "a block that is in force, farm.block"),
        ({"started_at": RUN_AT + timedelta(hours=1)}, "started_at", "400 days ago"),
        ({"started_at": RUN_AT - OLDEST_RUN - ONE_DAY}, "started_at", "400 days ago"),
        ({"duration_min": LONGEST_RUN_MIN + 1.0}, "duration_min", "0 to 1500 minutes"),
        ({"duration_min": -1.0}, "duration_min", "0 to 1500 minutes"),
        ({"volume_l": -1.0}, "volume_l", "0 to 1e+08 liters"),
    ],
    ids=["no block", "another's", "to come", "too old", "too long", "below zero", "volume"],
)
def test_one_impossible_run_keeps_the_others_out_and_is_reported_by_its_place(
    own_service: Service, changes: dict[str, Any], where: str, allowed: str
) -> None:
    before = booked(own_service)
    with pytest.raises(InputInvalid) as refused:
        report(own_service, RUN, replace(RUN, **changes))
    (fault,) = refused.value.faults
    assert fault.where == f"/items/1/{where}"
    assert allowed in fault.allowed
    assert (booked(own_service), version_of(own_service)) == (before, 1)


@pytest.mark.parametrize("count", [0, MOST_RUNS + 1])
def test_a_report_of_no_run_or_of_too_many_is_refused(own_service: Service, count: int) -> None:
    with pytest.raises(InputInvalid) as refused:
        report(own_service, *[RUN] * count)
    assert str(refused.value.faults[0]) == (
        f"/items: found {count} runs; allowed: 1 to 1000 runs in a request"
    )


def test_runs_of_any_farm_are_taken_from_the_operator(own_service: Service) -> None:
    found = report(own_service, RUN, replace(RUN, block_id=YOUNG_BLOCK_ID), farm_id=None)
    assert found.outcome.created_count == 2


def test_metered_runs_are_held_against_their_block_one_note_a_block(own_service: Service) -> None:
    with own_service.unit_of_work(write=False) as unit:
        flow = unit.blocks.get_block(BLOCK_ID, day=TODAY).flow_l_per_h
    later = replace(RUN, started_at=RUN.started_at + timedelta(hours=6), duration_min=60.0)
    unmetered = replace(RUN, block_id=BARE_BLOCK_ID)
    found = report(
        own_service,
        replace(RUN, volume_l=4.0 * flow),
        replace(later, volume_l=0.5 * flow),
        unmetered,
    )
    (note,) = found.flow
    assert (note.block_id, note.run_count, note.duration_min) == (BLOCK_ID, 2, 300.0)
    assert note.flow_ratio == pytest.approx(0.9)
    assert note.expected_volume_l == pytest.approx(5.0 * flow)


def design_depth_mm(service: Service, minutes: float) -> tuple[float, float]:
    """Area of the block [m2] and the depth [mm] that its emitters give in these minutes."""
    with service.unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(BLOCK_ID, day=TODAY)
    return block.area_m2, block.flow_l_per_h * minutes / 60.0 / block.area_m2


def test_a_metered_run_is_booked_as_it_was_metered(own_service: Service) -> None:
    """1 L on 1 m2 is 1 mm, whatever the emitters should have given."""
    area_m2, depth_mm = design_depth_mm(own_service, RUN.duration_min)
    found = report(own_service, replace(RUN, volume_l=1.15 * depth_mm * area_m2))
    assert found.questioned_count == 0
    assert booked(own_service)[0] == pytest.approx(1.15 * depth_mm)
    assert booked(own_service)[1] is IrrigationOrigin.METERED


def test_what_leaks_beside_the_emitters_is_no_depth_and_no_fault(own_service: Service) -> None:
    """Of a meter's volume nine tenths are depth; the plan's minutes are those of the emitters."""
    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
        before = unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY)
    north, south = bundle.blocks
    load_bundle(
        replace(bundle, blocks=(replace(north, leakage_fraction=0.1), south)),
        effective_day=TODAY - timedelta(days=30),
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    run_day(
        TODAY,
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
        source_order=own_service.source_order,
    )
    with own_service.unit_of_work(write=False) as unit:
        after = unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY)
    assert before is not None and after is not None
    assert after.planned_min == before.planned_min
    area_m2, depth_mm = design_depth_mm(own_service, RUN.duration_min)
    found = report(own_service, replace(RUN, volume_l=depth_mm * area_m2 / 0.9))
    assert booked(own_service)[0] == pytest.approx(depth_mm)
    (note,) = found.flow
    assert note.verdict == "as-expected"
    assert note.flow_ratio == pytest.approx(1.0)
    assert found.questioned_count == 0


def test_the_reasoning_and_the_evening_letter_say_what_was_metered_and_how_it_is_booked(
    own_service: Service,
) -> None:
    area_m2, depth_mm = design_depth_mm(own_service, RUN.duration_min)
    volume_l = 1.1 * depth_mm * area_m2
    doubted_l = 9.0 * volume_l
    later = replace(RUN, started_at=RUN.started_at + timedelta(hours=6), volume_l=doubted_l)
    report(own_service, replace(RUN, volume_l=volume_l), later)
    explained = explain(BLOCK_ID, day=PLAN_DAY, unit_of_work=own_service.unit_of_work)
    (farm,) = list_farms([FARM_ID], unit_of_work=own_service.unit_of_work)
    letter = evening_letter(
        farm, PLAN_DAY, unit_of_work=own_service.unit_of_work, attributions=ATTRIBUTIONS
    )
    (line,) = [each for each in letter.blocks if each.block_id == BLOCK_ID]
    (metered,) = explained.metered
    assert line.metered == metered
    assert (metered.day, metered.leakage_fraction) == (TODAY, 0.0)
    assert metered.booked_l == pytest.approx(volume_l)
    assert metered.questioned_l == pytest.approx(doubted_l)
    assert metered.irrigation_gross_mm == pytest.approx(2.1 * depth_mm)
    assert ledger_lines(explained.ledger, 1.0)[-1].irrigation_origin == "metered"
    (other,) = [each for each in letter.blocks if each.block_id == BARE_BLOCK_ID]
    assert other.metered is None


def test_of_runs_with_and_without_a_meter_each_is_booked_by_what_is_known(
    own_service: Service,
) -> None:
    area_m2, depth_mm = design_depth_mm(own_service, RUN.duration_min)
    later = replace(RUN, started_at=RUN.started_at + timedelta(hours=6))
    report(own_service, replace(RUN, volume_l=0.8 * depth_mm * area_m2), later)
    assert booked(own_service)[0] == pytest.approx(1.8 * depth_mm)
    assert booked(own_service)[1] is IrrigationOrigin.METERED


@pytest.mark.parametrize("factor", [0.0, 1.0 / L_PER_GALLON, 0.49, 1.51, L_PER_GALLON, 150.0])
def test_a_volume_that_the_emitters_cannot_pass_is_questioned_and_booked_once_confirmed(
    own_service: Service, factor: float
) -> None:
    area_m2, depth_mm = design_depth_mm(own_service, RUN.duration_min)
    run = replace(RUN, volume_l=factor * depth_mm * area_m2)
    found = report(own_service, run)
    assert found.questioned_count == 1
    assert booked(own_service)[0] == pytest.approx(depth_mm)
    assert booked(own_service)[1] is IrrigationOrigin.REPORTED
    confirmed = report(own_service, replace(run, is_volume_confirmed=True))
    assert (confirmed.outcome.changed_count, confirmed.questioned_count) == (1, 0)
    assert booked(own_service)[0] == pytest.approx(factor * depth_mm)
    assert booked(own_service)[1] is IrrigationOrigin.METERED


@pytest.mark.parametrize(
    ("supply_l_per_h", "ratio", "limit", "is_questioned"),
    [
        (50_000.0, 1.70, FlowLimit.PIPES, False),
        (50_000.0, 1.85, FlowLimit.PIPES, True),
        (9_000.0, 1.30, FlowLimit.SUPPLY, False),
        (9_000.0, 1.45, FlowLimit.SUPPLY, True),
        (9_000.0, 0.49, FlowLimit.SUPPLY, True),
    ],
)
def test_what_a_block_with_pipes_can_have_taken_is_what_its_lines_and_supply_pass(
    own_service: Service, supply_l_per_h: float, ratio: float, limit: FlowLimit, is_questioned: bool
) -> None:
    """A regulator set to half of the supply's pressure: failed open, short lines of simple
    emitters pass sqrt(2) times their flow, 1.41; a quarter more is 1.77. Of 8,244.6 L/h by design,
    a supply of 9,000 L/h and a quarter more are 1.36. By hand.
    """
    layout = BlockLayout(
        lateral_diameter_mm=20.0,
        emitter_count=20,
        supply_head_m=20.0,
        regulator_set_head_m=10.0,
    )
    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    north, south = bundle.blocks
    (well,) = bundle.supplies
    load_bundle(
        replace(
            bundle,
            blocks=(replace(north, layout=layout), south),
            supplies=(replace(well, flow_l_per_h=supply_l_per_h),),
        ),
        effective_day=TODAY - timedelta(days=30),
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    area_m2, depth_mm = design_depth_mm(own_service, RUN.duration_min)
    found = report(own_service, replace(RUN, volume_l=ratio * depth_mm * area_m2))
    assert found.flow[0].limit is limit
    assert found.questioned_count == is_questioned


def spanning_run(service: Service) -> tuple[RunReport, float]:
    """One report of tomorrow's plan from its first pulse to its last, and the minutes of those."""
    assert isinstance(service.clock, FixedClock)
    service.clock.instant = RUN_AT + timedelta(hours=23)
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY)
    assert plan is not None and len(plan.pulses) > 1
    first, last = plan.pulses[0], plan.pulses[-1]
    midnight = datetime(PLAN_DAY.year, PLAN_DAY.month, PLAN_DAY.day, 4, tzinfo=UTC)
    started_at = midnight + timedelta(minutes=first.start_min)
    return RunReport(BLOCK_ID, started_at, last.end_min - first.start_min), sum(
        pulse.duration_min for pulse in plan.pulses
    )


def booked_gross_mm(service: Service, day: date) -> float:
    run_day(
        day,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    with service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_block_key(BLOCK_ID)
        rows = unit.ledger.read_rows(key, first_day=day, last_day=day)
    return float(rows.numbers["irrigation_gross_mm"][0])


@pytest.mark.parametrize("has_injection", [False, True], ids=["water", "fertiliser"])
def test_a_run_that_spans_several_pulses_is_compared_with_their_sum(
    own_service: Service, has_injection: bool
) -> None:
    if has_injection:
        order_fertigation(
            INJECTION, unit_of_work=own_service.unit_of_work, replanning=own_service.replanning
        )
    run, planned_min = spanning_run(own_service)
    assert planned_min < 0.5 * run.duration_min  # its rests are longer than its water
    area_m2, depth_mm = design_depth_mm(own_service, planned_min)
    found = report(own_service, replace(run, volume_l=1.04 * depth_mm * area_m2))
    (note,) = found.flow
    assert found.questioned_count == 0
    assert (note.verdict, note.duration_min) == ("as-expected", planned_min)
    assert note.flow_ratio == pytest.approx(1.04)
    assert booked_gross_mm(own_service, PLAN_DAY) == pytest.approx(1.04 * depth_mm)


def test_a_run_on_through_the_rests_between_pulses_is_compared_with_its_minutes(
    own_service: Service,
) -> None:
    run, _ = spanning_run(own_service)
    area_m2, depth_mm = design_depth_mm(own_service, run.duration_min)
    (note,) = report(own_service, replace(run, volume_l=0.95 * depth_mm * area_m2)).flow
    assert (note.verdict, note.duration_min) == ("as-expected", run.duration_min)


def test_a_run_that_loses_its_volume_is_booked_by_its_minutes_again(own_service: Service) -> None:
    area_m2, depth_mm = design_depth_mm(own_service, RUN.duration_min)
    report(own_service, replace(RUN, volume_l=1.2 * depth_mm * area_m2))
    report(own_service, RUN)
    assert booked(own_service)[0] == pytest.approx(depth_mm)
    assert booked(own_service)[1] is IrrigationOrigin.REPORTED
    no_run = replace(RUN, duration_min=0.0, volume_l=100.0)
    assert report(own_service, no_run).questioned_count == 0
    assert booked(own_service)[0] == 0.0
    assert booked(own_service)[1] is IrrigationOrigin.REPORTED


def test_metered_seasons_are_booked_with_what_the_meter_counted(own_service: Service) -> None:
    """Invented, after three metered seasons with 567 mm by the meter for 492 mm by design.

    Each run gives 567 / 492 of the design depth, 10 % more or less from run to run, on every day
    of the ledger's last month.
    """
    runs_count, per_design = 30, 567.0 / 492.0
    with own_service.unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(BLOCK_ID, day=TODAY)
    design_l = block.flow_l_per_h
    runs = [
        RunReport(
            BLOCK_ID,
            RUN.started_at - ONE_DAY - timedelta(days=place),
            60.0,
            per_design * design_l * (0.9, 1.0, 1.1)[place % 3],
        )
        for place in range(runs_count)
    ]
    report(own_service, *runs)
    with own_service.unit_of_work(write=False) as unit:
        rows = unit.ledger.read_rows(
            unit.blocks.get_block_key(BLOCK_ID),
            first_day=(RUN.started_at - ONE_DAY).date() - timedelta(days=runs_count - 1),
            last_day=(RUN.started_at - ONE_DAY).date(),
        )
    assert rows.days.size == runs_count
    metered_mm = runs_count * per_design * design_l / block.area_m2
    assert rows.numbers["irrigation_gross_mm"].sum() == pytest.approx(metered_mm)
