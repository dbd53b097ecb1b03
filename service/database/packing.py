"""Old texts packed as they differ from another one like them.

The reasoning of a plan is two or three kilobytes of JSON, most of it the same from evening to
evening. Once a plan is old, only the difference to a *model* is kept: an older plan of the same
block, itself kept whole, which serves for a year. Likewise the weather reasoning of a
site. The standard library's DEFLATE does that with the model as its preset dictionary (RFC 1950 and
1951).

A row that is its own model is whole for good; one without a model is not packed yet.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

import numpy as np
from sqlalchemy import (
    Column,
    ColumnElement,
    Connection,
    FromClause,
    Table,
    bindparam,
    func,
    select,
    update,
)

from service.database.bulk import is_among
from service.database.tables import plan, weather_basis

MODEL_SERVES: Final = timedelta(days=365)
"""[CHOICE] So long a row may be the model of those after it. The reasoning of a plan adds some 220
bytes to that of another of its season, hardly more to an older one, and a model costs two
kilobytes."""
_RAW: Final = -zlib.MAX_WBITS
_BATCH_ROWS: Final = 2_000
"""Packed in one statement, so that other writers wait for a tenth of a second or so."""


def pack(text: str, model: str) -> bytes:
    """What a text adds to another that is like it."""
    packing = zlib.compressobj(9, zlib.DEFLATED, _RAW, zdict=model.encode())
    return packing.compress(text.encode()) + packing.flush()


def unpack(packed: bytes, model: str) -> str:
    """The text of which :func:`pack` made this, with the same model."""
    packing = zlib.decompressobj(_RAW, zdict=model.encode())
    return (packing.decompress(packed) + packing.flush()).decode()


@dataclass(frozen=True, slots=True)
class PackedColumn:
    """A text column of a table that has ``packed`` and ``model_key`` beside it."""

    table: Table
    key: Column[int]
    owner: Column[int]
    """Rows of the same owner are models of each other."""
    text: Column[str]
    model: FromClause
    """The same table under another name."""

    def joined(self, source: FromClause) -> FromClause:
        """A source of rows of the table, with the model of each."""
        return source.outerjoin(self.model, self.is_model)

    @property
    def is_model(self) -> ColumnElement[bool]:
        """Joins a row's model to it."""
        return self.model.c[self.key.name] == self.table.c.model_key

    @property
    def model_text(self) -> ColumnElement[str]:
        """The model's text, to be selected beside the row's own columns."""
        return self.model.c[self.text.name].label(f"model_{self.text.name}")

    @property
    def packed(self) -> ColumnElement[bytes]:
        """The row's packed bytes, under a name of its own."""
        return self.table.c.packed.label(f"packed_{self.text.name}")

    def pack_old(self, connection: Connection, *, before: date) -> int:
        """Pack some rows of days before this one; how many, 0 when none is left."""
        rows = connection.execute(
            select(self.key, self.owner, self.table.c.day, self.text)
            .where(self.table.c.model_key.is_(None), self.table.c.day < before)
            .order_by(self.table.c.day, self.key)
            .limit(_BATCH_ROWS)
        ).all()
        if not rows:
            return 0
        models = self._models(connection, {row[1] for row in rows}, since=rows[0][2])
        changes = [
            {"row_key": key, "row_day": day, "model": model, "text": text, "packed": packed}
            for key, day, model, text, packed in _packed(rows, models)
        ]
        connection.execute(
            update(self.table)
            .where(self.key == bindparam("row_key"), self.table.c.day == bindparam("row_day"))
            .values({
                self.table.c.model_key: bindparam("model"),
                self.text: bindparam("text"),
                self.table.c.packed: bindparam("packed"),
            }),
            changes,
        )  # fmt: skip
        return len(changes)

    def _models(
        self, connection: Connection, owners: set[int], *, since: date
    ) -> dict[int, tuple[int, date, str]]:
        """The newest model of each owner that may serve still: its key, day and text."""
        is_own = self.key == self.table.c.model_key
        newest = (
            select(self.owner, func.max(self.key).label("newest"))
            .where(
                is_own,
                self.table.c.day > since - MODEL_SERVES,
                is_among(connection, self.owner, np.array(sorted(owners), dtype=np.int64)),
            )
            .group_by(self.owner)
            .subquery()
        )
        rows = connection.execute(
            select(self.owner, self.key, self.table.c.day, self.text).join(
                newest, self.key == newest.c.newest
            )
        )
        return {owner: (key, day, text) for owner, key, day, text in rows}


PLAN_NUMBERS: Final = PackedColumn(
    plan, plan.c.plan_key, plan.c.block_key, plan.c.numbers, plan.alias("model_plan")
)
BASIS_DOCUMENTS: Final = PackedColumn(
    weather_basis,
    weather_basis.c.basis_key,
    weather_basis.c.site_key,
    weather_basis.c.document,
    weather_basis.alias("model_basis"),
)


def whole(text: str, packed: bytes | None, model: str | None) -> str:
    """A text that may have been packed."""
    return text if packed is None else unpack(packed, model or "")


def _packed(
    rows: Sequence[Sequence[Any]], models: dict[int, tuple[int, date, str]]
) -> Iterator[tuple[int, date, int, str, bytes | None]]:
    """Key, day, model's key, text and packed bytes of each row; a row may become the model of
    others.
    """
    for key, owner, day, text in rows:
        model = models.get(owner)
        if model is None or day - model[1] >= MODEL_SERVES:
            models[owner] = (key, day, text)
            yield key, day, key, text, None
            continue
        yield key, day, model[0], "", pack(text, model[2])
