"""Farms and blocks changed one at a time, as programs do it: read, edit, write back if unchanged.

A change goes through the same reader as a whole farm file, so a farm can only be in a state that a
file could describe. It takes effect today at the farm, and the plans follow in the same
transaction. One farm can neither change nor use a site that other farms or counties draw on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeVar, cast

import numpy as np

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Conflict, Fault, InputInvalid, NotFound, Stale
from service.operations.evening.replan_after import Replanning, replan_after
from service.operations.farms.manage_farms import store_bundle
from service.operations.farms.question_blocks import questions_of
from service.operations.reading.read_farms import (
    blocks_in_force,
    local_day,
    today_at,
    today_at_block,
)
from service.ports import Clock, FarmFormat
from service.records.farms import BlockDefinition, FarmBundle, LoadOutcome

Document = dict[str, object]
Stored = TypeVar("Stored", FarmBundle, BlockDefinition)


@dataclass(frozen=True, slots=True)
class Keeper:
    """What changes to a farm work with."""

    farm_format: FarmFormat
    replanning: Replanning
    farm_id: str | None
    """The farm of the caller's key; None: the operator, who may also change shared sites."""

    @property
    def clock(self) -> Clock:
        """The clock used for plans."""
        return self.replanning.clock


@dataclass(frozen=True, slots=True)
class FarmChange:
    """The farm after a change, and what the change did."""

    bundle: FarmBundle
    outcome: LoadOutcome
    new_version_count: int
    questions: tuple[str, ...] = ()
    """What may be a slip in the blocks that were given."""


