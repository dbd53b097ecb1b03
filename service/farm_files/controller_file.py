"""Controllers in a farm file: which channel opens which block, and what runs without a program."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

from service.agronomy.civil_day import wall_text
from service.farm_files.farm_keys import ChannelKeys, ControllerKeys, FallbackRunKeys
from service.farm_files.near_words import one_of
from service.farm_files.quantities import show
from service.farm_files.toml_table import TomlTable
from service.records.controllers import ChannelDefinition, ControllerDefinition, FallbackRun
from service.records.farms import BlockDefinition

_CHANNELS = ControllerKeys.channels
_CHANNELS_ALLOWED = (
    f"{_CHANNELS.fewest} to {_CHANNELS.most} tables such as {{ channel = 1, block = 'north' }}"
)


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
    controller_id = table.slug(ControllerKeys.id)
    channel_tables = table.tables(_CHANNELS)
    if not _CHANNELS.fewest <= len(channel_tables) <= _CHANNELS.most:
        table.refuse(_CHANNELS, f"{len(channel_tables)} of them", _CHANNELS_ALLOWED)
    channels = [_read_channel(each, blocks, taken) for each in channel_tables]
    numbers = [each.channel for each in channels]
    for each, number in zip(channel_tables, numbers, strict=True):
        if numbers.count(number) > 1 and number > 0:
            each.refuse(
                ChannelKeys.channel, str(number), "a number that no other channel of it has"
            )
    controller = ControllerDefinition(
        controller_id=f"{farm_id}.{controller_id}",
        farm_id=farm_id,
        name=table.text(ControllerKeys.name, controller_id or "controller"),
        policy=table.choice(ControllerKeys.policy) or ControllerKeys.policy.choices[0],
        channels=tuple(sorted(channels, key=lambda channel: channel.channel)),
    )
    table.close()
    return controller


def _read_channel(
    table: TomlTable, blocks: Mapping[str, BlockDefinition], taken: dict[str, str]
) -> ChannelDefinition:
    number = table.integer(ChannelKeys.channel)
    name = table.value(ChannelKeys.block)
    block = blocks.get(name) if isinstance(name, str) else None
    if block is None:
        allowed = one_of(name, tuple(blocks)) or "a [[block]] of this file"
        table.refuse(ChannelKeys.block, show(name), allowed)
    elif block.block_id in taken:
        allowed = f"a block of its own; {taken[block.block_id]} has it"
        table.refuse(ChannelKeys.block, show(name), allowed)
    elif block.visits or block.timer is not None:
        what = "opened by hand" if block.visits else "on a timer"
        table.refuse(
            ChannelKeys.block,
            f"{show(name)}, which is {what}",
            "a block without [block.hand] and [block.timer]: one thing opens a valve",
        )
    else:
        taken[block.block_id] = table.where(ChannelKeys.block)
    fallback = tuple(
        sorted(
            (_read_run(each, block) for each in table.tables(ChannelKeys.fallback)),
            key=lambda run: run.start_wall_min,
        )
    )
    _check_runs(table, fallback, block)
    table.close()
    return ChannelDefinition(
        channel=number, block_id="" if block is None else block.block_id, fallback=fallback
    )


def _read_run(table: TomlTable, block: BlockDefinition | None) -> FallbackRun:
    start = table.wall_min(FallbackRunKeys.start)
    duration_min = table.number(FallbackRunKeys.duration)
    table.close()
    if math.isnan(duration_min):
        return FallbackRun(start, 0)
    if duration_min != round(duration_min):
        allowed = "whole minutes, such as '40 min'"
        table.refuse(FallbackRunKeys.duration, f"{duration_min:g} min", allowed)
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
            FallbackRunKeys.start,
            f"a run from {wall_text(start)} to {wall_text(min(ends, 1440))}",
            f"a run within one window of the block, {spans}",
        )
    return FallbackRun(start, round(duration_min))


def _check_runs(
    table: TomlTable, runs: Sequence[FallbackRun], block: BlockDefinition | None
) -> None:
    key = ChannelKeys.fallback
    if len(runs) > key.most:
        table.refuse(key, f"{len(runs)} runs", f"up to {key.most} runs")
    for earlier, later in pairwise(runs):
        if earlier.start_wall_min + earlier.duration_min > later.start_wall_min:
            table.refuse(key, "runs that overlap", "runs one after the other")
            break
    total_min = sum(run.duration_min for run in runs)
    if block is not None and total_min > block.daily_maximum_min:
        table.refuse(
            key,
            f"{total_min} min a day",
            f"at most the daily maximum of the block, {block.daily_maximum_min:g} min",
        )
