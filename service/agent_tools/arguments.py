"""What the tools are given. Where the API takes the same, its own models are used."""

from __future__ import annotations

from datetime import date

from pydantic import Field

from service.api.dependencies import BLOCK_ID_PATTERN, SLUG_PATTERN, CalendarDate
from service.api.schemas.blocks import BlockSummaryOut
from service.api.schemas.bodies import Instant, RainIn
from service.api.schemas.counties import CountyNeedOut
from service.api.schemas.facts import Out
from service.api.schemas.queries import LARGEST_PAGE_SIZE, CountyNeedQuery, In

_EXAMPLE_DAY = date(2026, 7, 15)


class BlocksAsked(In):
    """Which blocks."""

    farm_id: str | None = Field(
        None,
        pattern=SLUG_PATTERN,
        description="Only blocks of this farm; all that the key may see when left out.",
        examples=["hill-farm"],
    )
    after: str = Field(
        "",
        max_length=81,
        description="`next_after` of the answer before, to go on with a long list.",
    )


class PlanAsked(In):
    """Which plan of which block."""

    block_id: str = Field(
        pattern=BLOCK_ID_PATTERN,
        description="Block in full, `farm.block`, as `list_blocks` gives it.",
        examples=["hill-farm.north"],
    )
    day: CalendarDate | None = Field(
        None,
        description="Local day that the plan is for, YYYY-MM-DD; the latest day planned when left"
        " out, which is tomorrow once the evening's run is done.",
        examples=[_EXAMPLE_DAY],
    )


class FarmPlansAsked(In):
    """Which plans of which farm."""

    farm_id: str = Field(
        pattern=SLUG_PATTERN, description="Farm, as `list_blocks` gives it.", examples=["hill-farm"]
    )
    day: CalendarDate | None = Field(
        None,
        description="Local day that the plans are for, YYYY-MM-DD; the latest day planned when left"
        " out, which is tomorrow once the evening's run is done.",
        examples=[_EXAMPLE_DAY],
    )


class BalanceAsked(In):
    """Which days of which block's ledger."""

    block_id: str = Field(
        pattern=BLOCK_ID_PATTERN,
        description="Block in full, `farm.block`.",
        examples=["hill-farm.north"],
    )
    first_day: CalendarDate | None = Field(
        None,
        description="First local day, YYYY-MM-DD; 30 days before the last one when left out.",
        examples=[_EXAMPLE_DAY],
    )
    last_day: CalendarDate | None = Field(
        None,
        description="Last local day, at most 400 days after the first; today when left out.",
        examples=[_EXAMPLE_DAY],
    )


class CountiesAsked(CountyNeedQuery):
    """Which weeks and counties, and what is grown there."""

    most: int = Field(
        10,
        ge=1,
        le=500,
        description="Most counties in the answer for each week, the largest need first.",
    )


class RainReported(RainIn):
    """A rain gauge reading."""

    site_id: str = Field(
        pattern=SLUG_PATTERN,
        description="Site whose gauge was read, as `list_blocks` gives it.",
        examples=["home"],
    )
    # Required here, so that a call which is repeated is the same reading.
    read_at: Instant = Field(description="When it was read, with its UTC offset.")


class BlocksOut(Out):
    """Blocks, by id."""

    items: list[BlockSummaryOut]
    next_after: str | None = Field(
        description=f"What `after` has to be for the blocks after these; null: there are no more."
        f" An answer has at most {LARGEST_PAGE_SIZE}."
    )


class CountyRankingOut(CountyNeedOut):
    """Counties compared, week by week, in the order of their need."""

    county_count: int = Field(
        description="Counties compared in each week, also those that the answer leaves out."
    )
