"""What there is: farms, sites with their weather, counties, crops, controllers."""

from __future__ import annotations

from datetime import date, datetime
from typing import Self

from pydantic import Field

from service.agronomy.civil_day import wall_text
from service.agronomy.crop_file import CropRow
from service.api.schemas.facts import Out
from service.api.schemas.pages import PageOut
from service.operations.weather.read_sites import SiteCoverage
from service.records.controllers import StoredController
from service.records.farms import CountyDefinition, FarmDefinition


class FarmSummaryOut(Out):
    """A farm in a list."""

    farm_id: str
    name: str
    zone: str = Field(description="Time zone, as in the IANA database.")
    unit_system: str = Field(description="`us` or `si`: units for the people of the farm.")

    @classmethod
    def from_record(cls, farm: FarmDefinition) -> Self:
        """The summary of a definition."""
        return cls(
            farm_id=farm.farm_id, name=farm.name, zone=farm.zone, unit_system=farm.unit_system
        )


class FarmPageOut(PageOut[FarmSummaryOut]):
    """A page of farms, by id."""


class CoverageOut(Out):
    """From when to when there is weather of a kind; days between may be missing."""

    kind: str = Field(description="`observed`, `analysis` or `forecast`.")
    first_day: date = Field(description="First local day with temperatures.")
    last_day: date = Field(description="Last one.")


class SiteOut(Out):
    """A place that weather is known for."""

    site_id: str
    name: str
    latitude_deg: float = Field(description="Degrees north.")
    longitude_deg: float = Field(description="Degrees east.")
    elevation_m: float = Field(description="Above sea level, m.")
    zone: str = Field(description="Time zone, as in the IANA database.")
    coverage: list[CoverageOut] = Field(description="Its weather; empty where there is none.")
    observed_until: date | None = Field(
        description="Last day on which all was measured that reference ET takes from measurements"
        " there. Rain says nothing of it."
    )
    measured_until: dict[str, date] = Field(
        description="The last measured day of `temperature`, `humidity`, `wind`, `radiation` and"
        " `rain`; what was not measured in 30 days may be missing."
    )
    forecast_until: date | None = Field(description="Last day of its forecast.")
    forecast_issued_at: datetime | None = Field(description="When that was issued, UTC.")

    @classmethod
    def from_record(cls, found: SiteCoverage) -> Self:
        """The site with its spans."""
        site = found.site
        return cls(
            site_id=site.site_id,
            name=site.name,
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            elevation_m=site.elevation_m,
            zone=site.zone,
            coverage=[
                CoverageOut(kind=each.kind, first_day=each.first_day, last_day=each.last_day)
                for each in found.spans
            ],
            observed_until=found.freshness.last_measured_day,
            measured_until=dict(found.freshness.measured_until),
            forecast_until=found.freshness.forecast_until_day,
            forecast_issued_at=found.freshness.forecast_issued_at,
        )


class SitePageOut(PageOut[SiteOut]):
    """A page of sites, by id."""


class CountySummaryOut(Out):
    """A county in a list."""

    county_code: str = Field(description="Official code in the adviser's country.")
    name: str
    site_id: str = Field(description="Site whose weather is the county's.")

    @classmethod
    def from_record(cls, county: CountyDefinition) -> Self:
        """The county."""
        return cls(county_code=county.county_code, name=county.name, site_id=county.site_id)


class CountyPageOut(PageOut[CountySummaryOut]):
    """A page of counties, by code."""


class CropOut(Out):
    """A crop with the numbers that fill the gaps of a block, and where each is from."""

    crop_key: str = Field(description="As the key `crop` of a block takes it.")
    name: str
    kc_initial: float = Field(description="Crop coefficient of the initial stage.")
    kc_mid: float = Field(description="Of the mid stage.")
    kc_end: float = Field(description="At the end of the late stage.")
    kc_off_season: float = Field(description="Outside the stages.")
    height_m: float = Field(description="Height that the coefficients are for, m.")
    root_depth_low_m: float = Field(description="Published root depth, lower end, m.")
    root_depth_high_m: float = Field(description="Upper end, m.")
    depletion_fraction: float = Field(description="p at 5 mm a day.")
    years_to_full_size: int = Field(description="Years from planting to a full canopy.")
    is_evergreen: bool
    stage_lengths_day: list[int] | None = Field(
        description="Initial, development, mid and late stage, days; null: none published, and"
        " none estimated."
    )
    season_start: str | None = Field(description="`MM-DD` in the northern hemisphere.")
    is_season_estimated: bool = Field(description="The stages are an estimate, not published.")
    kc_source: str
    off_season_source: str
    root_source: str
    season_source: str | None

    @classmethod
    def from_row(cls, crop: CropRow) -> Self:
        """A row of the crop table."""
        estimate = crop.estimated_season
        stages, start, source = crop.stage_lengths_day, crop.season_start, crop.stage_source
        is_estimated = stages is None and estimate is not None
        if stages is None and estimate is not None:
            stages, start = estimate.stage_lengths_day, estimate.season_start
            source = estimate.origin
        return cls(
            crop_key=crop.key,
            name=crop.name,
            kc_initial=crop.kc_initial,
            kc_mid=crop.kc_mid,
            kc_end=crop.kc_end,
            kc_off_season=crop.kc_off_season,
            height_m=crop.height_m,
            root_depth_low_m=crop.root_depth_low_m,
            root_depth_high_m=crop.root_depth_high_m,
            depletion_fraction=crop.depletion_fraction,
            years_to_full_size=crop.years_to_full_size,
            is_evergreen=crop.is_evergreen,
            stage_lengths_day=None if stages is None else list(stages),
            season_start=start,
            is_season_estimated=is_estimated,
            kc_source=crop.kc_source,
            off_season_source=crop.off_season_source,
            root_source=crop.root_source,
            season_source=source,
        )


class CropPageOut(PageOut[CropOut]):
    """A page of crops, by key."""


class FallbackRunOut(Out):
    """A daily run of a channel once the last program has run out."""

    start_local: str = Field(description="HH:MM on the local clock.")
    duration_min: int = Field(description="Length, min.")


class ChannelOut(Out):
    """An output of a controller, and the block whose valve it opens."""

    channel: int = Field(description="Number of the output on the controller.")
    block_id: str = Field(description="Full block id, `farm.block`.")
    fallback: list[FallbackRunOut] = Field(description="Its daily runs; empty: none.")


class ControllerOut(Out):
    """A controller in the field."""

    controller_id: str = Field(description="Full controller id, `farm.controller`.")
    farm_id: str
    name: str
    policy: str = Field(
        description="What it does once its program has run out: `fallback` or `stop`."
    )
    channels: list[ChannelOut] = Field(description="Its outputs, by number.")
    retired_at: datetime | None = Field(
        description="When it was taken out of its farm, UTC; null: in use."
    )

    @classmethod
    def from_record(cls, stored: StoredController) -> Self:
        """A stored controller."""
        controller = stored.definition
        return cls(
            controller_id=controller.controller_id,
            farm_id=controller.farm_id,
            name=controller.name,
            policy=controller.policy,
            channels=[
                ChannelOut(
                    channel=each.channel,
                    block_id=each.block_id,
                    fallback=[
                        FallbackRunOut(
                            start_local=wall_text(run.start_wall_min),
                            duration_min=run.duration_min,
                        )
                        for run in each.fallback
                    ],
                )
                for each in controller.channels
            ],
            retired_at=stored.retired_at,
        )


class ControllerPageOut(PageOut[ControllerOut]):
    """A page of controllers, by id."""
