"""Amounts of acid: of one injection with its dilution, of a season with what it brings and costs.

In: a dose, the water that it goes into, the ground, the injector's rate, a price. Out: kilograms,
liters and what US growers buy and measure in, with the steps of an injection in their order.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.errors import Fault, InputInvalid
from service.unit_sizes import (
    FL_OZ_PER_GALLON,
    KG_PER_POUND,
    L_PER_GALLON,
    M2_PER_ACRE,
    M2_PER_HECTARE,
)
from service.waterworks.acid import (
    ACIDS,
    AcidDose,
    acid_density_kg_per_l,
    acid_normality_eq_per_l,
)
from service.waterworks.acid_limits import check_minutes
from service.waterworks.caution import Advisory

MM_M2_PER_M3 = 1000.0
STRONG_STOCK_SHARE = 0.1  # [CHOICE]: more acid than this in a tank gets hot while it is mixed
LONGEST_SEASON_WATER_MM = 3000.0
MOST_INJECTIONS = 366
MOST_PRODUCT_L = 100_000.0
G_CARBONATE_PER_EQ = 50.04
MOST_TANK_L_PER_H = 1e5
INJECTION_STEPS: tuple[str, ...] = (
    "Protective gear on, eyewash and plenty of clean water beside you, nobody alone, no chlorine"
    " near.",
    "Fill the tank with the clean water first. Then add the acid to it slowly, in small parts,"
    " stirring; let it cool. Label the tank.",
    "Run the block with clean water until its pressure holds and the last emitter drips.",
    "Inject for the minutes given, and stay beside it. The injector stops when the water stops.",
    "Measure the pH at the first and the last emitters, and stop when it is below the pH wanted.",
    "Flush with clean water for at least as long as water takes to the last emitter: no acid water"
    " is left in injector, filter and lines.",
)
"""Common practice, no source."""
NOT_ACID_ANY_MORE = (
    "Acid that the water's alkalinity has used up does not lower the soil's pH: it only keeps the"
    " water from raising it. What it brings counts as fertilizer."
)


@dataclass(frozen=True, slots=True)
class AcidAmount:
    """So much of the product."""

    product_kg: float
    product_l: float | None
    """None for a solid."""

    @property
    def product_lb(self) -> float:
        """The same in pounds."""
        return self.product_kg / KG_PER_POUND

    @property
    def product_gal(self) -> float | None:
        """The same in US gallons."""
        return None if self.product_l is None else self.product_l / L_PER_GALLON

    @property
    def product_fl_oz(self) -> float | None:
        """The same in US fluid ounces."""
        return None if self.product_gal is None else self.product_gal * FL_OZ_PER_GALLON


@dataclass(frozen=True, slots=True)
class AcidPrice:
    """What the product costs, in any currency."""

    amount: float
    per: str
    """``kg``, ``lb``, ``L`` or ``gal``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AcidInjection:
    """One short injection."""

    injection_min: float
    water_l: float
    """Through the block in these minutes."""
    acid: AcidAmount
    tank_l: float | None
    """What the injector takes in these minutes, acid and water; None: its rate is not known."""
    clean_water_l: float | None
    """That goes into the tank before the acid."""
    acid_share_fraction: float | None
    """Of the tank."""
    flush_min: float | None
    """Travel time to the last emitter; None: the pipes are not described."""
    advisories: tuple[Advisory, ...]
    steps: tuple[str, ...] = INJECTION_STEPS


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonAcid:
    """The acid of a season."""

    season_water_mm: float
    """Depth over the ground that the acid goes into."""
    block: AcidAmount | None
    """None where no block was named."""
    per_ha: AcidAmount
    per_acre: AcidAmount
    nutrient: str | None
    nutrient_kg_per_ha: float
    used_up_fraction: float
    """Share of the water's alkalinity that is gone at the pH."""
    block_cost: float | None
    cost_per_ha: float | None
    cost_per_acre: float | None
    note: str = NOT_ACID_ANY_MORE


