"""Whether a farm's pump and windows keep up with the summers on record."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from service.bootstrap import SystemClock, make_study_runner
from service.cli.capacity_text import capacity_document, show_supply
from service.cli.past_weather import PastWeatherOption, past_weather, says_what_to_do
from service.cli.pipes import SvgOption, write_picture
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    open_service,
    paragraph,
    print_json,
    progress_bar,
)
from service.farm_files.farm_file import read_farm_file
from service.operations.evening.measured_weather import main_site
from service.operations.farms.change_farms import get_farm_now
from service.operations.reading.read_farms import local_day
from service.operations.waterworks import assess_capacity as capacities
from service.operations.waterworks.draw_figures import capacity_figure
from service.records.farms import FarmBundle
from service.settings import read_settings


def capacity(
    target: Annotated[
        str, typer.Argument(metavar="FARM|FARM.toml", help="A stored farm, or a farm file.")
    ],
    weather_file: PastWeatherOption = None,
    svg: SvgOption = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Whether the pump and windows keep up in the summers on record, and what would help."""
    runner = make_study_runner(read_settings())
    bundle, year = _farm(target)
    is_stored = not target.endswith(".toml") and bool(bundle.blocks)
    weather = past_weather(weather_file, bundle, site_id=main_site(bundle) if is_stored else None)
    bundle = weather.bundle
    if units is not None and bundle.farm is not None:
        bundle = replace(bundle, farm=replace(bundle.farm, unit_system=units.value))
    count = capacities.run_count(bundle, weather.days, year)
    with says_what_to_do(weather), progress_bar("summers", count) as progress:
        found = capacities.assess_capacity(
            bundle, weather.days, weather.fields, season_year=year, progress=progress, runner=runner
        )
    first = found.supplies[0]
    write_picture(svg, capacity_figure(first))
    if as_json:
        print_json(capacity_document(found))
        return
    system = UnitSystem(bundle.farm.unit_system if bundle.farm else "si")
    for supply in found.supplies:
        show_supply(supply, system)
    for text in found.left_out:
        paragraph(f"! left out: {text}")
    for text in found.cautions:
        paragraph(text, style="dim")


def _farm(target: str) -> tuple[FarmBundle, int]:
    """The farm, and the current year."""
    if target.endswith(".toml"):
        bundle, now = read_farm_file(Path(target)), SystemClock().now()
    else:
        service = open_service()
        now = service.clock.now()
        bundle = get_farm_now(target, unit_of_work=service.unit_of_work, clock=service.clock)
    # A file without a farm has no blocks to ask about either: any zone will do.
    zone = bundle.farm.zone if bundle.farm else "UTC"
    return bundle, local_day(now, zone).year
