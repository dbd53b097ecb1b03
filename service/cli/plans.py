"""Commands that show plans: tomorrow's plan, its reasoning, and the comparison of counties."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Annotated

import numpy as np
import typer
from rich.text import Text

from service.agronomy.county_need import Basis
from service.bootstrap import Service
from service.cli import shown
from service.cli.demo_clock import in_its_own_time
from service.cli.plan_text import plan_document, show_plans
from service.cli.saved_table import SaveOption, save_table, words_of
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    open_service,
    out,
    paragraph,
    parse_day,
    plain_table,
    print_json,
)
from service.cli.why_text import explanation_document, show_explanation
from service.delivery.trial_words import trial_sentence
from service.errors import NotFound
from service.operations.exports.county_table import county_table
from service.operations.exports.run_tables import plan_table
from service.operations.farms.change_farms import get_block_now
from service.operations.reading.read_farms import list_farms, local_day
from service.operations.reading.read_plans import explain, get_plan, list_plans
from service.operations.reading.read_risk_trial import read_risk_trial
from service.operations.review.compare_counties import (
    CountyComparison,
    compare_counties,
    county_weeks,
)
from service.records.farms import FarmDefinition
from service.translations import Wording

DAYS_PER_WEEK = 7

PlanDayOption = Annotated[
    date | None,
    typer.Option(
        "--on",
        parser=parse_day,
        metavar="DATE",
        help="The day the plan is for; default: the latest one planned.",
    ),
]


def plan(
    on: PlanDayOption = None,
    block: Annotated[str | None, typer.Option("--block", help="Show only this block.")] = None,
    farm_id: Annotated[
        str | None, typer.Option("--farm", help="Show only the blocks of this farm.")
    ] = None,
    units: UnitsOption = None,
    save: SaveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show the plan for a day: what to water, when and why."""
    service = open_service()
    views = (
        list_plans(day=on, farm_id=farm_id, unit_of_work=service.unit_of_work)
        if block is None
        else [get_plan(block, day=on, unit_of_work=service.unit_of_work)]
    )
    if not views:
        message = f"no plan for {on}; `rillwright run-day --on DATE` plans the day after DATE"
        raise NotFound(message)
    farms = farms_by_id(service)
    if save is not None:
        if len({view.block.farm_id for view in views}) > 1:
            raise typer.BadParameter("a file has the plans of one farm: name it by --farm")
        farm = farms[views[0].block.farm_id]
        save_table(save, plan_table(views, farm, words_of(farm, units)))
        return
    if as_json:
        print_json([plan_document(view) for view in views])
        return
    show_plans(views, farms, units)


def farms_by_id(service: Service) -> dict[str, FarmDefinition]:
    """All farms by their id."""
    return {farm.farm_id: farm for farm in list_farms(unit_of_work=service.unit_of_work)}


