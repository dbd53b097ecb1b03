"""The carbonate system of an irrigation water: what alkalinity, total carbonate and pH say of
each other, and which ions and ion pairs a water of known analysis holds.

In: pH, alkalinity, temperature and whatever major ions are known. Out: total carbonate, ionic
strength, the concentration of each species, the saturation with calcite, and the pH that the
water drifts to in open air. Constants are those of Plummer & Busenberg 1982, Geochim. Cosmochim.
Acta 46:1011-1040, for carbonate and calcite; of Nordstrom et al. 1990, ACS Symposium Series
416:398-413, as tabulated in the public-domain database phreeqc.dat of the USGS, for the other ion
pairs; activities by Davies. One litre of water is taken as one kilogram.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from service.errors import Fault, InputInvalid

OPEN_AIR_LOG_PCO2 = -3.38  # log10 atm; 417 ppm of CO2 in air, from memory
LOWEST_TEMPERATURE_C = 0.0
HIGHEST_TEMPERATURE_C = (
    50.0  # Plummer & Busenberg 1982 measured 0-90 degC; water in pipes is cooler
)
LOWEST_PH = 2.0
HIGHEST_PH = 11.0
HIGHEST_ALKALINITY_MEQ_PER_L = 50.0  # a value beyond it was almost certainly given in mg/L
HIGHEST_IONIC_STRENGTH_MOL_PER_L = 0.5  # validity of the Davies equation, from memory
HIGHEST_CARBONATE_MOL_PER_L = 0.2  # [CHOICE]: far above any water that is not sparkling
IONIC_STRENGTH_PER_EC = 0.0127  # mol/L per dS/m, Griffin & Jurinak 1973, from memory
NEUTRAL_SALTING_OUT = 0.1  # log gamma of an uncharged species per mol/L, default of phreeqc.dat
ZERO_C_IN_K = 273.15
_GAS_KCAL_PER_K = 1.98720e-3
_REFERENCE_K = 298.15


@dataclass(frozen=True, slots=True)
class CarbonateConstants:
    """Equilibrium constants at one temperature, at zero ionic strength."""

    log_henry: float
    """log10 of CO2 in water (mol/L) per atm of CO2 in the air."""
    pk1: float
    pk2: float
    pk_water: float
    log_calcite: float
    """log10 of the solubility product of calcite."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CarbonateWater:
    """What the carbonate chemistry needs to know of a water; unknown ions are None."""

    ph: float
    alkalinity_meq_per_l: float
    temperature_c: float
    calcium_meq_per_l: float | None = None
    magnesium_meq_per_l: float | None = None
    sodium_meq_per_l: float | None = None
    potassium_meq_per_l: float | None = None
    sulfate_meq_per_l: float | None = None
    chloride_meq_per_l: float | None = None
    nitrate_meq_per_l: float | None = None
    ec_ds_m: float | None = None


@dataclass(frozen=True, slots=True)
class Speciation:
    """What a water holds at one pH, in mol per litre."""

    ph: float
    temperature_c: float
    ionic_strength_mol_per_l: float
    total_carbonate_mmol_per_l: float
    proton_deficit_meq_per_l: float
    """Protons that the water could take up, counted from CO2, H3PO4, citric acid and sulfate; the
    alkalinity, where no such acid has been added."""
    species_mol_per_l: Mapping[str, float]
    calcite_saturation_index: float | None
    """log10 of ion product over solubility product; None where calcium is not known."""


