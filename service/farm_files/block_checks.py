"""Checks that span keys of a block: whether its numbers fit each other, supply and farm."""

from __future__ import annotations

import math

from service.agronomy.civil_day import wall_text
from service.agronomy.records import WallWindow
from service.agronomy.watering_rules import FILL_TIMES_PER_PULSE_COUNT, SHORTEST_PULSE_MIN
from service.agronomy.weekly_hours import hours_of_week
from service.farm_files.block_keys import BlockKeys
from service.farm_files.places import clock_offsets_h
from service.farm_files.toml_table import TomlTable
from service.records.farms import BlockDefinition, FarmDefinition, SiteDefinition, SupplyDefinition
from service.unit_sizes import L_PER_H_PER_GPM


def check_block(
    table: TomlTable,
    block: BlockDefinition,
    *,
    farm: FarmDefinition | None,
    supply: SupplyDefinition | None,
    site: SiteDefinition | None,
) -> None:
    """Record a fault for every number that does not fit the others; None: could not be read."""
    shortest_min = max(SHORTEST_PULSE_MIN, FILL_TIMES_PER_PULSE_COUNT * block.fill_time_min)
    shortest = (
        f"{shortest_min:g} min, the shortest pulse (the larger of 10 min and three fill times)"
    )
    for key, limit_min in (
        (BlockKeys.longest_pulse, block.longest_pulse_min),
        (BlockKeys.daily_maximum, block.daily_maximum_min),
    ):
        if limit_min < shortest_min:
            table.refuse(key, f"{limit_min:g} min", f"at least {shortest}")
    if block.rain_room_fraction >= block.trigger_fraction:
        table.refuse(
            BlockKeys.rain_room,
            f"{block.rain_room_fraction:g}",
            f"less than trigger, {block.trigger_fraction:g}",
        )
    if supply is not None:
        longest_min = _longest_common_min(block.windows, supply.windows)
        if longest_min < shortest_min:
            table.refuse(
                BlockKeys.windows,
                f"{_windows_text(block.windows)}, {longest_min} min at a stretch inside those of "
                f"supply {supply.supply_id!r}, {_windows_text(supply.windows)}",
                f"one stretch of at least {shortest}",
            )
        elif supply.weekly_no_water and not _has_open_day(block, supply, shortest_min):
            table.refuse(
                BlockKeys.supply,
                f"supply {supply.supply_id!r}, whose weekly_no_water leaves the block no "
                f"{shortest_min:g} min on any weekday",
                f"one stretch of at least {shortest}",
            )
        flow_l_per_h = block.flow_l_per_h
        flow_text = _in_gpm if table.unit_system == "us" else _in_l_per_h
        if flow_l_per_h > supply.flow_l_per_h * (1.0 + 1e-9):
            table.refuse(
                BlockKeys.supply,
                f"a block that takes {flow_text(flow_l_per_h)} (area / row spacing / emitter"
                " spacing x drip lines per row x emitter flow)",
                f"at most the flow of supply {supply.supply_id!r}, "
                f"{flow_text(supply.flow_l_per_h)}; split the block or correct its numbers",
            )
    # Weather days end at the site's midnight, plan days at the farm's: they must be the same days.
    zones = (site.zone, farm.zone) if site is not None and farm is not None else ("", "")
    if all(zones) and clock_offsets_h(zones[0]) != clock_offsets_h(zones[1]):
        table.refuse(
            BlockKeys.site,
            f"a site in zone {zones[0]}",
            f"a site whose clock is that of the farm, {zones[1]}",
        )


def _in_l_per_h(flow_l_per_h: float) -> str:
    return f"{flow_l_per_h:,.0f} L/h"


def _in_gpm(flow_l_per_h: float) -> str:
    return f"{flow_l_per_h / L_PER_H_PER_GPM:,.1f} gpm"


def _longest_common_min(own: tuple[WallWindow, ...], shared: tuple[WallWindow, ...]) -> int:
    return max(
        0,
        *(
            min(mine.closes_wall_min, theirs.closes_wall_min)
            - max(mine.opens_wall_min, theirs.opens_wall_min)
            for mine in own
            for theirs in shared
        ),
    )


def _has_open_day(block: BlockDefinition, supply: SupplyDefinition, shortest_min: float) -> bool:
    """Whether the weekly hours without water leave room for a pulse on some weekday."""
    found = hours_of_week(
        block.windows,
        supply.windows,
        supply.weekly_no_water,
        shortest_pulse_min=math.ceil(shortest_min),
    )
    return found is not None


def _windows_text(windows: tuple[WallWindow, ...]) -> str:
    return " ".join(
        f"{wall_text(window.opens_wall_min)}-{wall_text(window.closes_wall_min)}"
        for window in windows
    )
