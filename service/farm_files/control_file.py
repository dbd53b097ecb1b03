"""How the valve of a block is controlled: what its table says, and what its supply says for it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from service.agronomy.records import WallWindow
from service.farm_files.block_draft import BlockDraft
from service.farm_files.block_keys import GIVEN, BlockKeys
from service.farm_files.block_part_keys import CONTROLLER, HAND, TIMER, WEEKDAYS
from service.farm_files.farm_keys import SupplyKeys
from service.farm_files.hand_file import read_visits
from service.farm_files.timer_file import read_timer
from service.farm_files.toml_table import TomlTable
from service.records.controllers import ControllerDefinition
from service.records.farms import BlockDefinition, SupplyDefinition
from service.records.timers import TimerSettings

OF_SUPPLY = "timer of the supply"
"""Origin of a timer that the block itself does not name."""


def read_control(
    table: TomlTable, draft: BlockDraft
) -> tuple[TimerSettings | None, tuple[WallWindow, ...]]:
    """The timer or the visits that a ``[[block]]`` table describes; a controller is noted."""
    timer, visits = read_timer(table, BlockKeys.timer), read_visits(table, draft)
    has = {HAND: table.has(BlockKeys.hand), TIMER: table.has(BlockKeys.timer)}
    if not table.has(BlockKeys.control):
        return timer, visits
    control = table.choice(BlockKeys.control)
    others = [name for name, is_there in has.items() if is_there and name != control]
    if control is not None and others:
        table.refuse(BlockKeys.control, repr(control), f"{others[0]!r}, or no [block.{others[0]}]")
    if control == HAND and not has[HAND]:
        table.refuse(BlockKeys.control, repr(control), "a block with [block.hand] and its visits")
    if control == CONTROLLER:
        draft.origins[TIMER] = GIVEN
    return timer, visits


def check_control(
    table: TomlTable, block: BlockDefinition, supply: SupplyDefinition | None
) -> None:
    """Record a fault for a block on a timer that neither it nor its supply describes."""
    is_described = block.timer is not None or supply is None or supply.timer is not None
    if table.value(BlockKeys.control) == TIMER and not is_described:
        table.refuse(
            BlockKeys.control, repr(TIMER), f"a block with [block.{TIMER}] or a supply with a timer"
        )


def control_of(block: BlockDefinition) -> str | None:
    """What has to be written of a block's control beside its tables."""
    is_noted = block.origins.get(TIMER) == GIVEN and block.timer is None and not block.visits
    return CONTROLLER if is_noted else None


def has_own_timer(block: BlockDefinition) -> bool:
    """Whether the block names its timer itself."""
    return block.timer is not None and block.origins.get(TIMER) != OF_SUPPLY


def with_supply_timers(
    blocks: Iterable[BlockDefinition],
    supplies: Mapping[str, SupplyDefinition],
    controllers: Iterable[ControllerDefinition],
) -> list[BlockDefinition]:
    """The blocks, with the timer of their supply where they say nothing of their control.

    What a channel of a controller opens is on no timer.
    """
    on_channels = {channel.block_id for each in controllers for channel in each.channels}
    return [
        replace(block, timer=supply.timer, origins={**block.origins, TIMER: OF_SUPPLY})
        if block.timer is None
        and not block.visits
        and TIMER not in block.origins
        and block.block_id not in on_channels
        and (supply := supplies.get(block.supply_id)) is not None
        and supply.timer is not None
        else block
        for block in blocks
    ]


def refuse_split_turns(
    table: TomlTable, supply: SupplyDefinition | None, blocks: Iterable[BlockDefinition]
) -> None:
    """Record a fault for timers of a supply that take turns and are set on different weekdays.

    Their turns are worked out together, on the evening before they are all set. ``supply``: None
    if it could not be read.
    """
    if supply is None:
        return
    set_on = {
        block.block_id: block.timer.set_weekday
        for block in blocks
        if block.supply_id == supply.supply_id and block.timer is not None
    }
    flow_l_per_h = sum(each.flow_l_per_h for each in blocks if each.block_id in set_on)
    days = sorted(set(set_on.values()))
    if len(days) > 1 and flow_l_per_h > supply.flow_l_per_h * (1.0 + 1e-9):
        table.refuse(
            SupplyKeys.id,
            "timers that are set on " + " and ".join(WEEKDAYS[day - 1] for day in days),
            "one weekday for all timers of a supply that cannot run them together",
        )
