"""Fertilisers that go through drip lines: their contents, solubility, and what must not be mixed.

In: products, by formula or as their label says, a tank and an injector. Out: the stock solution and
whether it stays clear, the rate, ratio and concentration of the injection, the rise of EC, and what
speaks against it. Masses follow from formulas and standard atomic weights; solubilities are
handbook values, as noted beside them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType

from service.errors import Fault, InputInvalid
from service.waterworks.carbonate import IONIC_STRENGTH_PER_EC
from service.waterworks.caution import CHEMIGATION_CAUTIONS, Advisory
from service.waterworks.ion_conductivity import conductivity_ds_m

P_IN_P2O5 = 0.43642  # 2 x 30.974 / 141.945
K_IN_K2O = 0.83015  # 2 x 39.098 / 94.196
CALCIUM_WATER_MEQ_PER_L = 3.0  # common practice, no source: phosphate clouds harder waters
PH_OF_PHOSPHATE = 7.0  # common practice, no source: ... unless they are sour
NITRATE_CAUTION_SHARE = 0.10  # [CHOICE]: nitrate share of nitrogen from which a caution is given
SHARE_TOLERANCE = 1e-9

NUTRIENTS = ("nitrogen", "phosphorus", "potassium", "calcium", "magnesium", "sulfur")
"""Nutrients that can be planned; phosphorus and potassium as elements."""
MICRONUTRIENTS = ("iron", "manganese", "zinc", "copper", "boron", "molybdenum")
"""What blends bring besides; nobody plans them here, but too much of them harms."""

# IUPAC standard atomic weights, rounded.
_N, _P, _K, _CA, _MG, _S, _CL, _H, _O, _C = (
    14.007, 30.974, 39.098, 40.078, 24.305, 32.06, 35.453, 1.008, 15.999, 12.011,
)  # fmt: skip
_GROUP_G_PER_MOL = {
    "NH4": _N + 4 * _H,
    "NO3": _N + 3 * _O,
    "urea": 2 * _N + 4 * _H + _C + _O,
    "K": _K,
    "Ca": _CA,
    "Mg": _MG,
    "SO4": _S + 4 * _O,
    "H2PO4": _P + 2 * _H + 4 * _O,
    "HPO4": _P + _H + 4 * _O,
    "Cl": _CL,
    "H2O": 2 * _H + _O,
}
# The ion that each form dissolves into, and what one equivalent of it holds of the element [g].
_ION_OF_FORM = {
    "nitrate_nitrogen": ("nitrate", _N),
    "ammonium_nitrogen": ("ammonium", _N),
    "phosphorus": ("phosphate", _P),
    "potassium": ("potassium", _K),
    "calcium": ("calcium", _CA / 2),
    "magnesium": ("magnesium", _MG / 2),
    "sulfur": ("sulfate", _S / 2),
    "chloride": ("chloride", _CL),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """A fertiliser, as shares of its weight, elements throughout."""

    key: str
    name: str
    nitrate_nitrogen_fraction: float = 0.0
    ammonium_nitrogen_fraction: float = 0.0
    urea_nitrogen_fraction: float = 0.0
    phosphorus_fraction: float = 0.0
    potassium_fraction: float = 0.0
    calcium_fraction: float = 0.0
    magnesium_fraction: float = 0.0
    sulfur_fraction: float = 0.0
    """Taken as sulfate."""
    chloride_fraction: float = 0.0
    iron_fraction: float = 0.0
    manganese_fraction: float = 0.0
    zinc_fraction: float = 0.0
    copper_fraction: float = 0.0
    boron_fraction: float = 0.0
    molybdenum_fraction: float = 0.0
    density_kg_per_l: float | None = None
    """Of a liquid; None for a solid."""
    solubility_g_per_kg: tuple[tuple[float, float], ...] = ()
    """(°C, g of product per kg of water), rising; empty for a liquid, or where not known."""
    source: str = ""

    @property
    def nitrogen_fraction(self) -> float:
        """Nitrogen of all three forms."""
        return (
            self.nitrate_nitrogen_fraction
            + self.ammonium_nitrogen_fraction
            + self.urea_nitrogen_fraction
        )


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two products that must not, or should not, be mixed."""

    first_key: str
    second_key: str
    is_forbidden: bool
    """Refused in one tank; otherwise a caution."""
    text: str


