"""What a season's plan is made of: records, no step.

In: nothing. Out: the facts of a block, its soil, its water and the fertiliser.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from service.nutrition.leaf_classes import LeafResult
from service.nutrition.tables import NutritionCrop


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilFacts:
    """A soil test in its units: mg/kg, %, meq/100 g, cm."""

    values: Mapping[str, float]
    extractant: str
    ph_method: str = "water"
    texture: str | None = None
    """None: from the exchange capacity."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterFacts:
    """What the season's water brings."""

    nitrate_nitrogen_mg_per_l: float | None = None
    alkalinity_mg_per_l: float | None = None
    planned_mm: float | None = None
    is_old: bool = False
    """Tested more than a year ago."""
    acidified_ph: float | None = None
    """Acid brings the water to this pH; the alkalinity above is what is left after it."""
    acid_carbonate_kg_per_ha: float = 0.0
    """CaCO3 that acid given in the last year used up; 0 where the alkalinity has it already."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NitrogenProduct:
    """The fertiliser that carries the nitrogen."""

    key: str
    name: str
    nitrogen_fraction: float
    is_nitrate: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonFacts:
    """All that a plan is made of."""

    crop: NutritionCrop
    season_year: int
    today: date
    latitude_deg: float
    area_m2: float
    age_years: int
    planted_share: float
    leaf: LeafResult | None = None
    soil: SoilFacts | None = None
    water: WaterFacts = field(default_factory=WaterFacts)
    product: NitrogenProduct | None = None
    last_season_kg_per_ha: float | None = None
    base_kg_per_ha: float | None = None
    removal_kg_per_ha: float = 0.0
    """Nitrogen that the harvest carries off."""
    k2o_removal_kg_per_ha: float = 0.0
    """K2O that it carries off."""
    legal_cap_kg_per_ha: float | None = None
    vigour: str = "normal"
    sawdust_depth_cm: float = 0.0
    recent_lime_tons_per_ac: float = 0.0
    """Spread since, and not yet in the soil test."""
    months_since_lime: float = 0.0
    ph_target: float | None = None
    own_last_nitrogen: date | None = None
    is_plastic: bool = False
    is_spread_dry: bool = False
    """Nitrogen is spread, not injected."""
    chosen_rows: tuple[str, ...] = ()
