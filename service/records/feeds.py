"""Plans and runs of many farms, in the order in which they came: for copies elsewhere."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from service.agronomy.records import Ints
from service.pulses import Pulse
from service.records.plan_reasoning import PlanReasoning


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedScope:
    """Which rows are wanted; None: any."""

    farm_id: str | None = None
    site_keys: Ints | None = None
    """Only blocks that draw on these sites."""
    first_day: date | None = None
    last_day: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedWish:
    """Which rows somebody asks for; None or empty: any."""

    farm_id: str | None = None
    county_codes: Collection[str] = ()
    first_day: date | None = None
    last_day: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanEntry:
    """A plan in force, without the weather behind it."""

    plan_key: int
    """Later plans have larger ones, whatever day they are for."""
    farm_id: str
    block_id: str
    block_name: str
    zone: str
    day: date
    version: int
    status: str
    issued_at: datetime
    planned_min: int
    gross_mm: float
    net_mm: float
    pulses: tuple[Pulse, ...]
    reasoning: PlanReasoning


@dataclass(frozen=True, slots=True, kw_only=True)
class RunEntry:
    """A reported run."""

    change_count: int
    """Rises with each report that stored or corrected runs."""
    run_key: int
    farm_id: str
    block_id: str
    zone: str
    day: date
    started_at: datetime
    duration_min: float
    volume_l: float | None
    is_volume_booked: bool
    recorded_at: datetime
    reporter: str
    undone_at: datetime | None
    """Since when it counts as never reported."""
