"""Questions and answers about what is dosed into the water."""

from __future__ import annotations

from datetime import date
from typing import Self

from pydantic import Field

from service.api.schemas.facts import Out
from service.api.schemas.queries import In
from service.api.schemas.waterworks import AdvisoryOut, NutrientLoadOut, plain
from service.operations.waterworks.estimate_acid import AcidEstimate
from service.operations.waterworks.estimate_chlorine import ChlorineEstimate
from service.operations.waterworks.estimate_pumping import PumpEstimate
from service.waterworks.pumping import COMMON_EFFICIENCY_PCT


class AcidQuery(In):
    """Selects the acid and the target pH."""

    target_ph: float = Field(ge=4.0, le=9.0, description="pH wanted in the lines.", examples=[6.5])
    acid: str = Field(
        pattern="^(sulfuric|phosphoric|nitric|hydrochloric|citric)$",
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


class DoseShiftOut(Out):
    """The pH at a dose that is off by so much."""

    dose_change_pct: float = Field(description="Change of the dose, %.")
    ph: float = Field(description="pH inside the pipe.")


class AcidEstimateOut(Out):
    """Acid dose for a water. An estimate, never an instruction; show its cautions."""

    block_id: str | None
    acid_key: str
    target_ph: float = Field(description="pH asked for.")
    basis: str = Field(description="`titration` or `model`: where the dose comes from.")
    dose_mmol_per_l: float = Field(description="Acid per litre of water, mmol/L.")
    dose_meq_per_l: float = Field(description="Protons taken up per litre of water, meq/L.")
    model_dose_mmol_per_l: float = Field(description="What the analysis alone says, mmol/L.")
    acid_g_per_m3: float = Field(description="Product per cubic metre of water, g.")
    acid_ml_per_m3: float | None = Field(description="The same, mL; null for a solid.")
    flow_l_per_h: float | None = Field(description="Flow of the block, L/h.")
    flow_origin: str
    injector_l_per_h: float | None = Field(description="Rate for that flow, L/h.")
    nutrient: str | None = Field(description="Nutrient that the acid adds.")
    nutrient_g_per_m3: float = Field(
        description="Amount of that nutrient per cubic metre of water, g."
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
    advisories: list[AdvisoryOut] = Field(description="Notes on this dose.")
    cautions: list[AdvisoryOut] = Field(description="Cautions for every dose; must be shown.")

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
                "advisories": plain(
                    (*found.analysis_advisories, *found.dose.advisories, *found.dose_advisories)
                ),
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
    """Chlorine dose for a water. An estimate, never an instruction; show its cautions."""

    block_id: str | None
    free_mg_per_l: float = Field(description="Free chlorine asked for, mg/L.")
    demand_mg_per_l: float = Field(description="Taken by iron, manganese and sulfide, mg/L.")
    dose_mg_per_l: float = Field(description="Both together, mg/L.")
    product_ml_per_m3: float = Field(description="Product per cubic metre of water, mL.")
    flow_l_per_h: float | None = Field(description="Flow of the block, L/h.")
    flow_origin: str
    injector_l_per_h: float | None = Field(description="Rate for that flow, L/h.")
    effective_share: float | None = Field(
        description="Part of free chlorine that is hypochlorous acid; null: the pH is not known."
    )
    advisories: list[AdvisoryOut] = Field(description="Notes on this dose.")
    cautions: list[AdvisoryOut] = Field(description="Cautions for every dose; must be shown.")

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
