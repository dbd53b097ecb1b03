"""Plans of two blocks of one site, for the tests of what is stored about them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import orjson

from service.agronomy.records import Ints
from service.database.session import UnitOfWorkFactory
from service.records.plans import PlanRows
from tests.stored_farms import ints

DAY = date(2026, 7, 2)
NOW = datetime(2026, 7, 1, 19, tzinfo=UTC)
SOON = NOW + timedelta(minutes=30)
ZONE = ZoneInfo("America/Los_Angeles")


def weather_document(*, et0_mm: float) -> bytes:
    """The weather of one day at a site, as plans store it."""
    return orjson.dumps(
        {
            "zone": "America/Los_Angeles",
            "days": [DAY],
            "fields": {"et0_mm": [et0_mm]},
            "flags": {"et0_mm": [0]},
            "origins": [],
            "origin_of": {},
        }
    )


def save_basis(open_unit: UnitOfWorkFactory, document: bytes, *, day: date = DAY) -> int:
    with open_unit(write=True) as unit:
        site_key = unit.blocks.get_site_key("hollow")
        (key,) = unit.plans.save_basis(ints(site_key), [document], day=day, issued_at=NOW)
        return int(key)


def make_plans(
    keys: Ints,
    basis_key: int,
    *,
    day: date = DAY,
    status: str = "water",
    planned_min: int = 90,
    digest: str = "first",
) -> PlanRows:
    count = keys.size
    has_water = planned_min > 0
    return PlanRows(
        block_keys=keys,
        day=day,
        status=(status,) * count,
        planned_min=np.full(count, planned_min),
        early_min=np.full(count, planned_min // 3),
        ready_min=np.full(count, 420.0 if has_water else np.nan),
        gross_mm=np.full(count, 4.5 if has_water else np.nan),
        net_mm=np.full(count, 4.0),
        pulses=(b"[[300,30],[360,60]]" if has_water else b"[]",) * count,
        numbers=(b'{"taw_mm":12.5}',) * count,
        basis_keys=np.full(count, basis_key),
        digest=(digest,) * count,
    )


def publish(open_unit: UnitOfWorkFactory, rows: PlanRows, *, at: datetime = NOW) -> int:
    with open_unit(write=True) as unit:
        return unit.plans.publish(rows, issued_at=at).count
