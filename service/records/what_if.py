"""What would change in the coming week: the change asked about, and the week with and without."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from service.agronomy.records import WallWindow

SAME_MIN = 0.5
"""[CHOICE] Minutes of a day below which a change is the remainder of whole minutes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeTexts:
    """The quantities of a change as people write them, with their units; empty: as it is."""

    flow: str | None = None
    """``20 gpm``, or a share of what there is, ``50 %``."""
    windows: str | None = None
    """``04:00-08:00, 20:00-22:00``."""
    emitter_flow: str | None = None
    emitter_spacing: str | None = None
    rain: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What is taken to be otherwise; whatever is None or empty stays as it is.

    Pump and flow are those of the supply named, else of the block's, else of all. Everything else
    is about the block named, else about all blocks of the supply named, else about all.
    """

    supply_id: str | None = None
    block_id: str | None = None
    pump_down_days_count: int | None = None
    """Days from tomorrow on without water from the supply."""
    supply_flow_l_per_h: float | None = None
    supply_flow_fraction: float | None = None
    """Share of its flow that the supply still gives."""
    windows: tuple[WallWindow, ...] = ()
    """Hours of the block named; else of supplies, and of the blocks that keep their hours."""
    emitter_flow_l_per_h: float | None = None
    emitter_spacing_m: float | None = None
    skips_tomorrow: bool = False
    rain_mm: float | None = None
    """Rain that surely falls tomorrow, at all places of the farm, in place of the forecast."""

    @property
    def is_nothing(self) -> bool:
        """Whether it leaves everything as it is."""
        return not self.skips_tomorrow and not self.windows and all(
            number is None
            for number in (
                self.pump_down_days_count, self.supply_flow_l_per_h, self.supply_flow_fraction,
                self.emitter_flow_l_per_h, self.emitter_spacing_m, self.rain_mm,
            )
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class DayAhead:
    """One coming day of a block; NaN where its weather is not known."""

    day: date
    expected_min: float
    gross_mm: float
    volume_l: float
    drainage_mm: float
    """What drains of the water given and of the rain that is counted on."""
    depletion_end_mm: float
    trigger_mm: float
    """Depletion from which on the block gets water."""
    raw_mm: float
    is_short: bool
    """The day ends below readily available water, within the watering season."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekAhead:
    """The coming days of a block, tomorrow first."""

    days: tuple[DayAhead, ...]
    exceeds_supply: bool = False
    """The block takes more than its supply gives, so that it cannot run at all."""

    @property
    def expected_min(self) -> float:
        """Minutes of all days."""
        return sum(day.expected_min for day in self.days)

    @property
    def gross_mm(self) -> float:
        """Water of all days, over the ground."""
        return sum(day.gross_mm for day in self.days)

    @property
    def volume_l(self) -> float:
        """Water of all days."""
        return sum(day.volume_l for day in self.days)

    @property
    def drainage_mm(self) -> float:
        """What drains on all days."""
        return sum(day.drainage_mm for day in self.days)

    @property
    def short_days_count(self) -> int:
        """Days that end short of water."""
        return sum(day.is_short for day in self.days)


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockAhead:
    """A block's coming week as things are, and with the change."""

    block_id: str
    name: str
    supply_id: str
    now: WeekAhead
    changed: WeekAhead

    @property
    def differs(self) -> bool:
        """Whether the change shows: in minutes or in what is missing from the root zone."""
        return any(
            abs(one.expected_min - other.expected_min) >= SAME_MIN
            or abs(one.depletion_end_mm - other.depletion_end_mm) >= 0.1
            or one.is_short != other.is_short
            for one, other in zip(self.now.days, self.changed.days, strict=True)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ComingWeek:
    """The answer: every block of the farm, in the order of their ids."""

    farm_id: str
    change: Change
    blocks: tuple[BlockAhead, ...]

    @property
    def days(self) -> tuple[date, ...]:
        """The days shown, tomorrow first."""
        return tuple(day.day for day in self.blocks[0].now.days) if self.blocks else ()
