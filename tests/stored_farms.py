"""A small invented farm for the tests of storing: what matters is that it differs everywhere."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np

from service.agronomy.records import CurveDefinition, Days, Ints, WallWindow
from service.records.farms import (
    BLOCK_NUMBERS,
    BlockDefinition,
    CountyDefinition,
    FarmBundle,
    FarmDefinition,
    MonthlyNormals,
    SiteDefinition,
    SupplyDefinition,
    typed_numbers,
)

NIGHT = (WallWindow(opens_wall_min=0, closes_wall_min=480), WallWindow(1200, 1440))
CURVE = CurveDefinition(basis="days", season_start=(3, 15), stage_knots=(20.0, 70.0, 190.0, 230.0))


def stored_site(site_id: str = "hollow", **changes: Any) -> SiteDefinition:
    """A site, with long-term wind only."""
    facts: dict[str, Any] = {
        "site_id": site_id,
        "name": "Station in the hollow",
        "latitude_deg": 36.5,
        "longitude_deg": -119.75,
        "elevation_m": 84.0,
        "zone": "America/Los_Angeles",
        "normals": MonthlyNormals(u2_m_s=(1.5,) * 12),
    }
    return SiteDefinition(**{**facts, **changes})


def stored_county(county_code: str = "99001", **changes: Any) -> CountyDefinition:
    """A county."""
    facts: dict[str, Any] = {"county_code": county_code, "name": "Made-up", "site_id": "hollow"}
    return CountyDefinition(**{**facts, **changes})


def stored_farm(farm_id: str = "orchard", **changes: Any) -> FarmDefinition:
    """A farm."""
    facts: dict[str, Any] = {
        "farm_id": farm_id,
        "name": "Orchard of nobody",
        "zone": "America/Los_Angeles",
    }
    return FarmDefinition(**{**facts, **changes})


def stored_supply(
    supply_id: str = "well", farm_id: str = "orchard", **changes: Any
) -> SupplyDefinition:
    """A supply that is open at night."""
    facts: dict[str, Any] = {"name": "The well", "flow_l_per_h": 40_000.0, "windows": NIGHT}
    return SupplyDefinition(supply_id=supply_id, farm_id=farm_id, **{**facts, **changes})


def stored_block(block_id: str = "orchard.north", **changes: Any) -> BlockDefinition:
    """A block of the farm before the dot; each number differs from its neighbours."""
    facts: dict[str, Any] = {
        "block_id": block_id,
        "farm_id": block_id.partition(".")[0],
        "supply_id": "well",
        "site_id": "hollow",
        "name": "North block",
        "crop_key": "almond",
        "curve": CURVE,
        "windows": NIGHT,
        "origins": {"area_m2": "given", "kc_mid": "default"},
        **typed_numbers(
            {name: 1.0 + index / 8.0 for index, name in enumerate(BLOCK_NUMBERS)}
            | {"texture_group": 2.0}
        ),
        "off_ratio": 1.5,
    }
    return BlockDefinition(**{**facts, **changes})


def stored_bundle(*blocks: BlockDefinition, **changes: Any) -> FarmBundle:
    """A farm with these blocks (one, if none are given), a site, a county and a supply."""
    facts: dict[str, Any] = {
        "farm": stored_farm(),
        "sites": (stored_site(),),
        "counties": (stored_county(),),
        "supplies": (stored_supply(),),
        "blocks": blocks or (stored_block(),),
    }
    return FarmBundle(**{**facts, **changes})


def days(*texts: str) -> Days:
    """Days as an array."""
    return np.array(texts, dtype="datetime64[D]")


def ints(*values: int) -> Ints:
    """Whole numbers as an array."""
    return np.array(values, dtype=np.int64)


def day_after(day: date, count: int = 1) -> date:
    """The day so many days later."""
    return date.fromordinal(day.toordinal() + count)
