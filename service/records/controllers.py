"""Valve controllers, and the programs that they poll."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from service.agronomy.records import Days, Ints


@dataclass(frozen=True, slots=True)
class FallbackRun:
    """One opening of the program that a controller runs when it has no current one."""

    start_wall_min: int
    """Local time of day, minutes since 00:00."""
    duration_min: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelDefinition:
    """An output of a controller: the valve of one block."""

    channel: int
    block_id: str
    """``farm.block``."""
    fallback: tuple[FallbackRun, ...] = ()
    """Openings that run each day once the last program has run out; empty: none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerDefinition:
    """A controller in the field, and the blocks that its channels open."""

    controller_id: str
    """``farm.controller``: unique everywhere."""
    farm_id: str
    name: str
    policy: str = "fallback"
    """What the controller does once its program has run out: ``fallback`` or ``stop``."""
    channels: tuple[ChannelDefinition, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredController:
    """A controller as stored."""

    controller_key: int
    definition: ControllerDefinition
    retired_at: datetime | None
    """When it was removed from its farm; None: in use."""


@dataclass(frozen=True, slots=True)
class ChannelPlans:
    """Plans in force behind the channels of some controllers: one row per channel and day."""

    block_keys: Ints
    days: Days
    status: tuple[str, ...]
    pulses: tuple[str, ...]
    """JSON ``[[start_min, duration_min], ...]``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramRow:
    """A controller's program, ready to be sent: the texts lack only the server's time."""

    controller_key: int
    version: int
    issued_at: datetime
    digest: str
    """Hash of the program's content, without its time of issue."""
    json_text: str
    csv_text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredProgram:
    """The stored answer to a poll."""

    controller_id: str
    farm_id: str
    is_retired: bool
    program: ProgramRow | None
    """None: nothing has been published for this controller yet."""
