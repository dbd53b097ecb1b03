"""A laboratory's analysis of an irrigation water, converted to one set of units and checked.

In: readings as the laboratory wrote them, each a quantity, a number and a unit. Out: one record in
fixed units, with what could be derived from the rest, what is missing and for what, and whether
the charges balance. Nothing is guessed: what cannot be derived stays None. Checks and derivations
follow Standard Methods for the Examination of Water and Wastewater, 1030 E (from memory), except
where another source is named.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from service.errors import Fault, InputInvalid
from service.waterworks.carbonate import (
    CarbonateWater,
    carbonate_fractions,
    total_carbonate_mmol_per_l,
)
from service.waterworks.caution import Advisory
from service.waterworks.ion_conductivity import expected_ec_ds_m

CALCITE_MG_PER_MEQ = 50.04
"""Half the molar mass of CaCO3: what laboratories express hardness and alkalinity in."""
CHARGE_BALANCE_LIMIT_PCT = 10.0  # beyond it the analysis should not be relied on
SOLIDS_MG_PER_L_PER_EC = 640.0  # FAO-29 (from memory), up to 5 dS/m
SALINE_SOLIDS_MG_PER_L_PER_EC = 800.0  # FAO-29 (from memory), above 5 dS/m
SALINE_EC_DS_M = 5.0
EC_AGREEMENT = 0.20  # [CHOICE]: difference of cations and EC from which an advisory is given
ALKALINITY_AGREEMENT = 0.10  # [CHOICE]: likewise alkalinity and bicarbonate plus carbonate
LABORATORY_TEMPERATURE_C = 25.0  # at which pH is commonly read; splits alkalinity into its ions


@dataclass(frozen=True, slots=True)
class Reading:
    """One line of a laboratory's report."""

    quantity: str
    """One of ``QUANTITIES``."""
    value: float
    unit: str
    """As printed: mg/L, meq/L, mmol/L, mg/L as CaCO3, ppm, dS/m, uS/cm, mmhos/cm ..."""
    is_below_detection: bool = False
    """The report says "less than" this value; the value itself is then taken."""


@dataclass(frozen=True, slots=True)
class Derived:
    """A value that the laboratory did not give."""

    name: str
    how: str


@dataclass(frozen=True, slots=True)
class Missing:
    """A value that is not known, and what cannot be computed without it."""

    name: str
    needed_for: str


@dataclass(frozen=True, slots=True)
class ChargeBalance:
    """Whether the positive and negative charges of an analysis balance."""

    cations_meq_per_l: float
    anions_meq_per_l: float
    difference_pct: float
    """100 (cations - anions) / (cations + anions)."""

    @property
    def is_off(self) -> bool:
        """The difference exceeds 10 %."""
        return abs(self.difference_pct) > CHARGE_BALANCE_LIMIT_PCT


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterAnalysis:
    """An analysis in fixed units; None where a value is neither given nor derivable."""

    ph: float | None = None
    ec_ds_m: float | None = None
    alkalinity_meq_per_l: float | None = None
    calcium_meq_per_l: float | None = None
    magnesium_meq_per_l: float | None = None
    sodium_meq_per_l: float | None = None
    potassium_meq_per_l: float | None = None
    chloride_meq_per_l: float | None = None
    sulfate_meq_per_l: float | None = None
    bicarbonate_meq_per_l: float | None = None
    carbonate_meq_per_l: float | None = None
    nitrate_meq_per_l: float | None = None
    nitrate_nitrogen_mg_per_l: float | None = None
    boron_mg_per_l: float | None = None
    iron_mg_per_l: float | None = None
    manganese_mg_per_l: float | None = None
    hydrogen_sulfide_mg_per_l: float | None = None
    hardness_mg_per_l: float | None = None
    """As CaCO3."""
    dissolved_solids_mg_per_l: float | None = None
    suspended_solids_mg_per_l: float | None = None
    bacteria_per_ml: float | None = None
    temperature_c: float | None = None
    charge_balance: ChargeBalance | None = None
    """None where a major ion is not known or was itself derived from the balance."""
    derived: tuple[Derived, ...] = ()
    missing: tuple[Missing, ...] = ()
    advisories: tuple[Advisory, ...] = ()


