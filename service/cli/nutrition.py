"""Commands for leaf, petiole and soil tests, and the season's plan of nutrients and soil pH."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from service.cli.evening import outcome_document, outcome_text
from service.cli.nutrition_text import show_plan, show_report
from service.cli.pipes import today_of, units_of
from service.cli.terminal import JsonOption, UnitSystem, open_service, out, parse_day, print_json
from service.errors import Fault, InputInvalid
from service.farm_files.keys import plain
from service.farm_files.nutrient_file import (
    NutrientFile,
    nutrient_test,
    parse_nutrient,
    read_nutrient_file,
)
from service.farm_files.quantities import Measure, read_quantity
from service.operations.nutrition import plan_nutrients as plans
from service.operations.nutrition import record_tests as tests
from service.operations.nutrition.documents import plan_document, report_document

_DEPTH = Measure(
    noun="a depth of water", unit="mm", lowest=0.0, highest=3000.0, examples=("'10 in'", "'250 mm'")
)
_RATE = Measure(
    noun="a rate", unit="kg/ha", lowest=0.0, highest=500.0, examples=("'50 lb/ac'", "'55 kg/ha'")
)
_THICKNESS = Measure(
    noun="a depth", unit="cm", lowest=0.0, highest=50.0, examples=("'2 in'", "'5 cm'")
)
_FACTS = {
    "base": _RATE,
    "last-season": _RATE,
    "legal-cap": _RATE,
    "harvest-nitrogen": _RATE,
    "harvest-k2o": _RATE,
    "water": _DEPTH,
    "sawdust": _THICKNESS,
    "acid-ph": plain("the pH that acid brings the water to", 4.0, 8.0, "5.5", "6.5"),
    "lime": plain("short tons of lime an acre", 0.0, 20.0, "1", "1.5"),
    "lime-months": plain("months since the lime", 0.0, 120.0, "6", "14"),
    "age": plain("the year of the plants", 1.0, 200.0, "1", "6"),
    "planted-share": plain("a share of the ground", 0.01, 1.0, "0.33", "1"),
    "ph": plain("a soil pH", 3.0, 9.0, "4.8", "6.5"),
}
BlockArgument = Annotated[str, typer.Argument(help="Block, `farm.block`.")]
RowsOption = Annotated[
    list[str] | None,
    typer.Option("--rows", help="Published ranges to take instead of the default; repeat it."),
]


def test_add(
    block: BlockArgument,
    file: Annotated[
        Path | None, typer.Argument(help="The laboratory's report as TOML or CSV.")
    ] = None,
    readings: Annotated[
        list[str] | None, typer.Option("--reading", help="One value: 'N=1.60 %'; repeat it.")
    ] = None,
    kind: Annotated[str | None, typer.Option(help="leaf, petiole or soil.")] = None,
    taken: Annotated[date | None, typer.Option("--taken", parser=parse_day, metavar="DATE")] = None,
    crop: Annotated[str | None, typer.Option(help="Such as rabbiteye-blueberry.")] = None,
    tissue: Annotated[str | None, typer.Option(help="Such as primocane-leaf.")] = None,
    stage: Annotated[str | None, typer.Option(help="Such as bloom.")] = None,
    leaves: Annotated[int | None, typer.Option(help="Leaves in the sample.", min=1)] = None,
    extractant: Annotated[str | None, typer.Option(help="Such as mehlich-3.")] = None,
    texture: Annotated[str | None, typer.Option(help="Such as sandy-loam.")] = None,
    laboratory: Annotated[str | None, typer.Option(help="Who analyzed it.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Store a leaf, petiole or soil test of a block, and say what it means."""
    if (file is None) == (not readings):
        message = "give a file, or values with --reading"
        raise typer.BadParameter(message)
    given = NutrientFile() if file is None else read_nutrient_file(file)
    texts = [text.partition("=") for text in readings or []]
    told = {
        "kind": kind,
        "day": taken,
        "crop": crop,
        "tissue": tissue,
        "stage": stage,
        "leaf_count": leaves,
        "extractant": extractant,
        "texture": texture,
        "laboratory": laboratory,
    }
    changed: dict[str, Any] = {name: value for name, value in told.items() if value is not None}
    values = (*given.readings, *(parse_nutrient(n.strip(), v) for n, _, v in texts))
    service = open_service()
    report, outcome = tests.record_test(
        nutrient_test(block, replace(given, **changed, readings=values)),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    if as_json:
        print_json({**report_document(report), **outcome_document(outcome)})
        return
    out.print(f"{report.test.block_id}: {outcome_text(outcome)}")
    show_report(report)


def test_list(
    block: BlockArgument,
    rows: RowsOption = None,
    remove: Annotated[
        str | None, typer.Option("--remove", help="Delete one: 'leaf 2026-08-01'.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """List a block's leaf, petiole and soil tests with what they say."""
    service = open_service()
    if remove is not None:
        kind, _, day = remove.partition(" ")
        tests.remove_test(block, day=parse_day(day), kind=kind, unit_of_work=service.unit_of_work)
        out.print(f"{block}: {kind} test of {day} deleted")
        return
    found = tests.list_reports(
        block,
        on=today_of(block, service),
        chosen_rows=rows or (),
        unit_of_work=service.unit_of_work,
    )
    if as_json:
        print_json([report_document(each) for each in found])
        return
    for each in found:
        show_report(each)
    if not found:
        out.print(f"{block}: no test is stored; `rillwright test-add` takes one")


def nutrient_plan(
    block: BlockArgument,
    season: Annotated[int | None, typer.Option(help="Year; default: the coming season.")] = None,
    crop: Annotated[str | None, typer.Option(help="Such as rabbiteye-blueberry.")] = None,
    vigour: Annotated[str, typer.Option(help="Shoots: short, normal or long.")] = "normal",
    given: Annotated[
        list[str] | None,
        typer.Option(
            "--given",
            help="A fact: 'last-season=50 lb/acre', 'water=10 in', 'age=6', 'base=...',"
            " 'legal-cap=...', 'harvest-nitrogen=...' and 'harvest-k2o=...' (carried off),"
            " 'sawdust=2 in', 'planted-share=0.33', 'ph=4.8', 'acid-ph=6.0' (of"
            " the water), 'lime=1' (tons/acre) and 'lime-months=6'; repeat it.",
        ),
    ] = None,
    last_nitrogen: Annotated[
        date | None, typer.Option("--last-nitrogen", parser=parse_day, metavar="DATE")
    ] = None,
    product: Annotated[str | None, typer.Option(help="Fertilizer that brings it.")] = None,
    plastic: Annotated[bool, typer.Option("--plastic", help="The row is under plastic.")] = False,
    dry: Annotated[bool, typer.Option("--dry", help="Nitrogen is spread, not injected.")] = False,
    rows: RowsOption = None,
    as_json: JsonOption = False,
) -> None:
    """The season's nutrients and soil pH of a block, from its tests and its water."""
    service = open_service()
    facts = _facts(given or [], units_of(block, service, None))
    age = facts.get("age")
    found = plans.plan_nutrients(
        block,
        plans.PlanRequest(
            crop=crop or "",
            season_year=season,
            age_years=None if age is None else int(age),
            planted_share=facts.get("planted-share"),
            vigour=vigour,
            base_kg_per_ha=facts.get("base"),
            last_season_kg_per_ha=facts.get("last-season"),
            legal_cap_kg_per_ha=facts.get("legal-cap"),
            removal_kg_per_ha=facts.get("harvest-nitrogen", 0.0),
            k2o_removal_kg_per_ha=facts.get("harvest-k2o", 0.0),
            planned_mm=facts.get("water"),
            sawdust_depth_cm=facts.get("sawdust", 0.0),
            acidified_ph=facts.get("acid-ph"),
            recent_lime_tons_per_ac=facts.get("lime", 0.0),
            months_since_lime=facts.get("lime-months", 0.0),
            ph_target=facts.get("ph"),
            last_nitrogen_day=last_nitrogen,
            product_key=product or "",
            is_plastic=plastic,
            is_spread_dry=dry,
            chosen_rows=tuple(rows or ()),
        ),
        on=today_of(block, service),
        unit_of_work=service.unit_of_work,
    )
    if as_json:
        print_json(plan_document(found))
        return
    show_plan(found)


def _facts(texts: Sequence[str], units: UnitSystem) -> dict[str, float]:
    """Facts by name in the unit of their measure; raises InputInvalid."""
    found: dict[str, float] = {}
    for text in texts:
        name, _, value = text.partition("=")
        if name not in _FACTS:
            raise InputInvalid(
                "this plan cannot be made",
                [Fault("--given", text, f"one of {', '.join(_FACTS)}, with = and a value")],
            )
        measure = _FACTS[name]
        plain_number: object = value
        if measure.unit == "" and value.replace(".", "", 1).isdigit():
            plain_number = float(value)
        found[name] = read_quantity(
            plain_number, measure, where=f"--given {name}", unit_system=units
        )
    return found
