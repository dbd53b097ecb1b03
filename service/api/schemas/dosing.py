"""Questions and answers about what is dosed into the water."""

from __future__ import annotations

from datetime import date
from typing import Literal, Self

from pydantic import Field

from service.api.schemas.bodies import Body
from service.api.schemas.facts import Out
from service.api.schemas.queries import In
from service.api.schemas.waterworks import AdvisoryOut, NutrientLoadOut, plain
from service.operations.waterworks.estimate_acid import AcidEstimate, AcidRequest
from service.operations.waterworks.estimate_chlorine import ChlorineEstimate
from service.operations.waterworks.estimate_pumping import PumpEstimate
from service.operations.waterworks.record_acid import GivenAcid
from service.waterworks.acid_amounts import LONGEST_SEASON_WATER_MM, MOST_INJECTIONS, AcidPrice
from service.waterworks.acid_limits import MATERIALS
from service.waterworks.pumping import COMMON_EFFICIENCY_PCT

AcidName = Literal["sulfuric", "phosphoric", "nitric", "hydrochloric", "citric"]


class AcidQuery(In):
    """Selects the acid and the target pH."""

    target_ph: float = Field(ge=4.0, le=9.0, description="pH wanted in the lines.", examples=[6.5])
    acid: AcidName = Field(
        description="`sulfuric`, `phosphoric`, `nitric`, `hydrochloric` or `citric`.",
        examples=["sulfuric"],
    )
    strength_pct: float = Field(
        ge=1.0, le=100.0, description="Pure acid in the product, % by weight.", examples=[93.0]
    )
    density_kg_per_l: float | None = Field(
        None,
        ge=0.9,
        le=2.0,
        description="Of the product's label, kg/L; from a table if left out.",
        examples=[1.83],
    )
    with_chlorine: bool = Field(
        False,
        description=(
            "Chlorine is injected into the same water: refused, because it would give off gas."
        ),
    )
    material: list[str] = Field(
        [],
        max_length=len(MATERIALS),
        description="What the acid water passes behind the injector, once for each: "
        + ", ".join(f"`{key}`" for key in MATERIALS)
        + "; left out: not stated, and no pH below 5.5.",
        examples=[["plastic"]],
    )
    injection_min: float | None = Field(
        None,
        ge=1.0,
        le=1440.0,
        description="Minutes of one short, supervised injection; left out: acid during the whole"
        " irrigation.",
        examples=[30.0],
    )
    injection_count: int | None = Field(
        None, ge=1, le=MOST_INJECTIONS, description="Such injections in the season."
    )
    tank_l_per_h: float | None = Field(
        None,
        gt=0.0,
        lt=1e5,
        description="What the injector takes from its tank of diluted acid, L/h.",
    )
    season_water_mm: float | None = Field(
        None,
        gt=0.0,
        le=LONGEST_SEASON_WATER_MM,
        description="Water of a season over the ground, mm; left out: the ledger's last year.",
    )
    price: float | None = Field(
        None, ge=0.0, lt=1e6, description="Of the product, in your currency."
    )
    price_per: str = Field(
        "L", pattern="^(kg|lb|L|gal)$", description="`kg`, `lb`, `L` or `gal` of the product."
    )

    def request(self) -> AcidRequest:
        """The question as the operation takes it."""
        return AcidRequest(
            target_ph=self.target_ph,
            acid_key=self.acid,
            strength_pct=self.strength_pct,
            density_kg_per_l=self.density_kg_per_l,
            is_chlorine_injected=self.with_chlorine,
            materials=tuple(self.material),
            injection_min=self.injection_min,
            injection_count=self.injection_count,
            tank_l_per_h=self.tank_l_per_h,
            season_water_mm=self.season_water_mm,
            price=None if self.price is None else AcidPrice(self.price, self.price_per),
        )


class DoseShiftOut(Out):
    """The pH at a dose that is off by so much."""

    dose_change_pct: float = Field(description="Change of the dose, %.")
    ph: float = Field(description="pH inside the pipe.")


class LimitPartOut(Out):
    """One reason for a lowest pH."""

    key: str = Field(description="`crop`, `duration`, `installation` or a material.")
    lowest_ph: float = Field(description="Lowest pH by it alone.")
    text: str = Field(description="The reason.")
    source: str = Field(description="Where it is from.")


class AcidLimitOut(Out):
    """The lowest pH that may be asked for here, and what it follows from."""

    lowest_ph: float = Field(description="The highest of the parts.")
    binding: LimitPartOut = Field(description="The part that decides.")
    parts: list[LimitPartOut] = Field(description="Everything that was weighed.")


class AcidAmountOut(Out):
    """So much of the product."""

    product_kg: float = Field(description="Product, kg.")
    product_l: float | None = Field(description="Product, L; null for a solid.")


