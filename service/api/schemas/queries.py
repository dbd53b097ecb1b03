"""Query parameters; unknown ones are refused."""

from __future__ import annotations

from datetime import datetime

from pydantic import BaseModel, ConfigDict, Field

from service.api.cursors import moment_of, name_of, number_of, pair_of
from service.api.dependencies import BLOCK_ID_PATTERN, CalendarDate
from service.records.water_use import Grouping

PAGE_SIZE = 50
LARGEST_PAGE_SIZE = 200


class In(BaseModel):
    """A model of what callers give."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class PageQuery(In):
    """Selects a page of a list."""

    page_size: int = Field(
        PAGE_SIZE,
        ge=1,
        description=f"Most items in an answer; more than {LARGEST_PAGE_SIZE} counts as"
        f" {LARGEST_PAGE_SIZE}.",
    )
    cursor: str | None = Field(
        None,
        max_length=200,
        description="Opaque cursor from `next` of the previous page.",
        examples=["aGlsbC1mYXJtLm5vcnRo"],
    )

    @property
    def size(self) -> int:
        """Most items of the page."""
        return min(self.page_size, LARGEST_PAGE_SIZE)

    @property
    def after(self) -> str:
        """What the cursor names; empty for the first page. Raises InputInvalid."""
        return "" if self.cursor is None else name_of(self.cursor)

    @property
    def after_key(self) -> int | None:
        """The same for lists by number; None for the first page."""
        return None if self.cursor is None else number_of(self.cursor)


class FarmPageQuery(PageQuery):
    """Selects a page of what farms have."""

    farm: str | None = Field(
        None, max_length=40, description="Only what this farm has.", examples=["hill-farm"]
    )


class FeedQuery(FarmPageQuery):
    """Selects what farms' blocks had on some days, and a page of it."""

    county: list[str] = Field(
        [],
        max_length=500,
        description="Only blocks that draw on the sites of these counties, by their codes;"
        " repeated for several.",
        examples=[["99001"]],
    )
    first_day: CalendarDate | None = Field(
        None, alias="from", description="First local day.", examples=["2026-07-01"]
    )
    last_day: CalendarDate | None = Field(
        None, alias="to", description="Last local day.", examples=["2026-07-14"]
    )

    @property
    def after_pair(self) -> tuple[int, int]:
        """For lists by two numbers, what the cursor names; zeros for the first page. Raises
        InputInvalid.
        """
        return (0, 0) if self.cursor is None else pair_of(self.cursor)


class RunQuery(PageQuery):
    """Selects reported runs of a farm, and a page of them."""

    block: str | None = Field(
        None,
        pattern=BLOCK_ID_PATTERN,
        description="Only this block, in full, `farm.block`.",
        examples=["hill-farm.north"],
    )
    first_day: CalendarDate | None = Field(
        None, alias="from", description="First local day.", examples=["2026-07-01"]
    )
    last_day: CalendarDate | None = Field(
        None, alias="to", description="Last local day.", examples=["2026-07-14"]
    )

    @property
    def before(self) -> tuple[datetime, int] | None:
        """Start and key of the last run of the page before. Raises InputInvalid."""
        return None if self.cursor is None else moment_of(self.cursor)


class RunFileQuery(In):
    """Whose runs a file has."""

    farm: str | None = Field(
        None,
        max_length=40,
        description="Farm whose blocks ran; defaults to the key's own.",
        examples=["hill-farm"],
    )
    block: str | None = Field(
        None,
        pattern=BLOCK_ID_PATTERN,
        description="Block that ran, where the file has no column `block`.",
        examples=["hill-farm.north"],
    )


class BlockListQuery(FarmPageQuery):
    """Selects blocks and a page of them."""

    day: CalendarDate | None = Field(
        None,
        alias="date",
        description="Blocks as of this day; defaults to today at each farm.",
        examples=["2026-07-15"],
    )


class StatusQuery(In):
    """Selects a farm."""

    farm: str | None = Field(
        None, max_length=40, description="Only this farm and its sites.", examples=["hill-farm"]
    )


class BlockQuery(In):
    """Selects the day as of which a block is shown."""

    day: CalendarDate | None = Field(
        None,
        alias="date",
        description="The block as of this day; defaults to today at the farm.",
        examples=["2026-07-15"],
    )


class PlanQuery(In):
    """Selects the day of the plan."""

    day: CalendarDate | None = Field(
        None,
        alias="date",
        description="Local day that the plan is for; defaults to the latest day planned.",
        examples=["2026-07-15"],
    )


