"""How much of a nutrient may go out in one event and in one season before it is asked back.

In: products and their masses on the ground of a block, by day. Out: a refusal where the amount can
only be a slip of a digit or a unit, an advisory where it is more than is common. Nothing here says
what a crop needs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.errors import Fault, InputInvalid
from service.unit_sizes import LB_PER_AC_PER_KG_PER_HA
from service.waterworks.caution import Advisory
from service.waterworks.fertiliser import MICRONUTRIENTS, NUTRIENTS, Product

LimitsKgPerHa = tuple[float, float]
"""More than is common; more than can be meant [kg/ha]."""

# [CHOICE], common practice, no source. Perennial fruit is commonly fed 20 to 200 kg/ha of nitrogen
# a season, through drip in parts of 1 to 20 kg/ha. Of micronutrients a season commonly takes a few
# kg/ha, of boron about one: manganese and boron pile up in acid and in dry soils and harm.
EVENT_LIMITS: dict[str, LimitsKgPerHa] = {
    "nitrogen": (20.0, 50.0),
    "phosphorus": (20.0, 50.0),
    "potassium": (40.0, 100.0),
    "calcium": (40.0, 100.0),
    "magnesium": (20.0, 50.0),
    "sulfur": (40.0, 100.0),
    "iron": (1.0, 5.0),
    "manganese": (1.0, 5.0),
    "zinc": (1.0, 5.0),
    "copper": (0.5, 2.0),
    "boron": (0.3, 1.0),
    "molybdenum": (0.05, 0.2),
}
SEASON_LIMITS: dict[str, LimitsKgPerHa] = {
    "nitrogen": (200.0, 400.0),
    "phosphorus": (60.0, 150.0),
    "potassium": (300.0, 600.0),
    "calcium": (300.0, 600.0),
    "magnesium": (100.0, 200.0),
    "sulfur": (200.0, 500.0),
    "iron": (5.0, 30.0),
    "manganese": (3.0, 15.0),
    "zinc": (3.0, 12.0),
    "copper": (1.0, 5.0),
    "boron": (1.0, 3.0),
    "molybdenum": (0.1, 0.5),
}
LIMITED = (*NUTRIENTS, *MICRONUTRIENTS)


@dataclass(frozen=True, slots=True)
class Feeding:
    """What one event brings to a block."""

    name: str
    """The event, in words: its day."""
    product_kg: tuple[tuple[Product, float], ...]


def check_feeding(
    feedings: Sequence[Feeding], area_m2: float, *, others: Sequence[Feeding] = ()
) -> tuple[Advisory, ...]:
    """What is said of the amounts of a season's events, all that the products hold counted.

    Shapes: events (days,), scalars.
    area_m2: ground of the block; others: events of the season that are not asked about, but count
    in its sum.
    Returns: advisories where an event or the season is more than is common; where it is more than
    can be meant ``InputInvalid`` is raised with every fault.
    Equation: kg/ha = 10,000 x mass x share of the product / area; limits of this module [CHOICE].
    >>> from service.waterworks.fertiliser import PRODUCTS
    >>> day = Feeding("2026-05-01", ((PRODUCTS["urea"], 60.0),))
    >>> [each.key for each in check_feeding([day], 10_000.0)]
    ['large-event']
    """
    faults: list[Fault] = []
    said: list[Advisory] = []
    for event in feedings:
        for nutrient in LIMITED:
            given = _kg_per_ha(event.product_kg, nutrient, area_m2)
            shown = rate_text(given)
            common, most = EVENT_LIMITS[nutrient]
            if given > most:
                allowed = (
                    f"up to {rate_text(most)} in one event: look at units and area, or split it"
                )
                faults.append(Fault(f"{nutrient} on {event.name}", shown, allowed))
            elif given > common:
                text = (
                    f"{shown} of {nutrient} on {event.name}: one event commonly brings up"
                    f" to {rate_text(common)}. What the roots do not take up leaves with the"
                    " next rain."
                )
                said.append(Advisory("large-event", text))
    for nutrient in LIMITED:
        asked = sum(_kg_per_ha(each.product_kg, nutrient, area_m2) for each in feedings)
        given = asked + sum(_kg_per_ha(each.product_kg, nutrient, area_m2) for each in others)
        most = SEASON_LIMITS[nutrient][1]
        if given > most and asked > 0.0:
            allowed = f"up to {rate_text(most)} in a season: look at units and area"
            faults.append(Fault(f"{nutrient} of the season", rate_text(given), allowed))
        if asked > 0.0:
            said += season_excess(nutrient, given)
    if faults:
        raise InputInvalid("these amounts are too large to be meant", faults)
    return tuple(said)


def season_excess(nutrient: str, given_kg_per_ha: float) -> tuple[Advisory, ...]:
    """What is said of a season that brings more of a nutrient than is common.

    Shapes: scalars.
    Returns: one advisory, or none.
    Source: ``SEASON_LIMITS`` [CHOICE].
    >>> [each.key for each in season_excess("sulfur", 234.0)]
    ['large-season']
    """
    common = SEASON_LIMITS[nutrient][0]
    if given_kg_per_ha <= common:
        return ()
    text = (
        f"{rate_text(given_kg_per_ha)} of {nutrient} in the season: up to {rate_text(common)} is"
        " common. Base it on a leaf or soil analysis."
    )
    return (Advisory("large-season", text),)


def rate_text(kg_per_ha: float) -> str:
    """A mass over ground in both units: for farms in hectares and in acres.

    Shapes: scalars.
    Returns: text, three digits at most.
    Equation: 1 kg/ha = 0.892 lb/ac.
    >>> rate_text(234.0), rate_text(0.3), rate_text(2.0)
    ('234 kg/ha (209 lb/ac)', '0.3 kg/ha (0.27 lb/ac)', '2 kg/ha (1.8 lb/ac)')
    """
    pounds = kg_per_ha * LB_PER_AC_PER_KG_PER_HA
    return f"{_amount(kg_per_ha)} kg/ha ({_amount(pounds)} lb/ac)"


def _amount(rate: float) -> str:
    return f"{rate:.0f}" if rate >= 10.0 else f"{rate:.2g}"


def _kg_per_ha(product_kg: Sequence[tuple[Product, float]], nutrient: str, area_m2: float) -> float:
    mass = sum(kg * float(getattr(product, f"{nutrient}_fraction")) for product, kg in product_kg)
    return mass * 10_000.0 / area_m2