class AcidInjectionOut(Out):
    """One short, supervised injection."""

    injection_min: float = Field(description="Minutes of it.")
    water_l: float = Field(description="Water through the block in these minutes, L.")
    acid: AcidAmountOut = Field(description="Acid for it.")
    tank_l: float | None = Field(description="Acid and water that the injector takes, L.")
    clean_water_l: float | None = Field(
        description="Clean water that goes into the tank before the acid, L."
    )
    acid_share_fraction: float | None = Field(description="Acid in the tank, by volume.")
    flush_min: float | None = Field(
        description="Travel time to the last emitter, min: flush for at least as long."
    )
    steps: list[str] = Field(description="What is done, in this order.")


class SeasonAcidOut(Out):
    """The acid of a season."""

    season_water_mm: float = Field(description="Water that takes acid, over the ground, mm.")
    block: AcidAmountOut | None = Field(description="For the whole block.")
    per_ha: AcidAmountOut = Field(description="For a hectare.")
    per_acre: AcidAmountOut = Field(description="For an acre.")
    nutrient: str | None = Field(description="Nutrient that the acid brings.")
    nutrient_kg_per_ha: float = Field(description="Amount of it, kg/ha.")
    used_up_fraction: float = Field(description="Share of the alkalinity that is used up.")
    block_cost: float | None = Field(description="For the block, in the currency of the price.")
    cost_per_ha: float | None = Field(description="For a hectare.")
    cost_per_acre: float | None = Field(description="For an acre.")
    note: str = Field(description="What the acid does to the soil, and what not.")


class AcidTreatmentIn(Body):
    """Acid that a block was given on one day, all of it together."""

    acid: AcidName = Field(
        description="`sulfuric`, `phosphoric`, `nitric`, `hydrochloric` or `citric`.",
    )
    strength_pct: float = Field(ge=1.0, le=100.0, description="Pure acid in the product, %.")
    product_l: float = Field(gt=0.0, lt=1e5, description="Volume of the product, L.")


class AcidTreatmentOut(Out):
    """Acid of one day."""

    day: date
    acid_key: str
    strength_pct: float = Field(description="Pure acid in the product, % by weight.")
    product_l: float = Field(description="Volume of the product, L.")


class BroughtOut(Out):
    """A nutrient that came with the acid."""

    nutrient: str
    load_kg_per_ha: float = Field(description="Over the block's ground, kg/ha.")


class GivenAcidOut(Out):
    """Acid of the calendar year, as it was recorded."""

    first_day: date
    last_day: date
    items: list[AcidTreatmentOut] = Field(description="By day.")
    product_kg: float = Field(description="All of it, kg.")
    product_l: float = Field(description="All of it, L.")
    brought: list[BroughtOut] = Field(description="Nutrients that came with it.")
    carbonate_kg_per_ha: float = Field(
        description="Lime, as CaCO3, that it used up, kg/ha; the nutrient plan counts it."
    )

    @classmethod
    def from_record(cls, found: GivenAcid) -> Self:
        """The answer."""
        return cls(
            first_day=found.first_day,
            last_day=found.last_day,
            items=[AcidTreatmentOut.model_validate(each) for each in plain(found.treatments)],
            product_kg=plain(found.amount.product_kg),
            product_l=plain(found.amount.product_l),
            brought=[
                BroughtOut(nutrient=nutrient, load_kg_per_ha=plain(rate))
                for nutrient, rate in found.nutrient_kg_per_ha.items()
            ],
            carbonate_kg_per_ha=plain(found.carbonate_kg_per_ha),
        )