class CountyNeedQuery(In):
    """Selects the weeks and the reference block."""

    week: str = Field(
        "this",
        pattern=r"^(this|next|20[0-9]{2}-W[0-5][0-9]|20[0-9]{2}-[01][0-9]-[0-3][0-9])$",
        description="First week, Monday to Sunday: `this`, `next`, an ISO week such as `2026-W27`,"
        " or any day in it, such as `2026-07-01`.",
        examples=["next", "2026-W27"],
    )
    county: list[str] = Field(
        [],
        max_length=500,
        description="Codes of the counties wanted, repeated for several; all when left out. The"
        " rank stays that among all.",
        examples=[["99001"]],
    )
    weeks: int = Field(1, ge=1, le=12, description="How many weeks, for trends.")
    crop: str | None = Field(
        None, max_length=60, description="Crop of the reference block.", examples=["blueberry"]
    )
    block: str | None = Field(
        None,
        pattern=BLOCK_ID_PATTERN,
        description="A stored block as the reference, in place of `crop`.",
        examples=["hill-farm.north"],
    )
    row_spacing: str = Field("10 ft", max_length=20, description="With its unit; with `crop`.")
    emitter_spacing: str = Field("18 in", max_length=20, description="With its unit; with `crop`.")
    emitter_flow: str = Field("0.5 gph", max_length=20, description="With its unit; with `crop`.")
    laterals_per_row: float = Field(1.0, ge=0.5, le=12.0, description="Drip lines; with `crop`.")
    season_start: str | None = Field(
        None,
        pattern=r"^[01][0-9]-[0-3][0-9]$",
        description="Month and day on which the season starts; with `crop`. Without it the season"
        " is one published for elsewhere, or an estimate.",
        examples=["03-20"],
    )
    stage_days: str | None = Field(
        None,
        pattern=r"^[0-9]{1,3}(,[0-9]{1,3}){3}$",
        description="Days of the initial, development, mid and late stage; with `crop`.",
        examples=["25,45,110,50"],
    )
    texture: str = Field("sandy loam", max_length=30, description="Soil texture; with `crop`.")


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
        description="Last local day, at most 400 days after `from`; defaults to today at the farm.",
        examples=["2026-07-14"],
    )


class WaterUseQuery(In):
    """Which water is added up, by what, and what it is held against."""

    by: list[Grouping] = Field(
        [Grouping.MONTH],
        min_length=1,
        max_length=len(Grouping),
        description="What the water is added up by; repeated for each by each.",
        examples=[["month", "supply"]],
    )
    first_day: CalendarDate | None = Field(
        None,
        alias="from",
        description="First local day; the first of `to`'s season when left out: 1 January, south"
        " of the equator 1 July.",
        examples=["2026-01-01"],
    )
    last_day: CalendarDate | None = Field(
        None,
        alias="to",
        description="Last local day, at most ten years after `from`; defaults to today at the"
        " farm.",
        examples=["2026-07-14"],
    )
    supply: str | None = Field(
        None, max_length=40, description="Only the blocks of this supply.", examples=["well"]
    )
    limit: str | None = Field(
        None,
        max_length=30,
        description="A permit or budget of these days: a volume, or a depth over the ground.",
        examples=["12 ac-ft", "15000 m3", "18 in"],
    )


class ComparisonQuery(In):
    """What a past season is compared with, and which days of it."""

    rule: str = Field(
        max_length=30,
        description="Water for a week or a day: a depth over the block's ground, or a run time;"
        " `own` for what was run alone.",
        examples=["1.5 in/week", "45 min/day", "own"],
    )
    days_a_week: int = Field(7, ge=1, le=7, description="Days a week on which the rule waters.")
    water_price: str | None = Field(
        None, max_length=30, description="A price over a volume.", examples=["0.12/m3"]
    )
    nitrogen: str | None = Field(
        None, max_length=30, description="Nitrogen of a season.", examples=["80 kg/ha"]
    )
    first_day: CalendarDate | None = Field(
        None,
        alias="from",
        description="First local day; the first of `to`'s year when left out.",
        examples=["2025-01-01"],
    )
    last_day: CalendarDate | None = Field(
        None,
        alias="to",
        description="Last local day, at most three years after `from`; defaults to yesterday, or to"
        " the last day that was measured.",
        examples=["2025-12-31"],
    )
