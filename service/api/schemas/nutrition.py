"""Leaf, petiole and soil tests, and the season's plan of nutrients and soil pH."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from service.api.dependencies import CalendarDate
from service.api.schemas.bodies import Body
from service.api.schemas.facts import Out
from service.api.schemas.queries import In
from service.api.schemas.waterworks import plain
from service.nutrition.soil_ph import TEXTURES
from service.operations.nutrition.documents import plan_document, report_document
from service.operations.nutrition.plan_nutrients import NutrientPlan, PlanRequest
from service.operations.nutrition.record_tests import NutrientReport
from service.records.nutrition import TestSort

MOST_READINGS = 40
MOST_LEAVES = 10_000
_KEY = r"^[a-z0-9-]{0,60}$"
_NUTRIENT = "^[A-Za-z0-9-]{1,24}$"
Extractant = Literal["mehlich-3", "bray-1", "olsen", "ammonium-acetate", "not-stated"]
Basis = Literal["read", "second-hand", "memory", "laboratory", ""]
_BASIS = (
    "How well the range is known: `read` in its source, `second-hand`, from `memory`, or printed by"
    " the `laboratory`; empty without a range."
)
_SOURCE = "Where the range comes from; empty without one."


class NutrientReadingIn(Body):
    """One line of a laboratory's report."""

    nutrient: str = Field(
        pattern=_NUTRIENT,
        description="`N`, `P`, `K`, `Ca`, `Mg`, `S`, `B`, `Fe`, `Mn`, `Zn`, `Cu`, `Cl`, `Na`; of a"
        " soil also `pH`, `cec`, `organic-matter`, `exchangeable-acidity`, ...",
    )
    value: float = Field(ge=0.0, le=1e9, description="The number as printed.")
    unit: str = Field(
        "", max_length=30, description="As printed: `%`, `ppm`, `g/kg`, `% P2O5`, `lb/ac`, ..."
    )
    is_below_detection: bool = Field(False, description="The report says less than this value.")


class OwnRangeIn(Body):
    """A sufficiency range that the laboratory printed; it stands above the published one."""

    nutrient: str = Field(pattern=_NUTRIENT, description="As in the readings.")
    low: float = Field(ge=0.0, le=1e9, description="Lower end, as printed.")
    high: float = Field(gt=0.0, le=1e9, description="Upper end, as printed.")
    unit: str = Field(max_length=30, description="As printed: `%`, `ppm`, ...")


class NutrientTestIn(Body):
    """A laboratory's report on a block's leaves, petioles or soil."""

    day: CalendarDate = Field(strict=False, description="Local day on which the sample was taken.")
    kind: TestSort = Field(description="What was sampled.")
    readings: list[NutrientReadingIn] = Field(min_length=1, max_length=MOST_READINGS)
    crop: str = Field(
        "",
        pattern=_KEY,
        description="Of a leaf, where the block's crop may be one of several:"
        " `rabbiteye-blueberry`; empty: the only one it can be.",
    )
    tissue: str = Field(
        "", pattern=_KEY, description="`leaf`, `primocane-leaf`, ...; empty: the only one."
    )
    stage: str = Field(
        "", pattern=_KEY, description="`mid-season`, `bloom`, ...; empty: the only one."
    )
    leaf_count: int | None = Field(
        None, ge=1, le=MOST_LEAVES, description="Leaves or petioles; null: not stated."
    )
    cultivar: str = Field("", max_length=80, description="The one cultivar of the sample.")
    last_spray_day: CalendarDate | None = Field(
        None, strict=False, description="Of the last spray on leaves."
    )
    is_washed: bool = Field(False, description="The leaves were washed.")
    extractant: Extractant = Field("not-stated", description="Of a soil's P, K and Mg.")
    ph_method: Literal["water", "calcium-chloride"] = Field(
        "water", description="What a soil's pH was measured in."
    )
    texture: str = Field(
        "",
        pattern=f"^({'|'.join(TEXTURES)})?$",
        description="Of a soil, as the laboratory names it; empty: from the exchange capacity.",
    )
    laboratory: str = Field(
        "not named", min_length=1, max_length=120, description="Who analyzed it."
    )
    laboratory_number: str = Field("", max_length=60, description="The laboratory's number.")
    own_ranges: list[OwnRangeIn] = Field([], max_length=MOST_READINGS)
    recommendation: str = Field(
        "", max_length=1000, description="What the laboratory recommends, as printed."
    )