def why(
    block: Annotated[str, typer.Argument(help="Block whose plan to explain.")],
    on: PlanDayOption = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Explain a plan step by step, so that it can be checked with a pocket calculator."""
    service = open_service()
    explanation = explain(block, day=on, unit_of_work=service.unit_of_work)
    view = explanation.view
    if as_json:
        print_json(explanation_document(explanation))
        return
    farm = farms_by_id(service)[view.block.farm_id]
    show_explanation(explanation, units or UnitSystem(farm.unit_system))
    say_trial(service, view.block.block_id, words_of(farm, units))


def say_trial(service: Service, block_id: str, words: Wording) -> None:
    """What weighing the forecast would have done lately; nothing where nothing is on paper."""
    found = read_risk_trial(
        block_id, unit_of_work=service.unit_of_work, clock=in_its_own_time(service).clock
    )
    if found.is_kept and found.sums is not None:
        paragraph(trial_sentence(found.sums, words))


def counties(
    block: Annotated[str, typer.Option("--block", help="Reference block used in every county.")],
    first_day: Annotated[
        date | None,
        typer.Option(
            "--from",
            parser=parse_day,
            metavar="DATE",
            help="First of seven days; default: the seven days up to yesterday.",
        ),
    ] = None,
    units: UnitsOption = None,
    save: SaveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare counties by the weekly water need of one reference block."""
    service = open_service()
    reference = get_block_now(block, unit_of_work=service.unit_of_work, clock=service.clock)
    farm = farms_by_id(service)[reference.farm_id]
    today = local_day(service.clock.now(), farm.zone)
    first = first_day or today - timedelta(days=DAYS_PER_WEEK)
    comparison = compare_counties(
        reference.block_id,
        first_day=first,
        last_day=first + timedelta(days=DAYS_PER_WEEK - 1),
        on=today,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    if save is not None:
        year, week, _ = first.isocalendar()
        table = county_table(
            county_weeks(comparison),
            words_of(farm, units),
            span=(first, comparison.last_day),
            week=f"{year}-W{week:02}",
            reference=f"{reference.name} ({reference.block_id})",
        )
        save_table(save, table)
        return
    if as_json:
        print_json(county_document(comparison))
        return
    show_counties(comparison, units or UnitSystem(farm.unit_system))


def show_counties(comparison: CountyComparison, units: UnitSystem) -> None:
    """Print the counties, largest need first."""
    need, days = comparison.need, comparison.days
    out.print(
        Text(
            f"Water need by county, {shown.long_day(comparison.first_day)} to "
            f"{shown.long_day(comparison.last_day)}",
            style="bold",
        )
    )
    depth_unit = "in" if units is UnitSystem.US else "mm"
    table = plain_table(
        "", "County", "ET0", "of normal", "Rain", "Kept", "Net", "Gross", "Time",
        right=(0, 2, 3, 4, 5, 6, 7, 8),
    )  # fmt: skip
    table.add_row("", "", *(depth_unit, "%", *[depth_unit] * 4, "h"), style="dim")
    order = sorted(range(len(comparison.counties)), key=lambda place: need.rank[place] or 999)
    for place in order:
        county = comparison.counties[place]
        table.add_row(
            f"{need.rank[place]}{_MARKS[days.of(place)]}" if need.rank[place] else "-",
            f"{county.county_code} {county.name}",
            _bare_depth(need.reference_et_mm[place], units),
            _or_dash(need.percent_of_normal[place], ".0f"),
            _bare_depth(comparison.rain_mm[place], units),
            _bare_depth(need.rain_entering_mm[place], units),
            _bare_depth(need.net_need_mm[place], units),
            _bare_depth(need.gross_need_mm[place], units),
            _or_dash(need.running_h[place], ".1f"),
        )
    out.print(table)
    block = comparison.reference
    paragraph(
        "ET0: reference ET. Kept: rain that stays in the root zone. Net need, gross need and "
        f"hours apply only to the reference block {block.name} ({block.crop_key}), which starts "
        "the week with a full root zone. Depths are over the whole ground area."
    )
    if days.forecast_days_count.any():
        paragraph(
            f"~ rests on a forecast, for up to {days.forecast_days_count.max()} of the days; its"
            " rain is weighted by its probability."
        )
    if days.stand_in_days_count.any():
        paragraph(
            f"* rests on the season's normal, the days around or a place nearby, for up to "
            f"{days.stand_in_days_count.max()} of the days: not to be held against measured ones."
        )


_MARKS = {Basis.MEASURED: "", Basis.FORECAST: "~", Basis.STAND_IN: "*", Basis.UNKNOWN: "?"}
"""Behind a rank: what it rests on."""


def county_document(comparison: CountyComparison) -> dict[str, object]:
    """The comparison for JSON, in SI units."""
    need = comparison.need
    return {
        "reference_block_id": comparison.reference.block_id,
        "first_day": comparison.first_day,
        "last_day": comparison.last_day,
        "counties": [
            {
                "county_code": county.county_code,
                "name": county.name,
                "site_id": county.site_id,
                "rank": int(need.rank[place]),
                "forecast_day_count": int(comparison.forecast_day_count[place]),
                "rests_on": comparison.days.of(place).value,
                "measured_days_count": int(comparison.days.measured_days_count[place]),
                "forecast_days_count": int(comparison.days.forecast_days_count[place]),
                "stand_in_days_count": int(comparison.days.stand_in_days_count[place]),
                "unknown_days_count": int(comparison.days.unknown_days_count[place]),
                "reference_et_mm": round(float(need.reference_et_mm[place]), 3),
                "percent_of_normal_pct": round(float(need.percent_of_normal[place]), 1),
                "rain_mm": round(float(comparison.rain_mm[place]), 3),
                "rain_entering_mm": round(float(need.rain_entering_mm[place]), 3),
                "crop_et_mm": round(float(need.crop_et_mm[place]), 3),
                "net_need_mm": round(float(need.net_need_mm[place]), 3),
                "gross_need_mm": round(float(need.gross_need_mm[place]), 3),
                "running_h": round(float(need.running_h[place]), 2),
                "normal_et0_mm": round(float(need.normal_et0_mm[place]), 3),
                "normal_need_mm": round(float(need.normal_need_mm[place]), 3),
            }
            for place, county in enumerate(comparison.counties)
        ],
    }


def _bare_depth(depth_mm: float, units: UnitSystem) -> str:
    return shown.bare_depth(depth_mm, units) if np.isfinite(depth_mm) else "-"


def _or_dash(value: float, spec: str) -> str:
    return format(float(value), spec) if np.isfinite(value) else "-"
