"""Water that a farm used."""

from __future__ import annotations

from datetime import date
from typing import Self

from pydantic import Field

from service.api.schemas.facts import Out, known
from service.records.water_use import Grouping, WaterSum, WaterUse


class WaterSumOut(Out):
    """Water of some blocks on some days, as it left the supply."""

    labels: list[str] = Field(
        description="One for each of `by`: `2026-07`; `2026`, or `2026-27` for a season that passes"
        " the turn of the year; a block's id; a supply's id. Empty for the total."
    )
    volume_l: float = Field(
        description="Water that left the supply, L: through the emitters, and what leaks before"
        " them by the block's leakage share."
    )
    gross_mm: float = Field(description="The same over the ground of the blocks, mm.")
    metered_volume_l: float = Field(description="The part of days booked by a meter, L.")
    reported_volume_l: float = Field(
        description="The part of days booked by the minutes of reported runs, L."
    )
    assumed_volume_l: float = Field(
        description="The part of days that nobody reported, L: the plan, taken as carried out."
    )

    @classmethod
    def from_record(cls, each: WaterSum) -> Self:
        """The sum, rounded to what is known."""
        return cls(
            labels=list(each.labels),
            **{
                name: known(getattr(each, name)) or 0.0
                for name in cls.model_fields
                if name != "labels"
            },
        )


class WaterUseOut(Out):
    """Water that a farm used over a span of days."""

    farm_id: str = Field(description="Id of the farm.")
    first_day: date = Field(description="First local day counted.")
    last_day: date = Field(description="Last local day counted.")
    supply_id: str | None = Field(description="Null: all supplies of the farm.")
    by: list[Grouping] = Field(description="What the items are added up by.")
    items: list[WaterSumOut] = Field(description="The sums, by label.")
    total: WaterSumOut = Field(description="All of them.")
    limit_volume_l: float | None = Field(
        description="The permit or budget, L; a depth is taken over the ground of the blocks on the"
        " last day. Null: the request gave no `limit`."
    )
    left_volume_l: float | None = Field(
        description="What is left of it, L; below zero: passed. Null without one."
    )

    @classmethod
    def from_record(cls, use: WaterUse) -> Self:
        """The sums as objects."""
        return cls(
            farm_id=use.farm_id,
            first_day=use.first_day,
            last_day=use.last_day,
            supply_id=use.supply_id,
            by=list(use.by),
            items=[WaterSumOut.from_record(each) for each in use.sums],
            total=WaterSumOut.from_record(use.total),
            limit_volume_l=known(use.limit_volume_l),
            left_volume_l=known(use.left_volume_l),
        )