def acid_injection(
    dose: AcidDose,
    injection_min: float,
    flow_l_per_h: float,
    *,
    tank_l_per_h: float | None = None,
    travel_min: float | None = None,
) -> AcidInjection:
    """The acid of one short injection, and how it is diluted before.

    Shapes: one dose, scalars.
    injection_min: minutes of it; flow_l_per_h: of the block; tank_l_per_h: what the injector takes
    from its tank; travel_min: from the injector to the last emitter.
    Returns: AcidInjection; minutes or a rate out of range, and an injector too slow for the acid
    even undiluted raise ``InputInvalid``.
    Equation: water = flow x time; acid = dose x water; clean water = rate x time - acid. What
    mixing takes away of the volume, a few per cent of the acid, is left out.
    """
    check_minutes(injection_min)
    if tank_l_per_h is not None and not 0.0 < tank_l_per_h < MOST_TANK_L_PER_H:
        raise InputInvalid(
            "this injection cannot be worked out",
            [Fault("tank_l_per_h", f"{tank_l_per_h:g} L/h", "above 0 L/h")],
        )
    water_l = flow_l_per_h * injection_min / 60.0
    acid = _amount(dose, water_l / 1000.0)
    tank_l = None if tank_l_per_h is None else tank_l_per_h * injection_min / 60.0
    clean_l, share = _dilution(acid, tank_l, injection_min)
    return AcidInjection(
        injection_min=injection_min,
        water_l=water_l,
        acid=acid,
        tank_l=tank_l,
        clean_water_l=clean_l,
        acid_share_fraction=share,
        flush_min=travel_min,
        advisories=_injection_advisories(share, injection_min, travel_min),
    )


def season_acid(
    dose: AcidDose,
    season_water_mm: float,
    *,
    area_m2: float | None = None,
    price: AcidPrice | None = None,
) -> SeasonAcid:
    """The acid of a season's water, what it brings and what it costs.

    Shapes: one dose, scalars.
    season_water_mm: water that the acid goes into, over the ground; area_m2: of the block.
    Returns: SeasonAcid; water or a price that cannot be raise ``InputInvalid``.
    Equation: product = dose x depth x area; for a strong acid and all of an alkalinity A in mg/L of
    CaCO3, H2SO4 = A x 98.08 / 100.09. 24 in of water at 120 mg/L are 312 kg of 93 % acid an acre.
    """
    if not 0.0 < season_water_mm <= LONGEST_SEASON_WATER_MM:
        raise InputInvalid(
            "this season cannot be added up",
            [
                Fault(
                    "season_water_mm",
                    f"{season_water_mm:g} mm",
                    f"above 0 mm, up to {LONGEST_SEASON_WATER_MM:g} mm",
                )
            ],
        )
    per_m2 = season_water_mm / MM_M2_PER_M3
    block = None if area_m2 is None else _amount(dose, per_m2 * area_m2)
    per_ha = _amount(dose, per_m2 * M2_PER_HECTARE)
    per_acre = _amount(dose, per_m2 * M2_PER_ACRE)
    return SeasonAcid(
        season_water_mm=season_water_mm,
        block=block,
        per_ha=per_ha,
        per_acre=per_acre,
        nutrient=dose.nutrient,
        nutrient_kg_per_ha=dose.nutrient_g_per_m3 * per_m2 * M2_PER_HECTARE / 1000.0,
        used_up_fraction=dose.alkalinity_removed_fraction,
        block_cost=None if block is None else _cost(block, price),
        cost_per_ha=_cost(per_ha, price),
        cost_per_acre=_cost(per_acre, price),
    )


@dataclass(frozen=True, slots=True)
class AcidBrought:
    """What so much of an acid brings."""

    amount: AcidAmount
    nutrient: str | None
    nutrient_kg: float
    carbonate_kg: float
    """Lime, as CaCO3, that it uses up."""


