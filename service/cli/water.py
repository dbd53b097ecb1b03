"""Commands for water: analyses and acid.

A hazardous number is never shown without its cautions, in text or in JSON.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from service.bootstrap import Service
from service.cli.acid_text import show_dose
from service.cli.evening import outcome_document, outcome_text
from service.cli.pipes import today_of
from service.cli.plans import farms_by_id
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    note,
    open_service,
    out,
    parse_day,
    print_json,
)
from service.cli.water_text import NO_DAY, show_advice, show_report
from service.farm_files.quantities import Measure, read_quantity
from service.farm_files.sample_file import (
    COMMON_TEMPERATURE_C,
    TEMPERATURE,
    parse_reading,
    read_sample_file,
)
from service.operations.reading.read_farms import today_at
from service.operations.waterworks import estimate_acid as acids
from service.operations.waterworks import report_water as waters
from service.records.waterworks import WaterSample
from service.waterworks.acid_amounts import AcidPrice
from service.waterworks.acid_limits import MATERIALS

_MINUTES = Measure(
    noun="a duration", unit="min", lowest=1.0, highest=1440.0, examples=("'30 min'", "'0.5 h'")
)
_TANK_RATE = Measure(
    noun="a rate", unit="L/h", lowest=0.01, highest=1e5, examples=("'20 L/h'", "'5 gph'")
)
_SEASON_WATER = Measure(
    noun="a depth of water", unit="mm", lowest=1.0, highest=3000.0, examples=("'24 in'", "'600 mm'")
)
_PRICE = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*(?:/|per )\s*(kg|lb|L|gal)")
BOTH_NAMES = re.compile(r"([a-z0-9-]+)\.([a-z0-9-]+)")
SupplyOption = Annotated[
    str | None, typer.Option("--supply", metavar="FARM.SUPPLY", help="A supply, in full.")
]
DayOption = Annotated[date | None, typer.Option("--on", parser=parse_day, metavar="DATE")]


def _pair(text: str) -> tuple[str, str]:
    match = BOTH_NAMES.fullmatch(text)
    if match is None:
        message = f"{text!r} is not a supply in full, such as hill-farm.well"
        raise typer.BadParameter(message)
    return match[1], match[2]


# --- analyses ------------------------------------------------------------------------------------


def water_add(
    supply: Annotated[
        str, typer.Argument(metavar="FARM.SUPPLY", help="Supply the sample was taken from.")
    ],
    file: Annotated[Path | None, typer.Argument(help="The laboratory's report as TOML.")] = None,
    readings: Annotated[
        list[str] | None,
        typer.Option("--reading", help="One value: 'alkalinity=120 mg/L CaCO3'; repeat it."),
    ] = None,
    day: DayOption = None,
    temperature: Annotated[
        str | None, typer.Option(help="Temperature of the water in the pipes: '15 degC'.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Store a water analysis of a supply, from a file or value by value."""
    if (file is None) == (not readings):
        message = "give a file, or values with --reading"
        raise typer.BadParameter(message)
    farm_id, supply_id = _pair(supply)
    service = open_service()
    with service.unit_of_work(write=False) as unit:
        today = today_at(unit, farm_id, service.clock.now())
    sample = _sample(farm_id, supply_id, file, readings or [], day or today, temperature)
    if file is not None and day is not None:
        note("the day is the one given with --on")
    outcome = waters.record_sample(sample, unit_of_work=service.unit_of_work, clock=service.clock)
    found = waters.report_sample(sample)
    if as_json:
        print_json({**_report_document(found), **outcome_document(outcome)})
        return
    out.print(f"{supply}: analysis of {sample.day}, {outcome_text(outcome)}")
    show_advice(found.report.advisories)


