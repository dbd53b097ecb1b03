"""Plans as immutable versions in the database."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

import numpy as np
from sqlalchemy import Connection, RowMapping, Select, bindparam, delete, func, select, update

from service.agronomy.records import Ints
from service.database import mapping
from service.database.block_versions import find_block_keys
from service.database.bulk import (
    insert_new_rows,
    insert_rows,
    is_among,
    read_columns,
    rows_of,
)
from service.database.change_mark_store import ChangeMarks
from service.database.packing import BASIS_DOCUMENTS, PLAN_NUMBERS, whole
from service.database.tables import (
    block,
    farm,
    instant_text,
    plan,
    plan_text,
    weather_basis,
)
from service.pulses import Pulse
from service.records.plan_reasoning import read_reasoning
from service.records.plans import NewVersions, PlanRows, PlansInForce, PublishedPlan
from service.records.weather_basis import WeatherBasis, read_weather_basis

PLANS_TOPIC = "plans"
"""The change mark of plans; see :meth:`PlanStore.publish`."""
_PLAN_COLUMNS = (
    "block_key",
    "day",
    "version",
    "status",
    "issued_at",
    "planned_min",
    "early_min",
    "ready_min",
    "gross_mm",
    "net_mm",
    "pulses",
    "numbers",
    "basis_key",
    "digest",
)


_PUBLISHED = select(
    plan,
    block.c.block_id,
    PLAN_NUMBERS.model_text,
    weather_basis.c.document,
    BASIS_DOCUMENTS.packed,
    BASIS_DOCUMENTS.model_text,
).select_from(
    BASIS_DOCUMENTS.joined(
        PLAN_NUMBERS.joined(
            plan.join(block, block.c.block_key == plan.c.block_key).join(
                weather_basis, weather_basis.c.basis_key == plan.c.basis_key
            )
        )
    )
)
"""Plan versions with the block's name and the site's weather reasoning."""

_POLLED = _PUBLISHED.where(
    block.c.block_id == bindparam("polled_id"),
    plan.c.day == bindparam("polled_day"),
    plan.c.superseded_at.is_(None),
)
"""The current plan by the block's full name, as controllers ask for it; built only once."""

_NOTHING_NEW = NewVersions(np.array([], dtype=np.int64), np.array([], dtype=np.int64))


