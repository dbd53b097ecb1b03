"""How much acid a water would take: an estimate with its cautions, never an instruction.

The newest analysis of the supply decides; a titration that was entered with it beats the model, and
below pH 5.5 nothing is said without one: there a few per cent of the dose decide over the pH.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from service.agronomy.units import L_PER_GALLON
from service.database.session import UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.reading.block_pipes import expected_flow_l_per_h
from service.operations.waterworks.report_water import check_sample, newest_sample
from service.operations.waterworks.watered_depths import NutrientLoad, nutrient_loads
from service.records.farms import BlockDefinition
from service.records.waterworks import WaterSample
from service.waterworks.acid import CONTINUOUS_LINE_PH, AcidDose, acid_dose
from service.waterworks.acid_sensitivity import DoseShift, ph_by_dose, steepness
from service.waterworks.caution import IRON_OXIDATION, Advisory
from service.waterworks.feeding_limits import SEASON_LIMITS
from service.waterworks.water_analysis import WaterAnalysis, carbonate_water

ML_PER_L = 1000.0
IRON_LIMIT_MG_PER_L = 0.1
"""Iron from which on it clogs emitters; Bucks, Nakayama & Gilbert 1979 (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AcidRequest:
    """Which acid, and to which pH."""

    target_ph: float
    acid_key: str
    strength_pct: float
    """Weight of pure acid in the product."""
    density_kg_per_l: float | None = None
    """Of the product's label; None: from the table."""
    is_chlorine_injected: bool = False


@dataclass(frozen=True, slots=True)
class AcidEstimate:
    """A dose for a water, with where its numbers come from."""

    sample: WaterSample
    block_id: str | None
    flow_l_per_h: float | None
    flow_origin: str
    dose: AcidDose
    acid_l_per_1000_gal: float | None
    """Product for so many US gallons of water, as labels there count."""
    analysis_advisories: tuple[Advisory, ...]
    """What is doubtful about the analysis behind it."""
    ph_by_dose: tuple[DoseShift, ...]
    """The pH at a few per cent less and more of the dose, by the model."""
    dose_advisories: tuple[Advisory, ...]
    """What the dose may not be relied on for."""
    loads: tuple[NutrientLoad, ...] = ()
    """What the acid feeds with the water of the plan and of the season."""


def estimate_acid(
    sample: WaterSample, request: AcidRequest, *, block: BlockDefinition | None = None
) -> AcidEstimate:
    """The dose for a water; raises InputInvalid for one that cannot or must not be computed."""
    analysis = check_sample(sample)
    flow, origin = (None, "") if block is None else expected_flow_l_per_h(block)
    _refuse_without_titration(sample, request)
    water = carbonate_water(analysis, sample.temperature_c)
    dose = acid_dose(
        water,
        request.target_ph,
        acid_key=request.acid_key,
        strength_pct=request.strength_pct,
        density_kg_per_l=request.density_kg_per_l,
        flow_l_per_h=flow,
        titration=sample.titration,
        is_chlorine_injected=request.is_chlorine_injected,
    )
    per_m3 = dose.acid_ml_per_m3
    shifts = ph_by_dose(water, request.acid_key, dose.model_dose_mmol_per_l)
    return AcidEstimate(
        sample=sample,
        block_id=None if block is None else block.block_id,
        flow_l_per_h=flow,
        flow_origin=origin,
        dose=dose,
        acid_l_per_1000_gal=None if per_m3 is None else per_m3 * L_PER_GALLON / ML_PER_L,
        analysis_advisories=analysis.advisories,
        ph_by_dose=shifts,
        dose_advisories=_dose_advisories(shifts, analysis),
    )


def _refuse_without_titration(sample: WaterSample, request: AcidRequest) -> None:
    if request.target_ph < CONTINUOUS_LINE_PH and not sample.titration:
        allowed = (
            f"pH {CONTINUOUS_LINE_PH:g} or more, or a titration of this water: below it a few per"
            " cent of the dose decide between a harmless and a corrosive water, and no analysis is"
            " that good"
        )
        raise InputInvalid(
            "no dose is given for so low a pH without a titration",
            [Fault("target_ph", f"{request.target_ph:g}", allowed)],
        )


def _dose_advisories(
    shifts: tuple[DoseShift, ...], analysis: WaterAnalysis
) -> tuple[Advisory, ...]:
    steep = steepness(shifts)
    found = [] if steep is None else [steep]
    if analysis.iron_mg_per_l is None or analysis.iron_mg_per_l >= IRON_LIMIT_MG_PER_L:
        found.append(IRON_OXIDATION)
    return tuple(found)


def estimate_block_acid(
    block_id: str, request: AcidRequest, *, on: date, unit_of_work: UnitOfWorkFactory
) -> AcidEstimate:
    """The dose for the newest analysis of a block's supply, as a rate for the block's flow."""
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
    sample = newest_sample(block.farm_id, block.supply_id, unit_of_work=unit_of_work)
    found = estimate_acid(sample, request, block=block)
    if found.dose.nutrient is None:
        return found
    with unit_of_work(write=False) as unit:
        loads = nutrient_loads(
            unit,
            block_id,
            nutrient=found.dose.nutrient,
            nutrient_g_per_m3=found.dose.nutrient_g_per_m3,
            on=on,
        )
    too_much = _load_advisories(loads)
    return replace(found, loads=loads, dose_advisories=(*found.dose_advisories, *too_much))


def _load_advisories(loads: tuple[NutrientLoad, ...]) -> tuple[Advisory, ...]:
    """A warning where the acid alone has fed more this year than is common in a season."""
    found = []
    for load in loads[-1:]:
        common, _ = SEASON_LIMITS[load.nutrient]
        if load.load_kg_per_ha > common:
            text = (
                f"{load.load_kg_per_ha:.0f} kg/ha of {load.nutrient} in the season: up to"
                f" {common:g} is common. Base it on a leaf or soil analysis."
            )
            found.append(Advisory("large-season", text))
    return tuple(found)