def _sample(
    farm_id: str,
    supply_id: str,
    file: Path | None,
    texts: Sequence[str],
    day: date,
    temperature: str | None,
) -> WaterSample:
    given_c = (
        None
        if temperature is None
        else read_quantity(temperature, TEMPERATURE, where="--temperature")
    )
    if file is not None:
        content = read_sample_file(file)
        return WaterSample(
            farm_id=farm_id,
            supply_id=supply_id,
            day=content.day or day,
            laboratory=content.laboratory,
            readings=content.readings,
            temperature_c=content.temperature_c if given_c is None else given_c,
            titration=content.titration,
        )
    found = []
    for text in texts:
        quantity, _, value = text.partition("=")
        found.append(parse_reading(quantity.strip(), value))
    return WaterSample(
        farm_id=farm_id,
        supply_id=supply_id,
        day=day,
        laboratory="not named",
        readings=tuple(found),
        temperature_c=COMMON_TEMPERATURE_C if given_c is None else given_c,
    )


def water_report(
    block: Annotated[
        str | None, typer.Argument(help="Block, for its supply's water and its crop.")
    ] = None,
    supply: SupplyOption = None,
    file: Annotated[
        Path | None, typer.Option("--file", help="A report file to assess without storing it.")
    ] = None,
    crop: Annotated[str | None, typer.Option(help="Crop, with --supply or --file.")] = None,
    uses_leaching: Annotated[
        bool,
        typer.Option("--use-leaching", help="Apply the leaching requirement to the block's plan."),
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """What a water analysis means: salinity, ions, clogging, scale, leaching, yield."""
    _one_of(block, supply, file)
    if uses_leaching and block is None:
        message = "--use-leaching needs a block"
        raise typer.BadParameter(message)
    if file is not None:
        found = waters.report_sample(file_sample(file), crop_key=crop)
    else:
        service = open_service()
        found = _stored_report(service, block, supply, crop, uses_leaching=uses_leaching)
    if as_json:
        print_json(_report_document(found))
        return
    show_report(found)


def _stored_report(
    service: Service,
    block: str | None,
    supply: str | None,
    crop: str | None,
    *,
    uses_leaching: bool,
) -> waters.CropReport:
    if block is None:
        farm_id, supply_id = _pair(str(supply))
        sample = waters.newest_sample(farm_id, supply_id, unit_of_work=service.unit_of_work)
        return waters.report_sample(sample, crop_key=crop)
    if uses_leaching:
        return waters.use_leaching(
            block,
            effective_day=today_of(block, service),
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )
    return waters.report_block_water(
        block, on=today_of(block, service), unit_of_work=service.unit_of_work
    )


def _one_of(block: str | None, supply: str | None, file: Path | None) -> None:
    if sum(each is not None for each in (block, supply, file)) != 1:
        message = "give a block, --supply or --file"
        raise typer.BadParameter(message)


def file_sample(file: Path) -> WaterSample:
    """A report in a file, of no supply."""
    return _sample("", "", file, [], NO_DAY, None)


def _report_document(found: waters.CropReport) -> dict[str, object]:
    return {
        "supply_id": found.sample.supply_id,
        "day": None if found.sample.day == NO_DAY else found.sample.day,
        "block_id": found.block_id,
        "crop_key": None if found.crop is None else found.crop.key,
        "plan_leaching_fraction": found.plan_leaching_fraction,
        "plan_origin": found.plan_origin,
        **asdict(found.report),
        "crop_classes": found.crop_classes,
        "nitrogen_loads": found.nitrogen_loads,
        "cautions": found.cautions,
    }


# --- acid ----------------------------------------------------------------------------------------


def acid(  # noqa: PLR0913 - one option for each fact of crop, head, injection and season
    target_ph: Annotated[float, typer.Option("--to", help="pH wanted in the lines.")],
    kind: Annotated[
        str,
        typer.Option("--acid", help="sulfuric, phosphoric, nitric, hydrochloric or citric."),
    ],
    strength: Annotated[
        float, typer.Option("--strength", help="Pure acid in the product, percent by weight.")
    ],
    block: Annotated[
        str | None, typer.Argument(help="Block, for its supply's water and its flow.")
    ] = None,
    supply: SupplyOption = None,
    file: Annotated[Path | None, typer.Option("--file", help="A water report in a file.")] = None,
    density: Annotated[
        float | None, typer.Option(help="Density of the product, kg/L; default: from a table.")
    ] = None,
    with_chlorine: Annotated[
        bool, typer.Option("--with-chlorine", help="Chlorine is injected into the same water.")
    ] = False,
    crop: Annotated[str | None, typer.Option(help="Crop, with --supply or --file.")] = None,
    materials: Annotated[
        list[str] | None,
        typer.Option(
            "--material",
            help=f"What the acid water passes: {', '.join(MATERIALS)}; repeat it for each.",
        ),
    ] = None,
    minutes: Annotated[
        str | None,
        typer.Option(help="Of one short, supervised injection: '30 min'; default: all the time."),
    ] = None,
    injections: Annotated[
        int | None, typer.Option(help="Such injections in the season, for its total.")
    ] = None,
    tank_rate: Annotated[
        str | None, typer.Option(help="What the injector takes from its tank: '20 L/h'.")
    ] = None,
    season: Annotated[
        str | None,
        typer.Option(help="Water of a season: '24 in'; default: the ledger's last year."),
    ] = None,
    price: Annotated[
        str | None, typer.Option(help="Of the product, in your currency: '2.50/L', '8 per gal'.")
    ] = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Estimate the acid needed to bring a water to a pH. Never an instruction."""
    _one_of(block, supply, file)
    request = acids.AcidRequest(
        target_ph=target_ph,
        acid_key=kind,
        strength_pct=strength,
        density_kg_per_l=density,
        is_chlorine_injected=with_chlorine,
        crop_key=crop,
        materials=tuple(materials or ()),
        injection_min=_read(minutes, _MINUTES, "--minutes"),
        injection_count=injections,
        tank_l_per_h=_read(tank_rate, _TANK_RATE, "--tank-rate"),
        season_water_mm=_read(season, _SEASON_WATER, "--season"),
        price=None if price is None else _price(price),
    )
    system = units or UnitSystem.SI
    if file is not None:
        found = acids.estimate_acid(file_sample(file), request)
    else:
        service = open_service()
        if block is not None:
            found = acids.estimate_block_acid(
                block, request, on=today_of(block, service), unit_of_work=service.unit_of_work
            )
        else:
            farm_id, supply_id = _pair(str(supply))
            sample = waters.newest_sample(farm_id, supply_id, unit_of_work=service.unit_of_work)
            found = acids.estimate_acid(sample, request)
        farm = farms_by_id(service)[found.sample.farm_id]
        system = units or UnitSystem(farm.unit_system)
    if as_json:
        print_json(_acid_document(found))
        return
    show_dose(found, system)


def _read(text: str | None, measure: Measure, where: str) -> float | None:
    return None if text is None else read_quantity(text, measure, where=where)


def _price(text: str) -> AcidPrice:
    match = _PRICE.fullmatch(text.strip())
    if match is None:
        message = f"{text!r} is not a price such as '2.50/L' or '8 per gal'; of kg, lb, L or gal"
        raise typer.BadParameter(message)
    return AcidPrice(float(match[1]), match[2])


def _acid_document(found: acids.AcidEstimate) -> dict[str, object]:
    return {
        "cautions": found.dose.cautions,
        "block_id": found.block_id,
        "flow_l_per_h": found.flow_l_per_h,
        "lowest_ph": found.limit.lowest_ph,
        "limit": found.limit,
        "analysis_advisories": found.analysis_advisories,
        "acid_l_per_1000_gal": found.acid_l_per_1000_gal,
        "ph_by_dose": found.ph_by_dose,
        "dose_advisories": found.dose_advisories,
        "loads": found.loads,
        "injection": found.injection,
        "season": found.season,
        "season_origin": found.season_origin,
        "given": found.given,
        **asdict(found.dose),
    }
