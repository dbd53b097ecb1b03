"""How much chlorine a water would take: an estimate with its cautions, never an instruction."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from service.database.session import UnitOfWorkFactory
from service.operations.reading.block_pipes import expected_flow_l_per_h
from service.operations.waterworks.report_water import check_sample, newest_sample
from service.records.farms import BlockDefinition
from service.records.waterworks import WaterSample
from service.waterworks.chlorine import ChlorineDose, chlorine_dose


@dataclass(frozen=True, slots=True, kw_only=True)
class ChlorineRequest:
    """How much is to be left free, and of which product."""

    free_mg_per_l: float
    product_g_per_l: float
    """Available chlorine."""
    is_acid_injected: bool = False


@dataclass(frozen=True, slots=True)
class ChlorineEstimate:
    """A dose for a water, with where its numbers come from."""

    sample: WaterSample
    block_id: str | None
    flow_l_per_h: float | None
    flow_origin: str
    dose: ChlorineDose


def estimate_chlorine(
    sample: WaterSample, request: ChlorineRequest, *, block: BlockDefinition | None = None
) -> ChlorineEstimate:
    """The dose for a water; raises InputInvalid for one that cannot or must not be computed."""
    analysis = check_sample(sample)
    flow, origin = (None, "") if block is None else expected_flow_l_per_h(block)
    dose = chlorine_dose(
        request.free_mg_per_l,
        product_g_per_l=request.product_g_per_l,
        flow_l_per_h=flow,
        iron_mg_per_l=analysis.iron_mg_per_l,
        manganese_mg_per_l=analysis.manganese_mg_per_l,
        hydrogen_sulfide_mg_per_l=analysis.hydrogen_sulfide_mg_per_l,
        ph=analysis.ph,
        is_acid_injected=request.is_acid_injected,
    )
    return ChlorineEstimate(sample, None if block is None else block.block_id, flow, origin, dose)


def estimate_block_chlorine(
    block_id: str, request: ChlorineRequest, *, on: date, unit_of_work: UnitOfWorkFactory
) -> ChlorineEstimate:
    """The dose for the newest analysis of a block's supply, as a rate for the block's flow."""
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
    sample = newest_sample(block.farm_id, block.supply_id, unit_of_work=unit_of_work)
    return estimate_chlorine(sample, request, block=block)
