"""How good the forecasts at a site were."""

from __future__ import annotations

from datetime import date
from typing import Self

from pydantic import Field

from service.agronomy.forecast_scores import FEWEST_PAIRS, AmountScores, ChanceScores
from service.api.schemas.facts import Out, known
from service.api.schemas.queries import In
from service.records.forecast_quality import (
    ArchiveFlag,
    LeadScores,
    SiteQuality,
    SourceQuality,
    Truth,
)

_FEW = f"Null: fewer than {FEWEST_PAIRS} pairs"


class ForecastQualityQuery(In):
    """Selects whose observations count."""

    farm: str | None = Field(
        None,
        max_length=40,
        description="Hold forecasts against the gauge of this farm too; defaults to the key's farm,"
        " and with a key for the region to the record of the place.",
        examples=["hill-farm"],
    )


class AmountScoresOut(Out):
    """Scores of amounts, mm of a day."""

    pair_count: int = Field(description="Days that were both forecast and observed.")
    bias_mm: float | None = Field(description=f"Mean of issued less observed, mm. {_FEW}.")
    mae_mm: float | None = Field(description=f"Mean absolute error, mm. {_FEW}.")
    crps_mm: float | None = Field(
        description="Continuous ranked probability score, fair, mm: of the ensemble, else of"
        f" members made of chance and amount, else of the amount alone. {_FEW}."
    )
    climatology_crps_mm: float | None = Field(
        description="The same of the other days of the season, mm. Null: too few of them."
    )
    skill_ratio: float | None = Field(
        description="1 - crps / climatology_crps: 1 perfect, 0 no better than the season, below 0"
        " worse. Null: too few days."
    )
    coverage_fraction: float | None = Field(
        description="Share of observed days within the 80 % band; 0.8 is right. Null: fewer than"
        f" {FEWEST_PAIRS} days with a band."
    )
    band_count: int = Field(description="Days with a band.")
    half_coverage_fraction: float | None = Field(
        description="Share of observed days within the middle half of the ensemble; 0.5 is right."
        f" Null: no ensemble, or fewer than {FEWEST_PAIRS} days with one."
    )
    most_coverage_fraction: float | None = Field(
        description="Share of them within its middle nine tenths; 0.9 is right. Null: likewise."
    )

    @classmethod
    def from_record(cls, scores: AmountScores) -> Self:
        """The scores, NaN as null."""
        names = ("bias_mm", "mae_mm", "crps_mm", "climatology_crps_mm", "skill_ratio")
        return cls(
            pair_count=scores.pair_count,
            band_count=scores.band_count,
            coverage_fraction=known(scores.coverage_fraction),
            half_coverage_fraction=known(scores.half_coverage_fraction),
            most_coverage_fraction=known(scores.most_coverage_fraction),
            **{name: known(getattr(scores, name)) for name in names},
        )


class ChanceClassOut(Out):
    """Days on which a chance of this class was issued."""

    class_issued_fraction: float = Field(description="Mean chance issued.")
    class_observed_fraction: float = Field(description="Share of the days that had rain.")
    class_count: int = Field(description="Days.")


