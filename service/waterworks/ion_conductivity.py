"""What dissolved ions make of the electrical conductivity of water.

In: ions in meq/L, as a laboratory or a fertiliser's label gives them. Out: EC at 25 °C.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

# Conductivity of one equivalent at infinite dilution, 25 °C, S cm²/eq, and the ion's charge: CRC
# Handbook of Chemistry and Physics (Haynes 2014), second-hand, as others quote it; calcium,
# magnesium and sulfate per half a mole. Dihydrogen phosphate and carbonate from memory.
EQUIVALENT_CONDUCTIVITY: Mapping[str, tuple[float, int]] = MappingProxyType(
    {
        "calcium": (59.5, 2),
        "magnesium": (53.0, 2),
        "sodium": (50.1, 1),
        "potassium": (73.5, 1),
        "ammonium": (73.5, 1),
        "bicarbonate": (44.5, 1),
        "chloride": (76.3, 1),
        "sulfate": (80.0, 2),
        "nitrate": (71.4, 1),
        "phosphate": (36.0, 1),
    }
)
_FIELDS = {
    "bicarbonate": "alkalinity_meq_per_l",
    **{
        ion: f"{ion}_meq_per_l"
        for ion in (
            "calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate", "nitrate",
        )
    },
}  # fmt: skip
CATIONS_MEQ_PER_EC = 10.0  # meq/L of cations per dS/m, Standard Methods 1030 E (from memory)
EC_RULE = "sum of cations / 10: 0.76 to 1.56 of PHREEQC's EC, 0.81 to 1.03 of measured EC"
EC_OF_IONS = (
    "all ions, Debye-Hückel-Onsager: 0.94 to 1.09 of PHREEQC's EC, 0.88 to 1.11 of measured"
)
STRONGEST_MOL_PER_L = 0.1  # the limiting law does not hold beyond it


def conductivity_ds_m(
    ion_meq_per_l: Mapping[str, float], *, background_mol_per_l: float = 0.0
) -> float:
    """EC of dissolved ions.

    Shapes: scalars.
    ion_meq_per_l: names of ``EQUIVALENT_CONDUCTIVITY``, bicarbonate as the whole alkalinity,
    phosphate as H2PO4; background_mol_per_l: ionic strength of what else is in the water.
    Returns: [dS/m] at 25 °C; 0 without ions.
    Equation: Debye-Hückel-Onsager, lambda = lambda0 - z (30.16 + 0.229 Z lambda0) sqrt(I) for each
    ion, per equivalent, z its charge, Z the mean charge, I the ionic strength; Robinson & Stokes,
    Electrolyte Solutions (from memory). Ion pairs are left out: magnesium sulfate conducts up to a
    fifth less.
    >>> round(conductivity_ds_m({"potassium": 10.0, "chloride": 10.0}), 3)  # measured: 1.412
    1.403
    """
    ions = [
        (*EQUIVALENT_CONDUCTIVITY[name], meq_per_l * 1e-3)
        for name, meq_per_l in ion_meq_per_l.items()
    ]
    equivalents = sum(eq_per_l for _, _, eq_per_l in ions)
    if equivalents <= 0.0:
        return 0.0
    mean_charge = sum(charge * eq_per_l for _, charge, eq_per_l in ions) / equivalents
    strength = background_mol_per_l + 0.5 * mean_charge * equivalents
    root = math.sqrt(min(STRONGEST_MOL_PER_L, strength))
    return sum(
        eq_per_l * (equivalent - charge * (30.16 + 0.229 * mean_charge * equivalent) * root)
        for equivalent, charge, eq_per_l in ions
    )


def ions_of(analysis: object) -> dict[str, float]:
    """The ions of a water analysis, as :func:`conductivity_ds_m` takes them.

    Shapes: one analysis, a ``WaterAnalysis`` of :mod:`service.waterworks.water_analysis`.
    Returns: [meq/L] by ion; alkalinity as bicarbonate, an ion that is not known as 0.
    """
    return {ion: getattr(analysis, field) or 0.0 for ion, field in _FIELDS.items()}


def expected_ec_ds_m(
    analysis: object, cations_meq_per_l: float, *, is_complete: bool
) -> tuple[float, str]:
    """EC to expect of an analysis, and how it was worked out, with how far off that is.

    Shapes: one analysis, as for :func:`ions_of`.
    is_complete: whether all major ions are known; else only the sum of the cations is used.
    Returns: [dS/m] at 25 °C, and words.
    Equation: :func:`conductivity_ds_m`, or cations / 10 (Standard Methods 1030 E, from memory).
    """
    if is_complete:
        return conductivity_ds_m(ions_of(analysis)), EC_OF_IONS
    return cations_meq_per_l / CATIONS_MEQ_PER_EC, EC_RULE
