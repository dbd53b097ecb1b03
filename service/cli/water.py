"""Commands for water and what goes into it: analyses, acid, fertiliser.

A hazardous number is never shown without its cautions, in text or in JSON.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import asdict
from datetime import date, timedelta
from pathlib import Path
from typing import Annotated

import typer

from service.bootstrap import Service
from service.cli.evening import outcome_document, outcome_text
from service.cli.pipes import today_of
from service.cli.terminal import (
    JsonOption,
    note,
    open_service,
    out,
    paragraph,
    parse_day,
    plain_table,
    print_json,
)
from service.cli.water_text import NO_DAY, show_advice, show_dose, show_report
from service.errors import Fault, InputInvalid
from service.farm_files.quantities import Measure, read_quantity
from service.farm_files.sample_file import (
    COMMON_TEMPERATURE_C,
    TEMPERATURE,
    parse_reading,
    read_sample_file,
)
from service.operations.reading.read_farms import today_at
from service.operations.waterworks import estimate_acid as acids
from service.operations.waterworks import order_fertigation as feeding
from service.operations.waterworks import report_water as waters
from service.records.waterworks import FertigationOrder, WaterSample
from service.waterworks.fertiliser import NUTRIENTS, NutrientNeed, labelled_product

BOTH_NAMES = re.compile(r"([a-z0-9-]+)\.([a-z0-9-]+)")
_STOCK = Measure(
    noun="a volume", unit="l", lowest=0.1, highest=1e6, examples=("'200 L'", "'50 gal'")
)
_RATE = Measure(
    noun="a rate", unit="L/h", lowest=0.0, highest=1e5, examples=("'60 L/h'", "'15 gph'")
)
_MINUTES = Measure(
    noun="a duration", unit="min", lowest=0.0, highest=600.0, examples=("'20 min'", "'0.5 h'")
)
_MASS = re.compile(r"([a-z0-9-]+)\s*=\s*([0-9]+(?:\.[0-9]+)?)\s*(kg|lb|g)?")
_MASS_UNITS = {"kg": 1.0, "g": 1e-3, "lb": 0.45359237}
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
    show_advice(found.report.advisories, ())


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


def acid(
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
    )
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
    if as_json:
        print_json(
            {
                "block_id": found.block_id,
                "flow_l_per_h": found.flow_l_per_h,
                "analysis_advisories": found.analysis_advisories,
                "acid_l_per_1000_gal": found.acid_l_per_1000_gal,
                "ph_by_dose": found.ph_by_dose,
                "dose_advisories": found.dose_advisories,
                "loads": found.loads,
                **asdict(found.dose),
            }
        )
        return
    show_dose(found)


# --- fertiliser ----------------------------------------------------------------------------------


def fertilisers(
    farm: Annotated[str | None, typer.Argument(help="Show this farm's own products too.")] = None,
    as_json: JsonOption = False,
) -> None:
    """List the available fertilisers and their nutrients."""
    products = feeding.generic_products()
    if farm is not None:
        products = feeding.list_products(farm, unit_of_work=open_service().unit_of_work)
    if as_json:
        print_json(products)
        return
    table = plain_table("Key", "Name", "N %", "P %", "K %", "Ca %", "Mg %", "S %",
                        right=(2, 3, 4, 5, 6, 7))  # fmt: skip
    for each in products:
        shares = (each.nitrogen_fraction, each.phosphorus_fraction, each.potassium_fraction,
                  each.calcium_fraction, each.magnesium_fraction, each.sulfur_fraction)  # fmt: skip
        table.add_row(each.key, each.name, *(f"{100.0 * share:.1f}" for share in shares))
    out.print(table)
    paragraph(
        "Elements, percent of the weight. The product label takes precedence over this table."
    )


def fertiliser_add(
    farm: Annotated[str, typer.Argument(help="Farm that uses it.")],
    key: Annotated[str, typer.Argument(help="Short name: small letters, digits and hyphens.")],
    name: Annotated[str, typer.Option(help="Name as on the label.")],
    nitrate_nitrogen: Annotated[float, typer.Option(help="Percent of the weight.")] = 0.0,
    ammonium_nitrogen: Annotated[float, typer.Option()] = 0.0,
    urea_nitrogen: Annotated[float, typer.Option()] = 0.0,
    p2o5: Annotated[float, typer.Option(help="Phosphorus as P2O5, as on labels.")] = 0.0,
    k2o: Annotated[float, typer.Option(help="Potassium as K2O, as on labels.")] = 0.0,
    calcium: Annotated[float, typer.Option(help="As element.")] = 0.0,
    magnesium: Annotated[float, typer.Option(help="As element.")] = 0.0,
    sulfur: Annotated[float, typer.Option(help="As element.")] = 0.0,
    chloride: Annotated[float, typer.Option()] = 0.0,
    density: Annotated[float | None, typer.Option(help="kg/L, of a liquid.")] = None,
    solubility: Annotated[
        list[str] | None, typer.Option(help="Of a solid: '20=316', degC and g per kg of water.")
    ] = None,
) -> None:
    """Enter a fertiliser by its label."""
    points = tuple(sorted(_point(text) for text in solubility or []))
    product = labelled_product(
        key,
        name,
        nitrate_nitrogen_pct=nitrate_nitrogen,
        ammonium_nitrogen_pct=ammonium_nitrogen,
        urea_nitrogen_pct=urea_nitrogen,
        p2o5_pct=p2o5,
        k2o_pct=k2o,
        calcium_pct=calcium,
        magnesium_pct=magnesium,
        sulfur_pct=sulfur,
        chloride_pct=chloride,
        density_kg_per_l=density,
        solubility_g_per_kg=points,
    )
    service = open_service()
    outcome = feeding.save_product(
        farm, product, unit_of_work=service.unit_of_work, clock=service.clock
    )
    out.print(f"{key}: {outcome_text(outcome)}")


def _point(text: str) -> tuple[float, float]:
    try:
        at_c, _, grams = text.partition("=")
        return float(at_c), float(grams)
    except ValueError as error:
        message = f"{text!r} is not a point such as 20=316"
        raise typer.BadParameter(message) from error


def fertigate(
    block: Annotated[str, typer.Argument(help="Block to inject into.")],
    day: Annotated[date, typer.Option("--on", parser=parse_day, metavar="DATE")],
    products: Annotated[
        list[str] | None,
        typer.Option(
            "--product", help=("Product and amount for that day: 'urea=8 kg'; may be repeated.")
        ),
    ] = None,
    stock: Annotated[str | None, typer.Option(help="Volume of stock solution: '200 L'.")] = None,
    temperature: Annotated[str, typer.Option(help="Lowest tank temperature.")] = "15 degC",
    injector: Annotated[
        str | None, typer.Option(help="Lowest and highest rate: '5 L/h to 100 L/h'.")
    ] = None,
    add_up_to: Annotated[
        int, typer.Option(min=0, max=600, help="Extra run time allowed to make it fit.")
    ] = 0,
    travel: Annotated[
        str | None,
        typer.Option(
            help=(
                "Travel time from the injector to the last emitter: '20 min'; default: "
                "from the block's pipes."
            )
        ),
    ] = None,
    last_nitrogen: Annotated[
        date | None,
        typer.Option(
            "--last-nitrogen",
            parser=parse_day,
            metavar="DATE",
            help="Last day for nitrogen on this crop and site.",
        ),
    ] = None,
    is_cancelled: Annotated[
        bool, typer.Option("--cancel", help="Cancel that day's order.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Schedule an injection for a day; the evening run fits it into that day's pulses."""
    service = open_service()
    if is_cancelled:
        feeding.cancel_fertigation(
            block, day, unit_of_work=service.unit_of_work, replanning=service.replanning
        )
        out.print(f"{block}: no injection on {day}")
        return
    if not products or stock is None or injector is None:
        message = "--product, --stock and --injector are needed"
        raise typer.BadParameter(message)
    lowest, _, highest = injector.partition(" to ")
    found = feeding.order_fertigation(
        feeding.FertigationRequest(
            block_id=block,
            day=day,
            product_kg=tuple(_mass(text) for text in products),
            stock_l=read_quantity(stock, _STOCK, where="--stock"),
            temperature_c=read_quantity(temperature, TEMPERATURE, where="--temperature"),
            injector_lowest_l_per_h=read_quantity(lowest, _RATE, where="--injector"),
            injector_highest_l_per_h=read_quantity(highest, _RATE, where="--injector"),
            largest_added_min=add_up_to,
            travel_min=None
            if travel is None
            else read_quantity(travel, _MINUTES, where="--travel"),
            last_nitrogen_day=last_nitrogen,
        ),
        unit_of_work=service.unit_of_work,
        replanning=service.replanning,
    )
    if as_json:
        print_json(
            {
                "order": found.order,
                "saturation_share": found.stock.saturation_share,
                "advisories": found.advisories,
                "cautions": found.cautions,
                **outcome_document(found.outcome),
            }
        )
        return
    _show_order(found.order)
    share = found.stock.saturation_share
    if share is not None:
        out.print(f"stock solution at {100.0 * share:.0f} % of what dissolves")
    paragraph(
        f"{outcome_text(found.outcome).capitalize()}. "
        + (
            f"The plan already issued for {day} has been replaced."
            if found.new_version_count
            else f"The evening run before {day} fits it in."
        )
    )
    show_advice(found.advisories, found.cautions)


