"""How good the forecasts at a site were: scores by source and lead, and what limits them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from service.agronomy.forecast_scores import AmountScores, ChanceScores


class Truth(StrEnum):
    """What forecasts were held against."""

    MEASURED = "measured"
    """A gauge, a station or an imported file."""
    OTHER_MODEL = "other-model"
    """The analysis of another model: nothing was measured."""
    OWN_MODEL = "own-model"
    """The analysis of the very model that made the forecast, which flatters it."""
    NONE = "none"
    """Nothing was observed yet."""


class ArchiveFlag(StrEnum):
    """What a reader must know before the scores."""

    TOO_FEW = "too-few"
    """Fewer pairs than scores are given from."""
    GAPS = "gaps"
    """Days without a forecast, or without an observation."""
    SITE_MOVED = "site-moved"
    """The archive began again when the site moved."""
    SOURCE_SWITCHED = "source-switched"
    """Another source was in use during the span."""
    UNIT_CHANGED = "unit-changed"
    """What was issued looks as if in another unit: nothing is scored."""
    STOPPED = "stopped"
    """The source has issued nothing for days."""


@dataclass(frozen=True, slots=True)
class LeadScores:
    """The scores of one source so many days ahead."""

    lead_days: int
    rain: AmountScores
    chance: ChanceScores
    et0: AmountScores


@dataclass(frozen=True, slots=True)
class SourceQuality:
    """How good one source was at one site."""

    source: str
    is_in_use: bool
    """Whether plans take their forecast from it now."""
    first_day: date
    last_day: date
    """First and last of the days that it was held against."""
    rain_truth: Truth
    et0_truth: Truth
    flags: tuple[ArchiveFlag, ...]
    missing_forecast_day_count: int
    """Days of the span that it had issued nothing for on the evening before."""
    missing_observed_day_count: int
    """Days of the span whose rain was not observed by what the forecast is held against."""
    unit_changed_on: date | None
    leads: tuple[LeadScores, ...]
    """By lead, the next day first; empty where nothing is scored."""
    last_useful_rain_lead_days: int
    """Up to how many days ahead its rain was better than the season; 0: not even the next day."""
    last_useful_et0_lead_days: int


@dataclass(frozen=True, slots=True)
class SiteQuality:
    """How good the forecasts at one site were."""

    site_id: str
    site_name: str
    first_day: date | None
    """Since when forecasts are kept; None: none are."""
    moved_on: date | None
    """When the archive began again because the site had moved."""
    sources: tuple[SourceQuality, ...]
    """The one in use first."""
