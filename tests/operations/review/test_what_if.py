"""The coming week if something were otherwise: the evening's own core, and nothing stored."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.engine import URL

from service.agronomy.records import NoWaterPeriod, WallWindow
from service.bootstrap import Service
from service.database.engine import make_engine
from service.database.tables import metadata
from service.errors import Conflict, InputInvalid, NotFound
from service.farm_files.farm_document import JsonFarmFormat
from service.operations.farms.manage_farms import load_bundle
from service.operations.review.what_if import what_if
from service.records.what_if import BlockAhead, Change, ChangeTexts, ComingWeek
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM,
    FARM_ID,
    PLAN_DAY,
    TODAY,
    FixedClock,
    copied_service,
    load,
    opened_service,
    plan_evening,
    with_timer,
)
from tests.databases import copied
from tests.operations.timers.test_set_timer import set_own

HOUR = (WallWindow(240, 300),)


@pytest.fixture(scope="module")
def planned(planned_database: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """The invented farm after its evening, which no test here changes."""
    with copied_service(planned_database, tmp_path_factory.mktemp("what-if")) as made:
        yield made


def asked(service: Service, farm_id: str = FARM_ID, **changes: Any) -> ComingWeek:
    return what_if(
        farm_id,
        Change(**changes),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )


def block_of(week: ComingWeek, block_id: str = BLOCK_ID) -> BlockAhead:
    return next(each for each in week.blocks if each.block_id == block_id)


def minutes(block: BlockAhead, *, changed: bool = True) -> list[float]:
    week = block.changed if changed else block.now
    return [day.expected_min for day in week.days]


def test_the_week_as_it_is_is_that_of_the_plans_in_force(planned: Service) -> None:
    week = asked(planned, skips_tomorrow=True)
    assert week.days == tuple(PLAN_DAY + timedelta(days=ahead) for ahead in range(7))
    assert [each.block_id for each in week.blocks] == [BLOCK_ID, BARE_BLOCK_ID]
    for block in week.blocks:
        with planned.unit_of_work(write=False) as unit:
            plan = unit.plans.find_plan(block.block_id, day=PLAN_DAY)
        assert plan is not None
        reasoning = plan.reasoning
        assert minutes(block, changed=False)[0] == plan.planned_min
        assert minutes(block, changed=False) == pytest.approx(
            reasoning.outlook_expected_min, abs=0.1
        )
        assert [day.depletion_end_mm for day in block.now.days] == pytest.approx(
            reasoning.outlook_depletion_mm, abs=0.01
        )
        assert block.now.days[0].volume_l == pytest.approx(reasoning.volume_l)


def test_nothing_is_stored_whatever_is_asked(planned_database: URL, tmp_path: Path) -> None:
    with copied(planned_database, tmp_path) as url, opened_service(url) as service:
        engine = make_engine(url)

        def rows() -> dict[str, list[tuple[Any, ...]]]:
            with engine.connect() as connection:
                return {
                    table.name: sorted(map(tuple, connection.execute(select(table))), key=repr)
                    for table in metadata.sorted_tables
                }

        before = rows()
        assert before["plan"] and before["balance_day"]
        asked(
            service, pump_down_days_count=2, supply_flow_fraction=0.5, windows=HOUR,
            emitter_flow_l_per_h=4.0, emitter_spacing_m=0.3, skips_tomorrow=True, rain_mm=10.0,
        )  # fmt: skip
        assert rows() == before
        engine.dispose()


def test_a_pump_that_is_down_gives_nothing_on_its_days_and_the_crop_dries(
    planned: Service,
) -> None:
    for block in asked(planned, pump_down_days_count=3).blocks:
        assert minutes(block)[:3] == [0.0, 0.0, 0.0]
        assert block.changed.days[2].depletion_end_mm > block.now.days[2].depletion_end_mm
        assert sum(minutes(block)[3:]) > sum(minutes(block, changed=False)[3:])
        assert block.differs


def test_days_short_are_those_that_end_beyond_what_is_readily_available(planned: Service) -> None:
    block = block_of(asked(planned, pump_down_days_count=7))
    assert block.changed.short_days_count > block.now.short_days_count
    assert [day.is_short for day in block.changed.days] == [
        day.depletion_end_mm > day.raw_mm for day in block.changed.days
    ]


def test_one_block_skips_tomorrow_and_its_neighbor_keeps_its_water(planned: Service) -> None:
    week = asked(planned, block_id=BLOCK_ID, skips_tomorrow=True)
    assert minutes(block_of(week))[0] == 0.0 < minutes(block_of(week), changed=False)[0]
    neighbor = block_of(week, BARE_BLOCK_ID)
    assert sum(minutes(neighbor)) >= sum(minutes(neighbor, changed=False)) - 1.0


def test_what_one_block_takes_more_is_missing_at_its_neighbor(own_service: Service) -> None:
    """Both share one supply in one hour: it gives them no more than it has."""
    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    load_bundle(
        replace(bundle, blocks=tuple(replace(block, windows=HOUR) for block in bundle.blocks)),
        effective_day=TODAY, unit_of_work=own_service.unit_of_work, clock=own_service.clock,
    )  # fmt: skip
    week = asked(own_service, block_id=BLOCK_ID, skips_tomorrow=True)
    south = block_of(week, BARE_BLOCK_ID)
    assert minutes(south)[0] > minutes(south, changed=False)[0]


def test_less_flow_is_shared_and_never_exceeded(planned: Service) -> None:
    (supply,) = _supplies(planned)
    week = asked(planned, supply_flow_fraction=0.25)
    by_flow = asked(planned, supply_flow_l_per_h=0.25 * supply.flow_l_per_h)
    assert week.blocks == by_flow.blocks
    for place in range(7):
        volume_l = sum(block.changed.days[place].volume_l for block in week.blocks)
        assert volume_l <= 0.25 * supply.flow_l_per_h * 24.0
    assert any(block.differs for block in week.blocks)


def test_a_block_that_takes_more_than_is_left_of_its_supply_is_named(planned: Service) -> None:
    (supply,) = _supplies(planned)
    week = asked(planned, supply_flow_l_per_h=0.75 * supply.flow_l_per_h)
    north = block_of(week)  # takes 36.3 of the 40 gpm, its neighbor 23.5
    assert north.changed.exceeds_supply and not north.now.exceeds_supply
    assert minutes(north)[0] == 0.0
    assert not block_of(week, BARE_BLOCK_ID).changed.exceeds_supply


def _supplies(service: Service) -> tuple[Any, ...]:
    with service.unit_of_work(write=False) as unit:
        return unit.blocks.get_bundle(FARM_ID, day=TODAY).supplies


def test_hours_of_a_block_are_its_own_and_those_of_a_supply_of_all_that_share_them(
    planned: Service,
) -> None:
    one = asked(planned, block_id=BLOCK_ID, windows=HOUR)
    assert all(each <= 60.0 for each in minutes(block_of(one)))
    south = block_of(one, BARE_BLOCK_ID)
    assert max(minutes(south)) > 60.0
    every = asked(planned, windows=HOUR)
    assert all(each <= 60.0 for block in every.blocks for each in minutes(block))


def test_stronger_emitters_take_fewer_minutes_for_the_same_water(planned: Service) -> None:
    block = block_of(asked(planned, block_id=BARE_BLOCK_ID, emitter_flow_l_per_h=4.0),
                     BARE_BLOCK_ID)  # fmt: skip
    # Twice the flow of each emitter is twice the depth in a minute.
    ratios = [
        (after.gross_mm / after.expected_min) / (before.gross_mm / before.expected_min)
        for before, after in zip(block.now.days, block.changed.days, strict=True)
        if before.expected_min and after.expected_min
    ]
    assert ratios and ratios == pytest.approx([2.0] * len(ratios))
    assert block.changed.expected_min < 0.7 * block.now.expected_min


@pytest.mark.parametrize("spacing_m", [0.5, 1.2])
def test_emitters_at_another_distance_are_what_a_farm_file_with_it_makes(
    own_service: Service, spacing_m: float
) -> None:
    """The wet share moves too, as the file would work it out; only the coming days know it."""
    found = block_of(
        asked(own_service, block_id=BARE_BLOCK_ID, emitter_spacing_m=spacing_m), BARE_BLOCK_ID
    )
    load(
        own_service,
        FARM.replace('emitter_spacing = "0.6 m"', f'emitter_spacing = "{spacing_m} m"'),
        effective_day=PLAN_DAY,
    )
    loaded = block_of(asked(own_service, block_id=BLOCK_ID, skips_tomorrow=True), BARE_BLOCK_ID)
    for one, other in zip(found.changed.days, loaded.now.days, strict=True):
        assert one.raw_mm == pytest.approx(other.raw_mm)


def test_rain_that_surely_falls_saves_water_or_drains(planned: Service) -> None:
    little, much = asked(planned, rain_mm=6.0), asked(planned, rain_mm=250.0)
    for few, many in zip(little.blocks, much.blocks, strict=True):
        ends = [week.days[0].depletion_end_mm for week in (few.now, few.changed, many.changed)]
        assert ends == sorted(ends, reverse=True)
        assert many.changed.drainage_mm > few.changed.drainage_mm + 10.0
        assert minutes(many)[0] == 0.0


def test_a_timer_runs_nothing_while_the_pump_is_down(own_service: Service) -> None:
    with_timer(own_service)
    set_own(own_service)
    block = block_of(asked(own_service, pump_down_days_count=2))
    assert minutes(block, changed=False) == [40.0] * 7
    assert minutes(block) == [0.0, 0.0, *[40.0] * 5]


@pytest.mark.parametrize(
    ("changes", "where", "allowed"),
    [
        ({}, "change", "at least one thing that is otherwise"),
        ({"supply_id": "creek", "skips_tomorrow": True}, "supply", "one of well"),
        ({"block_id": "test-farm.west", "rain_mm": 1.0}, "block", f"one of {BLOCK_ID}"),
    ],
)
def test_what_cannot_be_asked_says_what_can(
    planned: Service, changes: dict[str, Any], where: str, allowed: str
) -> None:
    with pytest.raises(InputInvalid) as refused:
        asked(planned, **changes)
    (fault,) = refused.value.faults
    assert fault.where == where and allowed in fault.allowed


def test_an_unknown_farm_is_not_found(planned: Service) -> None:
    with pytest.raises(NotFound):
        asked(planned, "nowhere", skips_tomorrow=True)


def test_books_ahead_of_today_are_refused_since_they_cannot_be_begun_again(
    own_service: Service,
) -> None:
    clock = own_service.clock
    assert isinstance(clock, FixedClock)
    clock.instant -= timedelta(days=3)
    with pytest.raises(Conflict, match="go beyond"):
        asked(own_service, skips_tomorrow=True)


def test_a_block_without_weather_is_answered_with_what_is_not_known(planned: Service) -> None:
    (block,) = asked(planned, "later-farm", skips_tomorrow=True).blocks
    assert block.now.days[0].expected_min != block.now.days[0].expected_min
    assert not block.differs


def change_of(**texts: str) -> Change:
    return JsonFarmFormat().change(ChangeTexts(**texts))


def test_quantities_are_read_in_the_units_they_are_written_in() -> None:
    found = change_of(flow="10 gpm", windows="4:00-8:00, 20:00-22:00", emitter_flow="1 gph",
                      emitter_spacing="2 ft", rain="0.5 in")  # fmt: skip
    assert found.supply_flow_l_per_h == pytest.approx(10 * 60 * 3.785411784)
    assert found.windows == (WallWindow(240, 480), WallWindow(1200, 1320))
    assert found.emitter_flow_l_per_h == pytest.approx(3.785411784)
    assert found.emitter_spacing_m == pytest.approx(0.6096)
    assert found.rain_mm == pytest.approx(12.7)
    assert change_of(flow="60 %") == Change(supply_flow_fraction=0.6)
    assert change_of(flow="", rain="").is_nothing


def test_every_text_that_cannot_be_read_is_a_fault_of_its_own() -> None:
    with pytest.raises(InputInvalid) as refused:
        change_of(flow="half", windows="20:00-06:00", emitter_flow="2", emitter_spacing="-1 m",
                  rain="much")  # fmt: skip
    faults = {fault.where: fault.allowed for fault in refused.value.faults}
    assert sorted(faults) == ["emitter_flow", "emitter_spacing", "flow", "rain", "windows"]
    assert "50 %" in faults["flow"] and "midnight" in faults["windows"]


def test_the_evening_before_and_after_agree(own_service: Service) -> None:
    """What was said of a block that skips tomorrow is what its evening then plans."""
    said = block_of(asked(own_service, block_id=BARE_BLOCK_ID, skips_tomorrow=True), BARE_BLOCK_ID)
    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    midnight = datetime.combine(PLAN_DAY, time())
    north, south = bundle.blocks
    paused = replace(south, no_water=(NoWaterPeriod(midnight, midnight + timedelta(days=1), "x"),))
    load_bundle(
        replace(bundle, blocks=(north, paused)), effective_day=TODAY,
        unit_of_work=own_service.unit_of_work, clock=own_service.clock,
    )  # fmt: skip
    assert plan_evening(own_service) == []
    with own_service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(BARE_BLOCK_ID, day=PLAN_DAY)
    assert plan is not None and plan.planned_min == 0
    assert minutes(said) == pytest.approx(plan.reasoning.outlook_expected_min, abs=0.1)