def carbonate_constants(temperature_c: float) -> CarbonateConstants:
    """Constants of the carbonate system and of water at a temperature.

    Shapes: scalars.
    temperature_c: of the water [°C], 0 to 50.
    Returns: negative or plain decimal logarithms, mol/L and atm; a temperature out of range raises
    ``InputInvalid``.
    Equation: Plummer & Busenberg 1982, Table 1 and calcite; ion product of water of the database
    phreeqc.dat (Ball & Nordstrom 1991, from memory).
    >>> at_25 = carbonate_constants(25.0)
    >>> round(at_25.pk1, 3), round(at_25.pk2, 3), round(at_25.log_calcite, 2)
    (6.352, 10.329, -8.48)
    """
    _refuse([_outside_temperature(temperature_c)])
    t = temperature_c + ZERO_C_IN_K
    log_t = math.log10(t)
    return CarbonateConstants(
        log_henry=108.3865 + 0.01985076 * t - 6919.53 / t - 40.45154 * log_t + 669365.0 / t**2,
        pk1=356.3094 + 0.06091964 * t - 21834.37 / t - 126.8339 * log_t + 1684915.0 / t**2,
        pk2=107.8871 + 0.03252849 * t - 5151.79 / t - 38.92561 * log_t + 563713.9 / t**2,
        pk_water=283.971 + 0.05069842 * t - 13323.0 / t - 102.24447 * log_t + 1119669.0 / t**2,
        log_calcite=-171.9065 - 0.077993 * t + 2839.319 / t + 71.595 * log_t,
    )


def log_activity_coefficient(
    charge: int, ionic_strength_mol_per_l: float, temperature_c: float = 25.0
) -> float:
    """Logarithm of the activity coefficient of an ion.

    Shapes: scalars.
    charge: of the ion, with or without sign; 0 for an uncharged species.
    Returns: log10 gamma [-].
    Equation: Davies, -A z² (sqrt(I) / (1 + sqrt(I)) - 0.3 I), A = 1.825e6 (eps T)^-1.5 with
    the dielectric constant of Malmberg & Maryott 1956 (from memory); 0.1 I uncharged.
    >>> round(10 ** log_activity_coefficient(1, 0.01), 3)
    0.902
    """
    if charge == 0:
        return NEUTRAL_SALTING_OUT * ionic_strength_mol_per_l
    root = math.sqrt(ionic_strength_mol_per_l)
    spread = root / (1.0 + root) - 0.3 * ionic_strength_mol_per_l
    return -_debye_hueckel_slope(temperature_c) * charge**2 * spread


def carbonate_fractions(
    ph: float, temperature_c: float, ionic_strength_mol_per_l: float = 0.0
) -> tuple[float, float, float]:
    """Shares of total carbonate that are dissolved CO2, bicarbonate and carbonate.

    Ion pairs are left out; see ``speciate`` for a water with them.

    Shapes: scalars.
    Returns: three fractions that sum to 1.
    Equation: a0 : a1 : a2 = 1 : K1/H : K1 K2/H², H the activity; Davies at the ionic strength.
    >>> [round(share, 3) for share in carbonate_fractions(7.0, 20.0)]
    [0.194, 0.806, 0.0]
    """
    constants = carbonate_constants(temperature_c)
    one = 10 ** log_activity_coefficient(1, ionic_strength_mol_per_l, temperature_c)
    two = 10 ** log_activity_coefficient(2, ionic_strength_mol_per_l, temperature_c)
    none = 10 ** log_activity_coefficient(0, ionic_strength_mol_per_l, temperature_c)
    bicarbonate = 10 ** (ph - constants.pk1) * none / one
    carbonate = 10 ** (2.0 * ph - constants.pk1 - constants.pk2) * none / two
    whole = 1.0 + bicarbonate + carbonate
    return 1.0 / whole, bicarbonate / whole, carbonate / whole


def total_carbonate_mmol_per_l(
    alkalinity: float,
    ph: float,
    temperature_c: float,
    *,
    ionic_strength_mol_per_l: float = 0.0,
) -> float:
    """Total carbonate of a water of known alkalinity and pH, ion pairs left out.

    Shapes: scalars.
    alkalinity: [meq/L].
    Returns: total carbonate [mmol/L]; negative where hydroxide alone exceeds the alkalinity.
    Equation: CT = (Alk - OH + H) / (a1 + 2 a2).
    >>> round(total_carbonate_mmol_per_l(2.398, 7.8, 20.0), 3)
    2.483
    """
    _, a1, a2 = carbonate_fractions(ph, temperature_c, ionic_strength_mol_per_l)
    water = _water_alkalinity_meq_per_l(ph, temperature_c, ionic_strength_mol_per_l)
    return (alkalinity - water) / (a1 + 2.0 * a2)


