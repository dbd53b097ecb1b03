"""What storing a farm changed, thing by thing, for the record of changes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from service.database.session import UnitOfWork
from service.errors import NotFound
from service.operations.audit.note_at_site import note_at_site
from service.records.audit import Subject
from service.records.farms import FarmBundle

_Things = Mapping[tuple[Subject, str], Any]


@dataclass(frozen=True, slots=True)
class StoredThings:
    """The things that a bundle may change, as they are stored."""

    of_farm: _Things
    of_places: _Things
    """Sites and counties, which may be others' too."""


def read_things(unit: UnitOfWork, bundle: FarmBundle, *, day: date) -> StoredThings:
    """The stored farm of a bundle as of a day, and the sites and counties that the bundle names."""
    of_farm: dict[tuple[Subject, str], Any] = {}
    if bundle.farm is not None:
        try:
            stored = unit.blocks.get_bundle(bundle.farm.farm_id, day=day)
        except NotFound:
            pass
        else:
            of_farm = _things_of_farm(stored)
    wanted = {
        *((Subject.SITE, each.site_id) for each in bundle.sites),
        *((Subject.COUNTY, each.county_code) for each in bundle.counties),
    }
    places: dict[tuple[Subject, str], Any] = {}
    if bundle.sites:
        sites = unit.blocks.read_site_table().definitions
        places |= {(Subject.SITE, each.site_id): each for each in sites}
    if bundle.counties:
        counties = unit.blocks.list_counties()
        places |= {(Subject.COUNTY, each.county_code): each for each in counties}
    return StoredThings(of_farm, {what: each for what, each in places.items() if what in wanted})


def note_bundle(unit: UnitOfWork, bundle: FarmBundle, before: StoredThings, *, day: date) -> None:
    """Note what differs from how the things of a bundle were before it was stored."""
    after = read_things(unit, bundle, day=day)
    farm_id = None if bundle.farm is None else bundle.farm.farm_id
    for what in {**before.of_farm, **after.of_farm}:
        unit.audit.note(
            *what, farm_id=farm_id, before=before.of_farm.get(what), after=after.of_farm.get(what)
        )
    for (subject, thing_id), now in after.of_places.items():
        was = before.of_places.get((subject, thing_id))
        if subject is Subject.SITE and was != now:
            note_at_site(unit, subject, thing_id, before=was, after=now)
        elif was != now:
            unit.audit.note(subject, thing_id, farm_id=None, before=was, after=now)


def _things_of_farm(bundle: FarmBundle) -> dict[tuple[Subject, str], Any]:
    things: dict[tuple[Subject, str], Any] = {}
    if bundle.farm is not None:
        things[Subject.FARM, bundle.farm.farm_id] = bundle.farm
    things |= {(Subject.SUPPLY, each.supply_id): each for each in bundle.supplies}
    things |= {(Subject.BLOCK, each.block_id): each for each in bundle.blocks}
    things |= {(Subject.CONTROLLER, each.controller_id): each for each in bundle.controllers}
    return things
