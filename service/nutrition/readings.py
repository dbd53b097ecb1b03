"""A laboratory's values of leaf and soil, in its units and in ours.

In: a nutrient's name, a value and the unit printed beside it. Out: leaf and petiole as % (N, P, K,
Ca, Mg, S, Cl, Na) or ppm (the rest) of the dry matter, soil as mg/kg; pH, organic matter and
exchange capacity as they are. A value that no plant or soil has is refused with the range that
plants and soils have, since the unit is then the likely mistake.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from service.errors import Fault, InputInvalid

P_PER_P2O5 = 0.4364  # 2 x 30.974 / 141.945
K_PER_K2O = 0.8301  # 2 x 39.098 / 94.196
N_PER_NO3 = 0.2259  # 14.007 / 62.004
PPM_PER_PCT = 10_000.0
LB_PER_AC_PER_PPM = 2.0  # of a furrow slice 6 2/3 in deep, 2 million pounds an acre
LARGEST_ASH_PCT = 12.0  # from memory: cations of a leaf together
IN_PERCENT = ("N", "P", "K", "Ca", "Mg", "S", "Cl", "Na")
IN_PPM = ("B", "Fe", "Mn", "Zn", "Cu", "Al", "NO3-N")
PLANT = (*IN_PERCENT, *IN_PPM)
# From memory: outside of these a value is a mistake.
PLANT_GATES: Mapping[str, tuple[float, float]] = {
    "N": (0.3, 6.0), "P": (0.02, 1.2), "K": (0.1, 6.0), "Ca": (0.05, 6.0), "Mg": (0.03, 1.5),
    "S": (0.03, 1.0), "Cl": (0.0, 5.0), "Na": (0.0, 5.0), "B": (2.0, 300.0), "Fe": (10.0, 2000.0),
    "Mn": (5.0, 4000.0), "Zn": (2.0, 1000.0), "Cu": (1.0, 1500.0), "Al": (0.0, 5000.0),
    "NO3-N": (0.0, 20_000.0),
}  # fmt: skip
SOIL_GATES: Mapping[str, tuple[float, float]] = {
    "pH": (3.0, 10.5), "P": (0.0, 2000.0), "K": (0.0, 5000.0), "Ca": (0.0, 50_000.0),
    "Mg": (0.0, 10_000.0), "Na": (0.0, 20_000.0), "S": (0.0, 5000.0), "B": (0.0, 50.0),
    "Fe": (0.0, 5000.0), "Mn": (0.0, 5000.0), "Zn": (0.0, 1000.0), "Cu": (0.0, 1000.0),
    "Al": (0.0, 10_000.0), "NO3-N": (0.0, 1000.0), "organic-matter": (0.0, 100.0),
    "cec": (0.1, 200.0), "exchangeable-acidity": (0.0, 60.0), "calcium-carbonate": (0.0, 100.0),
    "buffer-capacity": (0.1, 30.0), "density": (0.1, 2.0), "depth": (2.0, 100.0),
}  # fmt: skip
SOIL = tuple(SOIL_GATES)
_MASS_SHARES = {
    "%": 1.0, "pct": 1.0, "percent": 1.0, "g/100g": 1.0, "g/kg": 0.1, "mg/g": 0.1, "ppm": 1e-4,
    "mg/kg": 1e-4, "ug/g": 1e-4,
}  # fmt: skip
_FORMS = {
    ("P", "p2o5"): P_PER_P2O5, ("K", "k2o"): K_PER_K2O, ("NO3-N", "no3"): N_PER_NO3,
    ("NO3-N", "no3-n"): 1.0, ("N", "n"): 1.0, ("P", "p"): 1.0, ("K", "k"): 1.0,
}  # fmt: skip
_SOIL_UNITS: Mapping[str, Mapping[str, float]] = {
    "pH": {"": 1.0},
    "organic-matter": {"%": 1.0, "pct": 1.0, "g/kg": 0.1},
    "cec": {"meq/100g": 1.0, "cmol/kg": 1.0, "cmolc/kg": 1.0, "mmolc/kg": 0.1},
    "exchangeable-acidity": {
        "meq/100cm3": 1.0, "meq/100ml": 1.0, "meq/100g": 1.0, "cmolc/dm3": 1.0, "cmolc/kg": 1.0,
    },
    "calcium-carbonate": {"%": 1.0, "pct": 1.0, "g/kg": 0.1},
    "buffer-capacity": {"cmolc/kg/ph": 1.0, "meq/100g/ph": 1.0},
    "density": {"g/cm3": 1.0, "g/ml": 1.0, "kg/l": 1.0},
    "depth": {"cm": 1.0, "in": 2.54, "mm": 0.1, "m": 100.0},
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class NutrientReading:
    """One line of a laboratory's report on leaf, petiole or soil, as it was printed."""

    nutrient: str
    value: float
    unit: str
    is_below_detection: bool = False