def fertigations(
    block: Annotated[str, typer.Argument(help="Block to inject into.")],
    first_day: Annotated[
        date | None, typer.Option("--from", parser=parse_day, metavar="DATE")
    ] = None,
    last_day: Annotated[date | None, typer.Option("--to", parser=parse_day, metavar="DATE")] = None,
    as_json: JsonOption = False,
) -> None:
    """List the injections scheduled for a block."""
    service = open_service()
    begin = first_day or today_of(block, service)
    orders = feeding.list_fertigations(
        block,
        first_day=begin,
        last_day=last_day or begin + timedelta(days=365),
        unit_of_work=service.unit_of_work,
    )
    if as_json:
        print_json(orders)
        return
    for order in orders:
        _show_order(order)
    if not orders:
        note(f"no injections are scheduled for {block}")


def fertiliser_split(
    block: Annotated[str, typer.Argument(help="Block to inject into.")],
    needs: Annotated[
        list[str], typer.Option("--need", help="Season's need, kg/ha: 'nitrogen=40'; repeat it.")
    ],
    product: Annotated[str, typer.Option(help="Product that supplies the first of them.")],
    days: Annotated[list[str], typer.Option("--day", metavar="DATE", help="Repeat it.")],
    last_nitrogen: Annotated[
        date | None, typer.Option("--last-nitrogen", parser=parse_day, metavar="DATE")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Split a season's need over its days, with the amount of product for each."""
    amounts = dict(_need(text) for text in needs)
    nutrient = next(iter(amounts))
    service = open_service()
    parts = feeding.split_need(
        block,
        NutrientNeed(**{f"{name}_kg_per_ha": amount for name, amount in amounts.items()}),
        [parse_day(text) for text in days],
        nutrient=nutrient,
        product_key=product,
        last_nitrogen_day=last_nitrogen,
        on=today_of(block, service),
        unit_of_work=service.unit_of_work,
    )
    if as_json:
        print_json(parts)
        return
    table = plain_table("Day", f"{nutrient}, kg/ha", f"{product}, kg", "", right=(1, 2))
    for part in parts:
        share = float(getattr(part.need.need, f"{nutrient}_kg_per_ha"))
        late = "no nitrogen: after the last day" if part.need.is_after_last_nitrogen else ""
        table.add_row(str(part.need.day), f"{share:.2f}", f"{part.product_kg:.2f}", late)
    out.print(table)
    show_advice(parts[0].advisories, parts[0].cautions)


def _need(text: str) -> tuple[str, float]:
    name, _, amount = text.partition("=")
    allowed = [f"{each}=NUMBER" for each in NUTRIENTS]
    try:
        value = float(amount)
    except ValueError:
        value = float("nan")
    if name.strip() not in NUTRIENTS or not 0.0 <= value < 10_000.0:
        raise InputInvalid(
            "the need cannot be used", [Fault("--need", text, f"one of {', '.join(allowed)}")]
        )
    return name.strip(), value


def _mass(text: str) -> tuple[str, float]:
    match = _MASS.fullmatch(text.strip())
    if match is None or match[3] is None:
        raise InputInvalid(
            "the product cannot be used",
            [Fault("--product", text, "a key with its mass, such as 'urea=8 kg'")],
        )
    return match[1], float(match[2]) * _MASS_UNITS[match[3]]


def _show_order(order: FertigationOrder) -> None:
    what = ", ".join(f"{mass_kg:g} kg {each.name}" for each, mass_kg in order.product_kg)
    out.print(f"{order.block_id}, {order.day}: {what} in {order.stock_l:g} L of stock")
