"""Commands around the evening run: load farm files, import weather, run the day, report runs."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from service.bootstrap import Service
from service.cli import shown
from service.cli.terminal import (
    EXIT_UNFULFILLED,
    JsonOption,
    note,
    open_service,
    out,
    parse_day,
    parse_start,
    print_json,
    progress_bar,
)
from service.errors import InputInvalid
from service.farm_files.farm_file import read_farm_file
from service.farm_files.quantities import Measure, read_quantity
from service.farm_files.weather_file import read_weather_file
from service.operations.evening.run_day import DayRun
from service.operations.evening.run_day import run_day as run_evening
from service.operations.farms.manage_farms import load_bundle
from service.operations.farms.question_blocks import questions_of
from service.operations.feedback.compare_meter import QUESTIONED, FlowNote
from service.operations.feedback.estimate_soil import WETNESS, estimate_soil
from service.operations.feedback.report_runs import ReportedRuns, RunReport, report_runs
from service.operations.reading.read_farms import (
    farms_by_day,
    get_site,
    list_farms,
    local_day,
    today_at_block,
)
from service.operations.reading.read_plans import list_blocks
from service.operations.weather.import_weather import import_weather
from service.records.farms import FarmDefinition, LoadOutcome

METERED = Measure(
    noun="a volume",
    unit="L",
    lowest=0.0,
    highest=1e9,
    examples=("'820 gal'", "'3.1 m3'"),
)
RUN_OPTIONS = {
    "/items/0/started_at": "--start",
    "/items/0/duration_min": "--minutes",
    "/items/0/volume_l": "--volume",
}
"""The option that each part of a run is given by."""


def load(
    farm_file: Annotated[Path, typer.Argument(help="Farm file; examples/farm-template.toml.")],
    effective_day: Annotated[
        date | None,
        typer.Option(
            "--from",
            parser=parse_day,
            metavar="DATE",
            help="Day from which changed blocks take effect; default: today at the farm.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Load a farm file: all of it, or nothing and a list of faults."""
    bundle = read_farm_file(farm_file)
    service = open_service()
    # Sites and counties have no versions: without a farm the day counts for nothing.
    zone = bundle.farm.zone if bundle.farm else "UTC"
    day = effective_day or local_day(service.clock.now(), zone)
    outcome = load_bundle(
        bundle, effective_day=day, unit_of_work=service.unit_of_work, clock=service.clock
    )
    if as_json:
        print_json({**outcome_document(outcome), "effective_day": day})
        return
    for question in questions_of(bundle.blocks, day):
        note(f"note: {question}")
    what = bundle.farm.name if bundle.farm else "sites and counties"
    out.print(f"{what}: {outcome_text(outcome)}; changes take effect on {day}")


