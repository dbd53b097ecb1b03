"""What the summers on record say of a supply, in the words and tables of the command line."""

from __future__ import annotations

from rich.text import Text

from service.cli import shown
from service.cli.terminal import out, paragraph, plain_table
from service.operations.waterworks import assess_capacity as capacities


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


def show_supply(supply: capacities.SupplyCapacity) -> None:
    """One supply: what would keep up, its peaks and the summers missed."""
    out.print(
        Text(
            f"{supply.supply_id}: {supply.flow_l_per_h / 3600.0:.2f} L/s, {supply.area_ha:.2f} ha,"
            f" {supply.open_time_h:g} h a day, {shown.count(len(supply.summers), 'summer')}",
            style="bold",
        )
    )
    out.print(
        f"{supply.flow_l_per_h / 3600.0 / supply.area_ha:.2f} L/s for each ha; the largest block,"
        f" {supply.largest.block_id}, takes {supply.largest.flow_l_per_h / 3600.0:.2f} L/s alone"
    )
    table = plain_table("", "Summers it keeps up", "", right=(1,))
    for change in supply.changes:
        kept = "-" if change.kept_share is None else f"{100.0 * change.kept_share:.0f} %"
        table.add_row(change.text, kept, change.reason)
    out.print(table)
    table = plain_table(
        "Days in a row", "Years below", "Net, mm/d", "Gross, mm/d", "L/s", "L/s/ha", "Area, ha",
        right=(0, 1, 2, 3, 4, 5, 6),
    )  # fmt: skip
    for peak in supply.peaks:
        table.add_row(
            str(peak.span_days),
            f"{100.0 * peak.year_share:.0f} %",
            f"{peak.net_mm / peak.span_days:.2f}",
            f"{peak.gross_mm / peak.span_days:.2f}",
            f"{peak.needed_flow_l_per_h / 3600.0:.2f}",
            f"{peak.needed_flow_l_per_h / 3600.0 / supply.area_ha:.2f}",
            f"{peak.carried_ha:.2f}",
        )
    out.print(table)
    design = supply.design_peak
    paragraph(
        "Crop water use of a peak week not exceeded in nine years out of ten: "
        f"{design.summer_use_mm:.0f} mm in the summers, {design.shade_use_mm:.0f} by shaded area "
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
