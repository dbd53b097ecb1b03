"""How farms are doing, side by side: what an adviser looks at first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from service.records.farms import FarmDefinition
from service.records.plan_reasoning import PlanReasoning


@dataclass(frozen=True, slots=True)
class PlanNote:
    """As much of a plan in force as says whether its block gets what it needs."""

    block_key: int
    day: date
    status: str
    planned_min: int
    reasoning: PlanReasoning


@dataclass(frozen=True, slots=True)
class ControllerPoll:
    """When a controller in use asked for its program last."""

    farm_key: int
    controller_id: str
    polled_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmStanding:
    """One farm, as far as something may be wrong with it."""

    farm: FarmDefinition
    block_count: int
    plan_day: date | None
    """Tomorrow if it is planned, else today; None: neither is."""
    is_overdue: bool
    """Whether the hour has passed by which tomorrow's plan is issued, without a plan."""
    short_count: int
    """Blocks that get less than they need on ``plan_day``, by their own limits of news."""
    without_weather_count: int
    """Blocks that cannot be planned for want of weather."""
    unreported_days_count: int
    """Days of the last seven on which the ledger took a plan as carried out."""
    stale_sites: tuple[tuple[str, date | None], ...]
    """Names of the places whose weather is old or ends too soon, with their last measured day."""
    silent_controllers: tuple[tuple[str, datetime], ...]
    """Those that polled before and have stopped, with the time of the last poll."""

    @property
    def needs_a_look(self) -> bool:
        """Whether anything is wrong."""
        return any(self.urgency)

    @property
    def urgency(self) -> tuple[int, ...]:
        """What is wrong, the gravest first; of two farms the larger one comes first."""
        return (
            int(self.is_overdue),
            self.short_count + self.without_weather_count,
            self.unreported_days_count,
            len(self.stale_sites),
            len(self.silent_controllers),
        )
