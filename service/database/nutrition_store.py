"""Leaf, petiole and soil tests in the database."""

from __future__ import annotations

from datetime import date, datetime

import orjson
from sqlalchemy import ColumnElement, Connection, and_, delete, insert, select, update

from service.database.tables import nutrient_test
from service.nutrition.readings import NutrientReading
from service.records.farms import LoadOutcome
from service.records.nutrition import NutrientTest


class NutritionStore:
    """Laboratory reports on blocks.

    Saving the same content again is ``unchanged``; different content for the same day, tissue and
    stage replaces it.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def save_test(
        self, block_key: int, test: NutrientTest, *, recorded_at: datetime
    ) -> LoadOutcome:
        """Store a test by its day and what was sampled."""
        text = orjson.dumps(test, option=orjson.OPT_SORT_KEYS).decode()
        is_it = _is_it(block_key, test)
        stored = self._connection.execute(
            select(nutrient_test.c.document).where(is_it)
        ).scalar_one_or_none()
        if stored == text:
            return LoadOutcome(created_count=0, changed_count=0, unchanged_count=1)
        values = {"document": text, "recorded_at": recorded_at}
        if stored is not None:
            self._connection.execute(update(nutrient_test).where(is_it).values(**values))
            return LoadOutcome(created_count=0, changed_count=1, unchanged_count=0)
        self._connection.execute(
            insert(nutrient_test).values(
                block_key=block_key,
                day=test.day,
                kind=test.kind,
                tissue=test.tissue,
                stage=test.stage,
                **values,
            )
        )
        return LoadOutcome(created_count=1, changed_count=0, unchanged_count=0)

    def remove_tests(self, block_key: int, *, day: date, kind: str) -> int:
        """Delete the tests of a kind of one day; returns how many there were."""
        return self._connection.execute(
            delete(nutrient_test).where(
                nutrient_test.c.block_key == block_key,
                nutrient_test.c.day == day,
                nutrient_test.c.kind == kind,
            )
        ).rowcount

    def list_tests(self, block_key: int) -> list[NutrientTest]:
        """All tests of a block, the newest first."""
        rows = self._connection.execute(
            select(nutrient_test.c.document)
            .where(nutrient_test.c.block_key == block_key)
            .order_by(
                nutrient_test.c.day.desc(),
                nutrient_test.c.kind,
                nutrient_test.c.tissue,
                nutrient_test.c.stage,
            )
        ).scalars()
        return [_test(text) for text in rows]


def _is_it(block_key: int, test: NutrientTest) -> ColumnElement[bool]:
    return and_(
        nutrient_test.c.block_key == block_key,
        nutrient_test.c.day == test.day,
        nutrient_test.c.kind == test.kind,
        nutrient_test.c.tissue == test.tissue,
        nutrient_test.c.stage == test.stage,
    )


def _test(text: str) -> NutrientTest:
    document = orjson.loads(text)
    spray = document["last_spray_day"]
    return NutrientTest(
        **{
            **document,
            "day": date.fromisoformat(document["day"]),
            "readings": tuple(NutrientReading(**each) for each in document["readings"]),
            "last_spray_day": None if spray is None else date.fromisoformat(spray),
            "own_ranges": {name: (a, b) for name, (a, b) in document["own_ranges"].items()},
        }
    )
