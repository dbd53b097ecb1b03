"""Pipes and water in the database: tests, samples, findings, products, injections."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import orjson
from sqlalchemy import Connection, Table, delete, insert, select, update

from service.agronomy.records import Ints
from service.database.bulk import is_among
from service.database.tables import (
    acid_treatment,
    catch_test,
    fertigation,
    fertiliser_product,
    flow_finding,
    water_sample,
)
from service.records.farms import LoadOutcome
from service.records.waterworks import (
    AcidTreatment,
    CatchTest,
    FertigationOrder,
    FlowFinding,
    WaterSample,
)
from service.waterworks.acid import TitrationPoint
from service.waterworks.fertiliser import Product
from service.waterworks.water_analysis import Reading

_CREATED = LoadOutcome(created_count=1, changed_count=0, unchanged_count=0)
_CHANGED = LoadOutcome(created_count=0, changed_count=1, unchanged_count=0)
_UNCHANGED = LoadOutcome(created_count=0, changed_count=0, unchanged_count=1)


class WaterworksStore:
    """Catch tests, water samples, flow findings, fertilisers and injection orders.

    Saving the same content again is ``unchanged``; different content for the same day replaces it.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    # --- catch tests -----------------------------------------------------------------------------

    def save_catch_test(
        self, block_key: int, test: CatchTest, *, recorded_at: datetime
    ) -> LoadOutcome:
        """Store a test by its day."""
        return self._save(
            catch_test, {"block_key": block_key, "day": test.day}, test, recorded_at=recorded_at
        )

    def list_catch_tests(self, block_key: int) -> list[CatchTest]:
        """All tests of a block, the newest first."""
        return [
            CatchTest(
                block_id=document["block_id"],
                day=date.fromisoformat(document["day"]),
                caught_ml=tuple(document["caught_ml"]),
            )
            for document in self._documents(catch_test, catch_test.c.block_key == block_key)
        ]

    # --- water samples ---------------------------------------------------------------------------

    def save_sample(
        self, supply_key: int, sample: WaterSample, *, recorded_at: datetime
    ) -> LoadOutcome:
        """Store a laboratory's report by the day of the sample."""
        keys = {"supply_key": supply_key, "day": sample.day}
        return self._save(water_sample, keys, sample, recorded_at=recorded_at)

    def list_samples(self, supply_key: int) -> list[WaterSample]:
        """All reports on a supply's water, the newest first."""
        return [
            WaterSample(
                farm_id=document["farm_id"],
                supply_id=document["supply_id"],
                day=date.fromisoformat(document["day"]),
                laboratory=document["laboratory"],
                readings=tuple(Reading(**each) for each in document["readings"]),
                temperature_c=document["temperature_c"],
                titration=tuple(TitrationPoint(**each) for each in document["titration"]),
            )
            for document in self._documents(water_sample, water_sample.c.supply_key == supply_key)
        ]

    # --- acid ------------------------------------------------------------------------------------

    def save_acid_treatment(
        self, block_key: int, treatment: AcidTreatment, *, recorded_at: datetime
    ) -> LoadOutcome:
        """Store the acid of a day."""
        keys = {"block_key": block_key, "day": treatment.day}
        return self._save(acid_treatment, keys, treatment, recorded_at=recorded_at)

    def remove_acid_treatment(self, block_key: int, *, day: date) -> bool:
        """Delete it; False if there was none."""
        return self._remove(acid_treatment, block_key, day)

    def list_acid_treatments(
        self, block_key: int, *, first_day: date, last_day: date
    ) -> list[AcidTreatment]:
        """Acid of a block in the span, by day."""
        documents = self._documents(
            acid_treatment,
            (acid_treatment.c.block_key == block_key)
            & acid_treatment.c.day.between(first_day, last_day),
        )
        return [
            AcidTreatment(**{**each, "day": date.fromisoformat(each["day"])})
            for each in reversed(documents)
        ]

    # --- flow ------------------------------------------------------------------------------------

    def save_finding(
        self, block_key: int, finding: FlowFinding, *, recorded_at: datetime
    ) -> LoadOutcome:
        """Store a finding by the day of its last run."""
        return self._save(
            flow_finding,
            {"block_key": block_key, "day": finding.day},
            finding,
            recorded_at=recorded_at,
            extra={"verdict": finding.verdict},
        )

    def list_findings(self, block_key: int) -> list[FlowFinding]:
        """All findings of a block, the newest first."""
        return [
            FlowFinding(
                block_id=document["block_id"],
                day=date.fromisoformat(document["day"]),
                verdict=document["verdict"],
                document=document["document"],
            )
            for document in self._documents(flow_finding, flow_finding.c.block_key == block_key)
        ]

    # --- fertilisers -----------------------------------------------------------------------------

    def save_product(
        self, farm_key: int, product: Product, *, recorded_at: datetime
    ) -> LoadOutcome:
        """Store a farm's own product by its key."""
        keys = {"farm_key": farm_key, "product_id": product.key}
        return self._save(fertiliser_product, keys, product, recorded_at=recorded_at)

    def list_products(self, farm_key: int) -> list[Product]:
        """A farm's own products, by key."""
        rows = self._connection.execute(
            select(fertiliser_product.c.document)
            .where(fertiliser_product.c.farm_key == farm_key)
            .order_by(fertiliser_product.c.product_id)
        ).scalars()
        return [_product(orjson.loads(text)) for text in rows]

    def save_fertigation(
        self, block_key: int, order: FertigationOrder, *, recorded_at: datetime
    ) -> LoadOutcome:
        """Store the injection order of a day."""
        keys = {"block_key": block_key, "day": order.day}
        return self._save(fertigation, keys, order, recorded_at=recorded_at)

    def remove_fertigation(self, block_key: int, *, day: date) -> bool:
        """Delete it; False if there was none."""
        return self._remove(fertigation, block_key, day)

    def list_fertigations(
        self, block_key: int, *, first_day: date, last_day: date
    ) -> list[FertigationOrder]:
        """Injection orders of a block in the span, by day."""
        documents = self._documents(
            fertigation,
            (fertigation.c.block_key == block_key) & fertigation.c.day.between(first_day, last_day),
        )
        return [_order(document) for document in reversed(documents)]

    def read_fertigations(self, block_keys: Ints, *, day: date) -> dict[int, FertigationOrder]:
        """Injection orders for a day, by block key; blocks without one are left out."""
        rows = self._connection.execute(
            select(fertigation.c.block_key, fertigation.c.document).where(
                fertigation.c.day == day,
                is_among(self._connection, fertigation.c.block_key, block_keys),
            )
        )
        return {key: _order(orjson.loads(text)) for key, text in rows}

    # --- shared ----------------------------------------------------------------------------------

    def _save(
        self,
        table: Table,
        keys: dict[str, Any],
        record: object,
        *,
        recorded_at: datetime,
        extra: dict[str, Any] | None = None,
    ) -> LoadOutcome:
        text = orjson.dumps(record, option=orjson.OPT_SORT_KEYS).decode()
        is_it = [table.c[name] == value for name, value in keys.items()]
        stored = self._connection.execute(
            select(table.c.document).where(*is_it)
        ).scalar_one_or_none()
        if stored == text:
            return _UNCHANGED
        values = {"document": text, "recorded_at": recorded_at, **(extra or {})}
        if stored is None:
            self._connection.execute(insert(table).values(**keys, **values))
            return _CREATED
        self._connection.execute(update(table).where(*is_it).values(**values))
        return _CHANGED

    def _remove(self, table: Table, block_key: int, day: date) -> bool:
        gone = self._connection.execute(
            delete(table).where(table.c.block_key == block_key, table.c.day == day)
        ).rowcount
        return gone > 0

    def _documents(self, table: Table, condition: Any) -> list[dict[str, Any]]:
        rows = self._connection.execute(
            select(table.c.document).where(condition).order_by(table.c.day.desc())
        ).scalars()
        return [orjson.loads(text) for text in rows]


def _product(document: dict[str, Any]) -> Product:
    points = tuple((at_c, grams) for at_c, grams in document["solubility_g_per_kg"])
    return Product(**{**document, "solubility_g_per_kg": points})


def _order(document: dict[str, Any]) -> FertigationOrder:
    last = document["last_nitrogen_day"]
    return FertigationOrder(
        **{
            **document,
            "day": date.fromisoformat(document["day"]),
            "product_kg": tuple((_product(each), kg) for each, kg in document["product_kg"]),
            "last_nitrogen_day": None if last is None else date.fromisoformat(last),
        }
    )
