"""Past seasons of a block under several programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Self

from pydantic import Field

from service.api.schemas.facts import Out
from service.records.comparison import Program, YearFigures


class ProgramTotalOut(Out):
    """All years under one program; depths in mm over the block area."""

    program: Program = Field(
        description="`rule`: the same water every week; `weekly`: a timer set every seventh day;"
        " `daily`: the daily plan; `foreseen`: the daily plan, had every evening known the next"
        " day; `own`: what was run, by reported runs, else by what its timer had been set to; left"
        " out where nothing of it is known."
    )
    day_count: int = Field(description="Days that the figures are of.")
    season_day_count: int = Field(description="Days of the watering season among those run.")
    known_day_count: int = Field(
        description="Those of them of which it is known what ran. With fewer than all, the figures"
        " are of these days alone and cannot be held beside the other programs."
    )
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
    water_cost: float | None = Field(
        description="Of `volume_m3`, in the currency of the price. Null: not stated, since the"
        " request gave no `water_price`."
    )
    nitrogen_lost_kg_per_ha: float | None = Field(
        description="Nitrogen at risk: what drained below the roots, kg/ha, by a single mixed cell:"
        " to compare programs by. Null: not stated, since the request gave no rate as `nitrogen`."
    )

    @classmethod
    def from_record(cls, figures: YearFigures) -> Self:
        """The figures of a program."""
        given = asdict(figures)
        return cls(**{name: given[name] for name in cls.model_fields})


class ProgramYearOut(ProgramTotalOut):
    """One year under one program; depths in mm over the block area."""

    year: int = Field(description="Calendar year; the first and last may be parts of one.")


class ComparisonOut(Out):
    """A block under each program, year after year."""

    block_id: str
    items: list[ProgramYearOut]
    totals: list[ProgramTotalOut] = Field(
        description="Over all these years, of the programs that are known whole."
    )
