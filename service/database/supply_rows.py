"""Supplies as rows of the database, and back."""

from __future__ import annotations

from typing import Any

from sqlalchemy import RowMapping

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
    )


def supply_table(columns: ColumnSet) -> SupplyTable:
    """Supplies as columns."""
    return SupplyTable(
        keys=columns.ints("supply_key"),
        supply_ids=tuple(columns.texts("supply_id")),
        farm_keys=columns.ints("farm_key"),
        flow_l_per_h=columns.floats("flow_l_per_h"),
        windows=tuple(map(windows_from, columns.texts("windows"))),
    )
