"""Closed pipes worked the other way round: the inverse of what the service computes."""

from __future__ import annotations

from collections.abc import Callable

from service.waterworks.acid import ACIDS
from service.waterworks.carbonate import (
    HIGHEST_PH,
    LOWEST_PH,
    CarbonateWater,
    carbonate_constants,
    carbonate_fractions,
    component_totals,
    log_activity_coefficient,
    speciate,
    water_speciation,
)


def alkalinity_meq_per_l(
    total_carbonate_mmol_per_l: float,
    ph: float,
    temperature_c: float,
    *,
    ionic_strength_mol_per_l: float = 0.0,
) -> float:
    """Alkalinity of a water of known total carbonate and pH, ion pairs left out.

    Negative where free acid is left. Alk = CT (a1 + 2 a2) + OH - H. Stumm & Morgan, Aquatic
    Chemistry (from memory).
    """
    _, a1, a2 = carbonate_fractions(ph, temperature_c, ionic_strength_mol_per_l)
    log_gamma = log_activity_coefficient(1, ionic_strength_mol_per_l, temperature_c)
    hydroxide = 10 ** (ph - carbonate_constants(temperature_c).pk_water - log_gamma)
    water = (hydroxide - 10 ** (-ph - log_gamma)) * 1e3
    return total_carbonate_mmol_per_l * (a1 + 2.0 * a2) + water


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
