"""A season's need of nutrients split over a block's fertigation days and the products given for it.

Every nutrient is accounted for: asked for and not given, given and not asked for. Nothing is stored
or ordered.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.nutrition.nutrient_dates import LastNitrogen
from service.operations.reading.last_nitrogen import find_last_nitrogen
from service.operations.waterworks.order_fertigation import AMMONIUM_CROPS, find_product
from service.records.farms import BlockDefinition
from service.unit_sizes import M2_PER_HECTARE
from service.waterworks.caution import CHEMIGATION_CAUTIONS, Advisory
from service.waterworks.feeding_limits import Feeding, check_feeding, rate_text
from service.waterworks.fertiliser import Product, mixing_conflicts, nitrate_caution
from service.waterworks.season_split import (
    MOST_PRODUCTS,
    DatedNeed,
    NutrientAccount,
    NutrientNeed,
    account_advisories,
    product_masses,
    season_accounts,
    split_season,
)

TITLE = "the season cannot be split"


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitRequest:
    """A season's need, its days, and the products that bring it."""

    block_id: str
    need: NutrientNeed
    days: tuple[date, ...]
    product_keys: tuple[str, ...]
    weights: tuple[float, ...] | None = None
    last_nitrogen_day: date | None = None
    """None: the block's own, or that of crop and place."""


@dataclass(frozen=True, slots=True)
class SplitDay:
    """What one day gets."""

    need: DatedNeed
    product_kg: tuple[float, ...]
    """Of each product, over the block."""
    accounts: tuple[NutrientAccount, ...]
    """What the day asks for and gets, and what comes along."""


@dataclass(frozen=True, slots=True)
class SeasonSplit:
    """A split season with an account of every nutrient."""

    block_id: str
    area_ha: float
    products: tuple[Product, ...]
    days: tuple[SplitDay, ...]
    accounts: tuple[NutrientAccount, ...]
    last_nitrogen: LastNitrogen | None
    """Of the first day's season; None where none is known."""
    advisories: tuple[Advisory, ...]
    cautions: tuple[Advisory, ...] = CHEMIGATION_CAUTIONS


def split_need(request: SplitRequest, *, on: date, unit_of_work: UnitOfWorkFactory) -> SeasonSplit:
    """A season's need over its days, and how much of each product; raises InputInvalid."""
    keys = list(dict.fromkeys(request.product_keys))
    if not 1 <= len(keys) <= MOST_PRODUCTS:
        raise InputInvalid(
            TITLE, [Fault("product", f"{len(keys)} products", f"1 to {MOST_PRODUCTS} of them")]
        )
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(request.block_id, day=on)
        products = tuple(find_product(unit, block, key) for key in keys)
        last, late = _late_days(unit, block, request)
    parts = split_season(
        request.need,
        request.days,
        weights=request.weights,
        last_nitrogen_day=request.last_nitrogen_day,
        late_days=late,
    )
    per_ha = [product_masses(part.need, products) for part in parts]
    if not any(any(masses) for masses in per_ha):
        raise InputInvalid(
            TITLE,
            [Fault("product", ", ".join(keys), "a product that holds a nutrient asked for")],
        )
    area_ha = block.area_m2 / M2_PER_HECTARE
    days = tuple(
        SplitDay(
            part,
            tuple(area_ha * mass for mass in masses),
            season_accounts([part.need], [masses], products),
        )
        for part, masses in zip(parts, per_ha, strict=True)
    )
    accounts = season_accounts([part.need for part in parts], per_ha, products)
    return SeasonSplit(
        block.block_id,
        area_ha,
        products,
        days,
        accounts,
        last,
        (*account_advisories(accounts), *_advisories(block, products, days)),
    )


def _late_days(
    unit: UnitOfWork, block: BlockDefinition, request: SplitRequest
) -> tuple[LastNitrogen | None, frozenset[date]]:
    """The last day for nitrogen, and the days after the last one of their own season."""
    if request.last_nitrogen_day is not None:
        return LastNitrogen(request.last_nitrogen_day, "given"), frozenset()
    lasts = {day: find_last_nitrogen(unit, block, day) for day in request.days}
    late = frozenset(day for day, last in lasts.items() if last is not None and day > last.day)
    first = lasts[min(lasts)] if lasts else None
    if first is not None and request.need.nitrogen_kg_per_ha > 0.0 and late == set(lasts):
        found = f"nitrogen, first on {min(lasts)}"
        allowed = f"a day up to {first.day}, the last one for nitrogen ({first.origin})"
        raise InputInvalid(TITLE, [Fault("days", found, allowed)])
    return first, late


def _advisories(
    block: BlockDefinition, products: Sequence[Product], days: Sequence[SplitDay]
) -> tuple[Advisory, ...]:
    """Amounts above what is common, nitrogen that comes along too late, nitrate for this crop."""
    feedings = [
        Feeding(each.need.day.isoformat(), tuple(zip(products, each.product_kg, strict=True)))
        for each in days
    ]
    found = [Advisory("mixing", each.text) for each in mixing_conflicts(products)]
    found += check_feeding(feedings, block.area_m2)
    for each, feeding in zip(days, feedings, strict=True):
        kg = sum(mass_kg * product.nitrogen_fraction for product, mass_kg in feeding.product_kg)
        if each.need.is_after_last_nitrogen and kg > 0.0:
            text = (
                f"These products also bring {rate_text(kg * M2_PER_HECTARE / block.area_m2)} of"
                f" nitrogen on {each.need.day}, after the last day for nitrogen: take a product"
                " without it on that day."
            )
            found.append(Advisory("late-nitrogen-along", text))
    totals = [
        (product, sum(each.product_kg[place] for each in days))
        for place, product in enumerate(products)
    ]
    form = nitrate_caution(totals, is_ammonium_preferred=block.crop_key in AMMONIUM_CROPS)
    return (*found, *([] if form is None else [form]))
