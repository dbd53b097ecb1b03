"""Whether what is injected falls out in the lines, with the water's own lime or phosphate.

In: a water of known carbonate chemistry and the elements that a fertiliser adds to it. Out: the
saturation with calcite and with calcium phosphate before and while it is injected. Mixed in a tank
such pairs are refused; here the water itself is the other half.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.waterworks.carbonate import (
    HIGHEST_PH,
    CarbonateWater,
    Speciation,
    component_totals,
    log_activity_coefficient,
    speciate,
    water_speciation,
)
from service.waterworks.caution import Advisory
from service.waterworks.closed_pipe import closed_pipe_ph
from service.waterworks.fertiliser import Product

SCALE_INDEX = 0.5  # [CHOICE]: above the 0.3 within which an index says nothing
LEAST_RISE = 0.2  # [CHOICE]: a rise below it is not the fertiliser's doing
LOG_BRUSHITE = -18.995  # CaHPO4 2H2O = Ca + H + PO4 + 2 H2O at 25 °C; MINTEQ, from memory
PROTONS_TAKEN_BY_PHOSPHATE = 1.0
"""Of H2PO4, counted from H3PO4; DAP takes one more, which makes the water only more alkaline."""
# Elements a part brings: component of the water, g/mol. Ammonium has no species of its own here.
_PARTS = {
    "calcium": ("calcium", 40.078),
    "magnesium": ("magnesium", 24.305),
    "potassium": ("potassium", 39.098),
    "phosphorus": ("phosphate", 30.974),
    "sulfur": ("sulfate", 32.06),
    "chloride": ("chloride", 35.453),
    "nitrate_nitrogen": ("nitrate", 14.007),
    "ammonium_nitrogen": ("filler", 14.007),
}


@dataclass(frozen=True, slots=True)
class LineSaturation:
    """Saturation of the water in the lines, log10 of ion product over solubility product."""

    calcite_before: float | None
    calcite_after: float | None
    brushite_after: float | None
    """Of the calcium phosphate that comes first; None without phosphate or calcium."""
    ph_after: float
    advisories: tuple[Advisory, ...]


def line_saturation(water: CarbonateWater, part_mg_per_l: Mapping[str, float]) -> LineSaturation:
    """Saturation of a water before and while a fertiliser goes into it.

    Shapes: one water, scalars.
    part_mg_per_l: elements that are added, by form, as of ``fertiliser.ec_rise_ds_m``.
    Returns: LineSaturation, with advisories where scale is to be expected.
    Equation: total carbonate and the protons of the water stay; ``carbonate.speciate``.
    >>> hard = CarbonateWater(ph=7.6, alkalinity_meq_per_l=4.0, temperature_c=20.0,
    ...     calcium_meq_per_l=4.0)
    >>> found = line_saturation(hard, {"calcium": 400.0, "nitrate_nitrogen": 280.0})
    >>> round(found.calcite_before, 2), round(found.calcite_after, 2)
    (0.38, 0.82)
    """
    before = water_speciation(water)
    totals = dict(component_totals(water))
    totals["carbonate"] = before.total_carbonate_mmol_per_l * 1e-3
    deficit = before.proton_deficit_meq_per_l
    for part, mg_per_l in part_mg_per_l.items():
        component, molar_mass = _PARTS[part]
        mol_per_l = mg_per_l * 1e-3 / molar_mass
        totals[component] = totals.get(component, 0.0) + mol_per_l
        if component == "phosphate":
            deficit += PROTONS_TAKEN_BY_PHOSPHATE * mol_per_l * 1e3
    ph = closed_pipe_ph(deficit, totals, water.temperature_c, highest_ph=HIGHEST_PH)
    after = speciate(ph, totals, water.temperature_c)
    brushite = _brushite_index(after)
    return LineSaturation(
        calcite_before=before.calcite_saturation_index,
        calcite_after=after.calcite_saturation_index,
        brushite_after=brushite,
        ph_after=ph,
        advisories=_advisories(
            before.calcite_saturation_index, after.calcite_saturation_index, brushite
        ),
    )


def element_mg_per_l(
    product_kg: Sequence[tuple[Product, float]], water_l: float
) -> dict[str, float]:
    """What fertilisers add to a volume of water, by form.

    Shapes: products with their masses, one volume.
    Returns: [mg/L] of the parts that ``line_saturation`` takes; parts of zero left out.
    Equation: mass x share / volume.
    >>> from service.waterworks.fertiliser import PRODUCTS
    >>> round(element_mg_per_l([(PRODUCTS["potassium-chloride"], 1.0)], 1000.0)["potassium"])
    524
    """
    found = {}
    for part in _PARTS:
        mass = sum(kg * float(getattr(product, f"{part}_fraction")) for product, kg in product_kg)
        if mass > 0.0:
            found[part] = 1e6 * mass / water_l
    return found


def _brushite_index(found: Speciation) -> float | None:
    amounts = found.species_mol_per_l
    if not (amounts.get("calcium") and amounts.get("phosphate")):
        return None
    strength, temperature_c = found.ionic_strength_mol_per_l, found.temperature_c
    return (
        math.log10(amounts["calcium"])
        + math.log10(amounts["phosphate"])
        + log_activity_coefficient(2, strength, temperature_c)
        + log_activity_coefficient(3, strength, temperature_c)
        - found.ph
        - LOG_BRUSHITE
    )


def _advisories(
    before: float | None, after: float | None, brushite: float | None
) -> tuple[Advisory, ...]:
    found = []
    if after is not None and before is not None and after > max(SCALE_INDEX, before + LEAST_RISE):
        text = (
            "The calcium of this fertilizer meets the water's own bicarbonate: the index of calcite"
            f" goes from {before:+.2f} to {after:+.2f} in the lines, and lime may fall out. Inject"
            " longer and thinner, lower the alkalinity, or make a jar test."
        )
        found.append(Advisory("calcite-in-lines", text))
    if brushite is not None and brushite > 0.0:
        text = (
            "The phosphate of this fertilizer meets the water's own calcium: calcium phosphate is"
            f" oversaturated in the lines, index {brushite:+.2f}. A more acid water, another"
            " phosphate or a jar test is common."
        )
        found.append(Advisory("phosphate-in-lines", text))
    return tuple(found)