@dataclass(frozen=True, slots=True)
class StockSolution:
    """What is in the tank."""

    product_kg: tuple[tuple[Product, float], ...]
    volume_l: float
    temperature_c: float
    saturation_share: float | None
    """Sum over the solids of their concentration over what dissolves, at most 1; None where the
    solubility of one of them is not known."""
    advisories: tuple[Advisory, ...]
    cautions: tuple[Advisory, ...]


@dataclass(frozen=True, slots=True)
class Injection:
    """A stock solution going into flowing water."""

    stock_l: float
    duration_min: float
    injector_l_per_h: float
    dilution_ratio: float
    """Litres of water to one of stock."""
    nutrient_kg: Mapping[str, float]
    nutrient_mg_per_l: Mapping[str, float]
    """In the irrigation water, what it holds itself not counted."""
    ec_rise_ds_m: float
    advisories: tuple[Advisory, ...]
    cautions: tuple[Advisory, ...]


_CRC = "CRC Handbook of Chemistry and Physics, from memory; phosphates by its 98th edition"
_CRC_ANHYDROUS = (
    "CRC Handbook, from memory; numbers of the anhydrous salt, for the hydrate on the safe side"
)
_CRC_HEPTAHYDRATE = "CRC Handbook, from memory, recalculated from the anhydrous salt"


def _salt(
    key: str,
    name: str,
    groups: Mapping[str, float],
    solubility: Sequence[float],
    source: str = _CRC,
) -> Product:
    """A product by its formula; solubility at 0, 10, 20, 30, 40 °C as far as given."""
    molar_mass = sum(_GROUP_G_PER_MOL[group] * count for group, count in groups.items())

    def share(weight: float, *names: str) -> float:
        return weight * sum(groups.get(group, 0.0) for group in names) / molar_mass

    return Product(
        key=key,
        name=name,
        nitrate_nitrogen_fraction=share(_N, "NO3"),
        ammonium_nitrogen_fraction=share(_N, "NH4"),
        urea_nitrogen_fraction=share(2.0 * _N, "urea"),
        phosphorus_fraction=share(_P, "H2PO4", "HPO4"),
        potassium_fraction=share(_K, "K"),
        calcium_fraction=share(_CA, "Ca"),
        magnesium_fraction=share(_MG, "Mg"),
        sulfur_fraction=share(_S, "SO4"),
        chloride_fraction=share(_CL, "Cl"),
        solubility_g_per_kg=tuple((10.0 * place, grams) for place, grams in enumerate(solubility)),
        source=source,
    )


def _uan(key: str, name: str, nitrogen: float, density: float, urea_share: float) -> Product:
    """Urea and ammonium nitrate in water; half of what is not urea is nitrate."""
    rest = nitrogen * (1.0 - urea_share) / 2.0
    return Product(
        key=key,
        name=name,
        nitrate_nitrogen_fraction=rest,
        ammonium_nitrogen_fraction=rest,
        urea_nitrogen_fraction=nitrogen * urea_share,
        density_kg_per_l=density,
        source="half urea, half ammonium nitrate; density from memory",
    )


