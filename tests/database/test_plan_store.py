"""What the store of plans does, on every database."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from service.agronomy.records import Ints
from service.database.session import UnitOfWorkFactory
from service.pulses import Pulse
from service.records.plan_reasoning import read_reasoning
from service.records.plans import PublishedPlan
from service.records.weather_basis import read_weather_basis
from tests.database.stored_plans import (
    DAY,
    NOW,
    SOON,
    make_plans,
    publish,
    save_basis,
    weather_document,
)
from tests.stored_farms import day_after, ints


def find(
    open_unit: UnitOfWorkFactory, name: str = "orchard.north", *, version: int | None = None
) -> PublishedPlan | None:
    with open_unit(write=False) as unit:
        return unit.plans.find_plan(name, day=DAY, version=version)


def test_a_published_plan_comes_back_whole(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    assert publish(open_unit, make_plans(keys, basis_key)) == 2
    found = find(open_unit)
    assert found is not None
    assert found == PublishedPlan(
        plan_key=found.plan_key,
        block_id="orchard.north",
        day=DAY,
        version=1,
        status="water",
        issued_at=NOW,
        superseded_at=None,
        planned_min=90,
        gross_mm=4.5,
        net_mm=4.0,
        pulses=(Pulse(300, 30), Pulse(360, 60)),
        reasoning=read_reasoning(b'{"taw_mm":12.5}'),
        weather=read_weather_basis(weather_document(et0_mm=7.1)),
    )


def test_the_same_plan_again_is_no_new_version(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys, basis_key))
    assert publish(open_unit, make_plans(keys, basis_key), at=SOON) == 0
    found = find(open_unit)
    assert found is not None
    assert (found.version, found.issued_at) == (1, NOW)


def test_only_blocks_whose_plan_says_something_else_get_a_new_version(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys, basis_key))
    rows = replace(make_plans(keys, basis_key, planned_min=60), digest=("first", "second"))
    assert publish(open_unit, rows, at=SOON) == 1
    north, south = find(open_unit), find(open_unit, "orchard.south")
    assert north is not None
    assert south is not None
    assert (north.version, north.planned_min) == (1, 90)
    assert (south.version, south.planned_min) == (2, 60)


def test_older_versions_stay_as_they_were_and_say_when_they_ended(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys, basis_key))
    before = find(open_unit)
    publish(open_unit, make_plans(keys, basis_key, planned_min=60, digest="second"), at=SOON)
    assert before is not None
    assert find(open_unit, version=1) == replace(before, superseded_at=SOON)
    in_force = find(open_unit)
    assert in_force is not None
    assert in_force == find(open_unit, version=2)
    assert in_force.superseded_at is None
    assert find(open_unit, version=3) is None


def test_going_back_to_an_earlier_plan_is_a_version_of_its_own(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    for digest in ("first", "second", "first"):
        assert publish(open_unit, make_plans(keys, basis_key, digest=digest)) == 2
    found = find(open_unit)
    assert found is not None
    assert found.version == 3


@pytest.mark.parametrize(("status", "planned_min"), [("water", 60), ("rest", 0)])
def test_a_plan_without_weather_never_takes_the_place_of_another(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int, status: str, planned_min: int
) -> None:
    blind = make_plans(keys, basis_key, status="no-weather", planned_min=0, digest="blind")
    publish(open_unit, make_plans(keys, basis_key, status=status, planned_min=planned_min))
    assert publish(open_unit, blind, at=SOON) == 0
    found = find(open_unit)
    assert found is not None
    assert found.status == status


def test_a_plan_without_weather_yields_to_any(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    blind = make_plans(keys, basis_key, status="no-weather", planned_min=0, digest="blind")
    assert publish(open_unit, blind) == 2
    assert publish(open_unit, make_plans(keys, basis_key)) == 2
    found = find(open_unit)
    assert found is not None
    assert (found.version, found.status) == (2, "water")
    blind_plan = find(open_unit, version=1)
    assert blind_plan is not None
    assert np.isnan(blind_plan.gross_mm)
    assert blind_plan.pulses == ()


def test_publishing_nothing_stores_nothing(open_unit: UnitOfWorkFactory, basis_key: int) -> None:
    assert publish(open_unit, make_plans(ints(), basis_key)) == 0


def test_plans_of_a_day_are_listed_by_block(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys[::-1], basis_key))
    publish(open_unit, make_plans(keys, basis_key, day=day_after(DAY)))
    publish(open_unit, make_plans(keys, basis_key, digest="second"), at=SOON)
    with open_unit(write=False) as unit:
        found = unit.plans.list_plans(day=DAY)
        assert [each.block_id for each in found] == ["orchard.north", "orchard.south"]
        assert {each.version for each in found} == {2}
        assert found[0].weather is found[1].weather
        assert unit.plans.list_plans(day=DAY, farm_id="orchard") == found
        assert unit.plans.list_plans(day=DAY, farm_id="meadow") == []
        assert unit.plans.list_plans(day=day_after(DAY, 2)) == []


def test_the_latest_day_is_the_last_that_a_plan_is_for(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    with open_unit(write=False) as unit:
        assert unit.plans.find_latest_day() is None
    publish(open_unit, make_plans(keys, basis_key))
    publish(open_unit, make_plans(keys[:1], basis_key, day=day_after(DAY)))
    with open_unit(write=False) as unit:
        assert unit.plans.find_latest_day() == day_after(DAY)
        assert unit.plans.find_latest_day("north") == day_after(DAY)
        assert unit.plans.find_latest_day("orchard.south") == DAY
        assert unit.plans.find_latest_day("orchard.west") is None


def test_there_is_no_plan_for_an_unknown_block_or_day(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    assert find(open_unit, "orchard.west") is None
    assert find(open_unit) is None


def test_the_same_basis_document_has_the_same_key(open_unit: UnitOfWorkFactory, keys: Ints) -> None:
    first = save_basis(open_unit, weather_document(et0_mm=7.1))
    assert save_basis(open_unit, weather_document(et0_mm=7.1)) == first
    assert save_basis(open_unit, weather_document(et0_mm=7.2)) != first
    assert save_basis(open_unit, weather_document(et0_mm=7.1), day=day_after(DAY)) != first


def test_basis_keys_come_back_in_the_order_of_the_documents(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    with open_unit(write=True) as unit:
        site_keys = ints(*[unit.blocks.get_site_key("hollow")] * 3)
        found = unit.plans.save_basis(site_keys, [b"1", b"2", b"1"], day=DAY, issued_at=NOW)
    assert found[0] == found[2] != found[1]