def check_water(water: CarbonateWater) -> None:
    """Refuse a water with impossible numbers, all faults at once.

    Shapes: one water.
    Returns: nothing; raises ``InputInvalid`` where pH, alkalinity, temperature or an ion is out of
    range, or not a number.
    >>> check_water(CarbonateWater(ph=7.8, alkalinity_meq_per_l=2.4, temperature_c=20.0))
    """
    faults = [_outside_temperature(water.temperature_c)]
    if not 3.0 <= water.ph <= HIGHEST_PH:
        faults.append(Fault("ph", f"{water.ph:g}", f"3 to {HIGHEST_PH:g}"))
    if not 0.0 < water.alkalinity_meq_per_l <= HIGHEST_ALKALINITY_MEQ_PER_L:
        allowed = (
            f"above 0 and up to {HIGHEST_ALKALINITY_MEQ_PER_L:g} meq/L, from a laboratory; 50.04"
            " mg/L as CaCO3 are 1 meq/L"
        )
        faults.append(Fault("alkalinity_meq_per_l", f"{water.alkalinity_meq_per_l:g}", allowed))
    for name, _, _ in _IONS:
        value = getattr(water, f"{name}_meq_per_l")
        if value is not None and not 0.0 <= value < 1000.0:
            faults.append(Fault(f"{name}_meq_per_l", f"{value:g}", "0 to 1000 meq/L"))
    if water.ec_ds_m is not None and not 0.0 <= water.ec_ds_m <= 40.0:
        faults.append(Fault("ec_ds_m", f"{water.ec_ds_m:g}", "0 to 40 dS/m"))
    _refuse(faults)


def water_speciation(water: CarbonateWater) -> Speciation:
    """What a water holds as it was sampled, ion pairs and activities included.

    Where calcium is not known, it is taken as what balances the charges of the ions that are
    [CHOICE].

    Shapes: one water.
    Returns: Speciation; a water that cannot be one raises ``InputInvalid``.
    Equation: total carbonate such that the alkalinity is met at the pH; see ``speciate``.
    >>> hard = CarbonateWater(ph=7.8, alkalinity_meq_per_l=2.398, temperature_c=20.0)
    >>> round(water_speciation(hard).total_carbonate_mmol_per_l, 2)
    2.47
    """
    check_water(water)
    totals = component_totals(water)
    alkalinity = water.alkalinity_meq_per_l
    totals["carbonate"] = max(1e-9, alkalinity * 1e-3)
    for _ in range(60):
        found = speciate(water.ph, totals, water.temperature_c)
        # The part that follows total carbonate, so that a step is exact but for the pairs.
        water_part = _water_part_meq_per_l(found)
        share = (found.proton_deficit_meq_per_l - water_part) / (totals["carbonate"] * 1e3)
        wanted = (alkalinity - water_part) / share * 1e-3
        if wanted <= 0.0:
            raise InputInvalid(
                "this water's alkalinity is hydroxide alone, not carbonate",
                [Fault("ph", f"{water.ph:g}", "a pH that goes with the alkalinity given")],
            )
        if wanted > HIGHEST_CARBONATE_MOL_PER_L:
            allowed = "a pH that goes with the alkalinity given: a water this sour has hardly any"
            raise InputInvalid(
                "pH and alkalinity do not belong to one water",
                [Fault("ph", f"{water.ph:g} with {alkalinity:g} meq/L", allowed)],
            )
        change = abs(wanted - totals["carbonate"])
        totals["carbonate"] = wanted
        if change < 1e-12 + 1e-10 * wanted:
            break
    return speciate(water.ph, totals, water.temperature_c)


