"""Water need of counties, week by week."""

from __future__ import annotations

from datetime import date
from typing import Self

from pydantic import Field

from service.agronomy.units import GALLONS_PER_ACRE_INCH, M2_PER_HECTARE, MM_PER_INCH
from service.api.schemas.facts import Out, known
from service.operations.review.compare_counties import CountyComparison


class DepthOut(Out):
    """A depth of water in the common units."""

    depth_mm: float | None = Field(description="mm.")
    inches: float | None = Field(description="in.")
    gallons_per_acre: float | None = Field(description="US gallons per acre.")
    cubic_metres_per_hectare: float | None = Field(description="m\u00b3/ha.")

    @classmethod
    def of(cls, depth_mm: float) -> Self:
        """The depth in each unit."""
        inches = depth_mm / MM_PER_INCH
        return cls(
            depth_mm=known(round(depth_mm, 3)),
            inches=known(round(inches, 4)),
            gallons_per_acre=known(round(inches * GALLONS_PER_ACRE_INCH, 1)),
            cubic_metres_per_hectare=known(round(depth_mm * M2_PER_HECTARE / 1000.0, 2)),
        )


class CountyWeekOut(Out):
    """A week of the reference block in one county."""

    week: str = Field(description="ISO week, Monday to Sunday.")
    first_day: date = Field(description="Its Monday.")
    last_day: date = Field(description="Its Sunday.")
    county_code: str = Field(description="Official code of the county.")
    name: str = Field(description="Name of the county.")
    rank: int | None = Field(description="1 for the largest net need; null: not known.")
    reference_et_mm: float | None = Field(description="Reference ET of the week, mm.")
    percent_of_normal: float | None = Field(
        description="Reference ET as a percentage of its normal; null: no normal is stored."
    )
    crop_et_mm: float | None = Field(description="Water use of the reference crop, mm.")
    rain_mm: float | None = Field(
        description="Total rain, fallen or forecast, mm; null: not known for every day."
    )
    rain_entering_mm: float | None = Field(description="Rain that the roots could keep, mm.")
    net_need: DepthOut
    gross_need: DepthOut
    running_h: float | None = Field(description="Run time on the reference system only, h.")
    forecast_day_count: int = Field(
        description="Days of the week that are not measured: forecast, or not known."
    )
    observed_until: date | None = Field(
        description="Last day on which all was measured that reference ET takes from measurements"
        " there. Rain says nothing of it."
    )
    data_age_days: int | None = Field(description="Days since then; null: no observed weather.")
    rain_observed_until: date | None = Field(description="Last day with measured rain.")

    @classmethod
    def rows_of(cls, comparison: CountyComparison, *, week: str, on: date) -> list[Self]:
        """One row per county, in the order of their codes."""
        need = comparison.need
        return [
            cls(
                week=week,
                first_day=comparison.first_day,
                last_day=comparison.last_day,
                county_code=county.county_code,
                name=county.name,
                rank=int(need.rank[place]) or None,
                reference_et_mm=known(float(need.reference_et_mm[place])),
                percent_of_normal=known(float(need.percent_of_normal[place])),
                crop_et_mm=known(float(need.crop_et_mm[place])),
                rain_mm=known(float(comparison.rain_mm[place])),
                rain_entering_mm=known(float(need.rain_entering_mm[place])),
                net_need=DepthOut.of(float(need.net_need_mm[place])),
                gross_need=DepthOut.of(float(need.gross_need_mm[place])),
                running_h=known(float(need.running_h[place])),
                forecast_day_count=int(comparison.forecast_day_count[place]),
                observed_until=comparison.observed_until[place],
                data_age_days=_age_days(comparison.observed_until[place], on),
                rain_observed_until=comparison.freshness[place].measured_until.get("rain"),
            )
            for place, county in enumerate(comparison.counties)
        ]


class ReferenceOut(Out):
    """The reference block that counties are compared with."""

    block_id: str | None = Field(description="A stored block; null: made from a crop.")
    crop_key: str = Field(description="Row of the crop table.")
    row_spacing_m: float = Field(description="Distance between rows, m.")
    emitter_spacing_m: float = Field(description="Distance between emitters, m.")
    emitter_flow_l_per_h: float = Field(description="Flow of one emitter, L/h.")
    laterals_per_row_count: float = Field(description="Drip lines per row.")


class CountyNeedOut(Out):
    """Counties compared, week by week."""

    reference: ReferenceOut
    items: list[CountyWeekOut] = Field(description="By week, then by county code.")


def _age_days(day: date | None, on: date) -> int | None:
    return None if day is None else (on - day).days
