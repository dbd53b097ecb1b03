"""Water need of counties, week by week."""

from __future__ import annotations

from datetime import date, datetime
from itertools import pairwise
from typing import Self

from pydantic import Field

from service.agronomy.county_need import Basis
from service.api.schemas.facts import Out, known
from service.operations.review.compare_counties import CountyComparison
from service.operations.review.reference_block import ReferenceBlock
from service.records.farms import BlockDefinition
from service.unit_sizes import GALLONS_PER_ACRE_INCH, M2_PER_HECTARE, MM_PER_INCH


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


class SourceDaysOut(Out):
    """Days of a county whose temperatures come from one source."""

    source: str = Field(description="Name of the weather source.")
    kind: str = Field(description="`observed`, `analysis` or `forecast`.")
    days: int = Field(description="How many days of the week.")
    issued_at: datetime = Field(description="When the oldest of them was issued or recorded, UTC.")

    def in_words(self) -> str:
        """For a cell of a table."""
        return f"{self.source} {self.kind} {self.days} d of {self.issued_at:%Y-%m-%dT%H:%MZ}"


class NullReasonOut(Out):
    """Why a figure is null."""

    field: str = Field(description="Name of the field.")
    reason: str = Field(description="Why it is null, in words.")

    def in_words(self) -> str:
        """For a cell of a table."""
        return f"{self.field}: {self.reason}"


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
        description="Days of the week that are not measured, on whatever else they rest."
    )
    observed_until: date | None = Field(
        description="Last day on which all was measured that reference ET takes from measurements"
        " there. Rain says nothing of it."
    )
    data_age_days: int | None = Field(description="Days since then; null: no observed weather.")
    rain_observed_until: date | None = Field(description="Last day with measured rain.")
    site_id: str = Field(description="The place whose weather stands for the county.")
    rests_on: str = Field(
        description="The weakest that the figures rest on: `measured` (every day), `forecast`,"
        " `stand-in` (the season's normal, the days around, or a place nearby) or `unknown`. A rank"
        " that rests on a stand-in is no match for one that was measured."
    )
    days_measured: int = Field(description="Days of the week whose weather is measured.")
    days_forecast: int = Field(description="Days whose weather is a forecast.")
    days_stand_in: int = Field(
        description="Days with the season's normal, the mean of days around, or a place nearby."
    )
    days_unknown: int = Field(description="Days of which nothing is known.")
    forecast_issued_at: datetime | None = Field(
        description="When the oldest forecast of the week was issued, UTC."
    )
    sources: list[SourceDaysOut] = Field(description="Where the temperatures come from.")
    normal_reference_et_mm: float | None = Field(
        description="Reference ET of these days by the place's monthly normals, mm."
    )
    normal_net_need_mm: float | None = Field(
        description="Net need of the reference at that normal, without rain, mm: no normal of rain"
        " is known."
    )
    net_need_p10_mm: float | None = Field(
        description="Net need that is exceeded with a probability of 90 %, mm, by the courses that"
        " the coming weather may take; null where none covers all coming days."
    )
    net_need_p50_mm: float | None = Field(description="The same with 50 %.")
    net_need_p90_mm: float | None = Field(description="The same with 10 %.")
    why_null: list[NullReasonOut] = Field(description="Why figures of this row are null.")

    @classmethod
    def rows_of(cls, comparison: CountyComparison, *, week: str, on: date) -> list[Self]:
        """One row per county, in the order of their codes."""
        return [
            cls.row_of(comparison, place, week=week, on=on)
            for place in range(len(comparison.counties))
        ]

    @classmethod
    def row_of(cls, comparison: CountyComparison, place: int, *, week: str, on: date) -> Self:
        """The row of one county."""
        need, county = comparison.need, comparison.counties[place]
        days, fresh = comparison.days, comparison.freshness[place]
        band_mm = comparison.net_need_band_mm[:, place].tolist()
        forecasts = [each for each in comparison.sources[place] if each.kind == "forecast"]
        row = cls(
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
            observed_until=fresh.last_measured_day,
            data_age_days=_age_days(fresh.last_measured_day, on),
            rain_observed_until=fresh.measured_until.get("rain"),
            site_id=county.site_id,
            rests_on=days.of(place).value,
            days_measured=int(days.measured_days_count[place]),
            days_forecast=int(days.forecast_days_count[place]),
            days_stand_in=int(days.stand_in_days_count[place]),
            days_unknown=int(days.unknown_days_count[place]),
            forecast_issued_at=min((each.issued_at for each in forecasts), default=None),
            sources=[
                SourceDaysOut(
                    source=each.source,
                    kind=each.kind,
                    days=each.days_count,
                    issued_at=each.issued_at,
                )
                for each in comparison.sources[place]
            ],
            normal_reference_et_mm=known(float(need.normal_et0_mm[place])),
            normal_net_need_mm=known(float(need.normal_need_mm[place])),
            net_need_p10_mm=known(band_mm[0]),
            net_need_p50_mm=known(band_mm[1]),
            net_need_p90_mm=known(band_mm[2]),
            why_null=[],
        )
        return row.model_copy(update={"why_null": row.null_reasons()})

    def null_reasons(self) -> list[NullReasonOut]:
        """Why figures of this row are null."""
        not_known = f"nothing is known of {self.days_unknown} of the days"
        no_spread = (
            "every day is measured"
            if self.rests_on == Basis.MEASURED
            else "no forecast says for all coming days how far it may be off"
        )
        reasons = dict.fromkeys(
            ("rank", "reference_et_mm", "crop_et_mm", "rain_entering_mm", "running_h"), not_known
        )
        reasons |= {
            "rain_mm": not_known if self.days_unknown else "rain of a day is not known",
            "percent_of_normal": not_known,
            "observed_until": "no temperatures were measured at the place",
            "data_age_days": "no temperatures were measured at the place",
            "rain_observed_until": "no rain was measured at the place lately",
            "forecast_issued_at": "no day rests on a forecast",
        }
        if self.normal_reference_et_mm is None:
            reasons |= dict.fromkeys(_NORMALS, "the place has no monthly normals of reference ET")
        reasons |= dict.fromkeys(_SPREAD, no_spread)
        found = [
            NullReasonOut(field=name, reason=reason)
            for name, reason in reasons.items()
            if getattr(self, name) is None
        ]
        if self.net_need.depth_mm is None:
            found += [
                NullReasonOut(field=name, reason=not_known) for name in ("net_need", "gross_need")
            ]
        return found


