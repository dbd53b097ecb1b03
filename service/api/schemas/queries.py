"""Parameters of addresses; one that is not known is refused."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from service.api.dependencies import CalendarDate

PAGE_SIZE = 50
LARGEST_PAGE_SIZE = 200


class In(BaseModel):
    """A model of what callers give."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class BlockListQuery(In):
    """Which blocks, and which page of them."""

    farm: str | None = Field(
        None, max_length=40, description="Only blocks of this farm.", examples=["hill-farm"]
    )
    day: CalendarDate | None = Field(
        None,
        alias="date",
        description="Blocks as they stand on this day; today (UTC) when left out.",
        examples=["2026-07-15"],
    )
    page_size: int = Field(
        PAGE_SIZE,
        ge=1,
        description=f"Most blocks in an answer; more than {LARGEST_PAGE_SIZE} counts as"
        f" {LARGEST_PAGE_SIZE}.",
    )
    cursor: str | None = Field(
        None,
        max_length=200,
        description="Where the page begins, out of `next` of the page before; not to be read.",
    )


class BlockQuery(In):
    """As of which day a block is shown."""

    day: CalendarDate | None = Field(
        None,
        alias="date",
        description="The block as it stands on this day; today (UTC) when left out.",
        examples=["2026-07-15"],
    )


class PlanQuery(In):
    """Which day's plan."""

    day: CalendarDate | None = Field(
        None,
        alias="date",
        description="Local day that the plan is for; the latest day planned when left out.",
        examples=["2026-07-15"],
    )


class BalanceQuery(In):
    """Which days of the ledger."""

    first_day: CalendarDate | None = Field(
        None,
        alias="from",
        description="First local day; 30 days before `to` when left out.",
        examples=["2026-07-01"],
    )
    last_day: CalendarDate | None = Field(
        None,
        alias="to",
        description="Last local day, at most 400 days after `from`; today (UTC) when left out.",
        examples=["2026-07-14"],
    )