@dataclass(frozen=True, slots=True)
class _Quantity:
    field: str
    label: str
    factors: Mapping[str, float]
    """What one of a unit is in the field's unit."""
    highest: float
    lowest: float = 0.0
    hint: str = ""


def _ion(field: str, label: str, molar_mass: float, charge: int) -> _Quantity:
    per_mg = charge / molar_mass
    factors = {
        "mg/l": per_mg,
        "ppm": per_mg,
        "ug/l": per_mg * 1e-3,
        "ppb": per_mg * 1e-3,
        "g/l": per_mg * 1e3,
        "meq/l": 1.0,
        "me/l": 1.0,
        "mmol/l": float(charge),
        "mmol(+)/l": 1.0,
        "mmolc/l": 1.0,
        "umol/l": charge * 1e-3,
        "mg/l as caco3": 1.0 / CALCITE_MG_PER_MEQ,
        "ppm as caco3": 1.0 / CALCITE_MG_PER_MEQ,
    }
    return _Quantity(field, label, MappingProxyType(factors), 1000.0)


def _mass(field: str, label: str, highest: float) -> _Quantity:
    factors = {"mg/l": 1.0, "ppm": 1.0, "ug/l": 1e-3, "ppb": 1e-3, "g/l": 1e3}
    return _Quantity(field, label, MappingProxyType(factors), highest)


_EC_FACTORS = MappingProxyType(
    {
        "ds/m": 1.0,
        "ms/cm": 1.0,
        "mmhos/cm": 1.0,
        "mmho/cm": 1.0,
        "us/cm": 1e-3,
        "umhos/cm": 1e-3,
        "umho/cm": 1e-3,
        "ms/m": 1e-2,
    }
)
_AS_CALCITE = "say what it is expressed as: mg/L as CaCO3 is the usual form"
_ALKALINITY_FACTORS = MappingProxyType(
    {
        "meq/l": 1.0,
        "me/l": 1.0,
        "mg/l as caco3": 1.0 / CALCITE_MG_PER_MEQ,
        "ppm as caco3": 1.0 / CALCITE_MG_PER_MEQ,
        "mg/l as hco3": 1.0 / 61.017,
        "ppm as hco3": 1.0 / 61.017,
    }
)
_HARDNESS_FACTORS = MappingProxyType(
    {
        "mg/l as caco3": 1.0,
        "ppm as caco3": 1.0,
        "meq/l": CALCITE_MG_PER_MEQ,
        "me/l": CALCITE_MG_PER_MEQ,
        "mmol/l": 2.0 * CALCITE_MG_PER_MEQ,
        "gpg": 17.118,
        "grains/gal": 17.118,
        "°dh": 17.848,
        "°f": 10.0,
    }
)
# Molar masses: IUPAC standard atomic weights, rounded.
QUANTITIES: Mapping[str, _Quantity] = MappingProxyType(
    {
        "ph": _Quantity("ph", "pH", MappingProxyType({"": 1.0, "ph": 1.0, "-": 1.0}), 12.0, 2.0),
        "ec": _Quantity("ec_ds_m", "EC", _EC_FACTORS, 40.0, hint="800 uS/cm are 0.8 dS/m"),
        "alkalinity": _Quantity(
            "alkalinity_meq_per_l", "alkalinity", _ALKALINITY_FACTORS, 50.0, hint=_AS_CALCITE
        ),
        "calcium": _ion("calcium_meq_per_l", "calcium", 40.078, 2),
        "magnesium": _ion("magnesium_meq_per_l", "magnesium", 24.305, 2),
        "sodium": _ion("sodium_meq_per_l", "sodium", 22.990, 1),
        "potassium": _ion("potassium_meq_per_l", "potassium", 39.098, 1),
        "chloride": _ion("chloride_meq_per_l", "chloride", 35.453, 1),
        "sulfate": _ion("sulfate_meq_per_l", "sulfate (as SO4)", 96.06, 2),
        "sulfate-sulfur": _ion("sulfate_meq_per_l", "sulfate (as S)", 32.06, 2),
        "bicarbonate": _ion("bicarbonate_meq_per_l", "bicarbonate", 61.017, 1),
        "carbonate": _ion("carbonate_meq_per_l", "carbonate", 60.009, 2),
        "nitrate": _ion("nitrate_meq_per_l", "nitrate (as NO3)", 62.004, 1),
        "nitrate-nitrogen": _ion("nitrate_meq_per_l", "nitrate (as N)", 14.007, 1),
        "boron": _mass("boron_mg_per_l", "boron", 100.0),
        "iron": _mass("iron_mg_per_l", "iron", 500.0),
        "manganese": _mass("manganese_mg_per_l", "manganese", 100.0),
        "hydrogen-sulfide": _mass("hydrogen_sulfide_mg_per_l", "hydrogen sulfide", 100.0),
        "hardness": _Quantity(
            "hardness_mg_per_l", "hardness", _HARDNESS_FACTORS, 10000.0, hint=_AS_CALCITE
        ),
        "dissolved-solids": _mass("dissolved_solids_mg_per_l", "dissolved solids", 40000.0),
        "suspended-solids": _mass("suspended_solids_mg_per_l", "suspended solids", 10000.0),
        "bacteria": _Quantity(
            "bacteria_per_ml",
            "bacteria",
            MappingProxyType({"/ml": 1.0, "cfu/ml": 1.0, "/100ml": 1e-2, "cfu/100ml": 1e-2}),
            1e9,
        ),
        "temperature": _Quantity(
            "temperature_c", "temperature", MappingProxyType({"c": 1.0, "°c": 1.0}), 50.0
        ),
    }
)
"""Quantities that a reading may give."""

