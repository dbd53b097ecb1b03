"""The texts that plans are read as, in the database."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from sqlalchemy import Connection, bindparam, delete, func, select

from service.agronomy.records import Ints
from service.database.bulk import is_among, rows_of, upsert_rows
from service.database.tables import block, farm, plan, plan_text
from service.records.plans import PlanText

_TEXT = (
    select(farm.c.farm_id, plan_text.c.text)
    .join_from(plan_text, block, block.c.block_key == plan_text.c.block_key)
    .join(farm, farm.c.farm_key == block.c.farm_key)
    .where(block.c.block_id == bindparam("polled_id"))
)
_TEXT_OF_DAY = _TEXT.where(plan_text.c.day == bindparam("polled_day"))
_LATEST_TEXT = _TEXT.where(
    plan_text.c.day
    == select(func.max(plan.c.day)).where(plan.c.block_key == block.c.block_key).scalar_subquery()
)


class PlanTextStore:
    """Rendered current plans. One that is not stored is rendered when it is read."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def save(
        self, block_keys: Ints, texts: Sequence[bytes], *, day: date, drop_before: date
    ) -> None:
        """Store the rendered plans of these blocks for a day, and drop those of older days."""
        self._connection.execute(
            delete(plan_text).where(
                plan_text.c.day < drop_before,
                is_among(self._connection, plan_text.c.block_key, block_keys),
            )
        )
        upsert_rows(
            self._connection,
            plan_text,
            ("block_key", "day", "text"),
            rows_of([block_keys, day.isoformat(), [text.decode() for text in texts]]),
        )

    def find(self, block_id: str, *, day: date | None) -> PlanText | None:
        """The rendered current plan, of the latest planned day if ``day`` is None; None if not
        stored.
        """
        query = _LATEST_TEXT if day is None else _TEXT_OF_DAY
        found = self._connection.execute(query, {"polled_id": block_id, "polled_day": day})
        row = found.one_or_none()
        return None if row is None else PlanText(row.farm_id, row.text.encode())

    def forget(self, farm_id: str) -> None:
        """Drop a farm's rendered plans."""
        own = (
            select(block.c.block_key)
            .join(farm, farm.c.farm_key == block.c.farm_key)
            .where(farm.c.farm_id == farm_id)
        )
        self._connection.execute(delete(plan_text).where(plan_text.c.block_key.in_(own)))
