"""A farm at a glance."""

from __future__ import annotations

from datetime import date
from typing import Self

from pydantic import Field

from service.api.schemas.facts import Out, known
from service.operations.reading.farm_board import BoardLine, FarmBoard


class BoardLineOut(Out):
    """One block of the board."""

    block_id: str = Field(description="Full block id, `farm.block`.")
    name: str = Field(description="Name for people.")
    plan_day: date | None = Field(
        description="Day of the plan behind the line: tomorrow, before the evening today. Null:"
        " there is none."
    )
    status: str | None = Field(description="Of that plan: `water`, `rest` or `no-weather`.")
    is_dormant: bool = Field(description="That day is outside the block's watering season.")
    available_fraction: float | None = Field(
        description="Share of the total available water left at the midnight before that day."
    )
    used_raw_fraction: float | None = Field(
        description="Share of the readily available water missing then; above 1 the crop suffers."
    )
    due_day: date | None = Field(
        description="First day on which the plan or its outlook gives water; null: on none of them."
    )
    due_in_days: int | None = Field(description="Days from today until then, 1 for tomorrow.")
    plan_min: int | None = Field(description="Minutes of the plan.")
    planned_min: float = Field(
        description="Minutes of the plans of those of the last seven days that were reported."
    )
    run_min: float = Field(description="Minutes that ran on them.")
    unreported_days_count: int = Field(
        description="Days of the last seven with a plan for water and no report."
    )

    @classmethod
    def from_record(cls, line: BoardLine, board: FarmBoard) -> Self:
        """The line, rounded to what is known."""
        plan = None if line.view is None else line.view.plan
        return cls(
            block_id=line.block.block_id,
            name=line.block.name,
            plan_day=None if plan is None else plan.day,
            status=None if plan is None else plan.status,
            is_dormant=plan is not None and plan.is_dormant,
            available_fraction=known(line.available_fraction),
            used_raw_fraction=known(line.used_raw_fraction),
            due_day=line.due_day,
            due_in_days=board.due_in_days(line),
            plan_min=None if plan is None else plan.planned_min,
            planned_min=line.planned_min,
            run_min=line.run_min,
            unreported_days_count=line.unreported_days_count,
        )


class FarmBoardOut(Out):
    """The blocks of a farm, the worst first."""

    farm_id: str = Field(description="Id of the farm.")
    today: date = Field(description="The farm's local day.")
    first_day: date = Field(description="First of the seven days that runs are counted of.")
    items: list[BoardLineOut] = Field(
        description="Blocks without a plan, then those that have used most of their readily"
        " available water."
    )

    @classmethod
    def from_record(cls, board: FarmBoard) -> Self:
        """The board as objects."""
        return cls(
            farm_id=board.farm_id,
            today=board.today,
            first_day=board.first_day,
            items=[BoardLineOut.from_record(line, board) for line in board.lines],
        )
