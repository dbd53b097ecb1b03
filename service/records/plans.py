"""Plans: the rows that a run stores, and the versions that are read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.records import Floats, Ints
from service.pulses import Pulse
from service.records.plan_reasoning import PlanReasoning
from service.records.weather_basis import WeatherBasis


@dataclass(frozen=True, slots=True)
class PlanRows:
    """New plan versions as rows: one per block, all for one day."""

    block_keys: Ints
    day: date
    status: tuple[str, ...]
    """``water``, ``rest`` or ``no-weather``."""
    planned_min: Ints
    early_min: Ints
    ready_min: Floats
    """As in :class:`AppliedWater`."""
    gross_mm: Floats
    net_mm: Floats
    pulses: tuple[bytes, ...]
    """JSON ``[[start_min, duration_min], ...]``."""
    numbers: tuple[bytes, ...]
    """JSON object: every number of the reasoning that is the block's own."""
    basis_keys: Ints
    """Row of the site's weather reasoning, shared by the blocks of a site."""
    digest: tuple[str, ...]
    """Hash of the plan's content, without its time of issue."""


@dataclass(frozen=True, slots=True)
class NewVersions:
    """Which of the rows to publish became new versions."""

    rows: Ints
    """Their places among the rows."""
    versions: Ints

    @property
    def count(self) -> int:
        """How many there are."""
        return int(self.rows.size)


@dataclass(frozen=True, slots=True)
class WrittenPlans:
    """The plans of a group of farms as they were stored."""

    rows: PlanRows
    new: NewVersions
    bases: Mapping[int, bytes]
    """The weather reasoning of the sites that the plans draw on, by its key."""
    issued_at: datetime

    @property
    def block_keys(self) -> Ints:
        """Keys of the blocks that got a new version."""
        keys: Ints = self.rows.block_keys[self.new.rows]
        return keys


@dataclass(frozen=True, slots=True)
class PlanText:
    """The text of a plan as read, and the farm it belongs to."""

    farm_id: str
    text: bytes


@dataclass(frozen=True, slots=True)
class PlansInForce:
    """The plans in force for a day, in the order of the blocks asked for."""

    planned_min: Floats
    """NaN where a block has no plan for that day."""
    pulses: tuple[tuple[Pulse, ...], ...]
    need_mm: Floats
    """Net need that the plan answers; NaN where there is none or it was not known."""
    order_keys: tuple[str, ...]
    """Which injection order the plan answers; empty where there was none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedPlan:
    """One stored version of one block's plan for one day."""

    plan_key: int
    block_id: str
    day: date
    version: int
    status: str
    issued_at: datetime
    superseded_at: datetime | None
    planned_min: int
    gross_mm: float
    net_mm: float
    pulses: tuple[Pulse, ...]
    reasoning: PlanReasoning
    weather: WeatherBasis
    """The weather behind the plans of the site."""

    @property
    def is_dormant(self) -> bool:
        """The day is outside the block's watering season, and nothing runs."""
        return self.status == "rest" and self.reasoning.cause is ShortfallCause.DORMANT


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanVersion:
    """The pulses of one version of a block's plan, for a calendar."""

    block_id: str
    block_name: str
    is_retired: bool
    """Whether the block is not in force on that day."""
    day: date
    version: int
    status: str
    issued_at: datetime
    superseded_at: datetime | None
    pulses: tuple[Pulse, ...]
