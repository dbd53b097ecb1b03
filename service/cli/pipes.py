"""Commands for a block's pipes: pressures and flows, field tests, the flow check, and whether
the supply keeps up in the summers on record."""

from __future__ import annotations

import math
from datetime import date
from pathlib import Path
from typing import Annotated

import typer
from markupsafe import Markup
from rich.text import Text

from service.bootstrap import Service
from service.cli import shown
from service.cli.evening import outcome_document
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    note,
    open_service,
    out,
    paragraph,
    parse_day,
    plain_table,
    print_json,
)
from service.drawing.frame import as_file
from service.errors import StorageFailed
from service.farm_files.sample_file import read_line_file
from service.operations.reading import block_pipes as pipes
from service.operations.reading.read_farms import get_today
from service.operations.waterworks import catch_tests
from service.operations.waterworks.draw_figures import (
    row_figure,
    text_profile,
)
from service.unit_sizes import L_PER_H_PER_GPH

SvgOption = Annotated[
    Path | None, typer.Option("--svg", help="Also write the figure to this file.")
]
HYDRAULIC_CAUTION = (
    "Calculated from the stated values. Before judging the system by it, measure the pressure at "
    "the first and last emitters and catch flows in the field."
)


def today_of(block: str, service: Service) -> date:
    """The civil day at a block's farm."""
    return get_today(block, unit_of_work=service.unit_of_work, clock=service.clock)


def units_of(block: str, service: Service, chosen: UnitSystem | None) -> UnitSystem:
    """The units to show for a block: those chosen, else its farm's."""
    if chosen is not None:
        return chosen
    with service.unit_of_work(write=False) as unit:
        return UnitSystem(unit.blocks.get_farm_of(block).unit_system)


def write_picture(path: Path | None, figure: Markup) -> None:
    """Write the figure if a file was given."""
    if path is None:
        return
    try:
        path.write_text(as_file(figure, is_headed=True) + "\n", encoding="utf-8")
    except OSError as error:
        message = f"{path} cannot be written: {error.strerror or type(error).__name__}"
        raise StorageFailed(message) from error
    note(f"figure written to {path}")


# --- lateral -------------------------------------------------------------------------------------


