"""How much acid a water would take: an estimate with its cautions, never an instruction.

The newest analysis of the supply decides; a titration that was entered with it beats the model.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from service.agronomy.units import L_PER_GALLON
from service.database.session import UnitOfWorkFactory
from service.operations.reading.block_pipes import expected_flow_l_per_h
from service.operations.waterworks.report_water import check_sample, newest_sample
from service.records.farms import BlockDefinition
from service.records.waterworks import WaterSample
from service.waterworks.acid import AcidDose, acid_dose
from service.waterworks.caution import Advisory
from service.waterworks.water_analysis import carbonate_water

ML_PER_L = 1000.0


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


def estimate_acid(
    sample: WaterSample, request: AcidRequest, *, block: BlockDefinition | None = None
) -> AcidEstimate:
    """The dose for a water; raises InputInvalid for one that cannot or must not be computed."""
    analysis = check_sample(sample)
    flow, origin = (None, "") if block is None else expected_flow_l_per_h(block)
    dose = acid_dose(
        carbonate_water(analysis, sample.temperature_c),
        request.target_ph,
        acid_key=request.acid_key,
        strength_pct=request.strength_pct,
        density_kg_per_l=request.density_kg_per_l,
        flow_l_per_h=flow,
        titration=sample.titration,
        is_chlorine_injected=request.is_chlorine_injected,
    )
    per_m3 = dose.acid_ml_per_m3
    return AcidEstimate(
        sample=sample,
        block_id=None if block is None else block.block_id,
        flow_l_per_h=flow,
        flow_origin=origin,
        dose=dose,
        acid_l_per_1000_gal=None if per_m3 is None else per_m3 * L_PER_GALLON / ML_PER_L,
        analysis_advisories=analysis.advisories,
    )


def estimate_block_acid(
    block_id: str, request: AcidRequest, *, on: date, unit_of_work: UnitOfWorkFactory
) -> AcidEstimate:
    """The dose for the newest analysis of a block's supply, as a rate for the block's flow."""
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
    sample = newest_sample(block.farm_id, block.supply_id, unit_of_work=unit_of_work)
    return estimate_acid(sample, request, block=block)