class NutrientCardOut(Out):
    """One nutrient of a leaf or petiole."""

    nutrient: str
    value: float | None = Field(description="In `unit`, of the dry matter; null: not tested.")
    unit: str
    leaf_class: Literal["unknown", "deficient", "low", "sufficient", "high", "excess"] = Field(
        description="`unknown`: not tested, no range, or a sample that may not be classed."
    )
    word: str = Field(description="The class in words, and the one that it is close to.")
    low: float | None = Field(description="Lower end of the sufficiency range; null: none.")
    high: float | None = Field(description="Upper end of the sufficiency range; null: none.")
    deviation: float | None = Field(description="From the middle of the range, % of it.")
    source: str = Field(description=_SOURCE)
    basis: Basis = Field(description=_BASIS)
    changes_at: list[float] = Field(description="Values at which the class would be another.")


class SoilCardOut(Out):
    """One nutrient of a soil."""

    nutrient: str
    value: float = Field(description="mg/kg.")
    soil_class: Literal["unknown", "very-low", "low", "medium", "optimum", "high"]
    edges: list[float] = Field(description="mg/kg at which the next class begins.")
    source: str = Field(description=_SOURCE)
    basis: Basis = Field(description=_BASIS)
    note: str = Field(description="Why there is no class, or what to know of it; may be empty.")


class NutrientTestOut(Out):
    """A test with what it says."""

    block_id: str = Field(description="Block, `farm.block`.")
    day: date
    kind: TestSort
    crop: str = Field(description="Empty for a soil.")
    tissue: str
    stage: str
    leaf_count: int | None = Field(description="Leaves or petioles; null: not stated.")
    laboratory: str
    recommendation: str = Field(description="Of the laboratory: it comes before any plan here.")
    tables_edition: str = Field(description="Of the published ranges when the test was stored.")
    range_row: str | None = Field(description="Row of published ranges that the classes are by.")
    is_classed: bool = Field(description="False: `notes` says why its values have no class.")
    notes: list[str] = Field(description="On how and when the sample was taken.")
    values: dict[str, float] = Field(
        description="% and ppm of a leaf or petiole; mg/kg, %, meq/100 g and pH of a soil."
    )
    cards: list[NutrientCardOut]
    soil_cards: list[SoilCardOut]
    most_limiting: list[str] = Field(description="Below the middle of its range, farthest first.")
    sentences: list[str] = Field(description="What the nutrients say together; never a dose.")

    @classmethod
    def from_record(cls, report: NutrientReport) -> NutrientTestOut:
        """The answer."""
        return cls.model_validate(plain(report_document(report)))


class NutrientTestListOut(Out):
    """A block's tests, the newest first."""

    items: list[NutrientTestOut]


class NutrientTestStoredOut(Out):
    """A test after it was sent."""

    test: NutrientTestOut
    is_new: bool = Field(description="It was not stored before.")
    is_changed: bool = Field(description="It replaced one of the same day, tissue and stage.")


class NutrientPlanQuery(In):
    """What is not stored; what is left out comes from the block, its tests and its water."""

    season: int | None = Field(None, ge=1970, le=2200, description="Year; the coming season.")
    crop: str = Field("", pattern=_KEY, description="Where the block's may be one of several.")
    age_years: int | None = Field(None, ge=1, le=200, description="1 in the year of planting.")
    planted_share: float | None = Field(
        None, gt=0.0, le=1.0, description="Of the ground that is managed; the wetted share."
    )
    vigour: Literal["short", "normal", "long"] = Field("normal", description="Of the shoots.")
    base_kg_per_ha: float | None = Field(
        None, ge=0.0, le=200.0, description="Nitrogen before any test, kg/ha; by age."
    )
    last_season_kg_per_ha: float | None = Field(
        None, ge=0.0, le=500.0, description="Nitrogen of last season, kg/ha."
    )
    legal_cap_kg_per_ha: float | None = Field(
        None, ge=0.0, le=500.0, description="Of law or nutrient management plan, kg/ha."
    )
    removal_kg_per_ha: float = Field(
        0.0, ge=0.0, le=200.0, description="Nitrogen that the harvest carries off, kg/ha."
    )
    k2o_removal_kg_per_ha: float = Field(
        0.0, ge=0.0, le=300.0, description="K2O that the harvest carries off, kg/ha."
    )
    planned_mm: float | None = Field(
        None, ge=0.0, le=3000.0, description="The season's water, block mm; the ledger's last year."
    )
    acidified_ph: float | None = Field(
        None, ge=4.0, le=8.0, description="Acid brings the season's water to this pH."
    )
    sawdust_depth_cm: float = Field(0.0, ge=0.0, le=50.0, description="Of fresh mulch, cm.")
    recent_lime_tons_per_ac: float = Field(
        0.0, ge=0.0, le=20.0, description="Spread since the soil test, short tons an acre."
    )
    months_since_lime: float = Field(0.0, ge=0.0, le=120.0, description="Since then, months.")
    soil_ph_target: float | None = Field(None, ge=3.0, le=9.0, description="The crop's.")
    last_nitrogen_day: CalendarDate | None = Field(None, description="The block's.")
    product: str = Field("", pattern=_KEY, description="Fertilizer that brings the nitrogen.")
    is_plastic: bool = Field(False, description="The row is under plastic film.")
    is_spread_dry: bool = Field(False, description="Nitrogen is spread dry, not injected.")
    rows: list[str] = Field([], max_length=10, description="Published ranges to prefer, by key.")

    def request(self) -> PlanRequest:
        """The request of the operation."""
        return PlanRequest(
            crop=self.crop,
            season_year=self.season,
            age_years=self.age_years,
            planted_share=self.planted_share,
            vigour=self.vigour,
            base_kg_per_ha=self.base_kg_per_ha,
            last_season_kg_per_ha=self.last_season_kg_per_ha,
            legal_cap_kg_per_ha=self.legal_cap_kg_per_ha,
            removal_kg_per_ha=self.removal_kg_per_ha,
            k2o_removal_kg_per_ha=self.k2o_removal_kg_per_ha,
            planned_mm=self.planned_mm,
            acidified_ph=self.acidified_ph,
            sawdust_depth_cm=self.sawdust_depth_cm,
            recent_lime_tons_per_ac=self.recent_lime_tons_per_ac,
            months_since_lime=self.months_since_lime,
            ph_target=self.soil_ph_target,
            last_nitrogen_day=self.last_nitrogen_day,
            product_key=self.product,
            is_plastic=self.is_plastic,
            is_spread_dry=self.is_spread_dry,
            chosen_rows=tuple(self.rows),
        )