def plant_value(reading: NutrientReading) -> float:
    """A plant reading in the unit of its ranges: % of macros, ppm of micros and nitrate.

    Shapes: scalars.
    Returns: %, or ppm; a unit, nutrient or value that cannot be raises ``InputInvalid``.
    Equation: % x 10,000 = ppm; P = 0.4364 P2O5, K = 0.8301 K2O, NO3-N = 0.2259 NO3.
    >>> plant_value(NutrientReading("P", 5000.0, "ppm"))
    0.5
    >>> round(plant_value(NutrientReading("K", 2.0, "% K2O")), 4)
    1.6602
    """
    name = reading.nutrient
    _check_name(name, PLANT)
    unit, factor = _unit_and_form(reading)
    if unit not in _MASS_SHARES:
        raise _refused(reading, f"one of {', '.join(_MASS_SHARES)}, of the dry matter")
    percent = reading.value * factor * _MASS_SHARES[unit]
    value = percent if name in IN_PERCENT else percent * PPM_PER_PCT
    low, high = PLANT_GATES[name]
    if not (low <= value <= high or (reading.is_below_detection and 0.0 <= value <= high)):
        shown = "%" if name in IN_PERCENT else "ppm"
        raise _refused(reading, f"{low:g} to {high:g} {shown}, as plants have: is the unit right?")
    return round(value, 9)


def soil_value(reading: NutrientReading, *, density: float | None = None) -> float:
    """A soil reading as mg/kg; pH, %, meq/100 g, g/cm3 and cm for what is none.

    Shapes: scalars.
    density: of the laboratory's scoop [g/cm3], for values by volume.
    Returns: the value; a unit, name or value that cannot be raises ``InputInvalid``.
    Equation: lb/ac = 2 mg/kg (slice of 6 2/3 in); mg/kg = mg/dm3 / density.
    >>> soil_value(NutrientReading("K", 180.0, "lb/ac"))
    90.0
    """
    name = reading.nutrient
    _check_name(name, SOIL)
    unit, factor = _unit_and_form(reading)
    if name in _SOIL_UNITS:
        units = _SOIL_UNITS[name]
        if unit not in units:
            raise _refused(reading, f"one of {', '.join(each or 'no unit' for each in units)}")
        value = reading.value * units[unit]
    elif unit in ("mg/dm3", "mg/l", "g/m3"):
        if density is None:
            allowed = "mg/kg, or a reading of density too: values by volume need the scoop's"
            raise _refused(reading, allowed)
        value = reading.value * factor / density
    elif unit == "lb/ac":
        value = reading.value * factor / LB_PER_AC_PER_PPM
    elif unit in _MASS_SHARES:
        value = reading.value * factor * _MASS_SHARES[unit] * PPM_PER_PCT
    else:
        raise _refused(reading, "mg/kg, ppm, lb/ac or mg/dm3; an index of a laboratory is no ppm")
    low, high = SOIL_GATES[name]
    if not low <= value <= high:
        raise _refused(reading, f"{low:g} to {high:g}, as soils have: is the unit right?")
    return round(value, 9)


