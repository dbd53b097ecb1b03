"""A soil reading from the command line: by feel, by a probe, or by a tensiometer."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Annotated, Final

import typer

from service.bootstrap import Service
from service.cli import shown
from service.cli.demo_clock import in_its_own_time
from service.cli.evening import outcome_document, outcome_text, parse_wetness
from service.cli.terminal import JsonOption, open_service, out, parse_start, print_json
from service.database.session import UnitOfWork
from service.errors import InputInvalid
from service.farm_files.quantities import Measure, read_quantity
from service.operations.feedback.estimate_soil import estimate_soil
from service.operations.feedback.read_soil import (
    DEEPEST_M,
    LARGEST_TENSION_KPA,
    LARGEST_WATER,
    StoredSoilReading,
    block_at,
    read_soil,
)
from service.operations.feedback.record_observations import SENSOR_REACH_M

WATER: Final = Measure(
    noun="water by volume",
    unit="%",
    lowest=1.0,
    highest=100.0 * LARGEST_WATER,
    examples=("'24 %'", "'18.5 %'"),
)
TENSION: Final = Measure(
    noun="a tension",
    unit="kPa",
    lowest=0.0,
    highest=LARGEST_TENSION_KPA,
    examples=("'35 kPa'", "'35 cb'"),
)
DEPTH: Final = Measure(
    noun="a depth", unit="m", lowest=0.01, highest=DEEPEST_M, examples=("'8 in'", "'20 cm'")
)
REACH: Final = replace(DEPTH, highest=1.0, examples=("'4 in'", "'10 cm'"))
_OPTIONS: Final = {
    "/volumetric_water": "--water",
    "/tension_kpa": "--tension",
    "/depth_m": "--depth",
    "/available_fraction": "--feel",
    "/read_at": "--at",
}


FeelOption = Annotated[
    float | None,
    typer.Option(
        "--feel",
        parser=parse_wetness,
        metavar="HOW_WET",
        help="By hand: full, three-quarters, half, quarter, dry, or a share of the available"
        " water, '40 %'.",
    ),
]
AtOption = Annotated[
    datetime | None,
    typer.Option(
        "--at",
        parser=parse_start,
        metavar="YYYY-MM-DDTHH:MM",
        help="When it was read, on the site's clock; default: now.",
    ),
]
ReachOption = Annotated[
    str | None,
    typer.Option("--reach", help="How far above and below its middle it measures; default: 10 cm."),
]


def reading(
    block: Annotated[str, typer.Argument(help="Block whose soil was read.")],
    water: Annotated[
        str | None,
        typer.Option("--water", help="Water by volume that a probe shows: '24 %'; with --depth."),
    ] = None,
    tension: Annotated[
        str | None,
        typer.Option("--tension", help="Tension: '35 kPa', '35 cb'; with --depth."),
    ] = None,
    feel: FeelOption = None,
    depth: Annotated[
        str | None, typer.Option("--depth", help="Depth of the sensor's middle: '8 in'.")
    ] = None,
    reach: ReachOption = None,
    at: AtOption = None,
    text: Annotated[str, typer.Option("--note", help="Any note to keep with it.")] = "",
    as_json: JsonOption = False,
) -> None:
    """Store a soil reading; the balance is corrected towards it and the plans follow."""
    if sum(each is not None for each in (water, tension, feel)) != 1:
        raise typer.BadParameter("give one of --water, --tension and --feel")
    if (feel is None) != (depth is not None) or (feel is not None and reach is not None):
        raise typer.BadParameter("--depth goes with --water or --tension, and with each of them")
    service = in_its_own_time(open_service())
    with service.unit_of_work(write=True) as unit:
        try:
            done = (
                _sensed(unit, service, block, at, given=(water, tension, depth, reach), text=text)
                if feel is None
                else estimate_soil(
                    unit,
                    block,
                    feel,
                    read_at=at or service.clock.now(),
                    reporter="command line",
                    note=text,
                    replanning=service.replanning,
                )
            )
        except InputInvalid as error:
            faults = [
                replace(each, where=_OPTIONS.get(each.where, each.where)) for each in error.faults
            ]
            raise InputInvalid(error.message, faults) from error
    _print(done, as_json=as_json)


def _sensed(
    unit: UnitOfWork,
    service: Service,
    block: str,
    at: datetime | None,
    *,
    given: tuple[str | None, str | None, str | None, str | None],
    text: str,
) -> StoredSoilReading:
    water, tension, depth, reach = given
    system = unit.blocks.get_farm_of(block).unit_system

    def quantity(given: str | None, measure: Measure, where: str) -> float | None:
        if given is None:
            return None
        return read_quantity(given, measure, where=where, unit_system=system)

    if tension is not None and tension.strip().lower().endswith("cb"):
        tension = f"{tension.strip()[:-2]} kPa"  # a centibar is a kilopascal
    percent = quantity(water, WATER, "--water")
    depth_m = quantity(depth, DEPTH, "--depth") or 0.0
    reach_m = quantity(reach, REACH, "--reach") or SENSOR_REACH_M
    _, local = block_at(unit, block, at or service.clock.now(), now=service.clock.now())
    return read_soil(
        unit,
        block,
        read_at=local,
        top_depth_m=max(0.0, depth_m - reach_m),
        bottom_depth_m=depth_m + reach_m,
        volumetric_water=None if percent is None else percent / 100.0,
        tension_kpa=quantity(tension, TENSION, "--tension"),
        note=text,
        reporter="command line",
        replanning=service.replanning,
    )


def _print(done: StoredSoilReading, *, as_json: bool) -> None:
    reading = done.reading
    if as_json:
        print_json(
            {
                **outcome_document(done.outcome),
                "new_version_count": done.new_version_count,
                "kind": reading.kind,
                "volumetric_water": reading.volumetric_water,
                "depletion_reading_mm": reading.depletion_reading_mm,
                "weight_fraction": reading.weight_fraction,
            }
        )
        return
    left = 1.0 - reading.depletion_reading_mm / done.taw_mm
    replaced = (
        f"{shown.count(done.new_version_count, 'plan')} replaced"
        if done.new_version_count
        else "no plan changes"
    )
    out.print(
        f"{reading.block_id}: {outcome_text(done.outcome)}; {left:.0%} of the available water on"
        f" {reading.day}, counted by {reading.weight_fraction:.0%}; {replaced}"
    )