_PRODUCTS = (
    _salt("urea", "Urea", {"urea": 1}, (670, 850, 1060, 1330, 1650)),
    _salt(
        "ammonium-sulfate", "Ammonium sulfate", {"NH4": 2, "SO4": 1}, (706, 730, 754, 780, 810)
    ),
    _salt(
        "ammonium-nitrate", "Ammonium nitrate", {"NH4": 1, "NO3": 1},
        (1183, 1500, 1920, 2420, 2970),
    ),
    _salt("potassium-nitrate", "Potassium nitrate", {"K": 1, "NO3": 1}, (133, 209, 316, 458, 639)),
    _salt("potassium-sulfate", "Potassium sulfate", {"K": 2, "SO4": 1}, (74, 93, 111, 130, 148)),
    _salt("potassium-chloride", "Potassium chloride", {"K": 1, "Cl": 1}, (280, 312, 342, 372, 401)),
    _salt(
        "magnesium-sulfate", "Magnesium sulfate heptahydrate", {"Mg": 1, "SO4": 1, "H2O": 7},
        (585, 819, 1066, 1344, 1707), _CRC_HEPTAHYDRATE,
    ),
    _salt(
        "magnesium-nitrate", "Magnesium nitrate hexahydrate", {"Mg": 1, "NO3": 2, "H2O": 6},
        (621, 660, 695, 736), _CRC_ANHYDROUS,
    ),
    _salt(
        "calcium-nitrate", "Calcium nitrate, horticultural (5 Ca(NO3)2 NH4NO3 10 H2O)",
        {"Ca": 5, "NO3": 11, "NH4": 1, "H2O": 10}, (1020, 1130, 1290, 1520), _CRC_ANHYDROUS,
    ),
    _salt(
        "calcium-nitrate-tetrahydrate", "Calcium nitrate tetrahydrate",
        {"Ca": 1, "NO3": 2, "H2O": 4}, (1020, 1130, 1290, 1520), _CRC_ANHYDROUS,
    ),
    _salt("map", "Monoammonium phosphate", {"NH4": 1, "H2PO4": 1}, (216, 282, 358, 453, 567)),
    _salt("dap", "Diammonium phosphate", {"NH4": 2, "HPO4": 1}, (429, 618, 666, 724, 788)),
    _salt("mkp", "Monopotassium phosphate", {"K": 1, "H2PO4": 1}, (133, 175, 223, 278, 338)),
    _uan("uan-32", "Urea ammonium nitrate solution 32 %", 0.32, 1.33, 0.5),
    _uan("uan-28", "Urea ammonium nitrate solution 28 %", 0.28, 1.28, 0.5),
)  # fmt: skip
PRODUCTS: Mapping[str, Product] = MappingProxyType({each.key: each for each in _PRODUCTS})
"""Generic products; a product's own label overrides them."""


def labelled_product(
    key: str,
    name: str,
    *,
    nitrate_nitrogen_pct: float = 0.0,
    ammonium_nitrogen_pct: float = 0.0,
    urea_nitrogen_pct: float = 0.0,
    p2o5_pct: float = 0.0,
    k2o_pct: float = 0.0,
    calcium_pct: float = 0.0,
    magnesium_pct: float = 0.0,
    sulfur_pct: float = 0.0,
    chloride_pct: float = 0.0,
    micronutrient_pct: Mapping[str, float] | None = None,
    density_kg_per_l: float | None = None,
    solubility_g_per_kg: tuple[tuple[float, float], ...] = (),
) -> Product:
    """A product from the figures on its label.

    Shapes: scalars.
    p2o5_pct, k2o_pct: phosphorus and potassium as labels give them, as oxides; the others as
    elements, micronutrient_pct by name; all per cent of the weight. density_kg_per_l: of a liquid;
    solubility_g_per_kg: (°C, g per kg of water) of a solid, rising.
    Returns: Product; shares that no product has raise ``InputInvalid`` with every fault.
    Equation: P = 0.4364 P2O5, K = 0.8302 K2O.
    >>> round(labelled_product("a", "0-52-34", p2o5_pct=52.0, k2o_pct=34.0).potassium_fraction, 3)
    0.282
    """
    shares = {
        "nitrate_nitrogen_pct": nitrate_nitrogen_pct,
        "ammonium_nitrogen_pct": ammonium_nitrogen_pct,
        "urea_nitrogen_pct": urea_nitrogen_pct,
        "p2o5_pct": p2o5_pct,
        "k2o_pct": k2o_pct,
        "calcium_pct": calcium_pct,
        "magnesium_pct": magnesium_pct,
        "sulfur_pct": sulfur_pct,
        "chloride_pct": chloride_pct,
    }
    micro = dict(micronutrient_pct or {})
    _check_label(name, {**shares, **micro}, density_kg_per_l, solubility_g_per_kg)
    return Product(
        key=key,
        name=name,
        nitrate_nitrogen_fraction=nitrate_nitrogen_pct / 100.0,
        ammonium_nitrogen_fraction=ammonium_nitrogen_pct / 100.0,
        urea_nitrogen_fraction=urea_nitrogen_pct / 100.0,
        phosphorus_fraction=p2o5_pct / 100.0 * P_IN_P2O5,
        potassium_fraction=k2o_pct / 100.0 * K_IN_K2O,
        calcium_fraction=calcium_pct / 100.0,
        magnesium_fraction=magnesium_pct / 100.0,
        sulfur_fraction=sulfur_pct / 100.0,
        chloride_fraction=chloride_pct / 100.0,
        **{f"{each}_fraction": pct / 100.0 for each, pct in micro.items()},
        density_kg_per_l=density_kg_per_l,
        solubility_g_per_kg=solubility_g_per_kg,
        source="label",
    )


