"""Farms, sites, supplies, blocks and counties in the database."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

import numpy as np
from sqlalchemy import (
    Boolean,
    ColumnElement,
    Connection,
    Date,
    RowMapping,
    Table,
    delete,
    func,
    insert,
    literal,
    or_,
    select,
    union,
    update,
)

from service.agronomy.records import Ints
from service.database import mapping, supply_rows
from service.database.block_versions import (
    definitions_in_force,
    find_block_keys,
    in_force,
    is_newest,
)
from service.database.bulk import insert_rows, is_among, is_one_of, read_columns
from service.database.controller_store import ControllerStore
from service.database.tables import (
    UtcInstant,
    block,
    block_version,
    county,
    farm,
    farm_site,
    instant_text,
    site,
    supply,
)
from service.errors import Conflict, Fault, InputInvalid, NotFound
from service.records.controllers import ControllerDefinition
from service.records.farms import (
    BLOCK_NUMBERS,
    BlockDefinition,
    BlockLabel,
    BlockTable,
    CountyDefinition,
    FarmBundle,
    FarmDefinition,
    LoadOutcome,
    SiteTable,
    SupplyTable,
)


@dataclass(frozen=True, slots=True)
class _Version:
    """What a load needs to know about a stored version."""

    version: int
    valid_from: date
    is_retired: bool
    digest: str


class BlockStore:
    """Farms, sites, supplies, blocks and counties, with the history of their changes."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    # --- storing -------------------------------------------------------------------------------

    def save_bundle(
        self,
        bundle: FarmBundle,
        *,
        effective_day: date,
        recorded_at: datetime,
        is_whole_farm: bool = True,
    ) -> LoadOutcome:
        """Store what differs; a changed block gets a new version valid from ``effective_day``.

        Blocks of the farm that the bundle no longer holds are retired from that day on, supplies
        too. Sites and counties belong to no farm and are kept, but the sites that the farm names
        are recorded. Saving the same bundle again changes nothing.

        Not ``is_whole_farm``: the bundle is the farm as it was read for that day, with a change;
        blocks that begin later are not part of it and stay in use.
        """
        _refuse_foreign_parts(bundle)
        counts: Counter[str] = Counter()
        for definition in bundle.sites:
            values = mapping.site_values(definition)
            counts[self._save_row(site, values, key=("site_id",))] += 1
        site_keys = self._keys_by_id(site.c.site_key, site.c.site_id)
        for place in bundle.counties:
            key = _known(site_keys, place.site_id, what="site", whose=f"county {place.county_code}")
            row = mapping.county_values(place, site_key=key)
            counts[self._save_row(county, row, key=("county_code",))] += 1
        if bundle.farm is None:
            return _outcome(counts)

        row = mapping.farm_values(bundle.farm)
        counts[self._save_row(farm, row, key=("farm_id",))] += 1
        farm_key = self.farm_keys([bundle.farm.farm_id])[bundle.farm.farm_id]
        self._name_sites(farm_key, {site_keys[each.site_id] for each in bundle.sites})
        for source in bundle.supplies:
            row = supply_rows.supply_values(source, farm_key=farm_key)
            counts[self._save_row(supply, row, key=("farm_key", "supply_id"))] += 1
        self._retire_supplies(farm_key, bundle, effective_day)
        self._save_blocks(
            bundle.blocks,
            farm_key=farm_key,
            site_keys=site_keys,
            effective_day=effective_day,
            recorded_at=recorded_at,
            counts=counts,
            is_whole_farm=is_whole_farm,
        )
        return _outcome(counts)

    def _save_row(self, table: Table, values: Mapping[str, Any], *, key: tuple[str, ...]) -> str:
        """Insert or update the row with this natural key; returns which it was."""
        same = [table.c[name] == values[name] for name in key]
        stored = self._connection.execute(select(table).where(*same)).mappings().one_or_none()
        if stored is None:
            self._connection.execute(insert(table).values(dict(values)))
            return "created"
        changes = {name: value for name, value in values.items() if stored[name] != value}
        if not changes:
            return "unchanged"
        self._connection.execute(update(table).where(*same).values(changes))
        return "changed"

    def _name_sites(self, farm_key: int, site_keys: set[int]) -> None:
        """Record exactly these sites for a farm."""
        own = farm_site.c.farm_key == farm_key
        stored = set(self._connection.scalars(select(farm_site.c.site_key).where(own)))
        for gone in stored - site_keys:
            self._connection.execute(delete(farm_site).where(own, farm_site.c.site_key == gone))
        for new in site_keys - stored:
            self._connection.execute(insert(farm_site).values(farm_key=farm_key, site_key=new))

    def _retire_supplies(self, farm_key: int, bundle: FarmBundle, effective_day: date) -> None:
        kept = {source.supply_id for source in bundle.supplies}
        stored = self._connection.execute(
            select(supply.c.supply_key, supply.c.supply_id).where(
                supply.c.farm_key == farm_key, supply.c.retired_from.is_(None)
            )
        )
        gone = [key for key, name in stored if name not in kept]
        for key in gone:
            self._connection.execute(
                update(supply).where(supply.c.supply_key == key).values(retired_from=effective_day)
            )

    def _save_blocks(
        self,
        blocks: Sequence[BlockDefinition],
        *,
        farm_key: int,
        site_keys: Mapping[str, int],
        effective_day: date,
        recorded_at: datetime,
        counts: Counter[str],
        is_whole_farm: bool,
    ) -> None:
        supply_keys = self._keys_by_id(
            supply.c.supply_key, supply.c.supply_id, supply.c.farm_key == farm_key
        )
        block_keys = self._keys_by_id(
            block.c.block_key, block.c.block_id, block.c.farm_key == farm_key
        )
        new = [each.block_id for each in blocks if each.block_id not in block_keys]
        if new:
            insert_rows(
                self._connection,
                block,
                ("farm_key", "block_id", "short_id"),
                ((farm_key, name, mapping.short_id(name)) for name in new),
            )
            block_keys = self._keys_by_id(
                block.c.block_key, block.c.block_id, block.c.farm_key == farm_key
            )

        history = self._versions(farm_key)
        valid_from, recorded = effective_day.isoformat(), instant_text(recorded_at)
        rows = []
        for each in blocks:
            key = block_keys[each.block_id]
            content = mapping.block_content(each)
            versions = history.pop(key, [])
            if _says_already(versions, content[mapping.CONTENT_DIGEST], effective_day):
                counts["unchanged"] += 1
                continue
            whose = f"block {each.block_id}"
            supply_key = _known(supply_keys, each.supply_id, what="supply", whose=whose)
            site_key = _known(site_keys, each.site_id, what="site", whose=whose)
            version = versions[-1].version + 1 if versions else 1
            counts["changed" if versions else "created"] += 1
            rows.append((key, version, valid_from, recorded, False, supply_key, site_key, *content))
        insert_rows(
            self._connection,
            block_version,
            mapping.BLOCK_ROW_COLUMNS,
            rows,
        )
        gone = [
            key
            for key, versions in history.items()
            if not _is_retired_from(versions, effective_day)
            and (is_whole_farm or any(each.valid_from <= effective_day for each in versions))
        ]
        if gone:
            self._retire(np.array(gone, dtype=np.int64), effective_day, recorded_at)
            counts["retired"] += len(gone)

    def _versions(self, farm_key: int) -> dict[int, list[_Version]]:
        """All versions of each block of a farm, oldest first."""
        stored = read_columns(
            self._connection,
            select(
                block_version.c.block_key,
                block_version.c.version,
                block_version.c.valid_from,
                block_version.c.is_retired,
                block_version.c.digest,
            )
            .join(block, block.c.block_key == block_version.c.block_key)
            .where(block.c.farm_key == farm_key)
            .order_by(block_version.c.block_key, block_version.c.version),
        )
        history: dict[int, list[_Version]] = {}
        for key, *facts in zip(
            stored.ints("block_key").tolist(),
            stored.ints("version").tolist(),
            stored.days("valid_from").tolist(),
            stored.flags("is_retired").tolist(),
            stored.texts("digest"),
            strict=True,
        ):
            history.setdefault(key, []).append(_Version(*facts))
        return history

    def _retire(self, block_keys: Ints, effective_day: date, recorded_at: datetime) -> None:
        """Add a version to each of these blocks that retires it."""
        changes: dict[str, ColumnElement[Any]] = {
            "version": block_version.c.version + 1,
            "valid_from": literal(effective_day, Date),
            "recorded_at": literal(recorded_at, UtcInstant),
            "is_retired": literal(True, Boolean),
        }
        names = [column.name for column in block_version.columns]
        last = select(*(changes.get(name, block_version.c[name]) for name in names)).where(
            is_newest(),
            is_among(self._connection, block_version.c.block_key, block_keys),
        )
        self._connection.execute(insert(block_version).from_select(names, last))

    # --- reading farms -------------------------------------------------------------------------

    def get_bundle(self, farm_id: str, *, day: date) -> FarmBundle:
        """The farm as of ``day``, with the sites it names and those of its blocks.

        Raises NotFound.
        """
        row = self._farm_row(farm_id)
        blocks = self.list_blocks(farm_id=farm_id, day=day)
        named = self._connection.scalars(
            select(site.c.site_id)
            .join(farm_site, farm_site.c.site_key == site.c.site_key)
            .where(farm_site.c.farm_key == row["farm_key"])
        )
        used = {*named, *(each.site_id for each in blocks)}
        supplies = self._connection.execute(
            select(supply, farm.c.farm_id)
            .join(farm, farm.c.farm_key == supply.c.farm_key)
            .where(
                supply.c.farm_key == row["farm_key"],
                or_(supply.c.retired_from.is_(None), supply.c.retired_from > day),
            )
            .order_by(supply.c.supply_id)
        ).mappings()
        sites = self._connection.execute(
            select(site)
            .where(is_one_of(self._connection, site.c.site_id, sorted(used)))
            .order_by(site.c.site_id)
        ).mappings()
        return FarmBundle(
            farm=mapping.farm_from(row),
            sites=tuple(map(mapping.site_from, sites)),
            supplies=tuple(map(supply_rows.supply_from, supplies)),
            blocks=tuple(blocks),
            controllers=self._controllers(farm_id, {each.block_id for each in blocks}),
        )

    def _controllers(
        self, farm_id: str, block_ids: Collection[str]
    ) -> tuple[ControllerDefinition, ...]:
        """The farm's controllers with their channels to these blocks; none without a channel."""
        stored = ControllerStore(self._connection).list_controllers(farm_id)
        pruned = (
            replace(
                each.definition,
                channels=tuple(
                    channel for channel in each.definition.channels if channel.block_id in block_ids
                ),
            )
            for each in stored
        )
        return tuple(each for each in pruned if each.channels)

    def list_farms(self) -> list[FarmDefinition]:
        """All farms, by id."""
        rows = self._connection.execute(select(farm).order_by(farm.c.farm_id)).mappings()
        return [mapping.farm_from(row) for row in rows]

    def get_farm(self, farm_id: str) -> FarmDefinition:
        """One farm; raises NotFound."""
        return mapping.farm_from(self._farm_row(farm_id))

    def get_farm_of(self, block_id: str) -> FarmDefinition:
        """The farm of a block, same names as :meth:`get_block`; raises NotFound."""
        key = self.get_block_key(block_id)
        row = self._connection.execute(
            select(farm)
            .join(block, block.c.farm_key == farm.c.farm_key)
            .where(block.c.block_key == key)
        ).mappings()
        return mapping.farm_from(row.one())

    def _farm_row(self, farm_id: str) -> RowMapping:
        asked = select(farm).where(farm.c.farm_id == _storable(farm_id))
        row = self._connection.execute(asked).mappings().one_or_none()
        if row is None or row["farm_id"] != farm_id:
            raise NotFound(f"farm {farm_id!r}: there is no such farm")
        return row

    def farm_keys(self, farm_ids: Sequence[str] | None = None) -> dict[str, int]:
        """Integer key of each farm; raises NotFound for an unknown id."""
        if farm_ids is None:
            return dict(sorted(self._keys_by_id(farm.c.farm_key, farm.c.farm_id).items()))
        asked = [_storable(name) for name in farm_ids]
        stored = self._keys_by_id(farm.c.farm_key, farm.c.farm_id, farm.c.farm_id.in_(asked))
        unknown = [name for name in farm_ids if name not in stored]
        if unknown:
            raise NotFound(f"farm {', '.join(map(repr, unknown))}: there is no such farm")
        return {name: stored[name] for name in farm_ids}

    # --- reading blocks ------------------------------------------------------------------------

    def list_blocks(self, *, farm_id: str | None, day: date) -> list[BlockDefinition]:
        """Blocks in force on ``day``, by id; raises NotFound for an unknown farm."""
        query = definitions_in_force(day)
        if farm_id is not None:
            query = query.where(farm.c.farm_id == _storable(farm_id))
        rows = self._connection.execute(query.order_by(block.c.block_id))
        names = tuple(rows.keys())
        found = [mapping.known_block(names, tuple(row)) for row in rows]
        if farm_id is not None and not (found and found[0].farm_id == farm_id):
            self._farm_row(farm_id)  # refuses it if there is no such farm
        return found

    def get_block(self, block_id: str, *, day: date) -> BlockDefinition:
        """One block as of ``day``; accepts the part after the dot if it is unique."""
        key = self.get_block_key(block_id)
        row = (
            self._connection.execute(definitions_in_force(day).where(block.c.block_key == key))
            .mappings()
            .one_or_none()
        )
        if row is None:
            raise NotFound(f"block {block_id!r}: not in force on {day.isoformat()}")
        return mapping.block_from(row)

    def read_definitions(
        self, block_keys: Ints, *, day: date
    ) -> dict[int, tuple[BlockDefinition, float]]:
        """Blocks in force on ``day`` with the latitude of their site [deg], by key."""
        query = definitions_in_force(day).add_columns(site.c.latitude_deg)
        rows = self._connection.execute(
            query.where(is_among(self._connection, block.c.block_key, block_keys))
        ).mappings()
        return {
            row["block_key"]: (mapping.block_from(row), float(row["latitude_deg"])) for row in rows
        }

    def get_block_key(self, block_id: str) -> int:
        """Integer key of a block, same names as :meth:`get_block`; raises NotFound."""
        found = find_block_keys(self._connection, block_id)
        if not found:
            raise NotFound(f"block {block_id!r}: there is no such block")
        if len(found) > 1:
            names = ", ".join(sorted(found))
            raise NotFound(f"block {block_id!r}: several have that name; allowed: one of {names}")
        return next(iter(found.values()))

    def read_block_table(self, day: date, *, farm_keys: Ints) -> BlockTable:
        """All blocks of these farms in force on ``day``, by key."""
        query = in_force(
            select(
                block.c.block_key,
                block.c.block_id,
                block.c.farm_key,
                block_version.c.site_key,
                block_version.c.supply_key,
                block_version.c.valid_from,
                block_version.c.balance_start,
                block_version.c.curve,
                block_version.c.windows,
                block_version.c.no_water,
                *(block_version.c[name] for name in ("timer", "visits", *BLOCK_NUMBERS)),
            ).join_from(block, block_version, block.c.block_key == block_version.c.block_key),
            day,
        ).where(is_among(self._connection, block.c.farm_key, farm_keys))
        columns = read_columns(self._connection, query)
        return mapping.block_table(columns.in_order_of("block_key"))

    def read_labels(self, block_keys: Ints, *, day: date) -> dict[int, BlockLabel]:
        """Names of these blocks on a day, by key."""
        rows = self._connection.execute(
            in_force(
                select(block.c.block_key, block.c.block_id, block_version.c.name, farm.c.farm_id)
                .join_from(block, block_version, block.c.block_key == block_version.c.block_key)
                .join(farm, farm.c.farm_key == block.c.farm_key),
                day,
            ).where(is_among(self._connection, block.c.block_key, block_keys))
        )
        return {key: BlockLabel(*label) for key, *label in rows}

    def count_blocks(self, farm_keys: Ints, *, day: date) -> dict[int, int]:
        """Number of blocks in force on ``day`` per farm key; 0 where there are none."""
        rows = self._connection.execute(
            in_force(
                select(block.c.farm_key, func.count()).join_from(
                    block, block_version, block.c.block_key == block_version.c.block_key
                ),
                day,
            )
            .where(is_among(self._connection, block.c.farm_key, farm_keys))
            .group_by(block.c.farm_key)
        )
        return {**dict.fromkeys(farm_keys.tolist(), 0), **dict(rows.all())}

    def list_version_days(self, farm_keys: Ints, *, first_day: date, last_day: date) -> list[date]:
        """Days inside the span on which a block of these farms begins, changes or is retired."""
        rows = self._connection.execute(
            select(block_version.c.valid_from)
            .join(block, block.c.block_key == block_version.c.block_key)
            .where(
                is_among(self._connection, block.c.farm_key, farm_keys),
                block_version.c.valid_from.between(first_day, last_day),
            )
            .distinct()
            .order_by(block_version.c.valid_from)
        )
        return list(rows.scalars())

    # --- reading sites, supplies, counties -----------------------------------------------------

    def list_site_keys(self, farm_keys: Ints, *, day: date | None = None) -> Ints:
        """Keys of the sites that blocks of these farms draw on or once drew on, in ascending
        order; with ``day`` only of those that they draw on that day.
        """
        query = select(block_version.c.site_key).join_from(
            block, block_version, block.c.block_key == block_version.c.block_key
        )
        rows = self._connection.execute(
            (query if day is None else in_force(query, day))
            .where(is_among(self._connection, block.c.farm_key, farm_keys))
            .distinct()
            .order_by(block_version.c.site_key)
        )
        return np.array(rows.scalars().all(), dtype=np.int64)

    def read_site_table(self, site_keys: Ints | None = None) -> SiteTable:
        """Sites by key; all of them when no keys are given."""
        query = select(site).order_by(site.c.site_key)
        if site_keys is not None:
            query = query.where(is_among(self._connection, site.c.site_key, site_keys))
        rows = self._connection.execute(query).mappings().all()
        return SiteTable(
            keys=np.array([row["site_key"] for row in rows], dtype=np.int64),
            definitions=tuple(map(mapping.site_from, rows)),
        )

    def get_site_key(self, site_id: str) -> int:
        """Integer key of a site; raises NotFound."""
        key = self._connection.execute(
            select(site.c.site_key).where(site.c.site_id == site_id)
        ).scalar_one_or_none()
        if key is None:
            raise NotFound(f"site {site_id!r}: there is no such site")
        return int(key)

    def find_users(self, site_keys: Ints) -> dict[int, tuple[str, ...]]:
        """Ids of the farms that name each site, or whose blocks draw on it or once did.

        Sites of no farm are missing.
        """
        drawing = (
            select(block_version.c.site_key, farm.c.farm_id)
            .join(block, block.c.block_key == block_version.c.block_key)
            .join(farm, farm.c.farm_key == block.c.farm_key)
            .where(is_among(self._connection, block_version.c.site_key, site_keys))
        )
        naming = (
            select(farm_site.c.site_key, farm.c.farm_id)
            .join(farm, farm.c.farm_key == farm_site.c.farm_key)
            .where(is_among(self._connection, farm_site.c.site_key, site_keys))
        )
        rows = sorted({tuple(row) for row in self._connection.execute(union(drawing, naming))})
        users: dict[int, tuple[str, ...]] = {}
        for site_key, farm_id in rows:
            users[site_key] = (*users.get(site_key, ()), farm_id)
        return users

    def read_supply_table(self, farm_keys: Ints) -> SupplyTable:
        """Supplies of these farms by key, retired ones too, since past blocks refer to them."""
        columns = read_columns(
            self._connection,
            select(
                supply.c.supply_key,
                supply.c.supply_id,
                supply.c.farm_key,
                supply.c.flow_l_per_h,
                supply.c.windows,
                supply.c.weekly_no_water,
            )
            .where(is_among(self._connection, supply.c.farm_key, farm_keys))
            .order_by(supply.c.supply_key),
        )
        return supply_rows.supply_table(columns)

    def list_counties(self) -> list[CountyDefinition]:
        """All counties, by code."""
        rows = self._connection.execute(
            select(county, site.c.site_id)
            .join(site, site.c.site_key == county.c.site_key)
            .order_by(county.c.county_code)
        ).mappings()
        return [mapping.county_from(row) for row in rows]

    def _keys_by_id(self, key: Any, name: Any, *conditions: Any) -> dict[str, int]:
        rows = self._connection.execute(select(name, key).where(*conditions))
        return dict(rows.all())


