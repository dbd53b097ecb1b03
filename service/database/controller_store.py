"""Controllers, their channels, and the programs they poll, in the database."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

import numpy as np
import orjson
from sqlalchemy import Connection, RowMapping, insert, select, update

from service.agronomy.records import Ints
from service.database.bulk import is_among, is_one_of, read_columns, upsert_rows
from service.database.tables import (
    block,
    change_mark,
    controller,
    controller_channel,
    controller_program,
    farm,
    instant_text,
    plan,
)
from service.errors import Conflict, NotFound
from service.records.controllers import (
    ChannelDefinition,
    ChannelPlans,
    ControllerDefinition,
    FallbackRun,
    ProgramRow,
    StoredController,
    StoredProgram,
)
from service.records.farms import LoadOutcome

PROGRAMS_TOPIC = "programs"
_PROGRAM_COLUMNS = (
    "controller_key",
    "version",
    "issued_at",
    "digest",
    "json_text",
    "csv_text",
    "change_count",
)
_POLLED = (
    select(
        controller.c.controller_id,
        controller.c.controller_key,
        controller.c.retired_at,
        farm.c.farm_id,
        controller_program.c.version,
        controller_program.c.issued_at,
        controller_program.c.digest,
        controller_program.c.json_text,
        controller_program.c.csv_text,
    )
    .join_from(controller, farm, farm.c.farm_key == controller.c.farm_key)
    .outerjoin(
        controller_program, controller_program.c.controller_key == controller.c.controller_key
    )
)
"""Controllers with their programs; the statement is built only once."""


class ControllerStore:
    """Controllers with their channels, and the programs that they poll."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    # --- pairing -------------------------------------------------------------------------------

    def save_controllers(
        self, farm_id: str, controllers: Sequence[ControllerDefinition], *, recorded_at: datetime
    ) -> LoadOutcome:
        """Store what differs; controllers of the farm that are not among these are retired.

        A retired controller that comes back is reinstated under the same key, so the versions of
        its program keep rising. Saving the same controllers again changes nothing. Raises NotFound
        for a farm or block that is not stored, Conflict for an id that another farm has.
        """
        farm_key = self._farm_key(farm_id)
        stored = {
            each.definition.controller_id: each
            for each in self.list_controllers(farm_id, with_retired=True)
        }
        counts: Counter[str] = Counter()
        for wanted in controllers:
            before = stored.pop(wanted.controller_id, None)
            if before is None:
                self._create(wanted, farm_key=farm_key, recorded_at=recorded_at)
                counts["created"] += 1
            elif before.retired_at is None and before.definition == wanted:
                counts["unchanged"] += 1
            else:
                self._change(wanted, before.controller_key, recorded_at=recorded_at)
                counts["changed"] += 1
        for gone in stored.values():
            if gone.retired_at is None:
                self._update(gone.controller_key, retired_at=recorded_at)
                counts["retired"] += 1
        return LoadOutcome(
            created_count=counts["created"],
            changed_count=counts["changed"],
            unchanged_count=counts["unchanged"],
            retired_count=counts["retired"],
        )

    def _farm_key(self, farm_id: str) -> int:
        found: int | None = self._connection.execute(
            select(farm.c.farm_key).where(farm.c.farm_id == farm_id)
        ).scalar_one_or_none()
        if found is None:
            raise NotFound(f"farm {farm_id!r}: there is no such farm")
        return found

    def _create(
        self, wanted: ControllerDefinition, *, farm_key: int, recorded_at: datetime
    ) -> None:
        taken = self._connection.execute(
            select(controller.c.controller_key).where(
                controller.c.controller_id == wanted.controller_id
            )
        ).scalar_one_or_none()
        if taken is not None:
            raise Conflict(f"controller {wanted.controller_id!r} belongs to another farm")
        key: int = self._connection.execute(
            insert(controller)
            .values(
                farm_key=farm_key,
                controller_id=wanted.controller_id,
                name=wanted.name,
                policy=wanted.policy,
                recorded_at=recorded_at,
                change_count=self._next_mark(),
            )
            .returning(controller.c.controller_key)
        ).scalar_one()
        self._write_channels(key, wanted)

    def _change(self, wanted: ControllerDefinition, key: int, *, recorded_at: datetime) -> None:
        self._update(
            key, name=wanted.name, policy=wanted.policy, recorded_at=recorded_at, retired_at=None
        )
        self._connection.execute(
            controller_channel.delete().where(controller_channel.c.controller_key == key)
        )
        self._write_channels(key, wanted)

    def _update(self, key: int, **values: Any) -> None:
        self._connection.execute(
            update(controller)
            .where(controller.c.controller_key == key)
            .values(**values, change_count=self._next_mark())
        )

    def _next_mark(self) -> int:
        """The count of the topic ``programs`` after the caller's bump."""
        count: int | None = self._connection.execute(
            select(change_mark.c.change_count).where(change_mark.c.topic == PROGRAMS_TOPIC)
        ).scalar_one_or_none()
        return 1 + (count or 0)

    def _write_channels(self, key: int, wanted: ControllerDefinition) -> None:
        if not wanted.channels:
            return
        names = [each.block_id for each in wanted.channels]
        rows = self._connection.execute(
            select(block.c.block_id, block.c.block_key).where(
                is_one_of(self._connection, block.c.block_id, names)
            )
        )
        block_keys: dict[str, int] = {row.block_id: row.block_key for row in rows}
        missing = sorted(set(names) - set(block_keys))
        if missing:
            raise NotFound(
                f"controller {wanted.controller_id}: there is no block {', '.join(missing)}"
            )
        self._connection.execute(
            insert(controller_channel),
            [
                {
                    "controller_key": key,
                    "channel": each.channel,
                    "block_key": block_keys[each.block_id],
                    "fallback": _fallback_text(each.fallback),
                }
                for each in wanted.channels
            ],
        )

    # --- reading -------------------------------------------------------------------------------

    def list_controllers(
        self, farm_id: str | None = None, *, with_retired: bool = False
    ) -> list[StoredController]:
        """Controllers of a farm, or of all, by id."""
        query = select(controller, farm.c.farm_id).join(
            farm, farm.c.farm_key == controller.c.farm_key
        )
        if farm_id is not None:
            query = query.where(farm.c.farm_id == farm_id)
        if not with_retired:
            query = query.where(controller.c.retired_at.is_(None))
        rows = list(self._connection.execute(query.order_by(controller.c.controller_id)).mappings())
        keys = np.array([row["controller_key"] for row in rows], dtype=np.int64)
        channels = self._channels(keys)
        return [_controller_from(row, channels.get(row["controller_key"], ())) for row in rows]

    def get_controller(self, controller_id: str) -> StoredController:
        """One controller, retired or not; raises NotFound."""
        row = (
            self._connection.execute(
                select(controller, farm.c.farm_id)
                .join(farm, farm.c.farm_key == controller.c.farm_key)
                .where(controller.c.controller_id == controller_id)
            )
            .mappings()
            .one_or_none()
        )
        if row is None:
            raise NotFound(f"controller {controller_id!r}: there is no such controller")
        key = row["controller_key"]
        return _controller_from(row, self._channels(np.array([key], np.int64)).get(key, ()))

    def list_keys_in_use(self, farm_keys: Ints) -> Ints:
        """Keys of the controllers of these farms that are in use, in ascending order."""
        found = read_columns(
            self._connection,
            select(controller.c.controller_key)
            .where(
                controller.c.retired_at.is_(None),
                is_among(self._connection, controller.c.farm_key, farm_keys),
            )
            .order_by(controller.c.controller_key),
        )
        return found.ints("controller_key")

    def read_definitions(self, controller_keys: Ints) -> list[tuple[int, ControllerDefinition]]:
        """Definitions by key, in ascending order of the key."""
        rows = self._connection.execute(
            select(controller, farm.c.farm_id)
            .join(farm, farm.c.farm_key == controller.c.farm_key)
            .where(is_among(self._connection, controller.c.controller_key, controller_keys))
            .order_by(controller.c.controller_key)
        ).mappings()
        channels = self._channels(controller_keys)
        return [
            (
                row["controller_key"],
                _controller_from(row, channels.get(row["controller_key"], ())).definition,
            )
            for row in rows
        ]

    def _channels(self, controller_keys: Ints) -> Mapping[int, tuple[ChannelDefinition, ...]]:
        rows = self._connection.execute(
            select(
                controller_channel.c.controller_key,
                controller_channel.c.channel,
                block.c.block_id,
                controller_channel.c.fallback,
            )
            .join(block, block.c.block_key == controller_channel.c.block_key)
            .where(is_among(self._connection, controller_channel.c.controller_key, controller_keys))
            .order_by(controller_channel.c.controller_key, controller_channel.c.channel)
        )
        found: dict[int, list[ChannelDefinition]] = {}
        parsed: dict[str, tuple[FallbackRun, ...]] = {}
        for key, channel, block_id, text in rows:
            if text not in parsed:
                parsed[text] = tuple(FallbackRun(*pair) for pair in orjson.loads(text))
            found.setdefault(key, []).append(
                ChannelDefinition(channel=channel, block_id=block_id, fallback=parsed[text])
            )
        return {key: tuple(each) for key, each in found.items()}

    def read_plans(self, block_keys: Ints, *, first_day: date) -> ChannelPlans:
        """Plans in force of these blocks from a day on, by day and block."""
        standing = read_columns(
            self._connection,
            select(plan.c.block_key, plan.c.day, plan.c.status, plan.c.pulses)
            .where(
                plan.c.day >= first_day,
                plan.c.superseded_at.is_(None),
                is_among(self._connection, plan.c.block_key, block_keys),
            )
            .order_by(plan.c.day, plan.c.block_key),
        )
        return ChannelPlans(
            block_keys=standing.ints("block_key"),
            days=standing.days("day"),
            status=tuple(standing.texts("status")),
            pulses=tuple(standing.texts("pulses")),
        )

    # --- programs ------------------------------------------------------------------------------

    def read_programs(self, controller_keys: Ints) -> list[ProgramRow]:
        """The programs in force of these controllers, by key."""
        standing = read_columns(
            self._connection,
            select(
                controller_program.c.controller_key,
                controller_program.c.version,
                controller_program.c.issued_at,
                controller_program.c.digest,
                controller_program.c.json_text,
                controller_program.c.csv_text,
            )
            .where(is_among(self._connection, controller_program.c.controller_key, controller_keys))
            .order_by(controller_program.c.controller_key),
        )
        return [
            ProgramRow(
                controller_key=key,
                version=version,
                issued_at=issued_at,
                digest=digest,
                json_text=json_text,
                csv_text=csv_text,
            )
            for key, version, issued_at, digest, json_text, csv_text in zip(
                standing.ints("controller_key").tolist(),
                standing.ints("version").tolist(),
                standing.instants("issued_at"),
                standing.texts("digest"),
                standing.texts("json_text"),
                standing.texts("csv_text"),
                strict=True,
            )
        ]

    def save_programs(self, rows: Sequence[ProgramRow], *, mark: int) -> None:
        """Replace programs; ``mark`` is the count of the topic ``programs`` that announces the
        change.
        """
        upsert_rows(
            self._connection,
            controller_program,
            _PROGRAM_COLUMNS,
            (
                (
                    row.controller_key,
                    row.version,
                    instant_text(row.issued_at),
                    row.digest,
                    row.json_text,
                    row.csv_text,
                    mark,
                )
                for row in rows
            ),
        )

    def find_programs(self, controller_ids: Sequence[str]) -> list[StoredProgram]:
        """The stored programs that answer these controllers' polls; unknown ids are left out."""
        rows = self._connection.execute(
            _POLLED.where(is_one_of(self._connection, controller.c.controller_id, controller_ids))
        )
        return [
            StoredProgram(
                controller_id=row.controller_id,
                farm_id=row.farm_id,
                is_retired=row.retired_at is not None,
                program=None
                if row.version is None
                else ProgramRow(
                    controller_key=row.controller_key,
                    version=row.version,
                    issued_at=row.issued_at,
                    digest=row.digest,
                    json_text=row.json_text,
                    csv_text=row.csv_text,
                ),
            )
            for row in rows
        ]

    def list_changed(self, *, after_mark: int) -> list[str]:
        """Ids of the controllers whose program or pairing changed after a mark."""
        own = select(controller.c.controller_id).where(controller.c.change_count > after_mark)
        by_program = (
            select(controller.c.controller_id)
            .join(
                controller_program,
                controller_program.c.controller_key == controller.c.controller_key,
            )
            .where(controller_program.c.change_count > after_mark)
        )
        return list(self._connection.execute(own.union(by_program)).scalars())


def _fallback_text(fallback: Sequence[FallbackRun]) -> str:
    return orjson.dumps([[run.start_wall_min, run.duration_min] for run in fallback]).decode()


def _controller_from(row: RowMapping, channels: tuple[ChannelDefinition, ...]) -> StoredController:
    return StoredController(
        controller_key=row["controller_key"],
        definition=ControllerDefinition(
            controller_id=row["controller_id"],
            farm_id=row["farm_id"],
            name=row["name"],
            policy=row["policy"],
            channels=channels,
        ),
        retired_at=row["retired_at"],
    )
