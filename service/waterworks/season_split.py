"""A season's need of nutrients over its days, and which products bring it.

In: the need by area, the days, the products given for it. Out: each day's part, the mass of every
product, and an account of each nutrient: what was asked for, what the products bring, what comes
along unasked. Nothing here decides how much a crop needs.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from enum import StrEnum

import numpy as np

from service.errors import Fault, InputInvalid
from service.waterworks.caution import Advisory
from service.waterworks.feeding_limits import rate_text
from service.waterworks.fertiliser import MICRONUTRIENTS, NUTRIENTS, Product

MOST_PRODUCTS = 6
LEAST_SHARE = 0.99  # [CHOICE]: below it a nutrient counts as not given
MOST_SHARE = 1.05  # [CHOICE]: above it as more than asked for
LEAST_UNASKED_KG_PER_HA = 0.5  # [CHOICE]: less of a major nutrient is not worth a sentence
ALONG = (*NUTRIENTS, "chloride", *MICRONUTRIENTS)
"""Everything that is accounted for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NutrientNeed:
    """Nutrients that a crop is to be given, elements, per area."""

    nitrogen_kg_per_ha: float = 0.0
    phosphorus_kg_per_ha: float = 0.0
    potassium_kg_per_ha: float = 0.0
    calcium_kg_per_ha: float = 0.0
    magnesium_kg_per_ha: float = 0.0
    sulfur_kg_per_ha: float = 0.0


@dataclass(frozen=True, slots=True)
class DatedNeed:
    """The part of a season's need that falls on one day."""

    day: date
    need: NutrientNeed
    is_after_last_nitrogen: bool
    """No nitrogen is given on this day because of its date."""


@dataclass(frozen=True, slots=True)
class NutrientAccount:
    """What of a nutrient was asked for and what the products bring, over the season."""

    nutrient: str
    asked_kg_per_ha: float
    given_kg_per_ha: float


def split_season(
    need: NutrientNeed,
    days: Sequence[date],
    *,
    weights: Sequence[float] | None = None,
    last_nitrogen_day: date | None = None,
    late_days: Collection[date] = (),
) -> tuple[DatedNeed, ...]:
    """A season's need, spread over its fertigation days.

    Nitrogen is spread over the days up to the last one for it, all of it; the rest over all days.

    Shapes: days, weights (days,).
    weights: parts that fall on the days, equal where not given; last_nitrogen_day: as the grower
    or adviser gives it; late_days: those of the days that are after the last one of their season.
    Returns: one entry a day, in order of date; each nutrient sums to the need. No day, a day given
    twice, weights that do not fit, and nitrogen without a day left raise ``InputInvalid``.
    Equation: share = weight / sum of weights.
    >>> spread = split_season(NutrientNeed(nitrogen_kg_per_ha=40.0),
    ...     [date(2026, 5, 1), date(2026, 6, 1), date(2026, 9, 1)],
    ...     last_nitrogen_day=date(2026, 7, 31))
    >>> [each.need.nitrogen_kg_per_ha for each in spread]
    [20.0, 20.0, 0.0]
    """
    parts = [1.0] * len(days) if weights is None else list(weights)
    is_late = {
        day: day in late_days or (last_nitrogen_day is not None and day > last_nitrogen_day)
        for day in days
    }
    _check_split(need, days, parts, is_late, last_nitrogen_day)
    order = sorted(range(len(days)), key=lambda place: days[place])
    late = [is_late[days[place]] for place in order]
    ordered = [parts[place] for place in order]
    early = [0.0 if after else part for part, after in zip(ordered, late, strict=True)]
    spread = {
        each.name: _spread(
            getattr(need, each.name), early if each.name.startswith("nitrogen") else ordered
        )
        for each in fields(need)
    }
    return tuple(
        DatedNeed(
            day=days[place],
            need=NutrientNeed(**{name: amounts[row] for name, amounts in spread.items()}),
            is_after_last_nitrogen=late[row],
        )
        for row, place in enumerate(order)
    )