def plant_range(nutrient: str, low: float, high: float, unit: str) -> tuple[float, float]:
    """A range as a laboratory printed it, in the unit of ours.

    Shapes: scalars.
    Returns: low and high [% or ppm]; a range that does not rise raises ``InputInvalid``.
    >>> plant_range("N", 17.0, 21.0, "g/kg")
    (1.7, 2.1)
    """
    # The lower end may lie below what a plant has: 0 is printed for "no lower limit".
    bottom = plant_value(NutrientReading(nutrient, low, unit, is_below_detection=True))
    top = plant_value(NutrientReading(nutrient, high, unit))
    if bottom >= top:
        fault = Fault(nutrient, f"a range of {low:g} to {high:g} {unit}", "a rising range")
        raise InputInvalid("this test cannot be used", [fault])
    return bottom, top


def plant_values(readings: Sequence[NutrientReading]) -> dict[str, float]:
    """Every plant reading in the unit of its ranges.

    Shapes: readings (readings,).
    Returns: values by nutrient; every fault together raises ``InputInvalid``, also one nutrient
    twice and cations that together are more than a leaf's ash.
    Source: the limit of 12 % of the dry matter is from memory.
    """
    faults: list[Fault] = []
    found: dict[str, float] = {}
    for each in readings:
        if each.nutrient in found:
            faults.append(Fault(each.nutrient, "two values", "one value"))
            continue
        try:
            found[each.nutrient] = plant_value(each)
        except InputInvalid as error:
            faults.extend(error.faults)
    cations = sum(found.get(name, 0.0) for name in ("K", "Ca", "Mg", "Na"))
    if cations > LARGEST_ASH_PCT:
        allowed = f"up to {LARGEST_ASH_PCT:g} % of the dry matter: are the units right?"
        faults.append(Fault("K, Ca, Mg and Na together", f"{cations:.1f} %", allowed))
    if faults:
        raise InputInvalid("this test cannot be used", faults)
    return found


def soil_values(readings: Sequence[NutrientReading]) -> dict[str, float]:
    """Every soil reading in its unit.

    Shapes: readings (readings,).
    Returns: values by name; every fault together raises ``InputInvalid``.
    """
    faults: list[Fault] = []
    found: dict[str, float] = {}
    density = None
    for each in sorted(readings, key=lambda one: one.nutrient != "density"):
        if each.nutrient in found:
            faults.append(Fault(each.nutrient, "two values", "one value"))
            continue
        try:
            found[each.nutrient] = soil_value(each, density=density)
        except InputInvalid as error:
            faults.extend(error.faults)
        density = found.get("density")
    if faults:
        raise InputInvalid("this test cannot be used", faults)
    return found


def _check_name(name: str, known: Sequence[str]) -> None:
    if name not in known:
        raise InputInvalid(
            "this test cannot be used",
            [Fault(name, "not measured in this kind of test", f"one of {', '.join(known)}")],
        )


def _unit_and_form(reading: NutrientReading) -> tuple[str, float]:
    """The unit in plain letters, and what its form (P2O5, NO3) is multiplied by."""
    words = reading.unit.strip().lower().replace("µ", "u").replace("μ", "u").split()
    text = "".join(word for word in words if word != "as")
    for (nutrient, form), factor in _FORMS.items():
        if nutrient == reading.nutrient and text.endswith(form) and text != form:
            return text.removesuffix(form), factor
    return text, 1.0


def _refused(reading: NutrientReading, allowed: str) -> InputInvalid:
    found = f"{reading.value:g} {reading.unit}".strip()
    return InputInvalid("this test cannot be used", [Fault(reading.nutrient, found, allowed)])
