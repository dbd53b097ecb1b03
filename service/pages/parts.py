"""The page of a block's parts: the list, the order along the pipe, checklists, cost and cautions.

Everything is worked out when the page is opened, from the block and from what is typed into its
form; nothing of it is stored.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from starlette.responses import Response

from service.errors import Fault, InputInvalid
from service.operations.reading.read_farms import local_day
from service.operations.season.note_visits import last_visit
from service.operations.waterworks import parts_words
from service.operations.waterworks.list_parts import (
    PartsReport,
    PartsRequest,
    list_parts,
    price_parts,
)
from service.operations.waterworks.parts_words import (
    ORIGIN_NAMES,
    SUBSTANCE_NAMES,
)
from service.pages.plans import farm_of
from service.pages.visit import Visit, faults_by_field
from service.translations import Wording
from service.unit_sizes import KPA_PER_BAR, KPA_PER_M_OF_HEAD, KPA_PER_PSI
from service.waterworks.head_checks import VISIT
from service.waterworks.head_filter import WaterOrigin
from service.waterworks.head_injector import (
    COMMON_DILUTION_RATIO,
    COMMON_INJECTION_MIN,
    Substance,
)
from service.waterworks.parts_cost import PartsCost, UnitPrice
from service.waterworks.parts_list import PartUnit

PRICE = "price_"
FIELDS = {
    "zone_count": "zones",
    "row_length_m": "row_length",
    "inlet_head_m": "pressure",
    "injection_min": "minutes",
    "dilution_ratio": "dilution",
}
"""Fields of the form by the numbers that they give."""


@dataclass(frozen=True, slots=True)
class PartRow:
    """A part as the page shows it."""

    key: str
    name: str
    amount: str
    remarks: tuple[str, ...]
    source: str
    price_unit: str
    price: str
    """As it was typed in."""
    cost: str


def show_parts(visit: Visit) -> Response:
    """The page; with a form that cannot be used, the common numbers and what is wrong."""
    farm = farm_of(visit)
    words, service = visit.words, visit.service
    on = local_day(service.clock.now(), farm.zone)
    block_id = visit.params["block_id"]
    faults: dict[str, Fault] = {}
    try:
        report = list_parts(
            block_id, _request(visit.query, words), on=on, unit_of_work=service.unit_of_work
        )
    except InputInvalid as error:
        faults.update(faults_by_field(error, FIELDS))
        report = list_parts(block_id, PartsRequest(), on=on, unit_of_work=service.unit_of_work)
    cost, price_faults = None, {}
    try:
        prices = _prices(report, visit.query, words)
        budget = _optional(visit.query, "budget", "budget")
        cost = price_parts(report, prices, budget) if prices else None
    except InputInvalid as error:
        price_faults = faults_by_field(error, _price_fields(report))
    return visit.show(
        "parts_and_order.html",
        farm=farm,
        report=report,
        numbers=parts_words.number_rows(report, words),
        suction=parts_words.suction_rows(report, words),
        places=[(words.gettext(SUBSTANCE_NAMES[each.substance]), each) for each in report.places],
        figure=parts_words.order_figure(report, words),
        rows=_rows(report, cost, visit.query, words),
        cost=cost,
        costs=[] if cost is None else _costs(cost, words),
        missing=_missing(report, cost, words),
        origins=[(each.value, words.gettext(name)) for each, name in ORIGIN_NAMES.items()],
        substances=[(each.value, words.gettext(name)) for each, name in SUBSTANCE_NAMES.items()],
        chosen={each.substance.value for each in report.places},
        common={"minutes": COMMON_INJECTION_MIN, "dilution": COMMON_DILUTION_RATIO},
        visit_key=VISIT,
        visited=last_visit(report.block_id, unit_of_work=service.unit_of_work),
        form=visit.query,
        faults=faults,
        price_faults=price_faults,
    )


def _price_fields(report: PartsReport) -> dict[str, str]:
    """Fields of the prices, by the parts that they are of."""
    fields = {"budget": "budget"}
    for part in report.parts:
        fields[part.key] = fields[f"{PRICE}{part.key}"] = f"{PRICE}{part.key}"
    return fields


def _request(asked: Mapping[str, str], words: Wording) -> PartsRequest:
    """What was typed in; raises InputInvalid with every fault."""
    is_asked = "water" in asked
    substances = tuple(each for each in Substance if f"inject_{each.value}" in asked)
    zones = _optional(asked, "zones", "zone_count")
    if zones is not None and zones != round(zones):
        raise _fault("zone_count", asked["zones"], "a whole number")
    row = _optional(asked, "row_length", "row_length_m")
    pressure = _optional(asked, "pressure", "inlet_head_m")
    is_us = words.unit_system == "us"
    kpa = KPA_PER_PSI if is_us else KPA_PER_BAR
    minutes = _optional(asked, "minutes", "injection_min")
    dilution = _optional(asked, "dilution", "dilution_ratio")
    known = [each.value for each in WaterOrigin]
    origin = asked.get("water", "")
    return PartsRequest(
        origin=WaterOrigin(origin) if origin in known else WaterOrigin.UNKNOWN,
        substances=substances if is_asked else (Substance.FERTILISER,),
        zone_count=None if zones is None else int(zones),
        row_length_m=None if row is None else row * parts_words.price_unit_m(words),
        inlet_head_m=None if pressure is None else pressure * kpa / KPA_PER_M_OF_HEAD,
        injection_min=COMMON_INJECTION_MIN if minutes is None else minutes,
        dilution_ratio=COMMON_DILUTION_RATIO if dilution is None else dilution,
    )


def _prices(report: PartsReport, asked: Mapping[str, str], words: Wording) -> dict[str, UnitPrice]:
    """Unit prices that were typed in, of a piece or a metre."""
    found = {}
    for part in report.parts:
        price = _optional(asked, f"{PRICE}{part.key}", f"{PRICE}{part.key}")
        if price is not None:
            per = parts_words.price_unit_m(words) if part.unit is PartUnit.LENGTH else 1.0
            found[part.key] = UnitPrice(price / per)
    return found


def _rows(
    report: PartsReport, cost: PartsCost | None, asked: Mapping[str, str], words: Wording
) -> list[PartRow]:
    costs = {} if cost is None else {line.key: line.cost for line in cost.lines}
    kind = words.gettext(report.filter.kind.value)
    return [
        PartRow(
            key=part.key,
            name=words.gettext(part.name),
            amount=parts_words.amount(part, words),
            remarks=tuple(
                text
                for text in (
                    kind if part.key == "filter" else "",
                    parts_words.sizes(part, words),
                    words.gettext(part.note) if part.note else "",
                )
                if text
            ),
            source=part.source,
            price_unit=parts_words.price_unit(part, words),
            price=asked.get(f"{PRICE}{part.key}", ""),
            cost=words.number(costs[part.key], 2) if part.key in costs else "",
        )
        for part in report.parts
    ]


def _missing(report: PartsReport, cost: PartsCost | None, words: Wording) -> list[str]:
    """Names of the parts without a price."""
    keys = () if cost is None else cost.missing
    return [words.gettext(part.name) for part in report.parts if part.key in keys]


def _costs(cost: PartsCost, words: Wording) -> list[tuple[str, str]]:
    """The sums."""
    per_area = (
        (words.gettext("Per acre"), cost.cost_per_acre)
        if words.unit_system == "us"
        else (words.gettext("Per hectare"), cost.cost_per_ha)
    )
    rows = [
        (words.gettext("Block, in the currency of the prices"), words.number(cost.cost, 2)),
        (per_area[0], words.number(per_area[1], 2)),
    ]
    if cost.budget_share_fraction is not None:
        rows.append(
            (
                words.gettext(
                    "Share of the budget (about {share} is common practice, no source)",
                    share=words.percent(cost.common_share_fraction),
                ),
                words.percent(cost.budget_share_fraction),
            )
        )
    return rows


def _optional(asked: Mapping[str, str], field: str, where: str) -> float | None:
    """A number that was typed in; None where nothing was."""
    text = asked.get(field, "").strip()
    if not text:
        return None
    bare = text.replace(",", "") if "." in text else text.replace(",", ".")
    try:
        value = float(bare)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise _fault(where, text, "a number, such as 12.5")
    return value


def _fault(where: str, found: str, allowed: str) -> InputInvalid:
    return InputInvalid("the form cannot be used", [Fault(where, found, allowed)])