def weather_import(
    site: Annotated[str, typer.Argument(help="Id of the site the weather belongs to.")],
    weather_file: Annotated[Path, typer.Argument(help="CSV with one line per day.")],
    source: Annotated[str, typer.Option(help="Name of the source.")] = "import",
    forecast_from: Annotated[
        date | None,
        typer.Option(
            "--forecast-from",
            parser=parse_day,
            metavar="DATE",
            help="Days from this one on are forecasts; default: today.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Import daily weather for a site: all of the file, or nothing and a list of faults."""
    content = read_weather_file(weather_file)
    service = open_service()
    zone = get_site(site, unit_of_work=service.unit_of_work).zone
    first_forecast = forecast_from or local_day(service.clock.now(), zone)
    outcome = import_weather(
        site,
        content.days,
        content.fields,
        source=source,
        forecast_from=first_forecast,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    if as_json:
        print_json(
            {
                **outcome_document(outcome),
                "first_day": content.days[0].item(),
                "last_day": content.days[-1].item(),
                "forecast_from_day": first_forecast,
                "notes": content.notes,
                "sha256": content.sha256,
            }
        )
        return
    out.print(
        f"{site}: {outcome_text(outcome)}; {content.days[0]} to {content.days[-1]}, forecast from"
        f" {first_forecast} on"
    )
    for text in content.notes:
        note(f"note: {text}")


def run_day(
    on: Annotated[
        date | None,
        typer.Option(
            "--on",
            parser=parse_day,
            metavar="DATE",
            help="Evening to run; default: today at each farm. The plans are for the day after.",
        ),
    ] = None,
    farm: Annotated[
        list[str] | None, typer.Option("--farm", help="Only this farm; may be repeated.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Update the water balances and make tomorrow's plans."""
    service = open_service()
    farms = list_farms(farm or None, unit_of_work=service.unit_of_work)
    groups = farms_by_day(farms, service.clock.now())
    if on is not None:
        groups = {on: farms}
    runs = [_run_group(service, day, members) for day, members in sorted(groups.items())]
    if as_json:
        print_json([_run_document(run) for run in runs])
    else:
        for run in runs:
            _show_run(run)
    if any(run.failures for run in runs):
        raise typer.Exit(EXIT_UNFULFILLED)


def _run_group(service: Service, day: date, farms: list[FarmDefinition]) -> DayRun:
    farm_ids = [farm.farm_id for farm in farms]
    total = sum(
        len(list_blocks(farm_id=farm_id, day=day, unit_of_work=service.unit_of_work))
        for farm_id in farm_ids
    )
    with progress_bar(f"evening of {day}", total) as progress:
        return run_evening(
            day,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
            source_order=service.source_order,
            farm_ids=farm_ids,
            progress=progress,
            after_publish=service.after_publish,
        )


def _show_run(run: DayRun) -> None:
    out.print(
        f"evening of {run.on}: {shown.count(run.block_count, 'block')} planned,"
        f" {shown.count(run.new_version_count, 'new plan')}"
    )
    if run.without_weather_count:
        out.print(
            f"! {shown.count(run.without_weather_count, 'block')} without weather;"
            " `rillwright check` says which site"
        )
    for failure in run.failures:
        note(f"error: farm {failure.farm_id} has no new plan: {failure.reason}")


def _run_document(run: DayRun) -> dict[str, object]:
    return {
        "on": run.on,
        "block_count": run.block_count,
        "new_version_count": run.new_version_count,
        "without_weather_count": run.without_weather_count,
        "failures": [{"farm_id": each.farm_id, "reason": each.reason} for each in run.failures],
        "phases_s": {name: round(spent, 4) for name, spent in run.phases.seconds.items()},
    }


def report_run(
    block: Annotated[str, typer.Argument(help="Block that ran.")],
    start: Annotated[
        datetime,
        typer.Option(
            "--start",
            parser=parse_start,
            metavar="YYYY-MM-DDTHH:MM",
            help="When it started, on the site's clock.",
        ),
    ],
    minutes: Annotated[float, typer.Option("--minutes", help="How long it ran.")],
    metered: Annotated[
        str | None, typer.Option("--volume", help="Metered volume with its unit: '820 gal'.")
    ] = None,
    is_volume_confirmed: Annotated[
        bool,
        typer.Option("--confirm-volume", help="Book a volume that was questioned."),
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Report a run that took place; it replaces what the plan assumed for that day."""
    service = open_service()
    with service.unit_of_work(write=True) as unit:
        volume_l = None
        if metered is not None:
            system = unit.blocks.get_farm_of(block).unit_system
            volume_l = read_quantity(metered, METERED, where="--volume", unit_system=system)
        today = today_at_block(unit, block, service.clock.now())
        named = unit.blocks.get_block(block, day=today)
        try:
            done = report_runs(
                unit,
                [RunReport(named.block_id, start, minutes, volume_l, is_volume_confirmed)],
                farm_id=None,
                reporter="command line",
                replanning=service.replanning,
            )
        except InputInvalid as error:
            raise InputInvalid(
                "the run cannot be stored",
                [
                    replace(fault, where=RUN_OPTIONS.get(fault.where, fault.where))
                    for fault in error.faults
                ],
            ) from error
    if as_json:
        print_json(
            {
                **outcome_document(done.outcome),
                "new_version_count": done.new_version_count,
                "flow": done.flow,
            }
        )
        return
    _print_report(f"{named.block_id}: {minutes:g} min from {start:%Y-%m-%d %H:%M}", done)


def _print_report(run: str, done: ReportedRuns) -> None:
    """What was stored of a run, what follows from it, and what the meter says."""
    replaced = (
        f"{shown.count(done.new_version_count, 'plan')} replaced"
        if done.new_version_count
        else "no plan changes"
    )
    out.print(f"{run}, {outcome_text(done.outcome)}; {replaced}")
    for flow in done.flow:
        out.print(f"meter: {_flow_text(flow)}")
        if flow.questioned_count:
            hours = flow.duration_min / 60.0
            out.print(
                f"questioned: {QUESTIONED[flow.limit]} ({hours * flow.least_l_per_h:,.0f} to"
                f" {hours * flow.most_l_per_h:,.0f} L); the minutes are booked; if the meter is"
                " right, report the run again with --confirm-volume"
            )


def _flow_text(flow: FlowNote) -> str:
    """What the meter says of a run, in words."""
    verdict = flow.verdict.replace("-", " ")
    if flow.flow_ratio is None:
        return f"{flow.volume_l:,.0f} L, {verdict}"
    return f"{100.0 * flow.flow_ratio:.0f} % of what the emitters should give, {verdict}"


def parse_wetness(text: str) -> float:
    """How wet a soil is: a word, or the percentage of its available water that is left."""
    word = text.strip().lower()
    if word in WETNESS:
        return WETNESS[word]
    try:
        share = float(word.removesuffix("%")) / 100.0
    except ValueError:
        share = -1.0
    if not word.endswith("%") or not 0.0 <= share <= 1.0:
        message = f"{text!r} is none of {', '.join(WETNESS)} and no percentage such as '40 %'"
        raise typer.BadParameter(message)
    return share


def soil(
    block: Annotated[str, typer.Argument(help="Block whose soil was felt.")],
    how_wet: Annotated[
        float,
        typer.Argument(
            parser=parse_wetness,
            metavar="HOW_WET",
            help="full, three-quarters, half, quarter or dry: how much is left of the water that"
            " plants can take from the root zone; or a percentage, '40 %'.",
        ),
    ],
    at: Annotated[
        datetime | None,
        typer.Option(
            "--at",
            parser=parse_start,
            metavar="YYYY-MM-DDTHH:MM",
            help="When it was so, on the site's clock; default: now.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Say how wet the soil of a block is; it answers what a first plan has to assume."""
    service = open_service()
    with service.unit_of_work(write=True) as unit:
        done = estimate_soil(
            unit,
            block,
            how_wet,
            read_at=at or service.clock.now(),
            reporter="command line",
            replanning=service.replanning,
        )
    if as_json:
        print_json(
            {
                **outcome_document(done.outcome),
                "new_version_count": done.new_version_count,
                "depletion_reading_mm": done.reading.depletion_reading_mm,
                "weight_fraction": done.reading.weight_fraction,
            }
        )
        return
    replaced = (
        f"{shown.count(done.new_version_count, 'plan')} replaced"
        if done.new_version_count
        else "no plan changes"
    )
    weight = "it counts fully" if done.reading.weight_fraction >= 1.0 else "it counts by half"
    out.print(
        f"{done.reading.block_id}: {how_wet:.0%} of the available water on {done.reading.day};"
        f" {weight} against the computed balance; {replaced}"
    )


def outcome_text(outcome: LoadOutcome) -> str:
    """Outcome of a load, as text."""
    parts = (
        (outcome.created_count, "new"),
        (outcome.changed_count, "changed"),
        (outcome.retired_count, "retired"),
        (outcome.unchanged_count, "unchanged"),
    )
    return ", ".join(f"{number:,} {word}" for number, word in parts if number) or "nothing to do"


def outcome_document(outcome: LoadOutcome) -> dict[str, int]:
    """Outcome of a load, for JSON."""
    return {
        "created_count": outcome.created_count,
        "changed_count": outcome.changed_count,
        "unchanged_count": outcome.unchanged_count,
        "retired_count": outcome.retired_count,
    }
