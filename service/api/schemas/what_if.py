"""The coming week as things are, and with a change."""

from __future__ import annotations

from datetime import date
from typing import Self

from pydantic import Field

from service.api.dependencies import BLOCK_ID_PATTERN
from service.api.schemas.facts import Out, known
from service.api.schemas.queries import In
from service.records.what_if import BlockAhead, ChangeTexts, ComingWeek, DayAhead, WeekAhead


class WhatIfQuery(In):
    """What is taken to be otherwise; at least one thing."""

    supply: str | None = Field(
        None,
        max_length=40,
        description="Whose pump and flow it is about: the block's when left out, else all of the"
        " farm's.",
        examples=["well"],
    )
    block: str | None = Field(
        None,
        pattern=BLOCK_ID_PATTERN,
        description="Whose hours, emitters and skipped day it is about; all of the supply's, else"
        " of the farm's, when left out.",
        examples=["hill-farm.north"],
    )
    pump_down_days_count: int | None = Field(
        None, ge=1, le=7, description="Days from tomorrow on without water from the supply."
    )
    flow: str | None = Field(
        None,
        max_length=30,
        description="What the supply gives: a flow, or a share of what it gives now.",
        examples=["20 gpm", "50 %"],
    )
    windows: str | None = Field(
        None,
        max_length=150,
        description="Hours of each day, parted by commas: of the block; without one, of the supply"
        " and of the blocks that keep its hours.",
        examples=["04:00-08:00, 20:00-22:00"],
    )
    emitter_flow: str | None = Field(
        None, max_length=30, description="Flow of one emitter.", examples=["0.5 gph", "2 L/h"]
    )
    emitter_spacing: str | None = Field(
        None,
        max_length=30,
        description="Distance between the emitters along a drip line.",
        examples=["18 in", "0.5 m"],
    )
    skip_tomorrow: bool = Field(False, description="No water tomorrow.")
    rain: str | None = Field(
        None,
        max_length=30,
        description="Rain that surely falls tomorrow, in place of the forecast's.",
        examples=["0.5 in", "12 mm"],
    )

    @property
    def texts(self) -> ChangeTexts:
        """The quantities as they were written."""
        return ChangeTexts(
            flow=self.flow,
            windows=self.windows,
            emitter_flow=self.emitter_flow,
            emitter_spacing=self.emitter_spacing,
            rain=self.rain,
        )


class DayAheadOut(Out):
    """One coming day of a block; null where its weather is not known."""

    day: date = Field(description="Local day.")
    expected_min: float | None = Field(description="Minutes of running.")
    gross_mm: float | None = Field(description="Water given over the block's ground, mm.")
    volume_l: float | None = Field(description="The same, L.")
    drainage_mm: float | None = Field(
        description="What drains of it and of the rain that is counted on, mm."
    )
    depletion_end_mm: float | None = Field(
        description="Water missing from the root zone at the end of the day, mm."
    )
    trigger_mm: float | None = Field(
        description="Depletion from which on the block gets water, mm."
    )
    raw_mm: float | None = Field(description="Depletion from which on the crop suffers, mm.")
    is_short: bool = Field(description="The day ends beyond that, within the watering season.")

    @classmethod
    def from_record(cls, each: DayAhead) -> Self:
        """The day, rounded to what is known."""
        numbers = {
            name: known(getattr(each, name))
            for name in cls.model_fields
            if name not in ("day", "is_short")
        }
        return cls.model_validate({"day": each.day, "is_short": each.is_short, **numbers})


class WeekAheadOut(Out):
    """The coming days of a block, and their sums."""

    days: list[DayAheadOut] = Field(description="Tomorrow and the days after it.")
    expected_min: float | None = Field(description="Minutes of all days.")
    gross_mm: float | None = Field(description="Water of all days over the block's ground, mm.")
    volume_l: float | None = Field(description="The same, L.")
    drainage_mm: float | None = Field(description="What drains on all days, mm.")
    short_days_count: int = Field(description="Days that end with a crop that suffers.")
    exceeds_supply: bool = Field(
        description="The block takes more than its supply gives, so that it cannot run at all."
    )

    @classmethod
    def from_record(cls, week: WeekAhead) -> Self:
        """The week, rounded to what is known."""
        return cls(
            days=[DayAheadOut.from_record(day) for day in week.days],
            expected_min=known(week.expected_min),
            gross_mm=known(week.gross_mm),
            volume_l=known(week.volume_l),
            drainage_mm=known(week.drainage_mm),
            short_days_count=week.short_days_count,
            exceeds_supply=week.exceeds_supply,
        )


class BlockAheadOut(Out):
    """A block's coming week as things are, and with the change."""

    block_id: str = Field(description="Id of the block.")
    name: str = Field(description="Its name for people.")
    supply_id: str = Field(description="The supply that it draws on.")
    differs: bool = Field(description="Whether the change shows in its minutes or in its soil.")
    now: WeekAheadOut = Field(description="As things are: this evening's plan and its outlook.")
    changed: WeekAheadOut = Field(description="With the change.")

    @classmethod
    def from_record(cls, block: BlockAhead) -> Self:
        """The two weeks side by side."""
        return cls(
            block_id=block.block_id,
            name=block.name,
            supply_id=block.supply_id,
            differs=block.differs,
            now=WeekAheadOut.from_record(block.now),
            changed=WeekAheadOut.from_record(block.changed),
        )


class WhatIfOut(Out):
    """What would change in the coming week."""

    farm_id: str = Field(description="Id of the farm.")
    days: list[date] = Field(description="The days, tomorrow first.")
    items: list[BlockAheadOut] = Field(description="All blocks of the farm, by id.")

    @classmethod
    def from_record(cls, week: ComingWeek) -> Self:
        """The blocks of the answer."""
        return cls(
            farm_id=week.farm_id,
            days=list(week.days),
            items=[BlockAheadOut.from_record(block) for block in week.blocks],
        )
