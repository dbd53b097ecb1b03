"""What says how farms are doing, read for many of them at once."""

from __future__ import annotations

from datetime import date

from sqlalchemy import Connection, func, select

from service.agronomy.records import Ints
from service.database.bulk import is_among
from service.database.mapping import reasoning_of
from service.database.packing import PLAN_NUMBERS
from service.database.tables import balance_day, block, controller, controller_poll, plan
from service.records.ledger import IrrigationOrigin
from service.records.standing import ControllerPoll, PlanNote


class StandingStore:
    """Plans, reports and polls of many farms, one statement each."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def read_plans(self, block_keys: Ints, *, first_day: date, last_day: date) -> list[PlanNote]:
        """Plans in force of these blocks in the span."""
        rows = self._connection.execute(
            select(
                plan.c.block_key,
                plan.c.day,
                plan.c.status,
                plan.c.planned_min,
                plan.c.numbers,
                plan.c.packed,
                PLAN_NUMBERS.model_text,
            )
            .select_from(PLAN_NUMBERS.joined(plan))
            .where(
                plan.c.day.between(first_day, last_day),
                plan.c.superseded_at.is_(None),
                is_among(self._connection, plan.c.block_key, block_keys),
            )
        )
        return [
            PlanNote(
                row["block_key"], row["day"], row["status"], row["planned_min"], reasoning_of(row)
            )
            for row in rows.mappings()
        ]

    def count_without_weather(self, *, first_day: date) -> int:
        """Plans in force from a day on that could not be made for want of weather."""
        count = self._connection.execute(
            select(func.count()).where(
                plan.c.day >= first_day,
                plan.c.superseded_at.is_(None),
                plan.c.status == "no-weather",
            )
        ).scalar_one()
        return int(count)

    def count_unreported_days(
        self, block_keys: Ints, *, first_day: date, last_day: date
    ) -> dict[int, int]:
        """By farm key, days in the span on which a ledger took a plan as carried out."""
        rows = self._connection.execute(
            select(block.c.farm_key, func.count(balance_day.c.day.distinct()))
            .join(block, block.c.block_key == balance_day.c.block_key)
            .where(
                balance_day.c.day.between(first_day, last_day),
                balance_day.c.irrigation_origin == int(IrrigationOrigin.PLANNED),
                is_among(self._connection, balance_day.c.block_key, block_keys),
            )
            .group_by(block.c.farm_key)
        )
        return dict(rows.all())

    def read_polls(self, farm_keys: Ints) -> list[ControllerPoll]:
        """The last poll of each controller in use; one that never polled is missing."""
        rows = self._connection.execute(
            select(controller.c.farm_key, controller.c.controller_id, controller_poll.c.polled_at)
            .join(controller_poll, controller_poll.c.controller_key == controller.c.controller_key)
            .where(
                controller.c.retired_at.is_(None),
                is_among(self._connection, controller.c.farm_key, farm_keys),
            )
            .order_by(controller.c.controller_id)
        )
        return [ControllerPoll(*row) for row in rows]
