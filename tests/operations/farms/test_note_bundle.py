"""What loading and changing a farm leaves in the record of changes."""

from __future__ import annotations

from typing import Any

from service.bootstrap import Service
from service.operations.audit.read_audit import read_audit
from service.operations.farms.change_farms import Keeper, replace_block, retire_block
from service.records.audit import LARGEST_DOCUMENT, AuditEntry, Subject
from service.records.farms import BlockDefinition
from tests.api.invented_farm import BLOCK_ID, FARM, FARM_ID, load

NEIGHBOUR = "near-farm"


def entries(service: Service, farm_id: str = FARM_ID) -> tuple[AuditEntry, ...]:
    return read_audit(farm_id, count=200, unit_of_work=service.unit_of_work).entries


def any_state(block: BlockDefinition) -> bool:
    return True


def test_a_new_farm_is_noted_thing_by_thing(own_service: Service) -> None:
    found = entries(own_service)
    things = {(each.subject, each.subject_id) for each in found}
    assert {(Subject.FARM, FARM_ID), (Subject.BLOCK, BLOCK_ID), (Subject.SITE, "home")} <= things
    block = next(each for each in found if each.subject_id == BLOCK_ID)
    assert block.before is None and block.after is not None
    assert block.after["emitter_flow_l_per_h"] > 0.0
    assert len(repr(block.after)) < 2 * LARGEST_DOCUMENT


def test_loading_the_same_file_again_notes_nothing(own_service: Service) -> None:
    before = entries(own_service)
    load(own_service, FARM)
    assert entries(own_service) == before


def test_a_changed_site_is_noted_at_every_farm_that_uses_it(own_service: Service) -> None:
    load(own_service, FARM.replace(FARM_ID, NEIGHBOUR))
    load(own_service, FARM.replace('elevation = "510 ft"', 'elevation = "600 ft"'))
    for farm_id in (FARM_ID, NEIGHBOUR):
        newest = entries(own_service, farm_id)[0]
        assert (newest.subject, newest.subject_id) == (Subject.SITE, "home")
        assert newest.before is not None and set(newest.before) == {"elevation_m"}


def test_a_block_changed_and_retired_shows_only_what_differs(own_service: Service) -> None:
    keeper = Keeper(own_service.farm_format, own_service.replanning, FARM_ID)
    with own_service.unit_of_work(write=True) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=own_service.clock.now().date())
    document: Any = own_service.farm_format.document(bundle)
    table = next(each for each in document["block"] if f"{FARM_ID}.{each['id']}" == BLOCK_ID)
    with own_service.unit_of_work(write=True) as unit:
        changed = {**table, "name": "Renamed"}
        replace_block(unit, BLOCK_ID, changed, keeper, is_current=any_state)
    newest = entries(own_service)[0]
    assert (newest.subject, newest.subject_id) == (Subject.BLOCK, BLOCK_ID)
    assert newest.after == {"name": "Renamed"}

    with own_service.unit_of_work(write=True) as unit:
        retire_block(unit, BLOCK_ID, keeper, is_current=any_state)
    gone = next(each for each in entries(own_service) if each.subject is Subject.BLOCK)
    assert gone.subject_id == BLOCK_ID and gone.after is None
