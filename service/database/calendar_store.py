"""Secret calendar links, and the plan versions that a calendar is made of."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import Connection, or_, select

from service.database import mapping
from service.database.bulk import insert_into
from service.database.tables import block, block_version, calendar_link, farm, plan
from service.errors import NotFound
from service.records.plans import PlanVersion


class CalendarStore:
    """Secret links to farms' calendars, and the content of those calendars."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def replace_link(self, farm_id: str, *, token_digest: str, created_at: datetime) -> None:
        """Make this the farm's only link; the previous one stops working."""
        farm_key = self._connection.execute(
            select(farm.c.farm_key).where(farm.c.farm_id == farm_id)
        ).scalar_one_or_none()
        if farm_key is None:
            raise NotFound(f"farm {farm_id!r}: there is no such farm")
        values = {"token_digest": token_digest, "created_at": created_at}
        self._connection.execute(
            insert_into(self._connection.dialect.name, calendar_link)
            .values(farm_key=farm_key, **values)
            .on_conflict_do_update(index_elements=["farm_key"], set_=values)
        )

    def find_farm(self, token_digest: str) -> str | None:
        """The farm that a link belongs to."""
        found: str | None = self._connection.execute(
            select(farm.c.farm_id)
            .join(calendar_link, calendar_link.c.farm_key == farm.c.farm_key)
            .where(calendar_link.c.token_digest == token_digest)
        ).scalar_one_or_none()
        return found

    def list_versions(
        self, farm_id: str, *, first_day: date, last_day: date, superseded_after: datetime
    ) -> list[PlanVersion]:
        """Plan versions in force, and those superseded since an instant, by block, day, version."""
        names = self._newest_names(farm_id)
        rows = self._connection.execute(
            select(
                block.c.block_key,
                block.c.block_id,
                plan.c.day,
                plan.c.version,
                plan.c.status,
                plan.c.issued_at,
                plan.c.superseded_at,
                plan.c.pulses,
            )
            .join_from(plan, block, block.c.block_key == plan.c.block_key)
            .join(farm, farm.c.farm_key == block.c.farm_key)
            .where(
                farm.c.farm_id == farm_id,
                plan.c.day.between(first_day, last_day),
                or_(plan.c.superseded_at.is_(None), plan.c.superseded_at >= superseded_after),
            )
            .order_by(block.c.block_id, plan.c.day, plan.c.version)
        )
        return [
            PlanVersion(
                block_id=row.block_id,
                block_name=names[row.block_key][0],
                is_retired=row.day >= names[row.block_key][1],
                day=row.day,
                version=row.version,
                status=row.status,
                issued_at=row.issued_at,
                superseded_at=row.superseded_at,
                pulses=mapping.pulses_from(row.pulses),
            )
            for row in rows
        ]

    def _newest_names(self, farm_id: str) -> dict[int, tuple[str, date]]:
        """Name of each block in its newest version, and the day from which it is retired."""
        rows = self._connection.execute(
            select(
                block_version.c.block_key,
                block_version.c.name,
                block_version.c.is_retired,
                block_version.c.valid_from,
            )
            .join(block, block.c.block_key == block_version.c.block_key)
            .join(farm, farm.c.farm_key == block.c.farm_key)
            .where(farm.c.farm_id == farm_id)
            .order_by(block_version.c.block_key, block_version.c.version)
        )
        return {
            row.block_key: (row.name, row.valid_from if row.is_retired else date.max)
            for row in rows
        }
