"""Questions and answers about what is dosed into the water."""

from __future__ import annotations

from datetime import date
from typing import Self

from pydantic import Field

from service.api.schemas.facts import Out
from service.api.schemas.queries import In
from service.api.schemas.waterworks import AdvisoryOut, plain
from service.operations.waterworks.estimate_acid import AcidEstimate


class AcidQuery(In):
    """Which acid, and to which pH."""

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
        False, description="Chlorine goes into the same water: refused, it would give off gas."
    )


# --- pipes ---------------------------------------------------------------------------------------


class DoseShiftOut(Out):
    """The pH at a dose that is off by so much."""

    dose_change_pct: float = Field(description="Change of the dose, %.")
    ph: float = Field(description="pH inside the pipe.")


class NutrientLoadOut(Out):
    """What of a nutrient the acid brings with the water of a span of days."""

    nutrient: str
    first_day: date
    last_day: date
    gross_mm: float = Field(description="Water of these days, mm.")
    load_kg_per_ha: float = Field(description="Nutrient with it, kg/ha.")


class AcidEstimateOut(Out):
    """How much acid a water would take. An estimate, never an instruction; show its cautions."""

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
    nutrient: str | None = Field(description="What the acid feeds besides.")
    nutrient_g_per_m3: float = Field(description="Of it, per cubic metre of water, g.")
    open_air_ph: float = Field(description="pH once the water has lost its CO2 in open air.")
    calcite_saturation_before: float | None = Field(description="Saturation index now.")
    calcite_saturation_after: float | None = Field(description="Saturation index at the target.")
    ph_by_dose: list[DoseShiftOut] = Field(
        description="The pH at a few per cent less and more of the dose, by the model."
    )
    loads: list[NutrientLoadOut] = Field(
        description="What the acid feeds with the water of the newest plan, and of the year so far."
    )
    advisories: list[AdvisoryOut] = Field(description="What is special about this dose.")
    cautions: list[AdvisoryOut] = Field(description="What holds for every dose: show them.")

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
