"""Changes of a place are seen by every farm that uses it, and other farms' actors are not."""

from __future__ import annotations

import pytest

from service.bootstrap import Service
from service.database.acting import acting_as
from service.operations.audit.note_at_site import note_at_site
from service.records.audit import Actor, ActorKind, AuditEntry, Entrance, Subject
from tests.api.invented_farm import FARM, FARM_ID, load

NEIGHBOUR = "near-farm"


def noted(service: Service, actor: Actor, site_id: str = "home") -> list[AuditEntry]:
    with acting_as(actor), service.unit_of_work(write=True) as unit:
        note_at_site(unit, Subject.RAIN, site_id, after={"rain_mm": 1.0})
        found = unit.audit.list_entries(None, count=50, subjects=[Subject.RAIN])
    return [each for each in found if each.actor.name == actor.name]


@pytest.mark.parametrize(
    ("farm_ids", "expected"),
    [(None, {FARM_ID, NEIGHBOUR}), (frozenset({FARM_ID}), {FARM_ID})],
)
def test_each_farm_of_the_place_has_the_entry_unless_the_actor_is_bound(
    own_service: Service, farm_ids: frozenset[str] | None, expected: set[str]
) -> None:
    load(own_service, FARM.replace(FARM_ID, NEIGHBOUR))
    actor = Actor(ActorKind.KEY, Entrance.API, "k", "somebody", farm_ids)
    assert {each.farm_id for each in noted(own_service, actor)} == expected


def test_a_place_of_no_farm_has_one_entry(own_service: Service) -> None:
    load(
        own_service,
        '[[site]]\nid = "far"\nlatitude = 35.2\nlongitude = -80.1\nelevation = "510 ft"\n'
        'zone = "America/New_York"\n',
    )
    actor = Actor(ActorKind.COMMAND, Entrance.COMMAND_LINE, name="operator")
    assert [each.farm_id for each in noted(own_service, actor, "far")] == [None]