def get_farm_now(farm_id: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> FarmBundle:
    """A farm as of today at the farm; raises NotFound."""
    with unit_of_work(write=False) as unit:
        return _bundle_now(unit, farm_id, clock)


def get_block_now(
    block_id: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> BlockDefinition:
    """A block as of today at its farm; raises NotFound."""
    with unit_of_work(write=False) as unit:
        return unit.blocks.get_block(block_id, day=today_at_block(unit, block_id, clock.now()))


def list_blocks_now(
    farm_id: str | None, *, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> list[BlockDefinition]:
    """Blocks in force today, by id, of one farm or (None) of all; raises NotFound."""
    now = clock.now()
    with unit_of_work(write=False) as unit:
        return blocks_in_force(unit, now, farm_ids=None if farm_id is None else [farm_id])


def create_farm(unit: UnitOfWork, document: Document, keeper: Keeper) -> FarmChange:
    """Store a new farm; raises Conflict if its id is taken."""
    bundle = _own(keeper.farm_format.parse(document), keeper)
    farm_id = _farm_id(bundle)
    if farm_id in unit.blocks.farm_keys():
        raise Conflict(
            f"farm {farm_id!r}: there is one already",
            [Fault("/farm/id", farm_id, "an id that no farm has; PUT changes the one there is")],
        )
    return _store(unit, bundle, keeper)


def replace_farm(
    unit: UnitOfWork,
    farm_id: str,
    document: Document,
    keeper: Keeper,
    *,
    is_current: Callable[[FarmBundle], bool],
) -> FarmChange:
    """Replace a stored farm; blocks that it no longer has are retired.

    Raises NotFound, and Stale unless ``is_current`` accepts the farm as stored.
    """
    _check_current(_bundle_now(unit, farm_id, keeper.clock), is_current)
    bundle = _own(keeper.farm_format.parse(document), keeper)
    if _farm_id(bundle) != farm_id:
        raise InputInvalid(
            "a farm keeps its id", [Fault("/farm/id", "another id", f"{farm_id!r}, as the address")]
        )
    return _store(unit, bundle, keeper)


def retire_farm(
    unit: UnitOfWork, farm_id: str, keeper: Keeper, *, is_current: Callable[[FarmBundle], bool]
) -> FarmChange:
    """Take all blocks, supplies and controllers of a farm out of use from today on.

    The farm keeps its sites, so that nobody else gets them.
    """
    bundle = _bundle_now(unit, farm_id, keeper.clock)
    _check_current(bundle, is_current)
    emptied = FarmBundle(farm=bundle.farm, sites=bundle.sites)
    return _store(unit, emptied, keeper, is_whole_farm=True)


def create_block(unit: UnitOfWork, farm_id: str, table: Document, keeper: Keeper) -> FarmChange:
    """Add a block to a farm; raises NotFound, and Conflict if its id is taken."""
    bundle = _bundle_now(unit, farm_id, keeper.clock)
    if any(block.block_id == f"{farm_id}.{table.get('id')}" for block in bundle.blocks):
        raise Conflict(
            "there is a block of that id already",
            [Fault("/id", "a block of the farm", "an id that none of its blocks has")],
        )
    document = keeper.farm_format.document(bundle)
    blocks = _tables(document, "block")
    blocks.append(table)
    document["block"] = blocks
    return _store(
        unit, keeper.farm_format.parse(document, below=f"/block/{len(blocks) - 1}"), keeper
    )


def replace_block(
    unit: UnitOfWork,
    block_id: str,
    table: Document,
    keeper: Keeper,
    *,
    is_current: Callable[[BlockDefinition], bool],
) -> FarmChange:
    """Replace a stored block from today on; raises NotFound and Stale."""
    short_id = block_id.partition(".")[2]
    bundle, place = _block_now(unit, block_id, keeper.clock)
    _check_current(bundle.blocks[place], is_current)
    if table.get("id", short_id) != short_id:
        raise InputInvalid(
            "a block keeps its id", [Fault("/id", "another id", f"{short_id!r}, as the address")]
        )
    document = keeper.farm_format.document(bundle)
    blocks = _tables(document, "block")
    blocks[place] = {**table, "id": short_id}
    document["block"] = blocks
    return _store(unit, keeper.farm_format.parse(document, below=f"/block/{place}"), keeper)


def retire_block(
    unit: UnitOfWork,
    block_id: str,
    keeper: Keeper,
    *,
    is_current: Callable[[BlockDefinition], bool],
) -> FarmChange:
    """Take a block out of use from today on, with its channel; raises NotFound and Stale."""
    bundle, place = _block_now(unit, block_id, keeper.clock)
    _check_current(bundle.blocks[place], is_current)
    document = keeper.farm_format.document(bundle)
    blocks = _tables(document, "block")
    short_id = blocks.pop(place)["id"]
    document["block"] = blocks
    controllers = _tables(document, "controller")
    for controller in controllers:
        controller["channels"] = [
            channel for channel in _tables(controller, "channels") if channel["block"] != short_id
        ]
    document["controller"] = [each for each in controllers if each["channels"]]
    return _store(unit, keeper.farm_format.parse(document), keeper)


# --- parts ---------------------------------------------------------------------------------------


def _store(
    unit: UnitOfWork, bundle: FarmBundle, keeper: Keeper, *, is_whole_farm: bool = False
) -> FarmChange:
    farm_id = _farm_id(bundle)
    _check_sites(unit, bundle, farm_id, keeper)
    zone = bundle.farm.zone if bundle.farm is not None else "UTC"
    now = keeper.clock.now()
    today = local_day(now, zone)
    outcome = store_bundle(
        unit, bundle, effective_day=today, recorded_at=now, is_whole_farm=is_whole_farm
    )
    count = 0
    if outcome.created_count + outcome.changed_count + outcome.retired_count:
        count = replan_after(
            unit,
            [farm_id],
            touched_day=None,
            replanning=keeper.replanning,
        )
    return FarmChange(
        unit.blocks.get_bundle(farm_id, day=today),
        outcome,
        count,
        questions_of(bundle.blocks, today),
    )


def _check_sites(unit: UnitOfWork, bundle: FarmBundle, farm_id: str, keeper: Keeper) -> None:
    """A farm's key may add its own sites, and must leave those it shares as they are."""
    if keeper.farm_id is None:
        return
    if bundle.counties:
        raise InputInvalid(
            "counties belong to the region", [Fault("/county", "counties", "no counties")]
        )
    stored = unit.blocks.read_site_table()
    key_of = {
        site.site_id: key
        for key, site in zip(stored.keys.tolist(), stored.definitions, strict=True)
    }
    definition_of = {site.site_id: site for site in stored.definitions}
    users = unit.blocks.find_users(np.array(sorted(key_of.values()), dtype=np.int64))
    of_counties = {county.site_id for county in unit.blocks.list_counties()}
    faults = []
    for place, site in enumerate(bundle.sites):
        key = key_of.get(site.site_id)
        if key is None:
            continue
        others = set(users.get(key, ())) - {farm_id}
        is_mine = farm_id in users.get(key, ())
        is_shared = bool(others) or site.site_id in of_counties
        if is_shared and not (is_mine and definition_of[site.site_id] == site):
            faults.append(
                Fault(
                    f"/site/{place}/id",
                    "an id that is taken",
                    "an id that no other farm or county uses; the operator changes shared sites",
                )
            )
    if faults:
        raise InputInvalid("a site is not this farm's alone", faults)


def _own(bundle: FarmBundle, keeper: Keeper) -> FarmBundle:
    if bundle.farm is None:
        raise InputInvalid(
            "the document holds no farm", [Fault("/farm", "nothing", "a table with id, name, zone")]
        )
    if keeper.farm_id not in (None, bundle.farm.farm_id):
        raise InputInvalid(
            "the key is bound to another farm",
            [Fault("/farm/id", "another farm", f"{keeper.farm_id!r}, which the key is bound to")],
        )
    return bundle


def _farm_id(bundle: FarmBundle) -> str:
    return bundle.farm.farm_id if bundle.farm is not None else ""


def _bundle_now(unit: UnitOfWork, farm_id: str, clock: Clock) -> FarmBundle:
    return unit.blocks.get_bundle(farm_id, day=today_at(unit, farm_id, clock.now()))


def _block_now(unit: UnitOfWork, block_id: str, clock: Clock) -> tuple[FarmBundle, int]:
    bundle = _bundle_now(unit, block_id.partition(".")[0], clock)
    for place, block in enumerate(bundle.blocks):
        if block.block_id == block_id:
            return bundle, place
    raise NotFound(f"block {block_id!r}: there is no such block in force")


def _check_current(found: Stored, is_current: Callable[[Stored], bool]) -> None:
    if not is_current(found):
        raise Stale("it has changed since it was read")


def _tables(document: Mapping[str, object], key: str) -> list[Document]:
    return list(cast(list[Document], document.get(key, [])))