def _check_label(
    name: str,
    shares: Mapping[str, float],
    density_kg_per_l: float | None,
    solubility_g_per_kg: tuple[tuple[float, float], ...],
) -> None:
    faults = [
        Fault(where, f"{value:g}", "0 to 100 per cent of the weight")
        for where, value in shares.items()
        if not 0.0 <= value <= 100.0
    ]
    named = ", ".join(MICRONUTRIENTS)
    faults += [
        Fault(where, "a micronutrient", f"one of {named}")
        for where in shares
        if not where.endswith("_pct") and where not in MICRONUTRIENTS
    ]
    total = sum(shares.values())
    if not faults and not 0.0 < total <= 100.0:
        faults.append(Fault("the analysis together", f"{total:g} %", "above 0 and up to 100 %"))
    if density_kg_per_l is not None and not 0.8 <= density_kg_per_l <= 2.5:
        faults.append(Fault("density_kg_per_l", f"{density_kg_per_l:g}", "0.8 to 2.5 kg/L"))
    for place, (at_c, grams) in enumerate(solubility_g_per_kg):
        before = solubility_g_per_kg[place - 1][0] if place else -math.inf
        if not (before < at_c < 100.0 and 0.0 < grams < 10_000.0):
            allowed = "rising °C, above 0 g per kg of water"
            faults.append(Fault(f"solubility_g_per_kg[{place}]", f"{at_c:g}, {grams:g}", allowed))
    if faults:
        raise InputInvalid(f"product {name!r} cannot be used", faults)


def product_mass_kg(product: Product, nutrient: str, nutrient_kg: float) -> float:
    """Product that contains this much of a nutrient.

    Shapes: scalars.
    nutrient: one of ``NUTRIENTS``.
    Returns: [kg]; a product without that nutrient raises ``InputInvalid``.
    Equation: mass / share.
    >>> round(product_mass_kg(PRODUCTS["urea"], "nitrogen", 4.0), 2)
    8.58
    """
    share = _share(product, nutrient)
    if share <= 0.0:
        raise InputInvalid(
            f"{product.name} holds no {nutrient}",
            [Fault("product", product.key, f"a product with {nutrient}")],
        )
    if not 0.0 <= nutrient_kg < math.inf:
        raise InputInvalid(
            "this mass cannot be given",
            [Fault("nutrient_kg", f"{nutrient_kg:g}", "0 kg or more")],
        )
    return nutrient_kg / share


def solubility_limit_g_per_l(product: Product, temperature_c: float) -> float | None:
    """Grams of a solid product in a litre of stock solution that stay dissolved for certain.

    Shapes: scalars.
    temperature_c: lowest tank temperature; dissolving urea, nitrates and potassium salts
    cools it further.
    Returns: [g/L]; None for a liquid or where the solubility is not known; a temperature below the
    table raises ``InputInvalid``; above it the last value holds.
    Equation: 1000 S / (1000 + S), S linear between the table's points; the density of the solution
    is taken as 1, so that the true limit is higher.
    >>> round(solubility_limit_g_per_l(PRODUCTS["potassium-sulfate"], 20.0))
    100
    """
    table = product.solubility_g_per_kg
    if not table:
        return None
    if not temperature_c >= table[0][0]:
        allowed = f"{table[0][0]:g} °C or warmer, where the solubility is known"
        raise InputInvalid(
            f"the solubility of {product.name} is not known",
            [Fault("temperature_c", f"{temperature_c:g}", allowed)],
        )
    grams = table[-1][1]
    for (low_c, low), (high_c, high) in pairwise(table):
        if temperature_c <= high_c:
            grams = low + (high - low) * (temperature_c - low_c) / (high_c - low_c)
            break
    return 1000.0 * grams / (1000.0 + grams)


