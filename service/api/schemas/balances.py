"""Days of a block's ledger."""

from __future__ import annotations

from datetime import date
from typing import Self

from pydantic import Field

from service.agronomy.records import Floats
from service.api.schemas.facts import FlagOut, Out, known, plan_flags
from service.operations.reading.read_balance import BlockBalance
from service.records.ledger import LEDGER_NUMBERS, IrrigationOrigin, LedgerRows


class BalanceDayOut(Out):
    """One day of a block's ledger, depths in mm over the block area."""

    day: date = Field(description="Local day.")
    is_observed: bool = Field(description="False: the weather is still forecast or filled in.")
    irrigation_origin: str = Field(
        description="`none`, `reported` (minutes of runs), `metered` (volume of runs, of all or"
        " some), or `planned` (the plan, assumed carried out)."
    )
    flags: list[FlagOut]
    et0_mm: float | None = Field(description="Reference ET, mm.")
    rain_mm: float | None = Field(description="Rain, mm.")
    rain_entering_mm: float | None = Field(description="Rain that enters the root zone, mm.")
    rain_drainage_mm: float | None = Field(description="Rain that drains below it, mm.")
    crop_coefficient: float | None = Field(description="Kc, dimensionless.")
    crop_et_mm: float | None = Field(description="Crop water use without stress, mm.")
    stress_ratio: float | None = Field(description="Mean Ks of the day, 1 without stress.")
    actual_crop_et_mm: float | None = Field(description="Crop water use with stress, mm.")
    irrigation_gross_mm: float | None = Field(description="Irrigation that ran, mm.")
    early_net_mm: float | None = Field(description="Net irrigation begun before sunrise, mm.")
    day_net_mm: float | None = Field(description="Net irrigation begun after sunrise, mm.")
    nonuniformity_loss_mm: float | None = Field(
        description="Irrigation lost to non-uniform emitters, mm."
    )
    unrooted_loss_mm: float | None = Field(
        description="Irrigation that wets soil without roots, mm."
    )
    irrigation_drainage_mm: float | None = Field(
        description="Irrigation that drains below the root zone, mm."
    )
    resize_mm: float | None = Field(
        description="Depletion gained as the managed zone changes size, mm."
    )
    correction_mm: float | None = Field(
        description="Depletion added at the day's end after soil readings, mm."
    )
    taw_mm: float | None = Field(description="Total available water of the root zone, mm.")
    raw_mm: float | None = Field(description="Readily available water, mm.")
    depletion_start_mm: float | None = Field(description="Depletion at the day's start, mm.")
    depletion_end_mm: float | None = Field(description="Depletion at the day's end, mm.")
    degree_day_sum_c_day: float | None = Field(
        description="Degree days since the season's start, °C day; null: not counted."
    )
    alley_rain_mm: float | None = Field(
        description="Rain that enters rooted soil outside the wet strip, mm; null here and below:"
        " no roots there."
    )
    alley_drainage_mm: float | None = Field(description="What of it drains, mm.")
    alley_et_mm: float | None = Field(
        description="The part of the crop's water use that came from there, mm; the root zone's"
        " depletion does not rise by it."
    )
    alley_store_mm: float | None = Field(
        description="What is left there for the crop at the day's end, mm."
    )

    trigger_mm: float | None = Field(
        description="Depletion from which on the block gets water, mm: its share of the readily"
        " available water."
    )

    @classmethod
    def from_rows(cls, rows: LedgerRows, trigger_mm: Floats) -> list[Self]:
        """The rows as objects, day by day; ``trigger_mm`` (days,)."""
        columns = {name: rows.numbers[name].tolist() for name in LEDGER_NUMBERS}
        columns["trigger_mm"] = trigger_mm.tolist()
        days: list[date] = rows.days.astype("datetime64[D]").tolist()
        return [
            cls(
                day=day,
                is_observed=bool(rows.is_observed[row]),
                irrigation_origin=IrrigationOrigin(rows.irrigation_origin[row]).name.lower(),
                flags=plan_flags(int(rows.flags[row])),
                **{name: known(values[row]) for name, values in columns.items()},
            )
            for row, day in enumerate(days)
        ]


class BalanceOut(Out):
    """Days of a block's ledger in order; days without an entry are left out."""

    block_id: str = Field(description="Full block id, `farm.block`.")
    first_day: date = Field(description="First day asked for.")
    last_day: date = Field(description="Last day asked for.")
    items: list[BalanceDayOut]

    @classmethod
    def from_record(cls, balance: BlockBalance) -> Self:
        """The days as objects."""
        return cls(
            block_id=balance.block_id,
            first_day=balance.first_day,
            last_day=balance.last_day,
            items=BalanceDayOut.from_rows(balance.rows, balance.trigger_mm),
        )
