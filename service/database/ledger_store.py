"""The balance by block and day, and where each block's ledger is settled, in the database."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
from sqlalchemy import ColumnElement, Connection, delete, func, select, update

from service.agronomy.records import Days, Ints
from service.database import mapping
from service.database.bulk import is_among, positions, read_columns, rows_of, upsert_rows
from service.database.tables import balance_day, balance_state, block, block_version
from service.records.ledger import LEDGER_NUMBERS, BalanceState, GrossDays, LedgerRows

_ROW_COLUMNS = (
    "block_key",
    "day",
    "is_observed",
    "irrigation_origin",
    "flags",
    *LEDGER_NUMBERS,
)
_STATE_COLUMNS = (
    "block_key",
    "settled_day",
    "depletion_mm",
    "degree_day_sum_c_day",
    "alley_store_mm",
    "flags",
)


class LedgerStore:
    """The balance by (block, day), and where each block's ledger is settled."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def read_states(self, block_keys: Ints) -> BalanceState:
        """States aligned with the given keys; NaT and NaN where nothing is settled."""
        stored = read_columns(
            self._connection,
            select(*(balance_state.c[name] for name in _STATE_COLUMNS)).where(
                is_among(self._connection, balance_state.c.block_key, block_keys)
            ),
        )
        settled_day = np.full(block_keys.shape, "NaT", dtype="datetime64[D]")
        depletion_mm, degree_day_sum_c_day, alley_store_mm = np.full((3, block_keys.size), np.nan)
        flags = np.zeros(block_keys.shape, dtype=np.int64)
        is_stored = np.isin(block_keys, stored.ints("block_key"))
        place = positions(stored.ints("block_key"), block_keys[is_stored])
        settled_day[is_stored] = stored.days("settled_day")[place]
        depletion_mm[is_stored] = stored.floats("depletion_mm")[place]
        degree_day_sum_c_day[is_stored] = stored.floats("degree_day_sum_c_day")[place]
        alley_store_mm[is_stored] = stored.floats("alley_store_mm")[place]
        flags[is_stored] = stored.ints("flags")[place]
        return BalanceState(
            settled_day=settled_day,
            depletion_mm=depletion_mm,
            degree_day_sum_c_day=degree_day_sum_c_day,
            alley_store_mm=alley_store_mm,
            flags=flags,
        )

    def save_states(self, block_keys: Ints, state: BalanceState) -> None:
        """Replace the settled state of these blocks' ledgers."""
        if block_keys.size == 0:
            return
        upsert_rows(
            self._connection,
            balance_state,
            _STATE_COLUMNS,
            rows_of(
                [
                    block_keys,
                    state.settled_day,
                    state.depletion_mm,
                    state.degree_day_sum_c_day,
                    state.alley_store_mm,
                    state.flags,
                ]
            ),
        )

    def save_rows(self, rows: LedgerRows) -> None:
        """Upsert by (block, day)."""
        if rows.block_keys.size == 0:
            return
        upsert_rows(
            self._connection,
            balance_day,
            _ROW_COLUMNS,
            rows_of(
                [
                    rows.block_keys,
                    rows.days,
                    rows.is_observed,
                    rows.irrigation_origin,
                    rows.flags,
                    *(rows.numbers[name] for name in LEDGER_NUMBERS),
                ]
            ),
        )

    def read_rows(self, block_key: int, *, first_day: date, last_day: date) -> LedgerRows:
        """Ledger days of one block in the span, by day."""
        columns = read_columns(
            self._connection,
            select(*(balance_day.c[name] for name in _ROW_COLUMNS))
            .where(
                balance_day.c.block_key == block_key,
                balance_day.c.day.between(first_day, last_day),
            )
            .order_by(balance_day.c.day),
        )
        return mapping.ledger_rows(columns)

    def read_gross_mm(self, block_keys: Ints, *, day: date) -> dict[int, float]:
        """Irrigation of a day of these blocks, gross, by block key, as far as stored."""
        columns = read_columns(
            self._connection,
            select(balance_day.c.block_key, balance_day.c.irrigation_gross_mm).where(
                balance_day.c.day == day,
                is_among(self._connection, balance_day.c.block_key, block_keys),
            ),
        )
        gross_mm = columns.floats("irrigation_gross_mm").tolist()
        return dict(zip(columns.ints("block_key").tolist(), gross_mm, strict=True))

    def read_observed(
        self, block_keys: Ints, names: Sequence[str], *, day: date
    ) -> dict[int, tuple[float, ...]]:
        """Numbers of a day of these blocks by block key; only days whose weather is observed."""
        columns = read_columns(
            self._connection,
            select(balance_day.c.block_key, *(balance_day.c[name] for name in names)).where(
                balance_day.c.day == day,
                balance_day.c.is_observed,
                is_among(self._connection, balance_day.c.block_key, block_keys),
            ),
        )
        values = zip(*(columns.floats(name).tolist() for name in names), strict=True)
        return dict(zip(columns.ints("block_key").tolist(), values, strict=True))

    def read_gross_days(self, block_keys: Ints, *, first_day: date, last_day: date) -> GrossDays:
        """Irrigation of these blocks on each ledger day of the span, by block and day."""
        names = ("block_key", "day", "irrigation_gross_mm", "irrigation_origin")
        columns = read_columns(
            self._connection,
            select(*(balance_day.c[name] for name in names))
            .where(
                balance_day.c.day.between(first_day, last_day),
                is_among(self._connection, balance_day.c.block_key, block_keys),
            )
            .order_by(balance_day.c.block_key, balance_day.c.day),
        )
        return GrossDays(
            columns.ints("block_key"),
            columns.days("day"),
            np.nan_to_num(columns.floats("irrigation_gross_mm")),
            columns.ints("irrigation_origin"),
        )

    def read_first_days(self, block_keys: Ints) -> Days:
        """First ledger day of each of these blocks, settled or not; NaT where there is none."""
        stored = read_columns(
            self._connection,
            select(balance_day.c.block_key, func.min(balance_day.c.day).label("day"))
            .where(is_among(self._connection, balance_day.c.block_key, block_keys))
            .group_by(balance_day.c.block_key),
        )
        first = np.full(block_keys.shape, "NaT", dtype="datetime64[D]")
        is_stored = np.isin(block_keys, stored.ints("block_key"))
        place = positions(stored.ints("block_key"), block_keys[is_stored])
        first[is_stored] = stored.days("day")[place]
        return first

    def rewind(self, *, site_key: int, day: date, farm_key: int | None = None) -> int:
        """Unsettle the ledgers of all blocks that ever drew on this site, from ``day`` on.

        With ``farm_key`` only those of that farm.

        The state becomes that of the last ledger day before ``day``; if there is none, nothing is
        settled. Ledgers settled only up to a day before ``day`` are left alone, so repeating a
        rewind moves none. Returns how many moved back.
        """
        of_site = select(block_version.c.block_key).where(block_version.c.site_key == site_key)
        if farm_key is not None:
            of_farm = select(block.c.block_key).where(block.c.farm_key == farm_key)
            of_site = of_site.where(block_version.c.block_key.in_(of_farm))
        return self._rewind(balance_state.c.block_key.in_(of_site), day)

    def rewind_blocks(self, block_keys: Ints, *, day: date) -> None:
        """As :meth:`rewind`, for some blocks."""
        self._rewind(is_among(self._connection, balance_state.c.block_key, block_keys), day)

    def rewind_block(self, *, block_key: int, day: date) -> None:
        """As :meth:`rewind`, for one block."""
        self._rewind(balance_state.c.block_key == block_key, day)

    def first_settled_day(self, farm_keys: Ints) -> date | None:
        """The earliest day up to which the ledger of a block of these farms is settled.

        None: nothing is settled.
        """
        of_farms = select(block.c.block_key).where(
            is_among(self._connection, block.c.farm_key, farm_keys)
        )
        found: date | None = self._connection.execute(
            select(func.min(balance_state.c.settled_day)).where(
                balance_state.c.block_key.in_(of_farms)
            )
        ).scalar_one()
        return found

    def _rewind(self, chosen: ColumnElement[bool], day: date) -> int:
        def last_before(name: str) -> Any:
            return (
                select(balance_day.c[name])
                .where(balance_day.c.block_key == balance_state.c.block_key)
                .where(balance_day.c.day < day)
                .order_by(balance_day.c.day.desc())
                .limit(1)
                .scalar_subquery()
            )

        moved = self._connection.execute(
            update(balance_state)
            .where(chosen, balance_state.c.settled_day >= day)
            .values(
                settled_day=last_before("day"),
                depletion_mm=last_before("depletion_end_mm"),
                degree_day_sum_c_day=last_before("degree_day_sum_c_day"),
                alley_store_mm=last_before("alley_store_mm"),
                flags=func.coalesce(last_before("flags"), 0),
            )
        ).rowcount
        self._connection.execute(
            delete(balance_state).where(chosen, balance_state.c.settled_day.is_(None))
        )
        return moved