def mixing_conflicts(products: Sequence[Product]) -> tuple[Conflict, ...]:
    """Pairs of products that must not, or should not, share a tank.

    Shapes: products.
    Returns: conflicts in the order of the products; empty where there is none.
    Equation: calcium with sulfate is gypsum, calcium with phosphate a calcium phosphate; magnesium
    with ammonium and phosphate struvite, when not sour. Common practice, no source.
    >>> pair = [PRODUCTS["calcium-nitrate"], PRODUCTS["ammonium-sulfate"]]
    >>> [conflict.is_forbidden for conflict in mixing_conflicts(pair)]
    [True]
    """
    found = []
    for place, first in enumerate(products):
        for second in products[place + 1 :]:
            for one, other in ((first, second), (second, first)):
                pair = (first.key, second.key)
                if one.calcium_fraction > 0.0 and other.sulfur_fraction > 0.0:
                    text = (
                        f"Calcium of {one.name} and sulfate of {other.name} fall out as gypsum:"
                        " use two tanks, or two days."
                    )
                    found.append(Conflict(*pair, True, text))
                if one.calcium_fraction > 0.0 and other.phosphorus_fraction > 0.0:
                    text = (
                        f"Calcium of {one.name} and phosphate of {other.name} fall out as calcium"
                        " phosphate: use two tanks, or two days."
                    )
                    found.append(Conflict(*pair, True, text))
                if one.magnesium_fraction > 0.0 and other.phosphorus_fraction > 0.0:
                    text = (
                        f"Magnesium of {one.name} and phosphate of {other.name} may fall out"
                        " unless the tank is acid: make a jar test."
                    )
                    found.append(Conflict(*pair, False, text))
    return tuple(found)


def stock_solution(
    product_kg: Sequence[tuple[Product, float]], volume_l: float, temperature_c: float
) -> StockSolution:
    """A tank of stock solution, if it stays clear.

    Shapes: products with their masses, scalars.
    volume_l: of the ready solution; temperature_c: lowest tank temperature.
    Returns: StockSolution; a product above its solubility, several that together fill the room to
    dissolve, calcium with sulfate or phosphate, and more liquid than the tank holds raise
    ``InputInvalid`` with every fault.
    Equation: sum of c / limit at most 1 [CHOICE: salts share the water's room to dissolve], limit
    of ``solubility_limit_g_per_l``.
    >>> tank = stock_solution([(PRODUCTS["potassium-nitrate"], 30.0)], 200.0, 15.0)
    >>> round(tank.saturation_share, 2)
    0.72
    """
    _check_tank(product_kg, volume_l)
    faults = []
    advisories = []
    share: float | None = 0.0
    liquid_l = 0.0
    for product, mass_kg in product_kg:
        if product.density_kg_per_l is not None:
            liquid_l += mass_kg / product.density_kg_per_l
            continue
        limit = solubility_limit_g_per_l(product, temperature_c)
        if limit is None:
            share = None
            text = f"How much of {product.name} dissolves is not known: see its label."
            advisories.append(Advisory("solubility-unknown", text))
            continue
        concentration = 1000.0 * mass_kg / volume_l
        if concentration > limit * (1.0 + SHARE_TOLERANCE):
            allowed = f"up to {limit:.0f} g/L at {temperature_c:g} °C ({product.source})"
            faults.append(Fault(product.key, f"{concentration:.0f} g/L of stock", allowed))
        if share is not None:
            share += concentration / limit
    if not faults and share is not None and share > 1.0 + SHARE_TOLERANCE:
        allowed = "at most 100 % of what dissolves: more water, less product, or two tanks"
        faults.append(Fault("the products together", f"{100.0 * share:.0f} %", allowed))
    if liquid_l > volume_l * (1.0 + SHARE_TOLERANCE):
        allowed = f"up to the {volume_l:g} L of the tank"
        faults.append(Fault("liquid products", f"{liquid_l:.1f} L", allowed))
    for conflict in mixing_conflicts([product for product, _ in product_kg]):
        if conflict.is_forbidden:
            where = f"{conflict.first_key} with {conflict.second_key}"
            faults.append(Fault(where, "in one tank", conflict.text))
        else:
            advisories.append(Advisory("mixing", conflict.text))
    if faults:
        raise InputInvalid("this stock solution does not stay clear", faults)
    return StockSolution(
        product_kg=tuple(product_kg),
        volume_l=volume_l,
        temperature_c=temperature_c,
        saturation_share=share,
        advisories=tuple(advisories),
        cautions=CHEMIGATION_CAUTIONS,
    )


