"""Metered runs of a season against the block's pipes: what changed, when, kept as a finding."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.farms.manage_farms import load_bundle
from service.operations.reading.block_pipes import expected_flow_l_per_h
from service.operations.waterworks.check_flow import (
    LONGEST_SPAN_DAYS,
    FlowReport,
    check_flow,
    flow_document,
    list_findings,
    record_flow_check,
)
from service.waterworks.flow_check import FlowVerdict
from tests.api.invented_farm import BLOCK_ID, FARM_ID, FIRST_DAY, TODAY
from tests.operations.metered_runs import store_runs

RUN_COUNT = 30
DAYS = [TODAY - timedelta(days=RUN_COUNT - 1 - place) for place in range(RUN_COUNT)]
JUMP_AT = 18


def flow_of(service: Service) -> float:
    with service.unit_of_work(write=False) as unit:
        return expected_flow_l_per_h(unit.blocks.get_block(BLOCK_ID, day=TODAY))[0]


def store_season(service: Service, *, level_after: float = 1.0) -> None:
    """A run of an hour each day, with the noise of a meter, at another level from JUMP_AT on."""
    noise = 1.0 + 0.01 * np.sin(7.0 * np.arange(RUN_COUNT))
    level = np.where(np.arange(RUN_COUNT) < JUMP_AT, 1.0, level_after)
    volume_l = (flow_of(service) * noise * level).tolist()
    store_runs(service.unit_of_work, BLOCK_ID, DAYS, volume_l)


def check(
    service: Service, *, first_day: date = FIRST_DAY, last_day: date = TODAY, keep: bool = False
) -> FlowReport:
    if not keep:
        return check_flow(
            BLOCK_ID, first_day=first_day, last_day=last_day, unit_of_work=service.unit_of_work
        )
    return record_flow_check(
        BLOCK_ID,
        first_day=first_day,
        last_day=last_day,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def test_a_season_without_a_change_is_steady(own_service: Service) -> None:
    store_season(own_service)
    report = check(own_service)
    assert report.verdict is FlowVerdict.STEADY
    assert report.days.tolist() == DAYS
    np.testing.assert_allclose(report.expected_l, flow_of(own_service))
    np.testing.assert_allclose(report.metered_l / report.expected_l, 1.0, atol=0.011)


def test_a_fall_is_reported_with_its_day_and_size(own_service: Service) -> None:
    store_season(own_service, level_after=0.7)
    report = check(own_service)
    (jump,) = report.check.jumps
    assert report.days[jump.run].item() == DAYS[JUMP_AT]
    assert jump.change_fraction == pytest.approx(-0.3, abs=0.02)
    expected = {"day": DAYS[JUMP_AT].isoformat(), "change_fraction": round(jump.change_fraction, 4)}
    assert flow_document(report)["jumps"] == [expected]


def test_runs_outside_of_the_span_or_without_a_meter_do_not_count(own_service: Service) -> None:
    store_season(own_service)
    store_runs(own_service.unit_of_work, BLOCK_ID, [TODAY - timedelta(days=35)], [None])
    assert check(own_service, first_day=DAYS[3], last_day=DAYS[9]).days.tolist() == DAYS[3:10]
    assert check(own_service, last_day=DAYS[0] - timedelta(days=1)).days.size == 0


def test_a_change_of_the_emitters_is_no_finding(own_service: Service) -> None:
    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    north, south = bundle.blocks
    smaller = replace(north, emitter_flow_l_per_h=0.7 * north.emitter_flow_l_per_h)
    store_season(own_service, level_after=0.7)
    assert check(own_service).verdict is FlowVerdict.JUMP_DOWN
    load_bundle(
        replace(bundle, blocks=(smaller, south)),
        effective_day=DAYS[JUMP_AT],
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    assert check(own_service).verdict is FlowVerdict.STEADY


def test_a_share_that_leaks_is_expected_from_the_day_on_that_it_is_stated(
    own_service: Service,
) -> None:
    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    north, south = bundle.blocks
    store_season(own_service, level_after=1.25)
    assert check(own_service).verdict is FlowVerdict.JUMP_UP
    load_bundle(
        replace(bundle, blocks=(replace(north, leakage_fraction=0.2), south)),
        effective_day=DAYS[JUMP_AT],
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    assert check(own_service).verdict is FlowVerdict.STEADY


def test_a_finding_is_kept_for_the_day_of_the_last_run_and_once(own_service: Service) -> None:
    store_season(own_service, level_after=0.7)
    check(own_service)
    assert list_findings(BLOCK_ID, unit_of_work=own_service.unit_of_work) == []
    report = check(own_service, keep=True)
    check(own_service, keep=True)
    (finding,) = list_findings(BLOCK_ID, unit_of_work=own_service.unit_of_work)
    assert (finding.day, finding.verdict) == (TODAY, "JUMP_DOWN")
    assert finding.document == json.loads(json.dumps(flow_document(report)))


def test_without_runs_nothing_is_kept(own_service: Service) -> None:
    report = check(own_service, keep=True)
    assert report.verdict is FlowVerdict.TOO_FEW_RUNS
    assert flow_document(report)["first_day"] is None
    assert list_findings(BLOCK_ID, unit_of_work=own_service.unit_of_work) == []


@pytest.mark.parametrize("length", [-1, LONGEST_SPAN_DAYS + 1])
def test_an_impossible_span_is_refused_with_what_is_allowed(
    own_service: Service, length: int
) -> None:
    last_day = FIRST_DAY + timedelta(days=length)
    for keep in (False, True):
        with pytest.raises(InputInvalid) as refused:
            check(own_service, last_day=last_day, keep=keep)
        (fault,) = refused.value.faults
        assert (fault.where, fault.found) == ("to", str(last_day))
        assert fault.allowed == "up to 800 days after the first day"


def test_a_block_that_is_not_stored_is_not_found(own_service: Service) -> None:
    with pytest.raises(NotFound, match=r"test-farm\.nowhere"):
        list_findings("test-farm.nowhere", unit_of_work=own_service.unit_of_work)