_NEEDS: tuple[tuple[str, str], ...] = (
    ("ph", "acid dose, saturation with calcite, clogging class"),
    ("alkalinity_meq_per_l", "acid dose, saturation with calcite, charge balance"),
    ("ec_ds_m", "salinity class, leaching requirement, expected yield"),
    ("calcium_meq_per_l", "SAR, saturation with calcite, charge balance"),
    ("magnesium_meq_per_l", "SAR, charge balance"),
    ("sodium_meq_per_l", "SAR, sodium class, charge balance"),
    ("chloride_meq_per_l", "chloride class, charge balance"),
    ("sulfate_meq_per_l", "charge balance, conflict of sulfate with calcium fertilizer"),
    ("bicarbonate_meq_per_l", "bicarbonate class"),
    ("nitrate_nitrogen_mg_per_l", "nitrogen that the water itself feeds"),
    ("boron_mg_per_l", "boron class"),
    ("iron_mg_per_l", "clogging class"),
    ("manganese_mg_per_l", "clogging class"),
    ("hydrogen_sulfide_mg_per_l", "clogging class"),
    ("hardness_mg_per_l", "clogging class"),
    ("dissolved_solids_mg_per_l", "clogging class, Langelier index"),
    ("suspended_solids_mg_per_l", "clogging class"),
    ("bacteria_per_ml", "clogging class"),
)


