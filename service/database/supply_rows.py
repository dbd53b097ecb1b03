"""Supplies as rows of the database, and back."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import orjson
from sqlalchemy import RowMapping

from service.agronomy.records import WeeklyNoWater
from service.database.bulk import ColumnSet
from service.database.mapping import windows_from, windows_text
from service.database.timer_text import timer_from, timer_text
from service.records.farms import SupplyDefinition, SupplyTable


def supply_values(supply: SupplyDefinition, *, farm_key: int) -> dict[str, Any]:
    """Row of a supply in use, without its key."""
    return {
        "farm_key": farm_key,
        "supply_id": supply.supply_id,
        "name": supply.name,
        "flow_l_per_h": float(supply.flow_l_per_h),
        "windows": windows_text(supply.windows),
        "timer": None if supply.timer is None else timer_text(supply.timer),
        "weekly_no_water": _hours_text(supply.weekly_no_water),
        "retired_from": None,
    }


def supply_from(row: RowMapping) -> SupplyDefinition:
    """Definition of a supply; the row carries the farm's id."""
    return SupplyDefinition(
        supply_id=row["supply_id"],
        farm_id=row["farm_id"],
        name=row["name"],
        flow_l_per_h=row["flow_l_per_h"],
        windows=windows_from(row["windows"]),
        timer=None if row["timer"] is None else timer_from(row["timer"]),
        weekly_no_water=_hours_from(row["weekly_no_water"]),
    )


def supply_table(columns: ColumnSet) -> SupplyTable:
    """Supplies as columns."""
    return SupplyTable(
        keys=columns.ints("supply_key"),
        supply_ids=tuple(columns.texts("supply_id")),
        farm_keys=columns.ints("farm_key"),
        flow_l_per_h=columns.floats("flow_l_per_h"),
        windows=tuple(map(windows_from, columns.texts("windows"))),
        weekly_no_water=tuple(map(_hours_from, columns.texts("weekly_no_water"))),
    )


def _hours_text(hours: tuple[WeeklyNoWater, ...]) -> str | None:
    """Hours of every week without water as JSON; NULL where there are none."""
    if not hours:
        return None
    rows = [
        (each.weekdays, each.starts_wall_min, each.ends_wall_min, each.reason) for each in hours
    ]
    return orjson.dumps(rows).decode()


@lru_cache
def _hours_from(text: str | None) -> tuple[WeeklyNoWater, ...]:
    """The hours from their JSON."""
    return tuple(
        WeeklyNoWater(tuple(weekdays), starts, ends, reason)
        for weekdays, starts, ends, reason in orjson.loads(text or "[]")
    )