def _storable(farm_id: str) -> str:
    """PostgreSQL takes no text with a NUL in it, so no farm can be called that."""
    return farm_id.replace("\0", "")


def _in_force_from(versions: Sequence[_Version], day: date) -> list[_Version]:
    """The versions that are in force on ``day`` or on some day after it, oldest first."""
    for index in range(len(versions) - 1, -1, -1):
        if versions[index].valid_from <= day:
            return list(versions[index:])
    return []


def _says_already(versions: Sequence[_Version], digest: str, day: date) -> bool:
    """Whether the history already has this content for ``day`` and every later day."""
    standing = _in_force_from(versions, day)
    return bool(standing) and all(
        not each.is_retired and each.digest == digest for each in standing
    )


def _is_retired_from(versions: Sequence[_Version], day: date) -> bool:
    standing = _in_force_from(versions, day) or list(versions)
    return all(each.is_retired for each in standing)


def _known(keys: Mapping[str, int], name: str, *, what: str, whose: str) -> int:
    if name not in keys:
        raise NotFound(f"{whose}: its {what} {name!r} is neither stored nor in this bundle")
    return keys[name]


def _refuse_foreign_parts(bundle: FarmBundle) -> None:
    """A bundle covers one farm: it must not change or retire anything of another."""
    farm_id = None if bundle.farm is None else bundle.farm.farm_id
    allowed = "none, as the bundle has no farm" if farm_id is None else f"only those of {farm_id!r}"
    parts: list[tuple[str, str]] = [
        *((f"supply {each.supply_id}", each.farm_id) for each in bundle.supplies),
        *((f"block {each.block_id}", each.farm_id) for each in bundle.blocks),
    ]
    faults = [
        Fault(where, f"farm {owner!r}", allowed) for where, owner in parts if owner != farm_id
    ]
    if faults:
        raise InputInvalid("The bundle holds parts of another farm.", faults[:20])
    repeated = [
        name
        for name, times in Counter(each.block_id for each in bundle.blocks).items()
        if times > 1
    ]
    if repeated:
        raise Conflict(f"block {', '.join(map(repr, repeated[:20]))}: more than once in the bundle")


def _outcome(counts: Mapping[str, int]) -> LoadOutcome:
    return LoadOutcome(
        created_count=counts.get("created", 0),
        changed_count=counts.get("changed", 0),
        unchanged_count=counts.get("unchanged", 0),
        retired_count=counts.get("retired", 0),
    )