def canonical_unit(unit: str) -> str:
    """A laboratory's unit in the spelling that the tables use.

    Shapes: one text.
    Returns: lower case, micro as u, single spaces; not checked.
    >>> canonical_unit(" Mg/L  CaCO3"), canonical_unit("µS cm-1"), canonical_unit("mg L⁻¹")
    ('mg/l as caco3', 'us/cm', 'mg/l')
    """
    text = " ".join(unit.strip().lower().replace("µ", "u").replace("μ", "u").split())
    text = text.replace("₃", "3").replace("⁻¹", "-1").replace(" per ", "/")
    text = text.replace("deg c", "°c").replace("degc", "°c").replace("degrees c", "°c")
    for size in ("l", "cm", "m", "ml"):
        text = text.replace(f" {size}-1", f"/{size}").replace(f"/ {size}", f"/{size}")
    for form in ("caco3", "hco3"):
        for spelling in (f"({form})", f"as {form}", form):
            if text.endswith(spelling):
                return f"{text[: -len(spelling)].strip()} as {form}"
    return "/100ml" if text in ("/100 ml", "100ml-1") else text.replace("/100 ml", "/100ml")


def analysis_from_readings(readings: Sequence[Reading]) -> WaterAnalysis:
    """A laboratory's report as one checked record in fixed units.

    Shapes: readings (lines,).
    Returns: WaterAnalysis; an unknown quantity or unit, a quantity given twice, a number out of
    range raise ``InputInvalid`` with every fault. A charge balance that is off, and values that
    contradict one another, are advisories of the result.
    Equation: meq/L = mg/L x charge / molar mass; the derivations name theirs.
    >>> report = analysis_from_readings([
    ...     Reading("calcium", 40.08, "mg/L"), Reading("hardness", 150.12, "mg/L as CaCO3"),
    ...     Reading("alkalinity", 120.0, "ppm CaCO3"), Reading("ec", 420, "µS/cm")])
    >>> round(report.magnesium_meq_per_l, 2), round(report.alkalinity_meq_per_l, 3), report.ec_ds_m
    (1.0, 2.398, 0.42)
    """
    values: dict[str, Any] = {}
    faults: list[Fault] = []
    below: list[str] = []
    for place, reading in enumerate(readings):
        where = f"reading[{place}] {reading.quantity}"
        quantity = QUANTITIES.get(reading.quantity)
        if quantity is None:
            faults.append(Fault(where, repr(reading.quantity), f"one of {', '.join(QUANTITIES)}"))
            continue
        factor = quantity.factors.get(canonical_unit(reading.unit))
        if factor is None:
            allowed = f"one of {', '.join(unit or 'no unit' for unit in quantity.factors)}"
            allowed += f"; {quantity.hint}" if quantity.hint else ""
            faults.append(Fault(f"{where} unit", repr(reading.unit), allowed))
            continue
        value = reading.value * factor
        if not quantity.lowest <= value <= quantity.highest:
            allowed = (
                f"{quantity.lowest / factor:g} to {quantity.highest / factor:g} {reading.unit}"
            )
            allowed += f"; {quantity.hint}" if quantity.hint else ""
            faults.append(Fault(where, f"{reading.value:g} {reading.unit}", allowed))
            continue
        if quantity.field in values:
            faults.append(Fault(where, f"{quantity.label} a second time", "each quantity once"))
            continue
        values[quantity.field] = value
        if reading.is_below_detection:
            below.append(quantity.label)
    if not readings:
        faults.append(Fault("readings", "none", "at least one line of the laboratory's report"))
    if faults:
        raise InputInvalid("this water analysis cannot be used", faults)
    advisories: tuple[Advisory, ...] = ()
    if below:
        text = f"Below detection, taken as the detection limit: {', '.join(below)}."
        advisories = (Advisory("below-detection", text),)
    return complete_analysis(replace(WaterAnalysis(**values), advisories=advisories))


