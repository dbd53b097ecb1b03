"""Soil pH over years: sulfur that lowers it, lime that raises it, what water and fertiliser do.

In: soil pH and target, texture, exchange capacity, organic matter, carbonate, the water's
alkalinity, nitrogen by form. Out: sulfur or lime an area, split into applications and years with a
soil test before each, or the reason why it is not practical; a balance in kg of CaCO3. Published
sulfur tables spread threefold: splitting and testing again is the protection.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from service.nutrition.tables import NutritionCrop, soil_tables
from service.unit_sizes import KG_PER_HA_PER_LB_PER_AC

TABLE_DEPTH_CM = 15.0
MOL_ACID_PER_KG_SULFUR = 62.4  # S to H2SO4: 2 mol of H+ in 32.06 g
KG_CARBONATE_PER_KG_SULFUR = 3.12
SOIL_KG_PER_HA = 0.15 * 10_000.0 * 1350.0  # 15 cm at 1.35 t/m3
LARGEST_APPLICATION_LB = 400.0  # common practice, as growers' advisers tell it
LARGEST_ON_SAND_LB = 200.0  # [CHOICE]
LARGEST_ESTABLISHED_LB_PER_YEAR = 300.0  # blueberries.extension.org, Univ. of Georgia
ORGANIC_FACTOR = 1.25  # [CHOICE]: above 3 % of organic matter
PRACTICAL_PH = 7.0
CAUTION_PH = 6.5
PRACTICAL_ALKALINITY = 150.0
LIME_MARGIN = 0.3  # below the target
LARGEST_SURFACE_LIME_TONS = 2.0  # from memory: short tons an acre
LIME_FORMULA_PH = 6.6
RESIDUAL_LOSS_PER_MONTH = {"mineral": 0.08, "organic": 0.16}  # NC Department of Agriculture
# kg of CaCO3 that a kg of nitrogen acidifies; Pierre 1933, read in several copies.
ACIDITY_PER_KG_NITROGEN: Mapping[str, float] = {
    "ammonium-sulfate": 5.35, "map": 5.0, "urea": 1.8, "ammonium-nitrate": 1.8,
    "uan-32": 1.8, "uan-28": 1.8, "calcium-nitrate": -1.35, "potassium-nitrate": -2.0,
}  # fmt: skip
SPREAD_CAUTION = (
    "Published sulfur tables differ threefold for one soil. Split it, and test the soil again at"
    " the same depth before each further part; stop at 0.2 above the target. Below pH 4.2 only lime"
    " mends it."
)
TEXTURES = ("sand", "loamy-sand", "sandy-loam", "loam", "silt-loam", "clay-loam", "clay")


@dataclass(frozen=True, slots=True)
class SulfurPart:
    """One application."""

    year: int
    """1 is the first."""
    lb_per_ac: float
    kg_per_ha: float
    """Of treated ground, both."""


@dataclass(frozen=True, slots=True)
class SulfurPlan:
    """Sulfur for a soil."""

    total_kg_per_ha: float
    """Of treated ground."""
    parts: tuple[SulfurPart, ...]
    is_practical: bool
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LimePlan:
    """Lime for a soil."""

    tons_per_ac: float
    """Short tons of pure CaCO3 an acre; of the product beside it."""
    product_tons_per_ac: float
    parts: int
    notes: tuple[str, ...]


def texture_of_cec(cec: float) -> str:
    """The texture that an exchange capacity indicates.

    Shapes: scalars.
    cec: meq/100 g.
    Returns: a texture of ``TEXTURES``.
    Source: the Michigan State page: loamy sand below 5, sandy loam 6-8, loam 9-12, clay loam 12-17.
    >>> texture_of_cec(7.0)
    'sandy-loam'
    """
    names = ("loamy-sand", "sandy-loam", "loam", "clay-loam", "clay")
    return names[sum(cec >= edge for edge in (5.5, 8.5, 12.0, 17.0))]


def sulfur_to_45(ph: float, texture: str) -> float:
    """Sulfur that brings a soil of this pH to 4.5, worked in 15 cm deep.

    Shapes: scalars.
    Returns: lb an acre; the ends of the table beyond them.
    Source: Michigan State table, between its columns by the line; sandy loam the mean of sand and
    loam, clay loam that of loam and clay.
    >>> round(sulfur_to_45(5.8, "loam"))
    1336
    """
    tables = soil_tables()
    mixed = {
        "sand": ("sand",), "loamy-sand": ("sand",), "sandy-loam": ("sand", "loam"),
        "loam": ("loam",), "silt-loam": ("loam",), "clay-loam": ("loam", "clay"),
        "clay": ("clay",),
    }  # fmt: skip
    rows = [tables.sulfur_lb_per_ac[name] for name in mixed[texture]]
    return sum(_between(ph, tables.sulfur_ph, row) for row in rows) / len(rows)


def sulfur_need_lb_per_ac(
    ph: float,
    target: float,
    texture: str,
    *,
    depth_cm: float = TABLE_DEPTH_CM,
    organic_pct: float | None = None,
    buffer_capacity: float | None = None,
) -> float:
    """Sulfur from a soil's pH to the target.

    Shapes: scalars.
    depth_cm: worked depth. buffer_capacity: as the laboratory measured it [cmolc/kg per pH], which
    takes the table's place.
    Returns: lb an acre of treated ground; 0 where the soil is at the target.
    Equation: T(pH) - T(target); with a buffer capacity dpH x beta / 100 x soil / 62.4.
    >>> round(sulfur_need_lb_per_ac(5.8, 4.8, "sandy-loam"))
    686
    """
    if ph <= target:
        return 0.0
    if buffer_capacity is not None:
        mol_per_kg = (ph - target) * buffer_capacity / 100.0
        whole = mol_per_kg * SOIL_KG_PER_HA / MOL_ACID_PER_KG_SULFUR / KG_PER_HA_PER_LB_PER_AC
    else:
        whole = sulfur_to_45(ph, texture) - sulfur_to_45(max(target, 4.5), texture)
        if organic_pct is not None and organic_pct > 3.0:
            whole *= ORGANIC_FACTOR
    return whole * depth_cm / TABLE_DEPTH_CM


def sulfur_plan(
    ph: float,
    target: float,
    texture: str,
    *,
    is_established: bool,
    depth_cm: float = TABLE_DEPTH_CM,
    organic_pct: float | None = None,
    buffer_capacity: float | None = None,
    carbonate_pct: float | None = None,
    water_alkalinity_mg_per_l: float | None = None,
    is_plastic: bool = False,
) -> SulfurPlan:
    """Sulfur in parts over years, with what speaks against it.

    Shapes: scalars.
    is_established: plants stand; at most 300 lb an acre a year then, on the surface.
    Returns: the plan; without amounts where sulfur is not practical.
    Source: one application at most 400 lb/ac (common practice), 200 on sand [CHOICE], 300 a year on
    established plants (blueberries.extension.org).
    >>> plan = sulfur_plan(5.8, 4.8, "sandy-loam", is_established=True)
    >>> len(plan.parts), plan.parts[0].lb_per_ac, round(plan.total_kg_per_ha)
    (3, 228.5, 768)
    """
    blocked = _not_practical(ph, carbonate_pct, water_alkalinity_mg_per_l, is_plastic=is_plastic)
    if blocked:
        return SulfurPlan(0.0, (), False, blocked)
    need = sulfur_need_lb_per_ac(
        ph, target, texture, depth_cm=depth_cm, organic_pct=organic_pct,
        buffer_capacity=buffer_capacity,
    )  # fmt: skip
    if need <= 0.0:
        return SulfurPlan(0.0, (), True, ("The soil is at the target: no sulfur.",))
    largest = LARGEST_ON_SAND_LB if texture in ("sand", "loamy-sand") else LARGEST_APPLICATION_LB
    if is_established:
        largest = min(largest, LARGEST_ESTABLISHED_LB_PER_YEAR)
    count = math.ceil(need / largest - 1e-9)
    each = need / count
    parts = tuple(
        SulfurPart(place + 1, each, each * KG_PER_HA_PER_LB_PER_AC) for place in range(count)
    )
    notes = [SPREAD_CAUTION]
    if ph > CAUTION_PH:
        notes.append("Above pH 6.5 sulfur rarely works: look for free carbonate first.")
    notes.append(
        "On moist soil above 10 °C, in early spring or autumn, under the drip line and never on"
        " wet, airless ground. The next part only after a soil pH, 3 months (warm) to 12 months"
        " later."
    )
    return SulfurPlan(need * KG_PER_HA_PER_LB_PER_AC, parts, True, tuple(notes))


def lime_plan(
    ph: float,
    target: float,
    acidity: float,
    *,
    neutralising_pct: float = 90.0,
    is_established: bool = True,
    recent_lime_tons_per_ac: float = 0.0,
    months_since: float = 0.0,
    soil_kind: str = "mineral",
) -> LimePlan:
    """Lime by the exchangeable acidity of the Mehlich or NC buffer.

    Shapes: scalars.
    acidity: meq/100 cm3. recent_lime_tons_per_ac, months_since: what was spread lately still acts.
    soil_kind: ``mineral`` or ``organic``.
    Returns: short tons an acre; none from 0.3 below the target on, or where the formula does not
    hold (pH from 6.4, target above 6.6).
    Source: NC Department of Agriculture: Ac (target - pH) / (6.6 - pH), less the residual of recent
    lime, which falls by 8 % a month in mineral and 16 % in organic soils.
    >>> round(lime_plan(5.4, 6.5, 2.0).tons_per_ac, 2)
    1.83
    """
    if ph >= target - LIME_MARGIN:
        return LimePlan(0.0, 0.0, 0, ("The soil is at the target: no lime.",))
    if ph >= 6.4 or target > LIME_FORMULA_PH:
        return LimePlan(
            0.0, 0.0, 0, ("The formula does not hold here: take the laboratory's tons.",)
        )
    left = max(0.0, 1.0 - RESIDUAL_LOSS_PER_MONTH[soil_kind] * months_since)
    tons = acidity * (target - ph) / (LIME_FORMULA_PH - ph) - recent_lime_tons_per_ac * left
    tons = max(tons, 0.0)
    product = tons * 100.0 / neutralising_pct
    parts = math.ceil(product / LARGEST_SURFACE_LIME_TONS - 1e-9) if is_established else 1
    return LimePlan(
        tons,
        product,
        max(parts, 1) if tons else 0,
        (
            "At most 2 tons an acre at once on established plants (from memory); test again after"
            " 12 months. Dolomite where magnesium is low; gypsum gives calcium without moving pH."
            " SMP, Adams-Evans and Woodruff buffers: take the laboratory's tons, for tables differ"
            " by state.",
        ),
    )


def alkalinity_load(alkalinity_mg_per_l: float, planned_mm: float) -> float:
    """Lime that the season's water brings.

    Shapes: scalars.
    Returns: kg/ha of CaCO3 over the whole ground.
    Equation: 0.01 x mg/L x mm.
    >>> alkalinity_load(120.0, 300.0)
    360.0
    """
    return 0.01 * alkalinity_mg_per_l * planned_mm


def nitrogen_acidity(product_key: str, nitrogen_kg_per_ha: float) -> float | None:
    """Lime that a nitrogen fertiliser uses up.

    Shapes: scalars.
    Returns: kg/ha of CaCO3; negative: it acts like lime; None for a product not in the table.
    Source: Pierre 1933, as printed by several advisers.
    >>> nitrogen_acidity("ammonium-sulfate", 80.0)
    428.0
    """
    per_kg = ACIDITY_PER_KG_NITROGEN.get(product_key)
    return None if per_kg is None else per_kg * nitrogen_kg_per_ha


def ph_target_faults(crop: NutritionCrop, target: float) -> str:
    """What is wrong with a target of soil pH; empty for nothing.

    Shapes: scalars.
    Returns: the allowed range in words, half a unit around the crop's.
    >>> from service.nutrition.tables import crops
    >>> ph_target_faults(crops()["highbush-blueberry"], 6.5)
    '3.7 to 5.8, the range of the crop and half a unit'
    """
    low, high = crop.ph.low - 0.5, crop.ph.high + 0.5
    if low <= target <= high:
        return ""
    return f"{low:g} to {high:g}, the range of the crop and half a unit"


def _not_practical(
    ph: float, carbonate_pct: float | None, alkalinity: float | None, *, is_plastic: bool
) -> tuple[str, ...]:
    said = []
    if ph > PRACTICAL_PH:
        said.append("Not practical: the soil is above pH 7.")
    if carbonate_pct is not None and carbonate_pct > 0.0:
        eaten = carbonate_pct / 100.0 * SOIL_KG_PER_HA / KG_CARBONATE_PER_KG_SULFUR / 1000.0
        said.append(
            f"Not practical: {carbonate_pct:g} % of free carbonate eats {eaten:.1f} t/ha of sulfur"
            " before pH moves."
        )
    if alkalinity is not None and alkalinity > PRACTICAL_ALKALINITY:
        said.append(
            f"Not practical: water of {alkalinity:.0f} mg/L alkalinity brings the lime back every"
            " year."
        )
    if said:
        said.append("Another site, beds of bark or peat, or acidified water are what is left.")
    if is_plastic:
        said.append(
            "Under plastic sulfur stays dry and does not act: only acidified water is left."
        )
    return tuple(said)


def _between(value: float, at: tuple[float, ...], row: tuple[float, ...]) -> float:
    held = min(max(value, at[0]), at[-1])
    for place in range(1, len(at)):
        if held <= at[place]:
            share = (held - at[place - 1]) / (at[place] - at[place - 1])
            return row[place - 1] + share * (row[place] - row[place - 1])
    return row[-1]
