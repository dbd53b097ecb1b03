"""What weighing the forecast would have done in a block, on paper."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from service.api.dependencies import CalendarDate
from service.api.schemas.bodies import Body
from service.api.schemas.facts import Out
from service.api.schemas.queries import In


class RiskTrialQuery(In):
    """Which days on paper."""

    first_day: CalendarDate | None = Field(
        None,
        alias="from",
        description="First local day; 90 days up to `to` when left out.",
        examples=["2026-05-01"],
    )
    last_day: CalendarDate | None = Field(
        None,
        alias="to",
        description="Last local day, less than 400 days after `from`; defaults to yesterday at the"
        " farm.",
        examples=["2026-07-14"],
    )


class RiskAttitudeIn(Body):
    """What a block does with a forecast that may be wrong."""

    risk_attitude: Literal["classic", "careful-crop", "balanced", "careful-water"] = Field(
        description="`classic` keeps the evening rule for good; the others weigh the forecast."
    )


class RiskAttitudeOut(Out):
    """What was chosen."""

    block_id: str = Field(description="Full block id, `farm.block`.")
    risk_attitude: str = Field(description="What the block follows from today on.")
    is_stated: bool = Field(description="Whether its grower chose it.")
    new_plan_count: int = Field(description="Plans that got a new version in the same step.")


class CourseSumsOut(Out):
    """What a rule came to over the days of the watering season that are over."""

    net_mm: float = Field(description="Net irrigation, block mm.")
    drainage_mm: float = Field(description="Rain and irrigation that drained, block mm.")
    lost_et_mm: float = Field(description="Transpiration lost to dry soil, block mm.")
    short_day_count: int = Field(description="Days that ended beyond the readily available water.")
    risk_cost_mm: float = Field(
        description="Water, drainage and 40 times the lost transpiration, in mm of water."
    )


class CourseDayOut(Out):
    """A day under a rule."""

    net_mm: float | None = Field(description="Net depth decided the evening before, block mm.")
    drainage_mm: float | None = Field(description="Null: the day is not over.")
    lost_et_mm: float | None = Field(description="Null: the day is not over.")
    depletion_end_mm: float | None = Field(
        description="Depletion at the end of the day, block mm; null: it is not over."
    )
    is_short: bool | None = Field(
        description="Whether it ended beyond the readily available water; null: it is not over."
    )


class TrialDayOut(Out):
    """A day on paper."""

    day: date = Field(description="Local day.")
    risk_guard: str = Field(
        description="`none` where the forecast was weighed, else why the evening rule stayed:"
        " `no_spread`, `shortfall`, `agronomy`, `keep_up`, `small_store`; new ones may be added."
    )
    is_dormant: bool = Field(description="Outside the watering season: not in the sums.")
    rule: CourseDayOut = Field(description="Under the evening rule.")
    weighed: CourseDayOut = Field(description="Under `balanced`.")


class RiskTrialOut(Out):
    """A block's days on paper."""

    block_id: str = Field(description="Full block id, `farm.block`.")
    risk_attitude: str = Field(description="What the block follows, as in `GET /v1/blocks`.")
    is_stated: bool = Field(description="Whether its grower chose that; then nothing is kept.")
    is_kept: bool = Field(
        description="Whether evenings keep days on paper: no choice was made and no timer runs it."
    )
    told_on: date | None = Field(
        description="Local day on which the grower was told that the block will weigh the forecast;"
        " null: he was not, or has made a choice."
    )
    weighs_from: date | None = Field(
        description="Local day from whose evening on it does, unless `risk_attitude` is stated."
    )
    first_day: date = Field(description="First day asked for.")
    last_day: date = Field(description="Last day asked for.")
    day_count: int = Field(description="Days in the sums.")
    spread_day_count: int = Field(description="Those on which the forecast had a spread.")
    weighed_day_count: int = Field(description="Those on which no guard kept the evening rule.")
    rule: CourseSumsOut | None = Field(description="The evening rule; null: no day is over.")
    weighed: CourseSumsOut | None = Field(description="`balanced`; null: no day is over.")
    days: list[TrialDayOut] = Field(description="Day by day, those outside the season too.")
