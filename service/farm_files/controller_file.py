"""Controllers in a farm file: which channel opens which block, and what runs without a program."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

from service.agronomy.civil_day import wall_text
from service.farm_files.block_keys import FALLBACK_DURATION
from service.farm_files.quantities import show
from service.farm_files.toml_table import WALL_EXAMPLE, TomlTable, one_of, read_wall
from service.records.controllers import ChannelDefinition, ControllerDefinition, FallbackRun
from service.records.farms import BlockDefinition

LARGEST_CHANNEL = 64
MOST_FALLBACK_RUNS = 4
POLICIES = ("fallback", "stop")
_CHANNELS_ALLOWED = "1 to 64 tables such as { channel = 1, block = 'north' }"


def read_controllers(
    tables: Sequence[TomlTable], farm_id: str, blocks: Sequence[BlockDefinition]
) -> list[ControllerDefinition]:
    """The controllers of a file; a block's valve belongs to one channel only."""
    known = {each.block_id.rpartition(".")[2]: each for each in blocks}
    taken: dict[str, str] = {}
    return [_read_controller(table, farm_id, known, taken) for table in tables]


def _read_controller(
    table: TomlTable,
    farm_id: str,
    blocks: Mapping[str, BlockDefinition],
    taken: dict[str, str],
) -> ControllerDefinition:
    controller_id = table.slug("id")
    channel_tables = table.tables("channels")
    if not 1 <= len(channel_tables) <= LARGEST_CHANNEL:
        table.refuse("channels", f"{len(channel_tables)} of them", _CHANNELS_ALLOWED)
    channels = [_read_channel(each, blocks, taken) for each in channel_tables]
    numbers = [each.channel for each in channels]
    for each, number in zip(channel_tables, numbers, strict=True):
        if numbers.count(number) > 1 and number > 0:
            each.refuse("channel", str(number), "a number that no other channel of it has")
    controller = ControllerDefinition(
        controller_id=f"{farm_id}.{controller_id}",
        farm_id=farm_id,
        name=table.text("name", controller_id or "controller"),
        policy=table.choice("policy", POLICIES, POLICIES[0]) or POLICIES[0],
        channels=tuple(sorted(channels, key=lambda channel: channel.channel)),
    )
    table.close()
    return controller


def _read_channel(
    table: TomlTable, blocks: Mapping[str, BlockDefinition], taken: dict[str, str]
) -> ChannelDefinition:
    number = table.value("channel")
    if not isinstance(number, int) or isinstance(number, bool) or not 1 <= number <= 64:
        table.refuse("channel", show(number), f"a whole number from 1 to {LARGEST_CHANNEL}")
        number = 0
    name = table.value("block")
    block = blocks.get(name) if isinstance(name, str) else None
    if block is None:
        table.refuse("block", show(name), one_of(name, tuple(blocks)) or "a [[block]] of this file")
    elif block.block_id in taken:
        table.refuse("block", show(name), f"a block of its own; {taken[block.block_id]} has it")
    else:
        taken[block.block_id] = table.where("block")
    fallback = tuple(
        sorted(
            (_read_run(each, block) for each in table.tables("fallback")),
            key=lambda run: run.start_wall_min,
        )
    )
    _check_runs(table, fallback, block)
    table.close()
    return ChannelDefinition(
        channel=number, block_id="" if block is None else block.block_id, fallback=fallback
    )


def _read_run(table: TomlTable, block: BlockDefinition | None) -> FallbackRun:
    start = read_wall(table.value("start"))
    if start is None or start >= 1440:
        table.refuse("start", show(table.value("start")), f"{WALL_EXAMPLE}, 00:00 to 23:59")
        start = 0
    duration_min = table.number("duration", FALLBACK_DURATION)
    table.close()
    if math.isnan(duration_min):
        return FallbackRun(start, 0)
    if duration_min != round(duration_min):
        table.refuse("duration", f"{duration_min:g} min", "whole minutes, such as '40 min'")
    ends = start + math.ceil(duration_min)
    if block is not None and not any(
        window.opens_wall_min <= start and ends <= window.closes_wall_min
        for window in block.windows
    ):
        spans = ", ".join(
            f"{wall_text(window.opens_wall_min)}-{wall_text(window.closes_wall_min)}"
            for window in block.windows
        )
        table.refuse(
            "start",
            f"a run from {wall_text(start)} to {wall_text(min(ends, 1440))}",
            f"a run within one window of the block, {spans}",
        )
    return FallbackRun(start, round(duration_min))


def _check_runs(
    table: TomlTable, runs: Sequence[FallbackRun], block: BlockDefinition | None
) -> None:
    if len(runs) > MOST_FALLBACK_RUNS:
        table.refuse("fallback", f"{len(runs)} runs", f"up to {MOST_FALLBACK_RUNS} runs")
    for earlier, later in pairwise(runs):
        if earlier.start_wall_min + earlier.duration_min > later.start_wall_min:
            table.refuse("fallback", "runs that overlap", "runs one after the other")
            break
    total_min = sum(run.duration_min for run in runs)
    if block is not None and total_min > block.daily_maximum_min:
        table.refuse(
            "fallback",
            f"{total_min} min a day",
            f"at most the daily maximum of the block, {block.daily_maximum_min:g} min",
        )
