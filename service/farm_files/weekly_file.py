"""The hours of every week in which a supply gives no water, read from a farm file and written."""

from __future__ import annotations

from collections.abc import Sequence

from service.agronomy.civil_day import wall_text
from service.agronomy.records import WeeklyNoWater
from service.farm_files.block_part_keys import WEEKDAYS
from service.farm_files.farm_keys import SupplyKeys, WeeklyNoWaterKeys
from service.farm_files.quantities import show
from service.farm_files.toml_literal import toml_literal
from service.farm_files.toml_table import TomlTable


def read_weekly(table: TomlTable) -> tuple[WeeklyNoWater, ...]:
    """The hours of a ``[[supply]]`` table, those without a fault."""
    found: list[WeeklyNoWater] = []
    for hours in table.tables(SupplyKeys.weekly_no_water):
        before = hours.fault_count()
        days = hours.choices(WeeklyNoWaterKeys.days)
        if not days:
            hours.refuse(WeeklyNoWaterKeys.days, "[]", "at least one weekday")
        starts = hours.wall_min(WeeklyNoWaterKeys.start)
        ends = hours.wall_min(WeeklyNoWaterKeys.end)
        reason = hours.text(WeeklyNoWaterKeys.reason)
        hours.close()
        if hours.fault_count() > before:
            continue
        if ends in (0, starts):
            shown = show(hours.value(WeeklyNoWaterKeys.end))
            allowed = "another time than the start; the whole day is from 00:00 to 24:00"
            hours.refuse(
                WeeklyNoWaterKeys.end, shown, allowed if ends == starts else "24:00 for midnight"
            )
            continue
        weekdays = tuple(WEEKDAYS.index(day) + 1 for day in days)
        found.append(WeeklyNoWater(weekdays, starts, ends, reason))
    return tuple(found)


def weekly_lines(hours: Sequence[WeeklyNoWater]) -> list[str]:
    """The hours as lines of a supply's table; reading them back gives the same."""
    if not hours:
        return []
    lines = ["weekly_no_water = ["]
    for each in hours:
        days = ", ".join(toml_literal(WEEKDAYS[day - 1]) for day in each.weekdays)
        span = (wall_text(each.starts_wall_min), wall_text(each.ends_wall_min))
        lines.append(
            f"    {{ days = [{days}], from = {toml_literal(span[0])}, to = {toml_literal(span[1])},"
            f" reason = {toml_literal(each.reason)} }},"
        )
    return [*lines, "]"]
