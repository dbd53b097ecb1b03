"""Chlorine against slime, iron and sulfide: how much a water takes, and the rate of the injector.

In: what the water holds of iron, manganese and sulfide, the free chlorine wanted at the end of the
lines, the strength of the product and the flow. Out: the dose and the rate, always together with
the cautions. Demands are stoichiometry; organic matter and ammonium take more, which only a test of
the water at the last emitter shows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.errors import Fault, InputInvalid
from service.waterworks.caution import CHLORINE_CAUTIONS, Advisory

# Grams of chlorine that a gram takes: one Cl2, 70.906 g, for two Fe(II), for one Mn(II), for one
# sulfide to sulfur. Standard atomic weights. Sulfide to sulfate would take four times as much.
CHLORINE_PER_IRON = 70.906 / (2.0 * 55.845)
CHLORINE_PER_MANGANESE = 70.906 / 54.938
CHLORINE_PER_SULFIDE = 70.906 / 34.08
SULFATE_TIMES = 4.0
INJURY_MG_PER_L = 2.5
"""Free chlorine from which five species of woody nursery shrubs were injured; an abstract read."""
CONTINUOUS_MG_PER_L = 5.0
PERIODIC_MG_PER_L = 20.0
"""Common: 1 to 5 mg/L continuous, 5 to 20 now and then (micro-irrigation table, second-hand)."""
MOST_FREE_MG_PER_L = 50.0  # [CHOICE]: beyond it a figure is a slip, or work for a specialist
WEAK_FROM_PH = 7.5  # about the pK of hypochlorous acid: above it most is hypochlorite
PK_HYPOCHLOROUS = 7.54  # 25 °C, from memory
STRONGEST_PRODUCT_G_PER_L = 250.0  # [CHOICE]: hypochlorite solutions of the trade are weaker


@dataclass(frozen=True, slots=True, kw_only=True)
class ChlorineDose:
    """A dose of chlorine, with the warnings that go with it."""

    free_mg_per_l: float
    """Wanted where the lines end."""
    demand_mg_per_l: float
    """What iron, manganese and sulfide take first."""
    dose_mg_per_l: float
    product_ml_per_m3: float
    injector_l_per_h: float | None
    """None where no flow was given."""
    effective_share: float | None
    """Part of free chlorine that is hypochlorous acid, which kills; None without a pH."""
    advisories: tuple[Advisory, ...]
    cautions: tuple[Advisory, ...]


def chlorine_dose(
    free_mg_per_l: float,
    *,
    product_g_per_l: float,
    flow_l_per_h: float | None = None,
    iron_mg_per_l: float | None = None,
    manganese_mg_per_l: float | None = None,
    hydrogen_sulfide_mg_per_l: float | None = None,
    ph: float | None = None,
    is_acid_injected: bool = False,
) -> ChlorineDose:
    """Chlorine that leaves so much of it free after the water has taken its part.

    Shapes: scalars.
    free_mg_per_l: wanted at the last emitter; product_g_per_l: available chlorine of the product;
    the three demands: of the water, None where not known; is_acid_injected: acid goes into the
    same water.
    Returns: ChlorineDose. Chlorine together with acid, and numbers out of range, raise
    ``InputInvalid``.
    Equation: dose = free + 0.635 Fe + 1.291 Mn + 2.08 H2S; rate = dose x flow / strength.
    >>> dose = chlorine_dose(20.0, product_g_per_l=125.0, flow_l_per_h=27_000.0)
    >>> round(dose.injector_l_per_h, 2)
    4.32
    """
    _check_request(free_mg_per_l, product_g_per_l, flow_l_per_h, is_acid_injected=is_acid_injected)
    demand = (
        CHLORINE_PER_IRON * (iron_mg_per_l or 0.0)
        + CHLORINE_PER_MANGANESE * (manganese_mg_per_l or 0.0)
        + CHLORINE_PER_SULFIDE * (hydrogen_sulfide_mg_per_l or 0.0)
    )
    dose = free_mg_per_l + demand
    per_m3 = dose / product_g_per_l * 1000.0
    share = None if ph is None else 1.0 / (1.0 + 10.0 ** (ph - PK_HYPOCHLOROUS))
    unknown = [
        name
        for name, value in (
            ("iron", iron_mg_per_l),
            ("manganese", manganese_mg_per_l),
            ("sulfide", hydrogen_sulfide_mg_per_l),
        )
        if value is None
    ]
    return ChlorineDose(
        free_mg_per_l=free_mg_per_l,
        demand_mg_per_l=demand,
        dose_mg_per_l=dose,
        product_ml_per_m3=per_m3,
        injector_l_per_h=None if flow_l_per_h is None else per_m3 * flow_l_per_h * 1e-6,
        effective_share=share,
        advisories=_advisories(free_mg_per_l, unknown, hydrogen_sulfide_mg_per_l, ph, share),
        cautions=CHLORINE_CAUTIONS,
    )


def _advisories(
    free_mg_per_l: float,
    unknown: list[str],
    sulfide_mg_per_l: float | None,
    ph: float | None,
    share: float | None,
) -> tuple[Advisory, ...]:
    found = []
    if free_mg_per_l >= INJURY_MG_PER_L:
        text = (
            f"Woody shrubs were injured from {INJURY_MG_PER_L:g} mg/L of free chlorine on: keep it"
            " below that while the crop grows, or dose briefly and flush."
        )
        found.append(Advisory("plant-injury", text))
    if free_mg_per_l > CONTINUOUS_MG_PER_L:
        text = (
            f"1 to {CONTINUOUS_MG_PER_L:g} mg/L is common continuously, {CONTINUOUS_MG_PER_L:g} to"
            f" {PERIODIC_MG_PER_L:g} for an hour now and then."
        )
        found.append(Advisory("above-continuous", text))
    if unknown:
        text = (
            f"What the water holds of {', '.join(unknown)} is not known and was taken as none: the"
            " free chlorine may come out lower."
        )
        found.append(Advisory("demand-unknown", text))
    if sulfide_mg_per_l:
        text = (
            "Sulfide was counted as going to sulfur; where it goes on to sulfate it takes"
            f" {SULFATE_TIMES:g} times as much."
        )
        found.append(Advisory("sulfide-further", text))
    if ph is not None and share is not None and ph > WEAK_FROM_PH:
        text = (
            f"At pH {ph:.1f} only {100.0 * share:.0f} % of free chlorine is the acid that kills:"
            " chlorine works slowly in this water. Never lower the pH in the same line with it."
        )
        found.append(Advisory("weak-at-ph", text))
    return tuple(found)


def _check_request(
    free_mg_per_l: float,
    product_g_per_l: float,
    flow_l_per_h: float | None,
    *,
    is_acid_injected: bool,
) -> None:
    faults = []
    if is_acid_injected:
        allowed = "acid or chlorine, never both: together they give off chlorine gas"
        faults.append(Fault("is_acid_injected", "True with a chlorine dose", allowed))
    if not 0.0 < free_mg_per_l <= MOST_FREE_MG_PER_L:
        allowed = f"above 0 and up to {MOST_FREE_MG_PER_L:g} mg/L of free chlorine"
        faults.append(Fault("free_mg_per_l", f"{free_mg_per_l:g}", allowed))
    if not 1.0 <= product_g_per_l <= STRONGEST_PRODUCT_G_PER_L:
        allowed = f"1 to {STRONGEST_PRODUCT_G_PER_L:g} g/L of available chlorine; 12.5 % is 125 g/L"
        faults.append(Fault("product_g_per_l", f"{product_g_per_l:g}", allowed))
    if flow_l_per_h is not None and not 0.0 < flow_l_per_h < math.inf:
        faults.append(Fault("flow_l_per_h", f"{flow_l_per_h:g}", "above 0 L/h"))
    if faults:
        raise InputInvalid("this chlorine dose cannot be computed", faults)