def product_masses(need: NutrientNeed, products: Sequence[Product]) -> tuple[float, ...]:
    """How much of each product brings a need, all that the others bring counted.

    Each product is there for one nutrient that was asked for: the choice that covers most nutrients
    and uses each product for what it holds most of. A product that is not needed any more, as the
    others bring its nutrient already, is left out.

    Shapes: products; result (products,).
    Returns: [kg/ha]; 0 for a product that holds nothing that is asked for.
    Equation: sum over products of share x mass = need, for each nutrient with a product of its own.
    >>> from service.waterworks.fertiliser import PRODUCTS
    >>> both = [PRODUCTS["ammonium-sulfate"], PRODUCTS["potassium-nitrate"]]
    >>> need = NutrientNeed(nitrogen_kg_per_ha=60.0, potassium_kg_per_ha=40.0)
    >>> [round(kg, 1) for kg in product_masses(need, both)]
    [215.4, 103.4]
    """
    asked = {name: amount for name in NUTRIENTS if (amount := _asked(need, name)) > 0.0}
    used = [
        place for place in range(len(products)) if any(_share(products[place], n) for n in asked)
    ]
    while used:
        owner = _owners([products[place] for place in used], list(asked))
        kept = [place for place, nutrient in zip(used, owner, strict=True) if nutrient]
        nutrients = [nutrient for nutrient in owner if nutrient]
        shares = np.array([[_share(products[place], n) for place in kept] for n in nutrients])
        if np.linalg.matrix_rank(shares) < len(kept):
            used = kept[:-1]
            continue
        masses = np.linalg.solve(shares, np.array([asked[n] for n in nutrients]))
        if (masses >= -1e-9).all():
            found = dict(zip(kept, masses.tolist(), strict=True))
            return tuple(max(0.0, found.get(place, 0.0)) for place in range(len(products)))
        used = [place for place, mass in zip(kept, masses, strict=True) if mass > 0.0]
    return (0.0,) * len(products)


def _owners(products: Sequence[Product], asked: list[str]) -> list[str]:
    """The nutrient that each product is there for; empty for one too many."""
    if not products:
        return []
    first, rest = products[0], products[1:]
    options = [[each, *_owners(rest, [n for n in asked if n != each])] for each in ("", *asked)
               if not each or _share(first, each) > 0.0]  # fmt: skip
    return max(
        options,
        key=lambda owner: (
            sum(bool(each) for each in owner),
            sum(_share(p, n) for p, n in zip(products, owner, strict=True) if n),
        ),
    )


def season_accounts(
    needs: Sequence[NutrientNeed],
    masses_kg_per_ha: Sequence[Sequence[float]],
    products: Sequence[Product],
) -> tuple[NutrientAccount, ...]:
    """Every nutrient that was asked for or that comes along, over the season.

    Shapes: needs (days,), masses (days, products).
    Returns: one account for each; nutrients of neither kind are left out.
    Equation: sum over days and products of share x mass.
    """
    found = []
    for nutrient in ALONG:
        asked = sum(_asked(need, nutrient) for need in needs)
        given = sum(
            _share(product, nutrient) * mass
            for masses in masses_kg_per_ha
            for product, mass in zip(products, masses, strict=True)
        )
        if asked > 0.0 or given > 0.0:
            found.append(NutrientAccount(nutrient, asked, given))
    return tuple(found)


class AccountState(StrEnum):
    """How what is given of a nutrient stands to what was asked for."""

    AS_ASKED = "as-asked"
    MISSING = "missing"
    EXCESS = "excess"
    UNASKED = "unasked"