_NORMALS = ("percent_of_normal", "normal_reference_et_mm", "normal_net_need_mm")
_SPREAD = ("net_need_p10_mm", "net_need_p50_mm", "net_need_p90_mm")


class ReferenceOut(Out):
    """The reference block that counties are compared with."""

    block_id: str | None = Field(description="A stored block; null: made from a crop.")
    crop_key: str = Field(description="Row of the crop table.")
    row_spacing_m: float = Field(description="Distance between rows, m.")
    emitter_spacing_m: float = Field(description="Distance between emitters, m.")
    emitter_flow_l_per_h: float = Field(description="Flow of one emitter, L/h.")
    laterals_per_row_count: float = Field(description="Drip lines per row.")
    season_start: str | None = Field(
        description="Month and day on which the season starts, `MM-DD`; null: a block's own table."
    )
    stage_lengths_day: list[float] | None = Field(
        description="Days of the initial, development, mid and late stage; null: a stored block"
        " whose stages are in degree days, or a table."
    )
    season_is_estimate: bool = Field(
        description="The season was not given: it is one published for elsewhere, or an estimate."
    )
    season_origin: str = Field(description="Where the season is from.")

    @classmethod
    def of(
        cls, block: BlockDefinition, made: ReferenceBlock | None, *, block_id: str | None
    ) -> Self:
        """A stored block, or one that was made of a crop."""
        curve = block.curve
        knots = (0.0, *curve.stage_knots)
        return cls(
            block_id=block_id,
            crop_key=block.crop_key,
            row_spacing_m=block.row_spacing_m,
            emitter_spacing_m=block.emitter_spacing_m,
            emitter_flow_l_per_h=block.emitter_flow_l_per_h,
            laterals_per_row_count=block.laterals_per_row_count,
            season_start=None
            if curve.basis == "table"
            else f"{curve.season_start[0]:02}-{curve.season_start[1]:02}",
            stage_lengths_day=[later - sooner for sooner, later in pairwise(knots)]
            if curve.basis == "days"
            else None,
            season_is_estimate=made is not None and made.is_season_estimated,
            season_origin=block.origins.get("curve", "") if made is None else made.season_origin,
        )


class CountyNeedOut(Out):
    """Counties compared, week by week."""

    issued_at: datetime = Field(description="When these figures were worked out, UTC.")
    reference: ReferenceOut
    items: list[CountyWeekOut] = Field(description="By week, then by county code.")


def _age_days(day: date | None, on: date) -> int | None:
    return None if day is None else (on - day).days
