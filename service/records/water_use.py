"""Water that farms used over a span of days, and what it is held against."""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date


class Grouping(enum.StrEnum):
    """What water is added up by."""

    MONTH = "month"
    SEASON = "season"
    """Twelve months: from January in the north, from July south of the equator."""
    BLOCK = "block"
    SUPPLY = "supply"


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterLimit:
    """A permit or a budget of the days asked for: one of a volume, or a depth over the ground."""

    volume_l: float | None = None
    gross_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterWish:
    """Whose water, of which days, is added up by what, and held against what."""

    farm_id: str
    by: tuple[Grouping, ...] = (Grouping.MONTH,)
    first_day: date | None = None
    """None: the first of the season that the last day is in."""
    last_day: date | None = None
    """None: today at the farm."""
    supply_id: str | None = None
    """None: all supplies of the farm."""
    block_id: str | None = None
    """None: all blocks."""
    limit: WaterLimit | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterSum:
    """Water of some blocks on some days."""

    labels: tuple[str, ...]
    """One for each grouping: ``2026-07``, ``2026``, ``farm.block``, a supply's id."""
    volume_l: float
    """At the supply: through the emitters, and what leaks before them."""
    gross_mm: float
    """The same over the ground of the blocks."""
    metered_volume_l: float
    """The part of days booked by a meter."""
    reported_volume_l: float
    """The part of days booked by the minutes of reported runs."""
    assumed_volume_l: float
    """The part of days without a report, on which the plan is taken as carried out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterUse:
    """The water of a span of days."""

    farm_id: str
    by: tuple[Grouping, ...]
    first_day: date
    last_day: date
    supply_id: str | None
    sums: Sequence[WaterSum]
    """By label."""
    total: WaterSum
    limit_volume_l: float | None
    """What the water is held against; None: nothing."""

    @property
    def left_volume_l(self) -> float | None:
        """What is left of the limit, below zero where it is passed; None without one."""
        return None if self.limit_volume_l is None else self.limit_volume_l - self.total.volume_l
