"""Past seasons of a block under several programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Self

from pydantic import Field

from service.api.schemas.facts import Out
from service.records.comparison import Program, YearFigures


class ProgramYearOut(Out):
    """One year under one program; depths in mm over the block area."""

    year: int = Field(description="Calendar year; the first and last may be parts of one.")
    program: Program = Field(
        description="`rule`: the same water every week; `weekly`: a timer set every seventh day;"
        " `daily`: the daily plan; `foreseen`: the daily plan, had every evening known the next"
        " day."
    )
    day_count: int = Field(description="Days of the year that were run.")
    gross_mm: float = Field(description="Irrigation, mm.")
    volume_m3: float = Field(description="Irrigation, m3.")
    irrigation_drainage_mm: float = Field(
        description="Irrigation that drained below the roots, mm."
    )
    rain_drainage_mm: float = Field(description="Rain that drained below the roots, mm.")
    stress_day_count: int = Field(
        description="Days of the watering season that end below readily available water."
    )
    lost_crop_et_mm: float = Field(
        description="Water that the crop did not use in that season for want of it, mm."
    )
    water_cost: float | None = Field(description="By the price given; null without one.")
    nitrogen_lost_kg_per_ha: float | None = Field(
        description="Nitrogen that drained below the roots, kg/ha, by a single mixed cell: to"
        " compare programs by. Null without a rate."
    )

    @classmethod
    def from_record(cls, figures: YearFigures) -> Self:
        """The figures of a year."""
        return cls(**asdict(figures))


class ComparisonOut(Out):
    """A block under each program, year after year."""

    block_id: str
    items: list[ProgramYearOut]