def inject(
    stock: StockSolution,
    stock_l: float,
    *,
    flow_l_per_h: float,
    duration_min: float,
    water_ec_ds_m: float = 0.0,
    water_calcium_meq_per_l: float | None = None,
    water_ph: float | None = None,
    is_ammonium_preferred: bool = False,
) -> Injection:
    """Rate, ratio, concentration and EC while a stock solution is injected.

    Shapes: scalars.
    stock_l: litres of stock that go in; flow_l_per_h: of the block; water_*: of the irrigation
    water itself; is_ammonium_preferred: the crop wants ammonium rather than nitrate, as blueberry.
    Returns: Injection; nothing to inject, more than the tank holds, no flow or no time raise
    ``InputInvalid``.
    Equation: rate = V / t; ratio = Q / rate; concentration = mass / (Q t); EC by ``ec_rise_ds_m``.
    >>> tank = stock_solution([(PRODUCTS["uan-32"], 13.0208)], 9.79008, 20.0)
    >>> going = inject(tank, 9.79008, flow_l_per_h=72463.77, duration_min=30.0)
    >>> round(going.nutrient_mg_per_l["nitrogen"], 1), round(going.dilution_ratio)
    (115.0, 3701)
    """
    faults = []
    if not 0.0 < stock_l <= stock.volume_l * (1.0 + SHARE_TOLERANCE):
        allowed = f"above 0 and up to the {stock.volume_l:g} L of the tank"
        faults.append(Fault("stock_l", f"{stock_l:g}", allowed))
    if not 0.0 < flow_l_per_h < math.inf:
        faults.append(Fault("flow_l_per_h", f"{flow_l_per_h:g}", "above 0 L/h"))
    if not 0.0 < duration_min < math.inf:
        faults.append(Fault("duration_min", f"{duration_min:g}", "above 0 min"))
    if not 0.0 <= water_ec_ds_m <= 40.0:
        faults.append(Fault("water_ec_ds_m", f"{water_ec_ds_m:g}", "0 to 40 dS/m"))
    if faults:
        raise InputInvalid("this injection cannot be computed", faults)
    share = stock_l / stock.volume_l
    rate_l_per_h = stock_l * 60.0 / duration_min
    water_l = flow_l_per_h * duration_min / 60.0
    mass_kg = {
        nutrient: share * sum(kg * _share(product, nutrient) for product, kg in stock.product_kg)
        for nutrient in NUTRIENTS
    }
    mg_per_l = {nutrient: 1e6 * kg / water_l for nutrient, kg in mass_kg.items()}
    parts_mg_per_l = {
        part: 1e6
        * share
        * sum(kg * float(getattr(product, f"{part}_fraction")) for product, kg in stock.product_kg)
        / water_l
        for part in _ION_OF_FORM
    }
    return Injection(
        stock_l=stock_l,
        duration_min=duration_min,
        injector_l_per_h=rate_l_per_h,
        dilution_ratio=flow_l_per_h / rate_l_per_h,
        nutrient_kg=MappingProxyType(mass_kg),
        nutrient_mg_per_l=MappingProxyType(mg_per_l),
        ec_rise_ds_m=ec_rise_ds_m(parts_mg_per_l, water_ec_ds_m),
        advisories=_injection_advisories(
            stock, water_calcium_meq_per_l, water_ph, is_ammonium_preferred
        ),
        cautions=stock.cautions,
    )