def component_totals(water: CarbonateWater) -> dict[str, float]:
    """Total of each component of a water but carbonate, and the charge that is left over.

    Shapes: one water.
    Returns: mol/L by component; ``filler`` is a salt of single charges that closes the charge
    balance, and lifts the ionic strength to what the conductivity says where that is higher.
    Equation: I = 0.0127 EC, Griffin & Jurinak 1973 (from memory), where ions are missing.
    >>> totals = component_totals(
    ...     CarbonateWater(ph=7.8, alkalinity_meq_per_l=2.0, temperature_c=20.0))
    >>> totals["calcium"], totals["filler"]
    (0.001, 0.0)
    """
    known = {name: getattr(water, f"{name}_meq_per_l") for name, _, _ in _IONS}
    if known["calcium"] is None:
        # Of a water without analysis, only what carries the alkalinity is taken as there.
        others = sum(known[name] or 0.0 for name in ("magnesium", "sodium", "potassium"))
        anions = sum(known[name] or 0.0 for name in ("sulfate", "chloride", "nitrate"))
        known["calcium"] = max(0.0, water.alkalinity_meq_per_l + anions - others)
    totals: dict[str, float] = {}
    net_meq = -water.alkalinity_meq_per_l
    strength = 0.5 * water.alkalinity_meq_per_l * 1e-3
    for name, charge, sign in _IONS:
        meq = known[name] or 0.0
        net_meq += sign * meq
        totals[name] = meq * 1e-3 / charge
        strength += 0.5 * totals[name] * charge**2
    filler = abs(net_meq) * 1e-3
    is_complete = water.sodium_meq_per_l is not None and water.chloride_meq_per_l is not None
    if water.ec_ds_m is not None and not is_complete:
        from_ec = IONIC_STRENGTH_PER_EC * water.ec_ds_m
        filler += 2.0 * max(0.0, from_ec - strength - 0.5 * filler)
    totals["filler"] = filler
    return totals


def speciate(ph: float, totals: Mapping[str, float], temperature_c: float) -> Speciation:
    """Species of a water of known pH and totals.

    Shapes: scalars; totals as of ``component_totals`` with ``carbonate``, and ``phosphate`` or
    ``citrate`` where such an acid was added.
    totals: [mol/L].
    Returns: Speciation.
    Equation: mass action with Davies activities, mass balance of each component, solved by
    substitution until nothing moves by more than one part in 1e11.
    """
    constants = carbonate_constants(temperature_c)
    log_constants = _log_constants(temperature_c)
    present = [
        species
        for species in _SPECIES
        if all(totals.get(part, 0.0) > 0.0 for part in species.parts)
    ]
    # What a species' amount is, but for activities and the free amounts of its parts.
    ideal = [10 ** (log_constants[each.name] - each.protons * ph) for each in present]
    # Ligands come first in the table: nearly all metal is free, nearly no carbonate is.
    names = [name for name in _COMPONENT_CHARGE if totals.get(name, 0.0) > 0.0]
    partners = {name: _partners(name, present) for name in names}
    free = {name: totals[name] for name in names}
    bystanders = sum(totals.get(name, 0.0) for name in ("chloride", "nitrate", "filler"))
    strength = 1e-3
    amounts: dict[str, float] = {}
    hydrogen = hydroxide = 0.0
    for _ in range(300):
        gamma = [10 ** log_activity_coefficient(z, strength, temperature_c) for z in range(4)]
        hydrogen = 10**-ph / gamma[1]
        hydroxide = 10 ** (ph - constants.pk_water) / gamma[1]
        factors = [
            alone
            * math.prod(gamma[abs(_COMPONENT_CHARGE[part])] for part in species.parts)
            / gamma[abs(species.charge)]
            for species, alone in zip(present, ideal, strict=True)
        ]
        moved = 0.0
        for name in names:
            bound = 1.0
            for place, partner in partners[name]:
                bound += factors[place] * (1.0 if partner is None else free[partner])
            value = totals[name] / bound
            moved = max(moved, abs(value - free[name]) / value)
            free[name] = value
        amounts = dict(free)
        for species, factor in zip(present, factors, strict=True):
            amounts[species.name] = factor * math.prod(free[part] for part in species.parts)
        doubled = hydrogen + hydroxide + bystanders
        doubled += sum(free[name] * _COMPONENT_CHARGE[name] ** 2 for name in names)
        doubled += sum(amounts[species.name] * species.charge**2 for species in present)
        new_strength = min(0.5 * doubled, HIGHEST_IONIC_STRENGTH_MOL_PER_L)
        moved = max(moved, abs(new_strength - strength) / new_strength)
        strength = new_strength
        if moved < 1e-11:
            break
    deficit = hydroxide - hydrogen
    deficit += sum(_FULL_PROTONS.get(name, 0) * free[name] for name in names)
    for species in present:
        full = sum(_FULL_PROTONS.get(part, 0) for part in species.parts)
        deficit += (full - species.protons) * amounts[species.name]
    amounts["hydrogen"], amounts["hydroxide"] = hydrogen, hydroxide
    index = None
    if "calcium" in free and "carbonate" in free:
        log_gamma = log_activity_coefficient(2, strength, temperature_c)
        product = math.log10(free["calcium"]) + math.log10(free["carbonate"]) + 2.0 * log_gamma
        index = product - constants.log_calcite
    return Speciation(
        ph=ph,
        temperature_c=temperature_c,
        ionic_strength_mol_per_l=strength,
        total_carbonate_mmol_per_l=totals.get("carbonate", 0.0) * 1e3,
        proton_deficit_meq_per_l=deficit * 1e3,
        species_mol_per_l=MappingProxyType(amounts),
        calcite_saturation_index=index,
    )


