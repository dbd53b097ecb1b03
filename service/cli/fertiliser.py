"""Commands for fertilizer: products, a season's need, injections by day.

A hazardous number is never shown without its cautions, in text or in JSON.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, timedelta
from functools import partial
from typing import Annotated

import typer

from service.bootstrap import Service
from service.cli.evening import outcome_document, outcome_text
from service.cli.pipes import today_of, units_of
from service.cli.plans import farms_by_id
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
from service.cli.water_text import show_advice, show_cautions, show_split
from service.errors import Fault, InputInvalid
from service.farm_files.quantities import Measure, read_quantity
from service.farm_files.sample_file import TEMPERATURE
from service.operations.waterworks import order_fertigation as feeding
from service.operations.waterworks.split_need import SplitRequest, split_need
from service.records.waterworks import FertigationOrder
from service.unit_sizes import KG_PER_POUND, LB_PER_AC_PER_KG_PER_HA
from service.waterworks.fertiliser import (
    K_IN_K2O,
    MICRONUTRIENTS,
    NUTRIENTS,
    P_IN_P2O5,
    labelled_product,
)
from service.waterworks.season_split import NutrientNeed

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
_MASS_UNITS = {"kg": 1.0, "g": 1e-3, "lb": KG_PER_POUND}
MOST_NEED_KG_PER_HA = 10_000.0
_NEED = re.compile(r"([A-Za-z0-9]+)\s*=\s*([0-9]+(?:\.[0-9]+)?)\s*(kg/ha|lb/ac|lb/acre)?")
# Name of a need: nutrient, and how much of the element is in what is named.
_NEEDS = {
    **{each: (each, 1.0) for each in NUTRIENTS},
    "N": ("nitrogen", 1.0), "P": ("phosphorus", 1.0), "K": ("potassium", 1.0),
    "Ca": ("calcium", 1.0), "Mg": ("magnesium", 1.0), "S": ("sulfur", 1.0),
    "P2O5": ("phosphorus", P_IN_P2O5), "K2O": ("potassium", K_IN_K2O),
}  # fmt: skip


def fertilisers(
    farm: Annotated[str | None, typer.Argument(help="Show this farm's own products too.")] = None,
    as_json: JsonOption = False,
) -> None:
    """List the available fertilizers and their nutrients."""
    products = feeding.generic_products()
    if farm is not None:
        products = feeding.list_products(farm, unit_of_work=open_service().unit_of_work)
    if as_json:
        print_json(products)
        return
    table = plain_table("Key", "Name", "N %", "P %", "K %", "Ca %", "Mg %", "S %",
                        right=(2, 3, 4, 5, 6, 7))  # fmt: skip
    table.columns[0].no_wrap = True  # a key is typed as it stands
    for each in products:
        shares = (each.nitrogen_fraction, each.phosphorus_fraction, each.potassium_fraction,
                  each.calcium_fraction, each.magnesium_fraction, each.sulfur_fraction)  # fmt: skip
        table.add_row(each.key, each.name, *(f"{100.0 * share:.1f}" for share in shares))
    out.print(table)
    paragraph(
        "Elements, percent of the weight. The product label takes precedence over this table."
    )


def fertiliser_add(  # noqa: PLR0913 - one option for each line of a label
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
    micronutrients: Annotated[
        list[str] | None,
        typer.Option("--micro", help="Percent of the weight: 'manganese=0.5'; repeat it."),
    ] = None,
    density: Annotated[float | None, typer.Option(help="kg/L, of a liquid.")] = None,
    solubility: Annotated[
        list[str] | None, typer.Option(help="Of a solid: '20=316', degC and g per kg of water.")
    ] = None,
) -> None:
    """Enter a fertilizer by its label."""
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
        micronutrient_pct=dict(_micronutrient(text) for text in micronutrients or []),
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


def _micronutrient(text: str) -> tuple[str, float]:
    name, _, share = text.partition("=")
    try:
        value = float(share)
    except ValueError:
        value = float("nan")
    if name.strip() not in MICRONUTRIENTS or not 0.0 <= value <= 100.0:
        message = f"{text!r} is not one of {', '.join(f'{each}=NUMBER' for each in MICRONUTRIENTS)}"
        raise typer.BadParameter(message)
    return name.strip(), value


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
            help="Last day for nitrogen; default: the block's own, or by crop and place.",
        ),
    ] = None,
    is_late: Annotated[
        bool, typer.Option("--late-nitrogen", help="Nitrogen after its last day is meant.")
    ] = False,
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
    units = units_of(block, service, None)
    read = partial(read_quantity, unit_system=units)
    found = _ordered(
        service,
        feeding.FertigationRequest(
            block_id=block,
            day=day,
            product_kg=tuple(_mass(text) for text in products),
            stock_l=read(stock, _STOCK, where="--stock"),
            temperature_c=read(temperature, TEMPERATURE, where="--temperature"),
            injector_lowest_l_per_h=read(lowest, _RATE, where="--injector"),
            injector_highest_l_per_h=read(highest, _RATE, where="--injector"),
            largest_added_min=add_up_to,
            travel_min=None if travel is None else read(travel, _MINUTES, where="--travel"),
            last_nitrogen_day=last_nitrogen,
            is_late_nitrogen_confirmed=is_late,
        ),
    )
    _show_stored(found, units, as_json=as_json)


def _ordered(service: Service, request: feeding.FertigationRequest) -> feeding.StoredOrder:
    """The stored order; a refusal for late nitrogen names the option that confirms it."""
    try:
        return feeding.order_fertigation(
            request, unit_of_work=service.unit_of_work, replanning=service.replanning
        )
    except InputInvalid as error:
        if any(fault.where == "last_nitrogen_day" for fault in error.faults):
            note("--late-nitrogen confirms that it is meant")
        raise


def _show_stored(found: feeding.StoredOrder, units: UnitSystem, *, as_json: bool) -> None:
    if as_json:
        print_json(
            {
                "cautions": found.cautions,
                "order": found.order,
                "saturation_share": found.stock.saturation_share,
                "advisories": found.advisories,
                **outcome_document(found.outcome),
            }
        )
        return
    show_cautions(found.cautions)
    _show_order(found.order)
    share = found.stock.saturation_share
    if share is not None:
        out.print(f"stock solution at {100.0 * share:.0f} % of what dissolves")
    paragraph(
        f"{outcome_text(found.outcome).capitalize()}. "
        + (
            f"The plan already issued for {found.order.day} has been replaced."
            if found.new_version_count
            else f"The evening run before {found.order.day} fits it in."
        )
    )
    show_advice(found.advisories, units)


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
        list[str],
        typer.Option(
            "--need", help="Season's need: 'nitrogen=40 kg/ha', 'K2O=50 lb/ac'; repeat it."
        ),
    ],
    products: Annotated[
        list[str], typer.Option("--product", help="Products that bring it; repeat it.")
    ],
    days: Annotated[list[str], typer.Option("--day", metavar="DATE", help="Repeat it.")],
    last_nitrogen: Annotated[
        date | None,
        typer.Option(
            "--last-nitrogen",
            parser=parse_day,
            metavar="DATE",
            help="Default: the block's own, or by crop and place.",
        ),
    ] = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Split a season's need over its days, with the amount of each product for every day."""
    service = open_service()
    found = split_need(
        SplitRequest(
            block_id=block,
            need=_need(needs),
            days=tuple(parse_day(text) for text in days),
            product_keys=tuple(products),
            last_nitrogen_day=last_nitrogen,
        ),
        on=today_of(block, service),
        unit_of_work=service.unit_of_work,
    )
    if as_json:
        print_json(found)
        return
    farm = farms_by_id(service)[found.block_id.partition(".")[0]]
    show_split(found, units or UnitSystem(farm.unit_system))


def _need(texts: Sequence[str]) -> NutrientNeed:
    """The needs as elements in kg/ha; without a unit a number is kg/ha."""
    amounts: dict[str, float] = {}
    faults = []
    for text in texts:
        match = _NEED.fullmatch(text.strip())
        if match is None or match[1] not in _NEEDS or float(match[2]) >= MOST_NEED_KG_PER_HA:
            allowed = f"one of {', '.join(_NEEDS)} with a number, such as 'nitrogen=40 kg/ha'"
            faults.append(Fault("--need", text, allowed))
            continue
        nutrient, share = _NEEDS[match[1]]
        if nutrient in amounts:
            faults.append(Fault("--need", text, f"{nutrient} once"))
        per_area = LB_PER_AC_PER_KG_PER_HA if match[3] and match[3] != "kg/ha" else 1.0
        amounts[nutrient] = float(match[2]) * share / per_area
    if not faults and not any(amounts.values()):
        faults.append(Fault("--need", "nothing", "at least one nutrient above 0"))
    if faults:
        raise InputInvalid("the need cannot be used", faults)
    return NutrientNeed(**{f"{name}_kg_per_ha": amount for name, amount in amounts.items()})


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