class PlanStore:
    """Plans as immutable versions."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def publish(self, rows: PlanRows, *, issued_at: datetime) -> NewVersions:
        """Store a new version of each plan whose digest differs from the one in force.

        The version it replaces is marked superseded at ``issued_at``. A ``no-weather`` plan never
        supersedes another. Publishing the same rows again stores nothing.

        The mark of ``plans`` moves first, and its row stays locked to the end of the transaction:
        keys of plans rise in the order in which transactions become visible, whoever else is
        publishing. What takes long is best done before. Rendered texts of plans that are replaced
        are dropped.
        """
        if rows.block_keys.size == 0:
            return _NOTHING_NEW
        in_force = self._in_force(rows)
        chosen, versions, superseded, replaced = [], [], [], []
        for index, (block_key, status, digest) in enumerate(
            zip(rows.block_keys.tolist(), rows.status, rows.digest, strict=True)
        ):
            before = in_force.get(block_key)
            if before is None:
                chosen.append(index)
                versions.append(1)
                continue
            plan_key, version, status_before, digest_before = before
            if digest == digest_before or (status == "no-weather" != status_before):
                continue
            chosen.append(index)
            versions.append(version + 1)
            superseded.append(plan_key)
            replaced.append(block_key)
        if not chosen:
            return _NOTHING_NEW

        ChangeMarks(self._connection).bump(PLANS_TOPIC)
        if superseded:
            self._supersede(superseded, replaced, rows.day, issued_at)
        issued = instant_text(issued_at)
        picked = np.array(chosen, dtype=np.int64)
        insert_rows(
            self._connection,
            plan,
            _PLAN_COLUMNS,
            rows_of(
                [
                    rows.block_keys[picked],
                    rows.day.isoformat(),
                    versions,
                    [rows.status[index] for index in chosen],
                    issued,
                    rows.planned_min[picked],
                    rows.early_min[picked],
                    rows.ready_min[picked],
                    rows.gross_mm[picked],
                    rows.net_mm[picked],
                    [rows.pulses[index].decode() for index in chosen],
                    [rows.numbers[index].decode() for index in chosen],
                    rows.basis_keys[picked],
                    [rows.digest[index] for index in chosen],
                ]
            ),
        )
        return NewVersions(picked, np.array(versions, dtype=np.int64))

    def _in_force(self, rows: PlanRows) -> dict[int, tuple[int, int, str, str]]:
        """Key, version, status and digest of the plans in force, by block key."""
        standing = read_columns(
            self._connection,
            select(
                plan.c.plan_key,
                plan.c.block_key,
                plan.c.version,
                plan.c.status,
                plan.c.digest,
            ).where(
                plan.c.day == rows.day,
                plan.c.superseded_at.is_(None),
                is_among(self._connection, plan.c.block_key, rows.block_keys),
            ),
        )
        return {
            facts[0]: facts[1:]
            for facts in zip(
                standing.ints("block_key").tolist(),
                standing.ints("plan_key").tolist(),
                standing.ints("version").tolist(),
                standing.texts("status"),
                standing.texts("digest"),
                strict=True,
            )
        }

    def _supersede(
        self, plan_keys: list[int], block_keys: list[int], day: date, issued_at: datetime
    ) -> None:
        self._connection.execute(
            update(plan)
            .where(
                plan.c.day == day,
                is_among(self._connection, plan.c.plan_key, np.array(plan_keys, np.int64)),
            )
            .values(superseded_at=issued_at)
        )
        self._connection.execute(
            delete(plan_text).where(
                plan_text.c.day == day,
                is_among(self._connection, plan_text.c.block_key, np.array(block_keys, np.int64)),
            )
        )

    def read_versions(self, block_keys: Ints, *, day: date) -> dict[int, int]:
        """Number of the version in force for a day, by block key; those without are left out."""
        rows = self._connection.execute(
            select(plan.c.block_key, plan.c.version).where(
                plan.c.day == day,
                plan.c.superseded_at.is_(None),
                is_among(self._connection, plan.c.block_key, block_keys),
            )
        )
        return dict(rows.all())

    def read_in_force(self, block_keys: Ints, *, day: date) -> PlansInForce:
        """Minutes, pulses, need and orders of a day's plans in force, in the order of the keys."""
        standing = read_columns(
            self._connection,
            select(plan.c.block_key, plan.c.planned_min, plan.c.pulses, plan.c.numbers).where(
                plan.c.day == day,
                plan.c.superseded_at.is_(None),
                is_among(self._connection, plan.c.block_key, block_keys),
            ),
        )
        planned_min = np.full(block_keys.shape, np.nan)
        need_mm = np.full(block_keys.shape, np.nan)
        place = {key: row for row, key in enumerate(block_keys.tolist())}
        pulses: list[tuple[Pulse, ...]] = [()] * block_keys.size
        order_keys = [""] * block_keys.size
        for key, minutes, text, numbers in zip(
            standing.ints("block_key").tolist(),
            standing.ints("planned_min").tolist(),
            standing.texts("pulses"),
            standing.texts("numbers"),
            strict=True,
        ):
            row = place[key]
            planned_min[row] = minutes
            pulses[row] = mapping.pulses_from(text)
            reasoning = read_reasoning(numbers or self._whole_numbers(key, day))
            need_mm[row] = np.nan if reasoning.need_mm is None else reasoning.need_mm
            if reasoning.fertigation is not None:
                order_keys[row] = reasoning.fertigation.order_key
        return PlansInForce(
            planned_min=planned_min,
            pulses=tuple(pulses),
            need_mm=need_mm,
            order_keys=tuple(order_keys),
        )

    def _whole_numbers(self, block_key: int, day: date) -> str:
        """The numbers of a plan in force that has been packed."""
        row = self._connection.execute(
            select(plan.c.numbers, plan.c.packed, PLAN_NUMBERS.model_text)
            .select_from(PLAN_NUMBERS.joined(plan))
            .where(plan.c.block_key == block_key, plan.c.day == day, plan.c.superseded_at.is_(None))
        ).one()
        return whole(*row)

    def read_pulses(
        self, block_keys: Ints, *, first_day: date, last_day: date
    ) -> dict[tuple[int, date], tuple[Pulse, ...]]:
        """Pulses of the plans in force on the days of a span, by block key and day."""
        found = read_columns(
            self._connection,
            select(plan.c.block_key, plan.c.day, plan.c.pulses).where(
                plan.c.day.between(first_day, last_day),
                plan.c.superseded_at.is_(None),
                is_among(self._connection, plan.c.block_key, block_keys),
            ),
        )
        cells = zip(found.ints("block_key").tolist(), found.days("day").tolist(), strict=True)
        return {
            cell: mapping.pulses_from(text)
            for cell, text in zip(cells, found.texts("pulses"), strict=True)
        }

    def save_basis(
        self, site_keys: Ints, documents: Sequence[bytes], *, day: date, issued_at: datetime
    ) -> Ints:
        """Store each site's weather reasoning for a plan day; same document, same key.

        Others may be storing the same at the same time: who is second waits for the first, so it is
        best done in a short transaction.
        """
        wanted = [
            (site_key, mapping.digest_of(document))
            for site_key, document in zip(site_keys.tolist(), documents, strict=True)
        ]
        known = self._basis_keys(site_keys, day)
        new = {
            place: document
            for place, document in zip(wanted, documents, strict=True)
            if place not in known
        }
        if new:
            day_text, issued = day.isoformat(), instant_text(issued_at)
            insert_new_rows(
                self._connection,
                weather_basis,
                ("site_key", "day", "digest", "issued_at", "document"),
                (
                    (site_key, day_text, digest, issued, document.decode())
                    for (site_key, digest), document in sorted(new.items())
                ),
            )
            known = self._basis_keys(site_keys, day)
        return np.array([known[place] for place in wanted], dtype=np.int64)

    def _basis_keys(self, site_keys: Ints, day: date) -> dict[tuple[int, str], int]:
        rows = self._connection.execute(
            select(
                weather_basis.c.site_key, weather_basis.c.digest, weather_basis.c.basis_key
            ).where(
                weather_basis.c.day == day,
                is_among(self._connection, weather_basis.c.site_key, site_keys),
            )
        )
        return {(site_key, digest): key for site_key, digest, key in rows}

    def find_plan(
        self, block_id: str, *, day: date, version: int | None = None
    ) -> PublishedPlan | None:
        """The version in force, or the one named; None also for a block that does not exist."""
        if version is None and "." in block_id:
            found = self._connection.execute(_POLLED, {"polled_id": block_id, "polled_day": day})
        else:
            key = self._find_block_key(block_id)
            query = _PUBLISHED.where(plan.c.block_key == key, plan.c.day == day)
            if version is None:
                query = query.where(plan.c.superseded_at.is_(None))
            else:
                query = query.where(plan.c.version == version)
            found = self._connection.execute(query)
        row = found.mappings().one_or_none()
        return None if row is None else mapping.plan_from(row, weather=_basis_of(row))

    def find_latest_day(self, block_id: str | None = None) -> date | None:
        """Last day any plan (of that block) is for."""
        query = select(func.max(plan.c.day))
        if block_id is not None:
            key = self._find_block_key(block_id)
            if key is None:
                return None
            query = query.where(plan.c.block_key == key)
        found: date | None = self._connection.execute(query).scalar_one()
        return found

    def list_plans(self, *, day: date, farm_id: str | None = None) -> list[PublishedPlan]:
        """Plans in force for a day, by block id; the plans of a site share one weather basis."""
        query = _PUBLISHED.where(plan.c.day == day, plan.c.superseded_at.is_(None))
        if farm_id is not None:
            query = query.join(farm, farm.c.farm_key == block.c.farm_key)
            query = query.where(farm.c.farm_id == farm_id)
        return self._as_read(query.order_by(block.c.block_id))

    def latest_key(self) -> int:
        """Key of the newest version of any plan; 0: there is none."""
        return int(self._connection.execute(select(func.max(plan.c.plan_key))).scalar_one() or 0)

    def list_plans_at(self, key: int, *, day: date, farm_id: str) -> list[PublishedPlan]:
        """Plans of a farm for a day that were in force when ``key`` was the newest version."""
        newest = (
            select(func.max(plan.c.plan_key))
            .join(block, block.c.block_key == plan.c.block_key)
            .join(farm, farm.c.farm_key == block.c.farm_key)
            .where(plan.c.day == day, plan.c.plan_key <= key, farm.c.farm_id == farm_id)
            .group_by(plan.c.block_key)
        )
        query = _PUBLISHED.where(plan.c.plan_key.in_(newest)).order_by(block.c.block_id)
        return self._as_read(query)

    def _as_read(self, query: Select[Any]) -> list[PublishedPlan]:
        """Published plans; those of a site share one weather basis."""
        bases: dict[int, WeatherBasis] = {}
        found = []
        for row in self._connection.execute(query).mappings():
            key = row["basis_key"]
            if key not in bases:
                bases[key] = _basis_of(row)
            found.append(mapping.plan_from(row, weather=bases[key]))
        return found

    def _find_block_key(self, block_id: str) -> int | None:
        found = find_block_keys(self._connection, block_id)
        return next(iter(found.values())) if len(found) == 1 else None


def _basis_of(row: RowMapping) -> WeatherBasis:
    return read_weather_basis(whole(row["document"], row["packed_document"], row["model_document"]))