def open_air_ph(
    proton_deficit_meq_per_l: float,
    totals: Mapping[str, float],
    temperature_c: float,
    *,
    log_pco2: float = OPEN_AIR_LOG_PCO2,
) -> float:
    """pH of a water once its CO2 has come to rest with the air above it.

    Nothing is let precipitate: a hard water may lose calcite on the way and end lower.

    Shapes: scalars; totals as of ``component_totals`` with what was added.
    proton_deficit_meq_per_l: alkalinity that is left [meq/L], may be negative.
    log_pco2: log10 of the CO2 of the air [atm].
    Returns: pH between 2 and 10.
    Equation: CO2 = KH pCO2; pH where the proton deficit is met, by false position.
    >>> totals = component_totals(
    ...     CarbonateWater(ph=7.8, alkalinity_meq_per_l=1.446, temperature_c=20.0))
    >>> round(open_air_ph(1.446, totals, 20.0), 1)
    8.3
    """
    constants = carbonate_constants(temperature_c)
    wanted_activity = 10 ** (constants.log_henry + log_pco2)
    wanted = math.asinh(proton_deficit_meq_per_l * 1e3)

    def excess(ph: float) -> float:
        trial = dict(totals)
        a0, _, _ = carbonate_fractions(ph, temperature_c)
        trial["carbonate"] = min(1.0, wanted_activity / a0)
        found = speciate(ph, trial, temperature_c)
        for _ in range(40):
            strength = found.ionic_strength_mol_per_l
            salted = 10 ** log_activity_coefficient(0, strength, temperature_c)
            step = wanted_activity / (found.species_mol_per_l["co2"] * salted)
            # Far above any water's alkalinity the sign is known and the solution is not needed.
            if abs(step - 1.0) < 1e-8 or trial["carbonate"] * step >= 1.0:
                break
            trial["carbonate"] *= step
            found = speciate(ph, trial, temperature_c)
        # The deficit grows tenfold with each pH, its inverse hyperbolic sine by a straight line.
        return math.asinh(found.proton_deficit_meq_per_l * 1e3) - wanted

    return _false_position(excess, LOWEST_PH, HIGHEST_PH - 1.0, tolerance=1e-7)


def _partners(name: str, present: Sequence[_Species]) -> list[tuple[int, str | None]]:
    """The species that hold a component: their places, and what else they hold."""
    found: list[tuple[int, str | None]] = []
    for place, species in enumerate(present):
        if name in species.parts:
            others = [part for part in species.parts if part != name]
            found.append((place, others[0] if others else None))
    return found


def _water_part_meq_per_l(found: Speciation) -> float:
    amounts = found.species_mol_per_l
    bases = ("hydroxide", "calcium_hydroxide", "magnesium_hydroxide")
    acids = ("hydrogen", "bisulfate")
    taken = sum(amounts.get(name, 0.0) for name in bases)
    return (taken - sum(amounts.get(name, 0.0) for name in acids)) * 1e3