def complete_analysis(analysis: WaterAnalysis) -> WaterAnalysis:
    """The same analysis with what follows from its own values, and with its checks.

    Shapes: one analysis.
    Returns: WaterAnalysis; values that were given are never changed.
    Equation: alkalinity = HCO3 + CO3; hardness = 50.04 (Ca + Mg); sodium by charge difference; EC
    of 10 meq/L of cations is 1 dS/m; dissolved solids 640 EC (FAO-29, from memory).
    >>> complete_analysis(WaterAnalysis(bicarbonate_meq_per_l=2.0)).alkalinity_meq_per_l
    2.0
    """
    derived: list[Derived] = list(analysis.derived)
    advisories: list[Advisory] = list(analysis.advisories)
    found = _with_nitrate(analysis)
    found = _with_alkalinity(found, derived, advisories)
    found = _with_hardness(found, derived, advisories)
    balance = _charge_balance(found)
    if balance is None:
        found = _with_sodium(found, derived, advisories)
    elif balance.is_off:
        more = "cations" if balance.difference_pct > 0.0 else "anions"
        text = (
            f"The charges do not balance: {balance.cations_meq_per_l:.2f} meq/L of cations, "
            f"{balance.anions_meq_per_l:.2f} of anions, {balance.difference_pct:+.1f} %; within"
            f" {CHARGE_BALANCE_LIMIT_PCT:g} % is allowed. There are too many {more}: look for a"
            " unit that was misread, an ion left out, or ask the laboratory again."
        )
        advisories.append(Advisory("charge-balance-off", text))
    found = _with_salinity(found, derived, advisories)
    missing = tuple(
        Missing(name, needed_for) for name, needed_for in _NEEDS if getattr(found, name) is None
    )
    return replace(
        found,
        charge_balance=balance,
        derived=tuple(derived),
        missing=missing,
        advisories=tuple(advisories),
    )


def carbonate_water(analysis: WaterAnalysis, temperature_c: float) -> CarbonateWater:
    """The part of an analysis that its carbonate chemistry and an acid dose need.

    Shapes: one analysis, one number.
    temperature_c: of the water in the pipe [°C].
    Returns: CarbonateWater; without pH or alkalinity ``InputInvalid`` is raised.
    """
    ph, alkalinity = analysis.ph, analysis.alkalinity_meq_per_l
    faults = []
    if ph is None:
        faults.append(Fault("ph", "not known", "the pH of the water, from the laboratory"))
    if alkalinity is None or alkalinity <= 0.0:
        found = "not known" if alkalinity is None else f"{alkalinity:g} meq/L"
        allowed = "an alkalinity above 0 from the laboratory: without it there is no acid dose"
        faults.append(Fault("alkalinity_meq_per_l", found, allowed))
    if ph is None or alkalinity is None or faults:
        raise InputInvalid("the carbonate chemistry of this water is not known", faults)
    return CarbonateWater(
        ph=ph,
        alkalinity_meq_per_l=alkalinity,
        temperature_c=temperature_c,
        calcium_meq_per_l=analysis.calcium_meq_per_l,
        magnesium_meq_per_l=analysis.magnesium_meq_per_l,
        sodium_meq_per_l=analysis.sodium_meq_per_l,
        potassium_meq_per_l=analysis.potassium_meq_per_l,
        sulfate_meq_per_l=analysis.sulfate_meq_per_l,
        chloride_meq_per_l=analysis.chloride_meq_per_l,
        nitrate_meq_per_l=analysis.nitrate_meq_per_l,
        ec_ds_m=analysis.ec_ds_m,
    )


def _with_nitrate(analysis: WaterAnalysis) -> WaterAnalysis:
    # The same reading in two units: not a derivation worth noting.
    if analysis.nitrate_meq_per_l is not None:
        nitrogen = analysis.nitrate_meq_per_l * 14.007
        return replace(analysis, nitrate_nitrogen_mg_per_l=nitrogen)
    if analysis.nitrate_nitrogen_mg_per_l is not None:
        meq = analysis.nitrate_nitrogen_mg_per_l / 14.007
        return replace(analysis, nitrate_meq_per_l=meq)
    return analysis


