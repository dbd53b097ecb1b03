"""Farms and blocks changed one at a time: whole, from today on, with the plans behind them."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from service.bootstrap import Service
from service.errors import Conflict, InputInvalid, NotFound, Stale
from service.operations.farms.change_farms import (
    Document,
    FarmChange,
    Keeper,
    create_block,
    create_farm,
    get_block_now,
    get_farm_now,
    replace_block,
    replace_farm,
    retire_block,
    retire_farm,
)
from service.records.farms import FarmBundle
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM_ID, PLAN_DAY, TODAY

WEST: Document = {
    "id": "west",
    "crop": "grape-wine",
    "supply": "well",
    "site": "home",
    "area": "0.2 ha",
    "row_spacing": "2.5 m",
    "emitter_spacing": "0.6 m",
    "emitter_flow": "2 L/h",
    "soil": {"texture": "loam"},
}


def keeper_of(service: Service, farm_id: str | None = FARM_ID) -> Keeper:
    return Keeper(service.farm_format, service.replanning, farm_id)


def farm_now(service: Service, farm_id: str = FARM_ID) -> FarmBundle:
    return get_farm_now(farm_id, unit_of_work=service.unit_of_work, clock=service.clock)


def block_ids(service: Service, farm_id: str = FARM_ID) -> list[str]:
    return [block.block_id for block in farm_now(service, farm_id).blocks]


def document_of(service: Service, farm_id: str = FARM_ID) -> dict[str, Any]:
    return service.farm_format.document(farm_now(service, farm_id))


def block_table(service: Service, **changes: object) -> Document:
    """The stored north block as JSON has it, with these changes."""
    (table,) = [each for each in document_of(service)["block"] if each["id"] == "north"]
    return {**table, **changes}


def change_north(service: Service, table: Document, *, is_current: bool = True) -> FarmChange:
    with service.unit_of_work(write=True) as unit:
        return replace_block(
            unit, BLOCK_ID, table, keeper_of(service), is_current=lambda _: is_current
        )


def counts(change: FarmChange) -> tuple[int, int, int]:
    return (
        change.outcome.created_count,
        change.outcome.changed_count,
        change.outcome.retired_count,
    )


def planned_min(service: Service, block_id: str = BLOCK_ID) -> tuple[int, float]:
    """Version and minutes of the plan that is in force for the coming day."""
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(block_id, day=PLAN_DAY)
    assert plan is not None
    return plan.version, plan.planned_min


def test_a_block_as_it_is_changes_nothing_and_replaces_no_plan(own_service: Service) -> None:
    before = farm_now(own_service)
    change = change_north(own_service, block_table(own_service))
    assert (counts(change), change.new_version_count) == ((0, 0, 0), 0)
    assert change.bundle == farm_now(own_service) == before


def test_a_changed_block_counts_from_today_and_its_plan_is_replaced_at_once(
    own_service: Service,
) -> None:
    _, minutes = planned_min(own_service)
    change = change_north(own_service, block_table(own_service, emitter_flow="0.4 gph"))
    assert counts(change) == (0, 1, 0)
    assert change.new_version_count >= 1
    version, longer = planned_min(own_service)
    assert version == 2 and longer > minutes
    flows = []
    for day in (TODAY - timedelta(days=1), TODAY):
        with own_service.unit_of_work(write=False) as unit:
            flows.append(unit.blocks.get_block(BLOCK_ID, day=day).emitter_flow_l_per_h)
    assert flows[1] == pytest.approx(0.8 * flows[0])
    again = change_north(own_service, block_table(own_service))
    assert (counts(again), again.new_version_count) == ((0, 0, 0), 0)


def test_a_change_of_what_somebody_else_changed_meanwhile_is_refused(
    own_service: Service,
) -> None:
    before = farm_now(own_service)
    document, keeper = document_of(own_service), keeper_of(own_service)
    with pytest.raises(Stale):
        change_north(own_service, block_table(own_service, area="2 ac"), is_current=False)
    with pytest.raises(Stale), own_service.unit_of_work(write=True) as unit:
        retire_block(unit, BLOCK_ID, keeper, is_current=lambda _: False)
    with pytest.raises(Stale), own_service.unit_of_work(write=True) as unit:
        retire_farm(unit, FARM_ID, keeper, is_current=lambda _: False)
    with pytest.raises(Stale), own_service.unit_of_work(write=True) as unit:
        replace_farm(unit, FARM_ID, document, keeper, is_current=lambda _: False)
    assert farm_now(own_service) == before


def test_a_fault_in_a_block_is_reported_by_its_place_in_the_block_and_nothing_is_stored(
    own_service: Service,
) -> None:
    before = farm_now(own_service)
    with pytest.raises(InputInvalid) as refused:
        change_north(own_service, block_table(own_service, area="-1 ac"))
    assert [fault.where for fault in refused.value.faults] == ["/area"]
    with pytest.raises(InputInvalid) as renamed:
        change_north(own_service, block_table(own_service, id="east"))
    assert renamed.value.faults[0].allowed == "'north', as the address"
    assert farm_now(own_service) == before
    assert planned_min(own_service)[0] == 1


def test_a_block_is_added_once(own_service: Service) -> None:
    keeper = keeper_of(own_service)
    with own_service.unit_of_work(write=True) as unit:
        change = create_block(unit, FARM_ID, WEST, keeper)
    assert counts(change) == (1, 0, 0)
    added = get_block_now(
        f"{FARM_ID}.west", unit_of_work=own_service.unit_of_work, clock=own_service.clock
    )
    assert added.area_m2 == pytest.approx(2000.0)
    with (
        pytest.raises(Conflict) as taken,
        own_service.unit_of_work(write=True) as unit,
    ):
        create_block(unit, FARM_ID, WEST, keeper)
    assert taken.value.faults[0].where == "/id"
    assert block_ids(own_service) == [BLOCK_ID, BARE_BLOCK_ID, f"{FARM_ID}.west"]


def test_a_retired_block_is_gone_from_today_on_and_its_neighbour_stays(
    own_service: Service,
) -> None:
    with own_service.unit_of_work(write=True) as unit:
        change = retire_block(
            unit, BARE_BLOCK_ID, keeper_of(own_service), is_current=lambda _: True
        )
    assert counts(change) == (0, 0, 1)
    assert block_ids(own_service) == [BLOCK_ID]
    with own_service.unit_of_work(write=False) as unit:
        day_before = TODAY - timedelta(days=1)
        assert unit.blocks.get_block(BARE_BLOCK_ID, day=day_before).block_id == BARE_BLOCK_ID
    with pytest.raises(NotFound, match=BARE_BLOCK_ID), own_service.unit_of_work(write=True) as unit:
        retire_block(unit, BARE_BLOCK_ID, keeper_of(own_service), is_current=lambda _: True)


def test_a_retired_farm_has_no_blocks_and_keeps_its_site_from_others(
    own_service: Service,
) -> None:
    with own_service.unit_of_work(write=True) as unit:
        retire_farm(unit, FARM_ID, keeper_of(own_service), is_current=lambda _: True)
    assert block_ids(own_service) == []
    other = document_of(own_service, "later-farm")
    other["site"].append({**other["site"][0], "id": "home"})
    with pytest.raises(InputInvalid) as refused, own_service.unit_of_work(write=True) as unit:
        replace_farm(
            unit, "later-farm", other, keeper_of(own_service, "later-farm"),
            is_current=lambda _: True,
        )  # fmt: skip
    assert refused.value.faults[0].where == "/site/1/id"
    assert block_ids(own_service, "later-farm") == ["later-farm.young"]


def test_a_farm_is_created_once_and_by_no_key_of_another(own_service: Service) -> None:
    document = document_of(own_service, "later-farm")
    document["farm"] = {**document["farm"], "id": "new-farm"}
    document["site"] = [{**document["site"][0], "id": "new-site"}]
    document["block"] = [{**each, "site": "new-site"} for each in document["block"]]
    with pytest.raises(InputInvalid) as foreign, own_service.unit_of_work(write=True) as unit:
        create_farm(unit, document, keeper_of(own_service))
    assert foreign.value.faults[0].where == "/farm/id"
    with own_service.unit_of_work(write=True) as unit:
        change = create_farm(unit, document, keeper_of(own_service, "new-farm"))
    assert change.outcome.created_count >= 1
    assert block_ids(own_service, "new-farm") == ["new-farm.young"]
    with (
        pytest.raises(Conflict, match="there is one already"),
        own_service.unit_of_work(write=True) as unit,
    ):
        create_farm(unit, document, keeper_of(own_service, "new-farm"))


def test_a_farm_keeps_its_id_and_what_is_not_stored_is_not_found(own_service: Service) -> None:
    document = document_of(own_service)
    with pytest.raises(InputInvalid) as renamed, own_service.unit_of_work(write=True) as unit:
        replace_farm(
            unit, "later-farm", document, keeper_of(own_service, None), is_current=lambda _: True
        )
    assert renamed.value.faults[0].allowed == "'later-farm', as the address"
    for ask in (get_farm_now, get_block_now):
        with pytest.raises(NotFound, match="nowhere"):
            ask("nowhere", unit_of_work=own_service.unit_of_work, clock=own_service.clock)