def lateral(
    block: Annotated[
        str | None, typer.Argument(help="Block with [block.hydraulics] in its farm file.")
    ] = None,
    file: Annotated[
        Path | None, typer.Option("--file", help="A drip line in a file of its own.")
    ] = None,
    target: Annotated[
        float,
        typer.Option(min=50.0, max=99.9, help="EU for which the longest row is sought, percent."),
    ] = pipes.TARGET_UNIFORMITY_PCT,
    svg: SvgOption = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Pressures and flows along a block's rows, their uniformity, and how long a row may be."""
    if (block is None) == (file is None):
        message = "give a block, or --file with a drip line"
        raise typer.BadParameter(message)
    if file is not None:
        line = read_line_file(file)
        report = pipes.solve_layout(
            line.name,
            line.layout,
            emitter_flow_l_per_h=line.emitter_flow_l_per_h,
            emitter_spacing_m=line.emitter_spacing_m,
            target_uniformity_pct=target,
        )
        system = units or UnitSystem.SI
    else:
        service = open_service()
        system = units_of(str(block), service, units)
        report = pipes.solve_stored(
            str(block),
            on=today_of(str(block), service),
            target_uniformity_pct=target,
            unit_of_work=service.unit_of_work,
        )
    write_picture(svg, row_figure(report))
    if as_json:
        print_json(pipe_document(report))
        return
    _show_pipes(report, system)


def pipe_document(report: pipes.PipeReport) -> dict[str, object]:
    """A solved block for JSON, in SI units."""
    flow, row, travel = report.block, report.row, report.travel
    return {
        "name": report.name,
        "inlet_head_m": flow.inlet_head_m,
        "inlet_flow_l_per_h": flow.inlet_flow_l_per_h,
        "counted_flow_l_per_h": report.counted_flow_l_per_h,
        "counted_flow_origin": report.counted_flow_origin,
        "takeoff_head_m": flow.takeoff_head_m,
        "lateral_flow_l_per_h": flow.lateral_flow_l_per_h,
        "design_uniformity_pct": flow.design_uniformity_pct,
        "low_quarter_uniformity_pct": flow.low_quarter_uniformity_pct,
        "lowest_over_mean_ratio": flow.lowest_over_mean_ratio,
        "dry_emitter_count": flow.dry_emitter_count,
        "outside_range_count": flow.outside_range_count,
        "row": {
            "inlet_head_m": row.inlet_head_m,
            "emitter_flow_l_per_h": row.emitter_flow_l_per_h,
            "emitter_head_m": row.emitter_head_m,
            "first_dry_emitter": row.first_dry_emitter,
            "design_uniformity_pct": row.design_uniformity_pct,
        },
        "longest_row": {
            "target_uniformity_pct": report.target_uniformity_pct,
            "emitter_count": report.longest.emitter_count,
            "length_m": report.longest.length_m,
            "design_uniformity_pct": report.longest.design_uniformity_pct,
            "is_search_limit": report.longest.is_search_limit,
        },
        "volume_l": travel.volume_l,
        "fill_time_min": travel.fill_time_min,
        "most_travel_min": travel.most_travel_min,
        "last_travel_min": travel.last_travel_min,
        "flush": report.flush,
        "regulator_findings": [finding.name for finding in report.findings],
        "cautions": [*report.cautions, HYDRAULIC_CAUTION],
    }


def _show_pipes(report: pipes.PipeReport, units: UnitSystem) -> None:
    flow, row, travel = report.block, report.row, report.travel
    out.print(Text(f"{report.name}: pipes", style="bold"))
    table = plain_table("", "", right=(1,))
    head = flow.takeoff_head_m
    counted_l_per_h = report.counted_flow_l_per_h or flow.inlet_flow_l_per_h
    for label, value in (
        ("Flow of the block, as for acid, fertilizer and flow check",
         shown.flow(counted_l_per_h, units)),
        ("Flow of the rows as described", shown.flow(flow.inlet_flow_l_per_h, units)),
        ("Pressure at its inlet, behind a regulator if any",
         shown.pressure(flow.inlet_head_m, units)),
        ("Pressure at the rows' inlets",
         f"{shown.bare_pressure(head.min(), units)} to {shown.pressure(head.max(), units)}"),
        ("Emitter flow, lowest over mean", f"{flow.lowest_over_mean_ratio:.3f}"),
        ("Emission uniformity as designed", f"{flow.design_uniformity_pct:.1f} %"),
        ("Low quarter of the flows alone", f"{flow.low_quarter_uniformity_pct:.1f} %"),
        ("First fill of empty pipes", _minutes(travel.fill_time_min)),
        ("Travel time to 95 % of the emitters", _minutes(travel.most_travel_min)),
        ("Travel time to the last one that water reaches", _minutes(travel.last_travel_min)),
        ("Flush, 0.3 m/s (1 ft/s) out of a row's open end", _flush_text(report, units)),
        (f"Longest row for {report.target_uniformity_pct:g} %",
         f"{report.longest.emitter_count} emitters, {shown.length(report.longest.length_m, units)}"
         + (" or more" if report.longest.is_search_limit else "")),
    ):  # fmt: skip
        table.add_row(label, value)
    out.print(table)
    out.print()
    in_gallons = units is UnitSystem.US
    unit, of_unit = ("gal/h", L_PER_H_PER_GPH) if in_gallons else ("L/h", 1.0)
    out.print(f"Flow along the row that gets the least, {unit}, from its inlet to its end:")
    for text in text_profile((row.emitter_flow_l_per_h / of_unit).tolist()):
        out.print(text)
    for text in report.cautions:
        paragraph(f"! {text}")
    paragraph(HYDRAULIC_CAUTION, style="dim")


def _flush_text(report: pipes.PipeReport, units: UnitSystem) -> str:
    if report.flush is None:
        return "no water comes in"
    count = shown.count(report.flush.lines_at_once_count, "row")
    return f"{shown.flow(report.flush.end_flow_l_per_h, units)}, {count} at once"


def _minutes(time_min: float) -> str:
    return f"{time_min:.1f} min" if math.isfinite(time_min) else "never"


# --- catch test ----------------------------------------------------------------------------------


def catch_test(
    block: Annotated[str, typer.Argument(help="Block that was tested.")],
    volumes: Annotated[
        list[float] | None,
        typer.Argument(metavar="VOLUMES...", help="Volumes caught in equal times, mL; 16 or more."),
    ] = None,
    day: Annotated[
        date | None,
        typer.Option("--on", parser=parse_day, metavar="DATE", help="Day of the test."),
    ] = None,
    is_used: Annotated[
        bool, typer.Option("--use", help="Use the uniformity found in the plan.")
    ] = False,
    effective_day: Annotated[
        date | None,
        typer.Option(
            "--from", parser=parse_day, metavar="DATE", help="First day it applies; default: today."
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Store a field test of a block's emitters; without volumes, show the stored tests."""
    service = open_service()
    today = today_of(block, service)
    if not volumes:
        reports = catch_tests.list_catch_tests(block, on=today, unit_of_work=service.unit_of_work)
        if as_json:
            print_json([catch_document(each) for each in reports])
        for report in [] if as_json else reports:
            _show_catch(report)
        if not reports:
            note(f"no field test of {block} is on file")
        return
    report, outcome = catch_tests.record_catch_test(
        block,
        day or today,
        volumes,
        is_used=is_used,
        effective_day=effective_day or today,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    if as_json:
        print_json({**catch_document(report), **outcome_document(outcome)})
        return
    _show_catch(report)
    if is_used:
        paragraph(
            "The plan uses it from the next evening on. A farm file that states "
            "emission_uniformity overrides it when it is next loaded: remove it there."
        )
    else:
        paragraph("Add --use to use it in the plan.")


def catch_document(report: catch_tests.CatchReport) -> dict[str, object]:
    """A field test for JSON."""
    found = report.uniformity
    return {
        "block_id": report.test.block_id,
        "day": report.test.day,
        "caught_ml": report.test.caught_ml,
        "sample_count": found.sample_count,
        "emission_uniformity_pct": found.emission_uniformity_pct,
        "emission_uniformity_low_pct": found.emission_uniformity_low_pct,
        "emission_uniformity_high_pct": found.emission_uniformity_high_pct,
        "confidence_pct": found.confidence_pct,
        "statistical_uniformity_pct": found.statistical_uniformity_pct,
        "christiansen_uniformity_pct": found.christiansen_uniformity_pct,
        "plan_uniformity_pct": report.plan_uniformity_pct,
        "plan_origin": report.plan_origin,
    }


def _show_catch(report: catch_tests.CatchReport) -> None:
    found = report.uniformity
    title = (
        f"{report.test.block_id}: field test of {report.test.day}, {found.sample_count} emitters"
    )
    out.print(Text(title, style="bold"))
    paragraph(
        f"Emission uniformity {found.emission_uniformity_pct:.1f} % (low quarter; with"
        f" {found.confidence_pct:.0f} % confidence {found.emission_uniformity_low_pct:.0f} to"
        f" {found.emission_uniformity_high_pct:.0f} %), statistical"
        f" {found.statistical_uniformity_pct:.1f} %, Christiansen"
        f" {found.christiansen_uniformity_pct:.1f} %."
    )
    paragraph(
        f"The plan uses {report.plan_uniformity_pct:.1f} % ({report.plan_origin or 'given'})."
    )