def _with_alkalinity(
    analysis: WaterAnalysis, derived: list[Derived], advisories: list[Advisory]
) -> WaterAnalysis:
    alkalinity = analysis.alkalinity_meq_per_l
    bicarbonate, carbonate = analysis.bicarbonate_meq_per_l, analysis.carbonate_meq_per_l
    if bicarbonate is not None:
        together = bicarbonate + (carbonate or 0.0)
        if alkalinity is None:
            derived.append(Derived("alkalinity_meq_per_l", "bicarbonate plus carbonate"))
            return replace(analysis, alkalinity_meq_per_l=together)
        if abs(together - alkalinity) > ALKALINITY_AGREEMENT * max(together, alkalinity):
            text = (
                f"Alkalinity is {alkalinity:.2f} meq/L, bicarbonate and carbonate together"
                f" {together:.2f}: they should agree. Alkalinity was used."
            )
            advisories.append(Advisory("alkalinity-contradicts", text))
        return analysis
    if alkalinity is None:
        return analysis
    if analysis.ph is None:
        derived.append(Derived("bicarbonate_meq_per_l", "alkalinity, as the pH is not known"))
        return replace(analysis, bicarbonate_meq_per_l=alkalinity)
    ph = analysis.ph
    _, a1, a2 = carbonate_fractions(ph, LABORATORY_TEMPERATURE_C)
    total = max(0.0, total_carbonate_mmol_per_l(alkalinity, ph, LABORATORY_TEMPERATURE_C))
    derived.append(Derived("bicarbonate_meq_per_l", "alkalinity and pH, carbonate equilibrium"))
    found = replace(analysis, bicarbonate_meq_per_l=a1 * total)
    if carbonate is None:
        derived.append(Derived("carbonate_meq_per_l", "alkalinity and pH, carbonate equilibrium"))
        found = replace(found, carbonate_meq_per_l=2.0 * a2 * total)
    return found


def _with_hardness(
    analysis: WaterAnalysis, derived: list[Derived], advisories: list[Advisory]
) -> WaterAnalysis:
    calcium, magnesium = analysis.calcium_meq_per_l, analysis.magnesium_meq_per_l
    hardness = analysis.hardness_mg_per_l
    if calcium is not None and magnesium is not None:
        together = CALCITE_MG_PER_MEQ * (calcium + magnesium)
        if hardness is None:
            derived.append(Derived("hardness_mg_per_l", "50.04 x (calcium + magnesium)"))
            return replace(analysis, hardness_mg_per_l=together)
        if abs(together - hardness) > ALKALINITY_AGREEMENT * max(together, hardness):
            text = (
                f"Hardness is {hardness:.0f} mg/L as CaCO3, calcium and magnesium make"
                f" {together:.0f}: they should agree."
            )
            advisories.append(Advisory("hardness-contradicts", text))
        return analysis
    if hardness is None or (calcium is None and magnesium is None):
        return analysis
    rest = hardness / CALCITE_MG_PER_MEQ - (calcium or 0.0) - (magnesium or 0.0)
    name = "magnesium_meq_per_l" if magnesium is None else "calcium_meq_per_l"
    if rest < 0.0:
        known = "calcium" if magnesium is None else "magnesium"
        text = f"The {known} alone is more than the hardness; the rest was not derived."
        advisories.append(Advisory("hardness-contradicts", text))
        return analysis
    derived.append(Derived(name, "what of the hardness the other one leaves"))
    if magnesium is None:
        return replace(analysis, magnesium_meq_per_l=rest)
    return replace(analysis, calcium_meq_per_l=rest)


def _charges(analysis: WaterAnalysis) -> tuple[float, float]:
    cations = sum(
        value or 0.0
        for value in (
            analysis.calcium_meq_per_l,
            analysis.magnesium_meq_per_l,
            analysis.sodium_meq_per_l,
            analysis.potassium_meq_per_l,
        )
    )
    anions = sum(
        value or 0.0
        for value in (
            analysis.alkalinity_meq_per_l,
            analysis.chloride_meq_per_l,
            analysis.sulfate_meq_per_l,
            analysis.nitrate_meq_per_l,
        )
    )
    return cations, anions


