"""What the summers on record say of a supply, in the words and tables of the command line."""

from __future__ import annotations

from rich.text import Text

from service.cli import shown
from service.cli.terminal import UnitSystem, out, paragraph, plain_table
from service.operations.waterworks import assess_capacity as capacities
from service.unit_sizes import L_PER_H_PER_GPM, M2_PER_ACRE, M2_PER_HECTARE, MM_PER_INCH

L_PER_H_PER_L_S = 3600.0  # [L/h]


def capacity_document(found: capacities.Capacity) -> dict[str, object]:
    """The assessment for JSON."""
    return {
        "supplies": [
            {
                "supply_id": supply.supply_id,
                "flow_l_per_h": supply.flow_l_per_h,
                "area_ha": supply.area_ha,
                "flow_l_per_s_per_ha": supply.flow_l_per_h / 3600.0 / supply.area_ha,
                "largest_block": supply.largest,
                "open_time_h": supply.open_time_h,
                "block_ids": supply.block_ids,
                "summers": [
                    {
                        "first_day": summer.first_day,
                        "last_day": summer.last_day,
                        "keeps_up": summer.keeps_up,
                        "largest_excess_mm": summer.largest_excess_mm,
                    }
                    for summer in supply.summers
                ],
                "changes": supply.changes,
                "peaks": supply.peaks,
                "design_peak": supply.design_peak,
            }
            for supply in found.supplies
        ],
        "left_out": found.left_out,
        "cautions": found.cautions,
    }


def _flow(flow_l_per_h: float, units: UnitSystem) -> str:
    if units is UnitSystem.US:
        return f"{flow_l_per_h / L_PER_H_PER_GPM:.1f}"
    return f"{flow_l_per_h / L_PER_H_PER_L_S:.2f}"


def _area(area_ha: float, units: UnitSystem) -> float:
    return area_ha * M2_PER_HECTARE / M2_PER_ACRE if units is UnitSystem.US else area_ha


def _a_day(depth_mm: float, units: UnitSystem) -> str:
    """A depth a day, with one decimal more than a day's water has."""
    return f"{depth_mm / MM_PER_INCH:.3f}" if units is UnitSystem.US else f"{depth_mm:.2f}"


def show_supply(supply: capacities.SupplyCapacity, units: UnitSystem) -> None:
    """One supply: what would keep up, its peaks and the summers missed."""
    flow_unit, area_unit = ("gal/min", "ac") if units is UnitSystem.US else ("L/s", "ha")
    area = _area(supply.area_ha, units)
    out.print(
        Text(
            f"{supply.supply_id}: {_flow(supply.flow_l_per_h, units)} {flow_unit}, {area:.2f}"
            f" {area_unit}, {supply.open_time_h:g} h a day,"
            f" {shown.count(len(supply.summers), 'summer')}",
            style="bold",
        )
    )
    out.print(
        f"{_flow(supply.flow_l_per_h / area, units)} {flow_unit} for each {area_unit}; the largest"
        f" block, {supply.largest.block_id}, takes {_flow(supply.largest.flow_l_per_h, units)}"
        f" {flow_unit} alone"
    )
    table = plain_table("", "Summers it keeps up", "", right=(1,))
    for change in supply.changes:
        kept = "-" if change.kept_share is None else f"{100.0 * change.kept_share:.0f} %"
        table.add_row(change.text, kept, change.reason)
    out.print(table)
    table = plain_table(
        "Days in a row", "Years below", f"Net, {shown.depth_unit(units)}/d",
        f"Gross, {shown.depth_unit(units)}/d", flow_unit, f"{flow_unit}/{area_unit}",
        f"Area, {area_unit}",
        right=(0, 1, 2, 3, 4, 5, 6),
    )  # fmt: skip
    out.print(Text("Peak demand", style="bold"))
    for peak in supply.peaks:
        table.add_row(
            str(peak.span_days),
            f"{100.0 * peak.year_share:.0f} %",
            _a_day(peak.net_mm / peak.span_days, units),
            _a_day(peak.gross_mm / peak.span_days, units),
            _flow(peak.needed_flow_l_per_h, units),
            _flow(peak.needed_flow_l_per_h / area, units),
            f"{_area(peak.carried_ha, units):.2f}",
        )
    out.print(table)
    design = supply.design_peak
    paragraph(
        "Crop water use of a peak week not exceeded in nine years out of ten: "
        f"{shown.depth(design.summer_use_mm, units)} in the summers,"
        f" {shown.depth(design.shade_use_mm, units)} by shaded area "
        "(Keller & Bliesner 1990, from memory)."
    )
    by_block = zip(supply.block_ids, supply.changes[0].kept_by_block, strict=True)
    paragraph(
        "Summers it keeps up now, by block: "
        + ", ".join(f"{block_id} {100.0 * share:.0f} %" for block_id, share in by_block)
        + "."
    )
    missed = [str(s.first_day.year) for s in supply.summers if not all(s.keeps_up)]
    paragraph(f"Summers it does not: {', '.join(missed) or 'none'}.")
    out.print()
