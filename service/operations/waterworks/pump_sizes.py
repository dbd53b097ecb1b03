"""Pumps smaller and larger than the one there is, and the block that sets the smallest of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from service.operations.reading.block_pipes import expected_flow_l_per_h
from service.operations.waterworks.peak_needs import PeakRow
from service.records.farms import FarmBundle, SupplyDefinition
from service.unit_sizes import L_PER_H_PER_GPM

PUMP_FACTORS = (0.5, 0.75, 1.25, 1.5, 2.0)


@dataclass(frozen=True, slots=True)
class LargestBlock:
    """The block that takes most when it runs alone."""

    block_id: str
    flow_l_per_h: float


def flow_words(flow_l_per_h: float, bundle: FarmBundle) -> str:
    """A flow with its unit, in the farm's own units."""
    if bundle.farm is not None and bundle.farm.unit_system == "us":
        return f"{flow_l_per_h / L_PER_H_PER_GPM:.1f} gal/min"
    return f"{flow_l_per_h / 3600.0:.2f} L/s"


def largest_block(bundle: FarmBundle) -> LargestBlock:
    """Of the blocks of a bundle, the one with the largest flow."""
    flows = [
        LargestBlock(block.block_id, expected_flow_l_per_h(block)[0]) for block in bundle.blocks
    ]
    return max(flows, key=lambda each: each.flow_l_per_h)


def pump_changes(
    bundle: FarmBundle, supply: SupplyDefinition
) -> list[tuple[str, str, FarmBundle, str]]:
    """Name, words, farm with the other pump and, where it cannot run every block, the reason."""
    largest = largest_block(bundle)
    found = []
    for factor in PUMP_FACTORS:
        other = replace(supply, flow_l_per_h=factor * supply.flow_l_per_h)
        text = f"a pump of {flow_words(other.flow_l_per_h, bundle)} ({factor:g} times)"
        reason = ""
        if factor < 1.0 and largest.flow_l_per_h > other.flow_l_per_h * (1.0 + 1e-9):
            reason = (
                f"block {largest.block_id} alone takes"
                f" {flow_words(largest.flow_l_per_h, bundle)}: split it first"
            )
        changed = replace(bundle, supplies=(other,))
        found.append((f"pump-{factor:g}", text, changed, reason))
    return found


def block_cautions(
    bundle: FarmBundle, supply_id: str, largest: LargestBlock, peaks: Sequence[PeakRow]
) -> list[str]:
    """Said where one block takes more than all of them need: it, not the weather, sets the pump."""
    most = max((peak.needed_flow_l_per_h for peak in peaks), default=0.0)
    if largest.flow_l_per_h <= most:
        return []
    return [
        f"{supply_id}: the peaks need at most {flow_words(most, bundle)}, but block"
        f" {largest.block_id} alone takes {flow_words(largest.flow_l_per_h, bundle)}: the pump must"
        " give that, or the block is split."
    ]