class NitrogenLineOut(Out):
    """One step of the season's nitrogen."""

    key: str = Field(description="Machine-readable name; new names may be added.")
    kg_per_ha: float = Field(description="What the step gives or takes; of `total`, the season.")
    reason: str


class NitrogenPartOut(Out):
    """Nitrogen of one day."""

    day: date
    kg_per_ha: float = Field(description="Over planted ground.")
    lb_per_ac: float = Field(description="The same in lb an acre.")
    block_kg: float = Field(description="Nitrogen for the whole block, kg.")
    product_kg: float | None = Field(description="Of the product for the block; null: none named.")


class OxideOut(Out):
    """P2O5 or K2O of a season."""

    oxide: str
    kg_per_ha: float = Field(description="Over planted ground.")
    parts: int = Field(description="In how many parts, by drip.")
    reason: str


class SulfurPartOut(Out):
    """Sulfur of one year; a soil pH is measured before each."""

    year: int = Field(description="1 is the first.")
    lb_per_ac: float = Field(description="Of treated ground.")
    kg_per_ha: float = Field(description="Of treated ground.")


class SoilPhOut(Out):
    """What the soil's pH calls for."""

    ph: float | None = Field(description="Newest soil test; null: not known.")
    target: float = Field(description="Wanted soil pH.")
    sulfur_is_practical: bool
    sulfur_kg_per_ha: float = Field(description="In all, of treated ground.")
    sulfur_parts: list[SulfurPartOut]
    lime_tons_per_ac: float = Field(description="Short tons of pure CaCO3 an acre.")
    lime_product_tons_per_ac: float = Field(description="Of a product that neutralizes 90 %.")
    notes: list[str] = Field(description="Cautions; must be shown beside the amounts.")
    carbonate_balance_kg_per_ha: float | None = Field(
        description="CaCO3 of the water less what the nitrogen uses up; positive lifts pH."
    )


class OriginOut(Out):
    """Where a fact comes from."""

    fact: str
    origin: str


class NutrientPlanOut(Out):
    """A season's nutrients and soil pH."""

    block_id: str = Field(description="Block, `farm.block`.")
    crop: str
    season_year: int = Field(description="Year in which the season ends.")
    leaf_day: date | None = Field(description="Leaf test that it rests on; null: none.")
    soil_day: date | None = Field(description="Soil test that it rests on; null: none.")
    recommendations: list[str] = Field(description="Of the laboratories: they come first.")
    nitrogen_kg_per_ha: float | None = Field(description="Of the season; null: not known.")
    nitrogen_lines: list[NitrogenLineOut]
    product: str | None
    parts: list[NitrogenPartOut]
    last_nitrogen_day: date | None
    last_nitrogen_origin: str
    soil_cards: list[SoilCardOut]
    oxides: list[OxideOut]
    others: list[str] = Field(description="Nutrients that are short: a sentence each, no dose.")
    soil_ph: SoilPhOut
    next_leaf_opens: date | None = Field(description="When the next leaf sample is due.")
    next_leaf_closes: date | None
    tissue_words: str = Field(description="What to take of the plant.")
    origins: list[OriginOut]
    gaps: list[str] = Field(description="Steps that lack their data; nothing is guessed.")
    notes: list[str] = Field(description="Cautions; must be shown beside the amounts.")

    @classmethod
    def from_record(cls, found: NutrientPlan) -> NutrientPlanOut:
        """The answer."""
        return cls.model_validate(plain(plan_document(found)))
