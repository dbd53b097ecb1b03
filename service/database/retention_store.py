"""What becomes of plans once they are old: packed, and thinned to those that were in force; and the
parts of the tables that the coming ones go to.
"""

from __future__ import annotations

from datetime import date, timedelta

from sqlalchemy import Connection, delete, exists, select

from service.database.month_parts import prepare_months
from service.database.packing import BASIS_DOCUMENTS, PLAN_NUMBERS
from service.database.tables import plan, weather_basis

LOOKED_BACK: timedelta = timedelta(days=60)
"""How long before the last day to thin weather reasoning is looked for that no plan has any more: a
scheduler may have been away for some time."""


class RetentionStore:
    """Makes old plans small; what they say stays readable as it was."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def prepare_months(self, *, today: date) -> int:
        """Make ready where plans and balances of the coming months go; how many parts were made."""
        return prepare_months(self._connection, today=today)

    def pack(self, *, before: date) -> int:
        """Pack some plans and some weather of days before this one; 0 when none are left."""
        return PLAN_NUMBERS.pack_old(self._connection, before=before) + BASIS_DOCUMENTS.pack_old(
            self._connection, before=before
        )

    def thin(self, *, before: date) -> int:
        """Delete superseded versions of plans for days before this one; how many.

        Those that others are packed by stay, and so does all that was in force.
        """
        is_model = plan.c.model_key.is_not(None) & (plan.c.model_key == plan.c.plan_key)
        gone = self._connection.execute(
            delete(plan).where(plan.c.day < before, plan.c.superseded_at.is_not(None), ~is_model)
        ).rowcount
        if gone:
            self._forget_weather(before)
        return gone

    def _forget_weather(self, before: date) -> None:
        """Delete the weather of these days that no plan rests on any more."""
        is_used = exists(
            select(plan.c.plan_key).where(
                plan.c.day == weather_basis.c.day, plan.c.basis_key == weather_basis.c.basis_key
            )
        )
        is_model = weather_basis.c.model_key == weather_basis.c.basis_key
        self._connection.execute(
            delete(weather_basis).where(
                weather_basis.c.day.between(before - LOOKED_BACK, before),
                weather_basis.c.model_key.is_(None) | ~is_model,
                ~is_used,
            )
        )