class ChanceScoresOut(Out):
    """Scores of chances of rain of 0.2 mm or more."""

    pair_count: int = Field(description="Days with a chance that were observed.")
    brier: float | None = Field(description=f"Brier score, 0 is perfect. {_FEW}.")
    reliability: float | None = Field(
        description=f"Its part by chances that differ from what happens; 0 is best. {_FEW}."
    )
    resolution: float | None = Field(
        description=f"Its part by which days differ; the more, the better. {_FEW}."
    )
    uncertainty: float | None = Field(description=f"Its part by the days themselves. {_FEW}.")
    skill_ratio: float | None = Field(
        description="Against the share of the season's days with rain. Null: too few days."
    )
    right_fraction: float | None = Field(
        description=f"Share of days on which rain or none was called rightly. {_FEW}."
    )
    classes: list[ChanceClassOut] = Field(description="By class of chances, those that came.")

    @classmethod
    def from_record(cls, scores: ChanceScores) -> Self:
        """The scores, NaN as null."""
        names = ("brier", "reliability", "resolution", "uncertainty")
        return cls(
            pair_count=scores.pair_count,
            skill_ratio=known(scores.skill_ratio),
            right_fraction=known(scores.right_fraction),
            classes=[
                ChanceClassOut(
                    class_issued_fraction=known(issued) or 0.0,
                    class_observed_fraction=known(observed) or 0.0,
                    class_count=count,
                )
                for issued, observed, count in zip(
                    scores.class_issued_fraction.tolist(),
                    scores.class_observed_fraction.tolist(),
                    scores.class_count.tolist(),
                    strict=True,
                )
                if count
            ],
            **{name: known(getattr(scores, name)) for name in names},
        )


class LeadScoresOut(Out):
    """Scores of forecasts so many days ahead."""

    lead_days: int = Field(description="From the evening of the forecast to the day; 1: the next.")
    rain: AmountScoresOut
    chance: ChanceScoresOut
    et0: AmountScoresOut = Field(description="Of reference ET.")

    @classmethod
    def from_record(cls, scores: LeadScores) -> Self:
        """The scores of a lead."""
        return cls(
            lead_days=scores.lead_days,
            rain=AmountScoresOut.from_record(scores.rain),
            chance=ChanceScoresOut.from_record(scores.chance),
            et0=AmountScoresOut.from_record(scores.et0),
        )


class SourceQualityOut(Out):
    """One source at the site."""

    source: str
    is_in_use: bool = Field(description="Whether plans take their forecast from it now.")
    first_day: date
    last_day: date
    rain_truth: Truth = Field(
        description="What its rain was held against: `measured` (gauge, station, file);"
        " `other-model` or `own-model`, an analysis where nothing was measured, the last of which"
        " flatters it; `none`."
    )
    et0_truth: Truth = Field(description="The same of reference ET.")
    flags: list[ArchiveFlag] = Field(
        description="`too-few` pairs; `gaps`; `site-moved`: only forecasts since then count;"
        " `source-switched`: another one was used before; `unit-changed`: nothing is scored;"
        " `stopped`: it issues no more."
    )
    missing_forecast_day_count: int = Field(description="Days it had issued nothing for.")
    missing_observed_day_count: int = Field(description="Days whose rain was not observed.")
    unit_changed_on: date | None = Field(
        description="From when its values look as if in another unit. Null: they do not."
    )
    last_useful_rain_lead_days: int = Field(
        description="Up to how many days ahead its rain is better than the season; 0: not at all."
    )
    last_useful_et0_lead_days: int = Field(description="The same of reference ET.")
    leads: list[LeadScoresOut] = Field(description="The next day first; empty: nothing is scored.")

    @classmethod
    def from_record(cls, quality: SourceQuality) -> Self:
        """One source."""
        names = set(cls.model_fields) - {"flags", "leads"}
        return cls(
            flags=list(quality.flags),
            leads=[LeadScoresOut.from_record(each) for each in quality.leads],
            **{name: getattr(quality, name) for name in names},
        )


class ForecastQualityOut(Out):
    """How good the forecasts at a site were over the last half year."""

    site_id: str
    first_day: date | None = Field(description="Since when forecasts are kept. Null: none are.")
    moved_on: date | None = Field(
        description="When the archive began again because the site had moved. Null: it has not."
    )
    sources: list[SourceQualityOut] = Field(description="The one in use first.")

    @classmethod
    def from_record(cls, quality: SiteQuality) -> Self:
        """One site."""
        return cls(
            site_id=quality.site_id,
            first_day=quality.first_day,
            moved_on=quality.moved_on,
            sources=[SourceQualityOut.from_record(each) for each in quality.sources],
        )