def _lacks(analysis: WaterAnalysis) -> set[str]:
    """Major ions that a charge balance cannot do without; potassium and nitrate are minor."""
    names = (
        "calcium_meq_per_l",
        "magnesium_meq_per_l",
        "sodium_meq_per_l",
        "alkalinity_meq_per_l",
        "chloride_meq_per_l",
        "sulfate_meq_per_l",
    )
    return {name for name in names if getattr(analysis, name) is None}


def _charge_balance(analysis: WaterAnalysis) -> ChargeBalance | None:
    cations, anions = _charges(analysis)
    if _lacks(analysis) or cations + anions <= 0.0:
        return None
    return ChargeBalance(cations, anions, 100.0 * (cations - anions) / (cations + anions))


def _with_sodium(
    analysis: WaterAnalysis, derived: list[Derived], advisories: list[Advisory]
) -> WaterAnalysis:
    if _lacks(analysis) != {"sodium_meq_per_l"}:
        return analysis
    cations, anions = _charges(analysis)
    if anions < cations:
        text = (
            f"Without sodium the cations ({cations:.2f} meq/L) already pass the anions"
            f" ({anions:.2f}); sodium was not derived."
        )
        advisories.append(Advisory("charge-balance-off", text))
        return analysis
    derived.append(Derived("sodium_meq_per_l", "what balances the charges; errors gather here"))
    return replace(analysis, sodium_meq_per_l=anions - cations)


def _with_salinity(
    analysis: WaterAnalysis, derived: list[Derived], advisories: list[Advisory]
) -> WaterAnalysis:
    found = analysis
    cations, _ = _charges(found)
    of_metals = {"calcium_meq_per_l", "magnesium_meq_per_l", "sodium_meq_per_l"}
    has_cations = not _lacks(found) & of_metals
    expected_ec, how = expected_ec_ds_m(found, cations, is_complete=not _lacks(found))
    if found.ec_ds_m is None and found.dissolved_solids_mg_per_l is not None:
        derived.append(Derived("ec_ds_m", "dissolved solids / 640, FAO-29 (from memory)"))
        found = replace(found, ec_ds_m=_ec_of_solids(found.dissolved_solids_mg_per_l))
    elif found.ec_ds_m is None and has_cations:
        derived.append(Derived("ec_ds_m", how))
        found = replace(found, ec_ds_m=expected_ec)
    elif has_cations and abs(expected_ec - (found.ec_ds_m or 0.0)) > EC_AGREEMENT * (
        found.ec_ds_m or math.inf
    ):
        text = (
            f"The cations ({cations:.2f} meq/L) stand for about {expected_ec:.2f} dS/m, the EC is"
            f" {found.ec_ds_m:.2f}: check both units."
        )
        advisories.append(Advisory("ec-contradicts", text))
    if found.dissolved_solids_mg_per_l is None and found.ec_ds_m is not None:
        derived.append(Derived("dissolved_solids_mg_per_l", "640 x EC, FAO-29 (from memory)"))
        ec = found.ec_ds_m
        per_ec = SOLIDS_MG_PER_L_PER_EC if ec <= SALINE_EC_DS_M else SALINE_SOLIDS_MG_PER_L_PER_EC
        found = replace(found, dissolved_solids_mg_per_l=per_ec * ec)
    return found


def _ec_of_solids(solids_mg_per_l: float) -> float:
    ec = solids_mg_per_l / SOLIDS_MG_PER_L_PER_EC
    return ec if ec <= SALINE_EC_DS_M else solids_mg_per_l / SALINE_SOLIDS_MG_PER_L_PER_EC
