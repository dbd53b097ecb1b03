"""The page of a block's season of fertiliser: a need split over days and products.

Everything is worked out when the page is opened, from the block and from what is typed into its
form; nothing of it is stored or ordered.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from starlette.responses import Response

from service.errors import Fault, InputInvalid
from service.operations.reading.read_farms import local_day
from service.operations.waterworks.order_fertigation import list_products
from service.operations.waterworks.split_need import (
    SeasonSplit,
    SplitDay,
    SplitRequest,
    split_need,
)
from service.pages.number_fields import optional_number
from service.pages.nutrient_words import NUTRIENT_WORDS
from service.pages.per_area import per_area_text, per_area_unit
from service.pages.plans import farm_of, parsed_day
from service.pages.visit import Visit, faults_by_field
from service.translations import Wording
from service.translations.catalogue import marked
from service.unit_sizes import KG_PER_POUND, L_PER_GALLON, LB_PER_AC_PER_KG_PER_HA
from service.waterworks.caution import CHEMIGATION_CAUTIONS
from service.waterworks.fertiliser import K_IN_K2O, P_IN_P2O5, Product
from service.waterworks.season_split import (
    AccountState,
    NutrientAccount,
    NutrientNeed,
    account_state,
)

NEEDS: tuple[tuple[str, str, str, float], ...] = (
    ("n", marked("Nitrogen, N"), "nitrogen", 1.0),
    ("p2o5", marked("Phosphorus, as P2O5"), "phosphorus", P_IN_P2O5),
    ("k2o", marked("Potassium, as K2O"), "potassium", K_IN_K2O),
    ("ca", marked("Calcium, Ca"), "calcium", 1.0),
    ("mg", marked("Magnesium, Mg"), "magnesium", 1.0),
    ("s", marked("Sulfur, S"), "sulfur", 1.0),
)
"""Field, label, nutrient, and how much of the element is in what the field is for."""
OXIDES: Mapping[str, tuple[str, float]] = {
    "phosphorus": ("P2O5", P_IN_P2O5), "potassium": ("K2O", K_IN_K2O),
}  # fmt: skip
MOST_EVENTS = 60
LEAST_ALONG_KG_PER_HA = 0.05
"""Less of a nutrient in one event is not worth a line."""
STATE_WORDS: Mapping[AccountState, str] = {
    AccountState.AS_ASKED: marked("as asked for"),
    AccountState.MISSING: marked("missing"),
    AccountState.EXCESS: marked("more than asked for"),
    AccountState.UNASKED: marked("comes along, not asked for"),
}
FIELDS: Mapping[str, str] = {
    "product": "products", "days": "days", "last_nitrogen_day": "last_nitrogen",
    "need": "n", "first": "first", "every": "every", "count": "count",
} | {f"{nutrient}_kg_per_ha": name for name, _, nutrient, _ in NEEDS}  # fmt: skip
"""Fields of the form by the values that they give."""


@dataclass(frozen=True, slots=True)
class EventRow:
    """One event as the page shows it."""

    day: date
    is_late: bool
    products: list[tuple[str, str, str]]
    """Name, for the block, for an area."""
    remarks: list[str]
    """What is missing, and what comes along."""


def show_split(visit: Visit) -> Response:
    """The page; with a form that cannot be used, what is wrong with it."""
    farm = farm_of(visit)
    words, service = visit.words, visit.service
    block_id = visit.params["block_id"]
    today = local_day(service.clock.now(), farm.zone)
    with service.unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=today)
    products = list_products(farm.farm_id, unit_of_work=service.unit_of_work)
    found: SeasonSplit | None = None
    faults: dict[str, Fault] = {}
    if "days" in visit.query:
        try:
            request = _request(block_id, visit.query, products, words)
            found = split_need(request, on=today, unit_of_work=service.unit_of_work)
        except InputInvalid as error:
            faults = faults_by_field(error, FIELDS)
    return visit.show(
        "fertiliser_split.html",
        block=block,
        farm=farm,
        cautions=CHEMIGATION_CAUTIONS,
        found=found,
        faults=faults,
        events=[] if found is None else [_event_row(each, found, words) for each in found.days],
        accounts=[] if found is None else _account_rows(found.accounts, words),
        rate=per_area_unit(words),
        needs=[(name, words.gettext(label)) for name, label, _, _ in NEEDS],
        products=[(each.key, words.gettext(each.name)) for each in products],
        form=visit.query,
        today=today,
    )


def _request(
    block_id: str, asked: Mapping[str, str], products: list[Product], words: Wording
) -> SplitRequest:
    per_area = LB_PER_AC_PER_KG_PER_HA if words.unit_system == "us" else 1.0
    amounts = {
        f"{nutrient}_kg_per_ha": (optional_number(asked, name) or 0.0) * share / per_area
        for name, _, nutrient, share in NEEDS
    }
    if not any(amounts.values()):
        raise InputInvalid(
            "the season cannot be split",
            [Fault("need", "", marked("at least one nutrient above 0"))],
        )
    last_text = asked.get("last_nitrogen", "")
    last = parsed_day(last_text)
    if last_text and last is None:
        raise InputInvalid(
            "a day is missing",
            [Fault("last_nitrogen_day", last_text[:40], marked("a day such as 2026-07-14"))],
        )
    return SplitRequest(
        block_id=block_id,
        need=NutrientNeed(**amounts),
        days=_days(asked),
        product_keys=tuple(each.key for each in products if f"product_{each.key}" in asked),
        last_nitrogen_day=last,
    )


def _days(asked: Mapping[str, str]) -> tuple[date, ...]:
    """The days as they are listed; else so many from the first one on."""
    listed = asked.get("days", "").replace(",", " ").split()
    if listed:
        days = [parsed_day(text) for text in listed[:MOST_EVENTS]]
        if None in days or len(listed) > MOST_EVENTS:
            wrong = next((text for text in listed if parsed_day(text) is None), "")
            allowed = marked("up to 60 days such as 2026-04-01, separated by spaces")
            raise InputInvalid("a day is missing", [Fault("days", wrong[:40], allowed)])
        return tuple(day for day in days if day is not None)
    first = parsed_day(asked.get("first", ""))
    if first is None:
        allowed = marked("a day such as 2026-07-14")
        raise InputInvalid("a day is missing", [Fault("first", asked.get("first", ""), allowed)])
    count = _whole(asked, "count", MOST_EVENTS)
    every = _whole(asked, "every", 366) if count > 1 else 1
    return tuple(first + timedelta(days=every * place) for place in range(count))


def _whole(asked: Mapping[str, str], name: str, most: int) -> int:
    value = optional_number(asked, name)
    if value is None or not math.isfinite(value) or value != round(value) or not 1 <= value <= most:
        allowed = f"a whole number from 1 to {most}"
        raise InputInvalid("a number is missing", [Fault(name, asked.get(name, ""), allowed)])
    return int(value)


def _event_row(each: SplitDay, found: SeasonSplit, words: Wording) -> EventRow:
    return EventRow(
        day=each.need.day,
        is_late=each.need.is_after_last_nitrogen,
        products=[
            (
                words.gettext(product.name),
                _mass(product, mass_kg, words),
                per_area_text(mass_kg / found.area_ha, words),
            )
            for product, mass_kg in zip(found.products, each.product_kg, strict=True)
            if mass_kg > 0.0
        ],
        remarks=[
            text
            for account in each.accounts
            for text in (_remark(account, words),)
            if text is not None
        ],
    )


def _remark(account: NutrientAccount, words: Wording) -> str | None:
    state = account_state(account, LEAST_ALONG_KG_PER_HA)
    nutrient = words.gettext(NUTRIENT_WORDS[account.nutrient])
    given = per_area_text(account.given_kg_per_ha, words)
    if state is AccountState.MISSING:
        lacking = per_area_text(account.asked_kg_per_ha - account.given_kg_per_ha, words)
        return words.gettext("Missing: {amount} of {nutrient}", amount=lacking, nutrient=nutrient)
    if state is AccountState.UNASKED:
        return words.gettext("Comes along: {amount} of {nutrient}", amount=given, nutrient=nutrient)
    if state is AccountState.EXCESS:
        more = per_area_text(account.given_kg_per_ha - account.asked_kg_per_ha, words)
        return words.gettext(
            "More than asked for: {amount} of {nutrient}", amount=more, nutrient=nutrient
        )
    return None


def _account_rows(
    accounts: tuple[NutrientAccount, ...], words: Wording
) -> list[tuple[str, str, str, str, bool]]:
    """Nutrient, asked for, given, in words, and whether it needs a look."""
    return [
        (
            words.gettext(NUTRIENT_WORDS[each.nutrient]),
            _with_oxide(each.nutrient, each.asked_kg_per_ha, words),
            _with_oxide(each.nutrient, each.given_kg_per_ha, words),
            words.gettext(STATE_WORDS[account_state(each)]),
            account_state(each) in (AccountState.MISSING, AccountState.EXCESS),
        )
        for each in accounts
    ]


def _with_oxide(nutrient: str, kg_per_ha: float, words: Wording) -> str:
    """A rate, and what labels call it."""
    text = per_area_text(kg_per_ha, words)
    if nutrient not in OXIDES or kg_per_ha <= 0.0:
        return text
    name, share = OXIDES[nutrient]
    factor = LB_PER_AC_PER_KG_PER_HA if words.unit_system == "us" else 1.0
    return f"{text} ({words.number(kg_per_ha / share * factor, 1)} {name})"


def _mass(product: Product, mass_kg: float, words: Wording) -> str:
    """For the block; of a liquid its volume too."""
    is_us = words.unit_system == "us"
    text = (
        f"{words.number(mass_kg / KG_PER_POUND, 1)} lb"
        if is_us
        else f"{words.number(mass_kg, 2)} kg"
    )
    if product.density_kg_per_l is None:
        return text
    liters = mass_kg / product.density_kg_per_l
    if is_us:
        return f"{text} ({words.number(liters / L_PER_GALLON, 2)} gal)"
    return f"{text} ({words.number(liters, 1)} L)"