def acid_brings(acid_key: str, strength_pct: float, product_l: float) -> AcidBrought:
    """What a volume of an acid brings to the ground: a nutrient, and acid that uses up lime.

    Shapes: scalars.
    acid_key: one of ``acid.ACIDS``; strength_pct: by weight; product_l: of the product.
    Returns: AcidBrought; a strength whose density is not known, crystals, and a volume of zero
    raise ``InputInvalid``.
    Equation: equivalents as the trade counts them, 50.04 g of CaCO3 each.
    >>> found = acid_brings("sulfuric", 93.0, 1.0)
    >>> round(found.nutrient_kg, 3), round(found.carbonate_kg, 3)
    (0.556, 1.735)
    """
    if not 0.0 < product_l < MOST_PRODUCT_L:
        raise InputInvalid(
            "this acid cannot be counted",
            [Fault("product_l", f"{product_l:g} L", f"above 0 L, below {MOST_PRODUCT_L:g} L")],
        )
    eq_per_l = acid_normality_eq_per_l(acid_key, strength_pct)
    density = acid_density_kg_per_l(acid_key, strength_pct) or 0.0
    acid = ACIDS[acid_key]
    mass_kg = density * product_l
    pure_mol = 1000.0 * mass_kg * strength_pct / 100.0 / acid.molar_mass_g_per_mol
    return AcidBrought(
        amount=AcidAmount(mass_kg, product_l),
        nutrient=acid.nutrient,
        nutrient_kg=pure_mol * acid.nutrient_g_per_mol / 1000.0,
        carbonate_kg=eq_per_l * product_l * G_CARBONATE_PER_EQ / 1000.0,
    )


def amount_texts() -> tuple[str, ...]:
    """The fixed texts of an injection and of a season: for translation.

    Shapes: result (texts,).
    Returns: texts.
    Source: this module.
    """
    return (*INJECTION_STEPS, NOT_ACID_ANY_MORE)


def _dilution(
    acid: AcidAmount, tank_l: float | None, injection_min: float
) -> tuple[float | None, float | None]:
    """Clean water of the tank, and the acid's share of it; None where nothing is diluted."""
    if tank_l is None or acid.product_l is None:
        return None, None
    if acid.product_l > tank_l:
        least, most = (each * 60.0 / injection_min for each in (acid.product_l, tank_l))
        allowed = f"{least:.2f} L/h or more, which is the acid alone, or a longer injection"
        raise InputInvalid(
            "this injector is too slow for the acid",
            [Fault("tank_l_per_h", f"{most:g} L/h", allowed)],
        )
    return tank_l - acid.product_l, acid.product_l / tank_l


def _injection_advisories(
    share: float | None, injection_min: float, travel_min: float | None
) -> tuple[Advisory, ...]:
    said = []
    if share is not None and share > STRONG_STOCK_SHARE:
        text = (
            f"The tank would hold {100.0 * share:.0f} % of acid: it gets hot while it is mixed,"
            " and its vapor harms. A faster injector takes it more diluted."
        )
        said.append(Advisory("strong-tank", text))
    if travel_min is not None and injection_min < travel_min:
        text = (
            f"Water takes {travel_min:.0f} min to the last emitter: a shorter injection moves along"
            " the lines as a slug, and no emitter may show its pH for long. Measure close by."
        )
        said.append(Advisory("shorter-than-travel", text))
    return tuple(said)


def _amount(dose: AcidDose, water_m3: float) -> AcidAmount:
    per_m3 = dose.acid_ml_per_m3
    return AcidAmount(
        product_kg=dose.acid_g_per_m3 * water_m3 / 1000.0,
        product_l=None if per_m3 is None else per_m3 * water_m3 / 1000.0,
    )


def _cost(amount: AcidAmount, price: AcidPrice | None) -> float | None:
    if price is None:
        return None
    units = {
        "kg": amount.product_kg,
        "lb": amount.product_lb,
        "L": amount.product_l,
        "gal": amount.product_gal,
    }
    count = units.get(price.per)
    if count is None or not 0.0 <= price.amount < 1e6:
        allowed = ", ".join(name for name, each in units.items() if each is not None)
        raise InputInvalid(
            "this price cannot be used",
            [Fault("price", f"{price.amount:g} per {price.per}", f"0 or more, per {allowed}")],
        )
    return price.amount * count
