"""pH of a closed pipe by bisection: the inverse of what the service computes, to check it with."""

from __future__ import annotations

from collections.abc import Callable

from service.waterworks.acid import ACIDS
from service.waterworks.carbonate import (
    HIGHEST_PH,
    LOWEST_PH,
    CarbonateWater,
    alkalinity_meq_per_l,
    component_totals,
    speciate,
    water_speciation,
)


def acidified_ph(water: CarbonateWater, acid_key: str, dose_mmol_per_l: float) -> float:
    """pH of a water after this much acid; the inverse of ``acid_dose``."""
    acid = ACIDS[acid_key]
    before = water_speciation(water)
    totals = dict(component_totals(water))
    totals["carbonate"] = before.total_carbonate_mmol_per_l * 1e-3
    totals[acid.anion] = totals.get(acid.anion, 0.0) + dose_mmol_per_l * 1e-3
    wanted = before.proton_deficit_meq_per_l - acid.strong_proton_count * dose_mmol_per_l

    def excess(ph: float) -> float:
        return speciate(ph, totals, water.temperature_c).proton_deficit_meq_per_l - wanted

    return _bisect(excess, 1.0, water.ph + 0.01)


def closed_ph(
    alkalinity: float,
    total_carbonate: float,
    temperature_c: float,
    *,
    ionic_strength_mol_per_l: float = 0.0,
) -> float:
    """pH of a water of known alkalinity and total carbonate, ion pairs left out."""

    def excess(ph: float) -> float:
        found = alkalinity_meq_per_l(
            total_carbonate, ph, temperature_c, ionic_strength_mol_per_l=ionic_strength_mol_per_l
        )
        return found - alkalinity

    return _bisect(excess, LOWEST_PH, HIGHEST_PH)


def _bisect(excess: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function passes zero."""
    while high - low > 1e-12:
        middle = 0.5 * (low + high)
        if excess(middle) < 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