def _water_alkalinity_meq_per_l(ph: float, temperature_c: float, ionic_strength: float) -> float:
    log_gamma = log_activity_coefficient(1, ionic_strength, temperature_c)
    hydroxide = 10 ** (ph - carbonate_constants(temperature_c).pk_water - log_gamma)
    return (hydroxide - 10 ** (-ph - log_gamma)) * 1e3


@lru_cache(maxsize=64)
def _debye_hueckel_slope(temperature_c: float) -> float:
    c = temperature_c
    dielectric = 87.740 - 0.40008 * c + 9.398e-4 * c**2 - 1.410e-6 * c**3
    return 1.82483e6 * math.pow(dielectric * (c + ZERO_C_IN_K), -1.5)


def _outside_temperature(temperature_c: float) -> Fault | None:
    if LOWEST_TEMPERATURE_C <= temperature_c <= HIGHEST_TEMPERATURE_C:
        return None
    allowed = f"{LOWEST_TEMPERATURE_C:g} to {HIGHEST_TEMPERATURE_C:g} °C"
    return Fault("temperature_c", f"{temperature_c:g}", allowed)


def _refuse(faults: list[Fault | None]) -> None:
    found = [fault for fault in faults if fault is not None]
    if found:
        raise InputInvalid("this water cannot be computed", found)


@dataclass(frozen=True, slots=True)
class _Species:
    """A species formed from its parts and protons (less than none where it holds hydroxide): log K
    is a line of five terms in T, or the value at 25 °C with the enthalpy of forming it."""

    name: str
    charge: int
    protons: int
    parts: tuple[str, ...]
    log_k_25: float = 0.0
    enthalpy_kcal: float = 0.0
    series: tuple[float, float, float, float, float] | None = None
    """a + b T + c/T + d log10 T + e/T²."""


