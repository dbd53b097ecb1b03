"""Answer of the flow check."""

from __future__ import annotations

from datetime import date
from typing import Self

from pydantic import Field

from service.api.schemas.facts import Out
from service.operations.waterworks.check_flow import FlowReport, flow_document


class FlowJumpOut(Out):
    """A sudden change of the flow."""

    day: date = Field(description="Day of the first run at the new flow.")
    change_fraction: float = Field(
        description=("Change relative to the flow at the start; negative: less.")
    )


class SlowFlowChangeOut(Out):
    """A change of the flow over many runs."""

    from_day: date = Field(description="Day it began.")
    change_fraction: float = Field(description="Up to the last run; negative: less.")
    change_per_100_runs_fraction: float = Field(description="In a hundred runs.")


class FlowDelayOut(Out):
    """How long a loss of one size takes to show at the block's own spread."""

    loss_fraction: float = Field(description="Size of the loss, share of the flow.")
    sudden_run_count: int | None = Field(
        description="Runs until a sudden loss shows, on average; null: lost in the spread."
    )
    slow_run_count: int | None = Field(
        description="Runs until a loss spread over 150 runs shows; null: not within them."
    )


class FlowCheckOut(Out):
    """What the metered runs of a block show."""

    block_id: str
    verdict: str = Field(
        description="`too-few-runs`, `steady`, `slow-decline`, `slow-rise`, `jump-down`, `jump-up`,"
        " `several`, `fell` or `rose` (not told yet whether at once or slowly) or `drift` (a few"
        " percent with the season, no alarm); new words may come."
    )
    text: str = Field(description="The same as text.")
    run_count: int = Field(description="Metered runs looked at.")
    first_day: date | None = Field(description="Day of the first of them.")
    level_ratio: float | None = Field(description="Metered over expected volume at the start.")
    is_level_off: bool = Field(description="True: that ratio is more than 10 % away from 1.")
    is_alarm: bool = Field(description="Somebody should look at the block.")
    noise_fraction: float | None = Field(description="Spread from run to run.")
    noise_memory: float | None = Field(description="Correlation of successive runs.")
    change_fraction: float | None = Field(
        description="Flow now against the start, as fitted; negative: less."
    )
    alarm_days: list[date] = Field(
        description="Days of the runs that raised an alarm, whatever it is called by now."
    )
    delays: list[FlowDelayOut] = Field(description="What can be found, and from when.")
    jumps: list[FlowJumpOut]
    slow_change: SlowFlowChangeOut | None
    odd_days: list[date] = Field(description="Days of single runs that stand out.")
    is_last_run_odd: bool = Field(description="The newest run stands out.")
    flow_origin: str = Field(description="Where the expected flow comes from.")
    cautions: list[str] = Field(description="How far to trust the verdict, as text.")

    @classmethod
    def from_record(cls, report: FlowReport) -> Self:
        """The answer."""
        return cls.model_validate(
            {
                **flow_document(report),
                "block_id": report.block_id,
                "verdict": report.verdict.name.lower().replace("_", "-"),
                "text": report.verdict.value,
                "flow_origin": report.flow_origin,
                "cautions": list(report.cautions),
            }
        )