class AcidEstimateOut(Out):
    """Acid dose for a water. An estimate, never an instruction; show its cautions first."""

    cautions: list[AdvisoryOut] = Field(
        description="Cautions for every dose; must be shown, before the numbers."
    )
    limit: AcidLimitOut
    block_id: str | None
    acid_key: str
    target_ph: float = Field(description="pH asked for.")
    basis: str = Field(description="`titration` or `model`: where the dose comes from.")
    dose_mmol_per_l: float = Field(description="Acid per liter of water, mmol/L.")
    dose_meq_per_l: float = Field(description="Protons taken up per liter of water, meq/L.")
    model_dose_mmol_per_l: float = Field(description="What the analysis alone says, mmol/L.")
    acid_g_per_m3: float = Field(description="Product per cubic meter of water, g.")
    acid_ml_per_m3: float | None = Field(description="The same, mL; null for a solid.")
    flow_l_per_h: float | None = Field(description="Flow of the block, L/h.")
    flow_origin: str
    injector_l_per_h: float | None = Field(description="Rate for that flow, L/h.")
    nutrient: str | None = Field(description="Nutrient that the acid adds.")
    nutrient_g_per_m3: float = Field(
        description="Amount of that nutrient per cubic meter of water, g."
    )
    open_air_ph: float = Field(description="pH once the water has lost its CO2 in open air.")
    calcite_saturation_before: float | None = Field(description="Saturation index now.")
    calcite_saturation_after: float | None = Field(description="Saturation index at the target.")
    ph_by_dose: list[DoseShiftOut] = Field(
        description="The pH at a few per cent less and more of the dose, by the model."
    )
    loads: list[NutrientLoadOut] = Field(
        description="What the acid feeds with the water of the newest plan, and of the year so far."
    )
    injection: AcidInjectionOut | None = Field(
        description="One short injection; null where no minutes were given."
    )
    season: SeasonAcidOut | None = Field(
        description="Acid of a season; null where its water is not known."
    )
    season_origin: str = Field(
        description="Where the water of the season is from, or why it is not known."
    )
    given: GivenAcidOut | None = Field(description="Acid recorded this year so far.")
    advisories: list[AdvisoryOut] = Field(description="Notes on this dose.")

    @classmethod
    def from_record(cls, found: AcidEstimate) -> Self:
        """The answer."""
        return cls.model_validate(
            {
                **plain(found.dose),
                "block_id": found.block_id,
                "flow_l_per_h": plain(found.flow_l_per_h),
                "flow_origin": found.flow_origin,
                "ph_by_dose": plain(found.ph_by_dose),
                "loads": plain(found.loads),
                "limit": plain(found.limit),
                "injection": plain(found.injection),
                "season": plain(found.season),
                "season_origin": found.season_origin,
                "given": None if found.given is None else GivenAcidOut.from_record(found.given),
                "advisories": plain(found.advisories),
            }
        )


class ChlorineQuery(In):
    """Selects the free chlorine and the product."""

    free_mg_per_l: float = Field(
        gt=0.0, le=50.0, description="Free chlorine at the last emitter, mg/L.", examples=[2.0]
    )
    product_g_per_l: float = Field(
        ge=1.0, le=250.0, description="Available chlorine of the product, g/L.", examples=[125.0]
    )
    with_acid: bool = Field(
        False,
        description="Acid is injected into the same water: refused, because it would give off gas.",
    )


class ChlorineEstimateOut(Out):
    """Chlorine dose for a water. An estimate, never an instruction; show its cautions first."""

    cautions: list[AdvisoryOut] = Field(
        description="Cautions for every dose; must be shown, before the numbers."
    )
    block_id: str | None
    free_mg_per_l: float = Field(description="Free chlorine asked for, mg/L.")
    demand_mg_per_l: float = Field(description="Taken by iron, manganese and sulfide, mg/L.")
    dose_mg_per_l: float = Field(description="Both together, mg/L.")
    product_ml_per_m3: float = Field(description="Product per cubic meter of water, mL.")
    flow_l_per_h: float | None = Field(description="Flow of the block, L/h.")
    flow_origin: str
    injector_l_per_h: float | None = Field(description="Rate for that flow, L/h.")
    effective_share: float | None = Field(
        description="Part of free chlorine that is hypochlorous acid; null: the pH is not known."
    )
    advisories: list[AdvisoryOut] = Field(description="Notes on this dose.")

    @classmethod
    def from_record(cls, found: ChlorineEstimate) -> Self:
        """The answer."""
        return cls.model_validate(
            {
                **plain(found.dose),
                "block_id": found.block_id,
                "flow_l_per_h": plain(found.flow_l_per_h),
                "flow_origin": found.flow_origin,
            }
        )


class PumpQuery(In):
    """The pump, and what its energy costs."""

    head_m: float = Field(
        gt=0.0, le=1000.0, description="Lift, losses and pressure at the block, m.", examples=[30.0]
    )
    efficiency_pct: float = Field(
        COMMON_EFFICIENCY_PCT, ge=5.0, le=95.0, description="Of pump and motor together, %."
    )
    energy_price: float | None = Field(None, ge=0.0, description="Of energy, any currency.")


class PumpingOut(Out):
    """What the newest plan takes of the pump."""

    block_id: str
    day: date
    planned_min: int = Field(description="Minutes of the plan.")
    flow_l_per_h: float = Field(description="Flow of the block, L/h.")
    flow_origin: str
    power_kw: float = Field(description="While it runs, kW.")
    energy_kwh: float = Field(description="Of the day, kWh.")
    cost: float | None = Field(description="In the currency of the price; null: none was given.")

    @classmethod
    def from_record(cls, found: PumpEstimate) -> Self:
        """The answer."""
        return cls.model_validate({**plain(found), **plain(found.pumping)})