def account_state(
    account: NutrientAccount, least_kg_per_ha: float = LEAST_UNASKED_KG_PER_HA
) -> AccountState:
    """Whether a nutrient comes out as asked for.

    Shapes: one account, scalars.
    least_kg_per_ha: of a major nutrient from which on it counts as coming along.
    Returns: a state.
    Equation: given / asked, limits of this module [CHOICE].
    >>> account_state(NutrientAccount("potassium", 40.0, 0.0)).value
    'missing'
    """
    asked, given = account.asked_kg_per_ha, account.given_kg_per_ha
    least = 0.0 if account.nutrient in MICRONUTRIENTS else least_kg_per_ha
    if asked > 0.0 and given < LEAST_SHARE * asked:
        return AccountState.MISSING
    if asked > 0.0 and given > MOST_SHARE * asked:
        return AccountState.EXCESS
    if asked <= 0.0 and given > least:
        return AccountState.UNASKED
    return AccountState.AS_ASKED


def account_advisories(accounts: Sequence[NutrientAccount]) -> tuple[Advisory, ...]:
    """What is asked for and not given, and what is given and was not asked for.

    Shapes: accounts.
    Returns: one advisory for each nutrient that does not come out as asked for.
    Equation: that of ``account_state``.
    >>> [each.key for each in account_advisories([NutrientAccount("potassium", 40.0, 0.0)])]
    ['nutrient-missing']
    """
    found = []
    for each in accounts:
        state = account_state(each)
        asked, given = rate_text(each.asked_kg_per_ha), rate_text(each.given_kg_per_ha)
        texts = {
            AccountState.MISSING: f"{asked} of {each.nutrient} were asked for and these products"
            f" give {given}: add a product that holds it.",
            AccountState.EXCESS: f"{asked} of {each.nutrient} were asked for and these products"
            f" give {given}: another product for one of the other nutrients gives less of it.",
            AccountState.UNASKED: f"These products also bring {given} of {each.nutrient}, which"
            " was not asked for: count it in the season's need.",
        }
        if state in texts:
            found.append(Advisory(f"nutrient-{state.value}", texts[state]))
    return tuple(found)


def _asked(need: NutrientNeed, nutrient: str) -> float:
    return float(getattr(need, f"{nutrient}_kg_per_ha", 0.0))


def _share(product: Product, nutrient: str) -> float:
    return float(getattr(product, f"{nutrient}_fraction"))


def _spread(amount: float, parts: Sequence[float]) -> list[float]:
    """An amount in parts that sum to it, to the last digit as far as floats go."""
    whole = sum(parts)
    if whole <= 0.0:
        return [0.0] * len(parts)
    return [amount * part / whole for part in parts]


def _check_split(
    need: NutrientNeed,
    days: Sequence[date],
    parts: Sequence[float],
    is_late: Mapping[date, bool],
    last_nitrogen_day: date | None,
) -> None:
    faults = [
        Fault(each.name, f"{getattr(need, each.name):g}", "0 kg/ha or more")
        for each in fields(need)
        if not 0.0 <= getattr(need, each.name) < math.inf
    ]
    if not days:
        faults.append(Fault("days", "none", "at least one fertigation day"))
    if len(set(days)) != len(days):
        faults.append(Fault("days", "a day given twice", "each day once"))
    if len(parts) != len(days):
        faults.append(Fault("weights", f"{len(parts)} of them", f"{len(days)}, one for each day"))
    if not all(0.0 <= part < math.inf for part in parts) or (parts and sum(parts) <= 0.0):
        allowed = "0 or more each, above 0 together"
        faults.append(Fault("weights", ", ".join(f"{part:g}" for part in parts), allowed))
    if not faults and need.nitrogen_kg_per_ha > 0.0:
        early = sum(part for day, part in zip(days, parts, strict=True) if not is_late[day])
        if early <= 0.0:
            found = f"nitrogen, first on {min(days).isoformat()}"
            until = "the last one for nitrogen" if last_nitrogen_day is None else last_nitrogen_day
            allowed = f"a fertigation day with a part up to {until}"
            faults.append(Fault("last_nitrogen_day", found, allowed))
    if faults:
        raise InputInvalid("this season cannot be split", faults)