_COMPONENT_CHARGE: Mapping[str, int] = MappingProxyType(
    {
        "carbonate": -2,
        "sulfate": -2,
        "phosphate": -3,
        "citrate": -3,
        "calcium": 2,
        "magnesium": 2,
        "sodium": 1,
        "potassium": 1,
    }
)
# Protons on the form that counts as neither base nor acid: CO2, sulfate, H3PO4, citric acid.
_FULL_PROTONS: Mapping[str, int] = MappingProxyType({"carbonate": 2, "phosphate": 3, "citrate": 3})
# Ions of an analysis: name, charge, and the side of the charge balance.
_IONS: tuple[tuple[str, int, int], ...] = (
    ("calcium", 2, 1),
    ("magnesium", 2, 1),
    ("sodium", 1, 1),
    ("potassium", 1, 1),
    ("sulfate", 2, -1),
    ("chloride", 1, -1),
    ("nitrate", 1, -1),
)
_K2_SERIES = (107.8871, 0.03252849, -5151.79, -38.92561, 563713.9)
_K1_K2_SERIES = (464.1965, 0.09344813, -26986.16, -165.75951, 2248628.9)
_SPECIES: tuple[_Species, ...] = (
    # Plummer & Busenberg 1982.
    _Species("bicarbonate", -1, 1, ("carbonate",), series=_K2_SERIES),
    _Species("co2", 0, 2, ("carbonate",), series=_K1_K2_SERIES),
    _Species(
        "calcium_bicarbonate", 1, 1, ("calcium", "carbonate"),
        series=(1317.0071, 0.34546894, -39916.84, -517.70761, 563713.9),
    ),
    _Species(
        "calcium_carbonate", 0, 0, ("calcium", "carbonate"),
        series=(-1228.732, -0.299440, 35512.75, 485.818, 0.0),
    ),
    # Nordstrom et al. 1990, as tabulated in phreeqc.dat.
    _Species(
        "magnesium_bicarbonate", 1, 1, ("magnesium", "carbonate"),
        series=(48.6721, 0.03252849, -2614.335, -18.00263, 563713.9),
    ),
    _Species(
        "magnesium_carbonate", 0, 0, ("magnesium", "carbonate"),
        series=(0.9910, 0.00667, 0.0, 0.0, 0.0),
    ),
    _Species("sodium_bicarbonate", 0, 1, ("sodium", "carbonate"), 10.329 - 0.25, -4.561),
    _Species("sodium_carbonate", -1, 0, ("sodium", "carbonate"), 1.27, 8.91),
    _Species("calcium_hydroxide", 1, -1, ("calcium",), -12.78),
    _Species("magnesium_hydroxide", 1, -1, ("magnesium",), -11.44, 15.952),
    _Species("bisulfate", -1, 1, ("sulfate",), 1.988, 3.85),
    _Species("calcium_sulfate", 0, 0, ("calcium", "sulfate"), 2.25, 1.325),
    _Species("magnesium_sulfate", 0, 0, ("magnesium", "sulfate"), 2.37, 4.550),
    _Species("sodium_sulfate", -1, 0, ("sodium", "sulfate"), 0.70, 1.120),
    _Species("potassium_sulfate", -1, 0, ("potassium", "sulfate"), 0.85, 2.250),
    _Species("hydrogen_phosphate", -2, 1, ("phosphate",), 12.346, -3.530),
    _Species("dihydrogen_phosphate", -1, 2, ("phosphate",), 19.553, -4.520),
    _Species("phosphoric_acid", 0, 3, ("phosphate",), 21.721, -2.414),
    _Species("calcium_phosphate", -1, 0, ("calcium", "phosphate"), 6.459, 3.10),
    _Species("calcium_hydrogen_phosphate", 0, 1, ("calcium", "phosphate"), 15.085, -0.23),
    _Species("calcium_dihydrogen_phosphate", 1, 2, ("calcium", "phosphate"), 20.961, -1.12),
    _Species("magnesium_phosphate", -1, 0, ("magnesium", "phosphate"), 6.589, 3.10),
    _Species("magnesium_hydrogen_phosphate", 0, 1, ("magnesium", "phosphate"), 15.216, -0.23),
    _Species("magnesium_dihydrogen_phosphate", 1, 2, ("magnesium", "phosphate"), 21.066, -1.12),
    # Citric acid: pK 3.13, 4.76, 6.40 and the pairs of the MINTEQ database, from memory.
    _Species("hydrogen_citrate", -2, 1, ("citrate",), 6.396),
    _Species("dihydrogen_citrate", -1, 2, ("citrate",), 11.157),
    _Species("citric_acid", 0, 3, ("citrate",), 14.285),
    _Species("calcium_citrate", -1, 0, ("calcium", "citrate"), 4.87),
    _Species("calcium_hydrogen_citrate", 0, 1, ("calcium", "citrate"), 9.26),
    _Species("magnesium_citrate", -1, 0, ("magnesium", "citrate"), 4.89),
    _Species("magnesium_hydrogen_citrate", 0, 1, ("magnesium", "citrate"), 8.91),
)  # fmt: skip


@lru_cache(maxsize=64)
def _log_constants(temperature_c: float) -> Mapping[str, float]:
    t = temperature_c + ZERO_C_IN_K
    found = {}
    for species in _SPECIES:
        if species.series is not None:
            a, b, c, d, e = species.series
            found[species.name] = a + b * t + c / t + d * math.log10(t) + e / t**2
        else:
            turn = (1.0 / t - 1.0 / _REFERENCE_K) / (_GAS_KCAL_PER_K * math.log(10.0))
            found[species.name] = species.log_k_25 - species.enthalpy_kcal * turn
    return MappingProxyType(found)


def _false_position(
    excess: Callable[[float], float], low: float, high: float, *, tolerance: float
) -> float:
    """Where a rising function that is nearly straight passes zero; the Illinois rule."""
    at_low, at_high = excess(low), excess(high)
    if at_low >= 0.0 or at_high <= 0.0:
        return low if at_low >= 0.0 else high
    kept = 0
    place = low
    for _ in range(80):
        place = (low * at_high - high * at_low) / (at_high - at_low)
        value = excess(place)
        if abs(value) < tolerance:
            break
        if value < 0.0:
            low, at_low = place, value
            at_high *= 0.5 if kept < 0 else 1.0
            kept = -1
        else:
            high, at_high = place, value
            at_low *= 0.5 if kept > 0 else 1.0
            kept = 1
    return place