def ec_rise_ds_m(part_mg_per_l: Mapping[str, float], water_ec_ds_m: float = 0.0) -> float:
    """Rise of the EC by dissolved fertiliser; urea does not conduct.

    Shapes: scalars.
    part_mg_per_l: elements in the water by form: nitrate_nitrogen, ammonium_nitrogen, phosphorus
    (as H2PO4), potassium, calcium, magnesium, sulfur (as sulfate), chloride.
    Returns: [dS/m] at 25 °C.
    Equation: :func:`service.waterworks.ion_conductivity.conductivity_ds_m` in water of the ionic
    strength that its EC shows.
    >>> round(ec_rise_ds_m({"potassium": 386.7, "nitrate_nitrogen": 138.5}), 2)  # 1 g/L of KNO3
    1.34
    """
    ions = {
        ion: mg_per_l / equivalent_g
        for part, mg_per_l in part_mg_per_l.items()
        for ion, equivalent_g in (_ION_OF_FORM[part],)
    }
    return conductivity_ds_m(ions, background_mol_per_l=IONIC_STRENGTH_PER_EC * water_ec_ds_m)


def nitrate_caution(
    product_kg: Sequence[tuple[Product, float]], *, is_ammonium_preferred: bool
) -> Advisory | None:
    """A word of caution where nitrate goes to a crop that wants ammonium.

    Shapes: products with their masses.
    is_ammonium_preferred: blueberry and its relatives take up ammonium better than nitrate.
    Returns: an advisory, or None where none is needed.
    Equation: share of nitrate in the nitrogen; common practice, no source.
    >>> mix = [(PRODUCTS["calcium-nitrate"], 10.0)]
    >>> nitrate_caution(mix, is_ammonium_preferred=True).key
    'nitrate-form'
    """
    nitrate = sum(kg * product.nitrate_nitrogen_fraction for product, kg in product_kg)
    nitrogen = sum(kg * product.nitrogen_fraction for product, kg in product_kg)
    if not is_ammonium_preferred or nitrogen <= 0.0 or nitrate < NITRATE_CAUTION_SHARE * nitrogen:
        return None
    text = (
        f"{100.0 * nitrate / nitrogen:.0f} % of this nitrogen is nitrate, and the crop wants"
        " ammonium: ammonium sulfate or urea is common; nitrate also leaves with the water."
    )
    return Advisory("nitrate-form", text)


def _injection_advisories(
    stock: StockSolution,
    water_calcium_meq_per_l: float | None,
    water_ph: float | None,
    is_ammonium_preferred: bool,
) -> tuple[Advisory, ...]:
    found = list(stock.advisories)
    caution = nitrate_caution(stock.product_kg, is_ammonium_preferred=is_ammonium_preferred)
    if caution is not None:
        found.append(caution)
    has_phosphate = any(product.phosphorus_fraction > 0.0 for product, _ in stock.product_kg)
    is_hard = (
        water_calcium_meq_per_l is not None and water_calcium_meq_per_l > CALCIUM_WATER_MEQ_PER_L
    )
    if has_phosphate and is_hard and (water_ph is None or water_ph > PH_OF_PHOSPHATE):
        text = (
            f"The water holds {water_calcium_meq_per_l:.1f} meq/L of calcium: phosphate may fall"
            " out in the lines. Make a jar test; acidifying the water is common."
        )
        found.append(Advisory("phosphate-in-hard-water", text))
    return tuple(found)


def _share(product: Product, nutrient: str) -> float:
    if nutrient not in NUTRIENTS:
        raise InputInvalid(
            f"nutrient {nutrient!r} is not known",
            [Fault("nutrient", repr(nutrient), f"one of {', '.join(NUTRIENTS)}")],
        )
    return float(getattr(product, f"{nutrient}_fraction"))


def _check_tank(product_kg: Sequence[tuple[Product, float]], volume_l: float) -> None:
    faults = []
    if not product_kg:
        faults.append(Fault("product_kg", "nothing", "at least one product"))
    for product, mass_kg in product_kg:
        if not 0.0 < mass_kg < math.inf:
            faults.append(Fault(product.key, f"{mass_kg:g} kg", "above 0 kg"))
    if not 0.0 < volume_l < math.inf:
        faults.append(Fault("volume_l", f"{volume_l:g}", "above 0 L"))
    if faults:
        raise InputInvalid("this stock solution cannot be made", faults)
