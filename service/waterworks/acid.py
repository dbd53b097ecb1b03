"""How much acid brings an irrigation water to a lower pH, and the pH to which it drifts back.

In: the water's pH, alkalinity, temperature and ions, the pH wanted, the acid and its strength, and
a titration if there is one. Out: the dose per volume of water and as the rate of an
injector, always together with the cautions. No CO2 is lost in a closed pipe, so that total
carbonate stays and only alkalinity falls; Stumm & Morgan, Aquatic Chemistry, ch. 4 (from memory).
A titration of the water itself beats the model.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType

from service.errors import Fault, InputInvalid
from service.waterworks.carbonate import (
    OPEN_AIR_LOG_PCO2,
    CarbonateWater,
    component_totals,
    open_air_ph,
    speciate,
    water_speciation,
)
from service.waterworks.caution import ACID_CAUTIONS, Advisory

LOWEST_TARGET_PH = 4.0  # [CHOICE]: below it almost nothing buffers, and a dose is a guess
CONTINUOUS_LINE_PH = 5.5  # common practice, no source: keep lines in use above it
TITRATION_DISAGREEMENT = 0.20  # [CHOICE]: beyond it check the analysis or the titration
TITRATION_START_PH = 0.3  # [CHOICE]: how far the table's first pH may lie from the analysis


@dataclass(frozen=True, slots=True)
class Acid:
    """An acid that is put into irrigation water."""

    key: str
    name: str
    formula: str
    molar_mass_g_per_mol: float
    strong_proton_count: int
    """Protons given off whatever the pH; those of a weak acid are counted by the model."""
    anion: str
    anion_charge: int
    density_table: tuple[tuple[float, float], ...]
    """(% by weight, kg/L at 20 °C), rising; from memory, citric to 30 % by CRC 102nd ed."""
    nutrient: str | None
    nutrient_g_per_mol: float


_ACIDS = (
    Acid(
        "sulfuric", "Sulfuric acid", "H2SO4", 98.079, 2, "sulfate", 2,
        ((10.0, 1.0661), (20.0, 1.1394), (30.0, 1.2185), (37.0, 1.2769), (50.0, 1.3951),
         (60.0, 1.4983), (70.0, 1.6105), (80.0, 1.7272), (93.0, 1.8279), (96.0, 1.8355),
         (98.0, 1.8361)),
        "sulfur", 32.06,
    ),
    Acid(
        "phosphoric", "Phosphoric acid", "H3PO4", 97.994, 0, "phosphate", 3,
        ((10.0, 1.0532), (20.0, 1.1135), (30.0, 1.1804), (50.0, 1.3350), (75.0, 1.5790),
         (85.0, 1.6850)),
        "phosphorus", 30.974,
    ),
    Acid(
        "nitric", "Nitric acid", "HNO3", 63.012, 1, "nitrate", 1,
        ((10.0, 1.0543), (20.0, 1.1150), (30.0, 1.1801), (40.0, 1.2463), (50.0, 1.3100),
         (60.0, 1.3667), (67.0, 1.4004), (70.0, 1.4134)),
        "nitrogen", 14.007,
    ),
    Acid(
        "hydrochloric", "Hydrochloric acid", "HCl", 36.461, 1, "chloride", 1,
        ((10.0, 1.0474), (20.0, 1.0980), (30.0, 1.1493), (32.0, 1.1593), (37.0, 1.1840)),
        "chloride", 35.453,
    ),
    Acid(
        "citric", "Citric acid", "C6H8O7", 192.124, 0, "citrate", 3,
        ((10.0, 1.0402), (20.0, 1.0858), (30.0, 1.1346), (40.0, 1.187), (50.0, 1.243)),
        None, 0.0,
    ),
)  # fmt: skip
ACIDS: Mapping[str, Acid] = MappingProxyType({acid.key: acid for acid in _ACIDS})


@dataclass(frozen=True, slots=True)
class TitrationPoint:
    """The pH of a sample of the water after this much strong acid."""

    dose_meq_per_l: float
    ph: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AcidDose:
    """A dose of acid, with the warnings that go with it."""

    acid_key: str
    target_ph: float
    basis: str
    """``titration`` or ``model``: where the dose comes from."""
    dose_meq_per_l: float
    """Protons that the water takes up on its way to the target."""
    dose_mmol_per_l: float
    model_dose_mmol_per_l: float
    """What the model says, also where a titration decides."""
    protons_per_mol: float
    """Protons that one mole of this acid gives off at the target."""
    acid_g_per_m3: float
    """Grams of the product, water of its solution included, per m³ of irrigation water."""
    acid_ml_per_m3: float | None
    """None for a solid."""
    injector_l_per_h: float | None
    """None where no flow was given, or for a solid."""
    injector_ml_per_min: float | None
    nutrient: str | None
    nutrient_g_per_m3: float
    alkalinity_left_meq_per_l: float
    alkalinity_removed_fraction: float
    open_air_ph: float
    """pH once the CO2 is in equilibrium with the air."""
    calcite_saturation_before: float | None
    calcite_saturation_after: float | None
    advisories: tuple[Advisory, ...]
    """Warnings about this dose."""
    cautions: tuple[Advisory, ...]
    """Cautions that apply to every dose."""


def acid_density_kg_per_l(acid_key: str, strength_pct: float) -> float | None:
    """Density of an acid of this strength by weight, at 20 °C.

    Shapes: scalars.
    acid_key: one of ``ACIDS``; strength_pct: weight of pure acid in the product [%].
    Returns: [kg/L]; None for crystals of citric acid (100 %); a strength beyond the table raises
    ``InputInvalid``.
    Equation: linear between handbook values (from memory).
    >>> acid_density_kg_per_l("sulfuric", 93.0)
    1.8279
    """
    acid = _known_acid(acid_key)
    if acid.key == "citric" and strength_pct == 100.0:
        return None
    table = acid.density_table
    if not table[0][0] <= strength_pct <= table[-1][0]:
        allowed = (
            f"{table[0][0]:g} to {table[-1][0]:g} % by weight, or any strength with the density on"
            " the product's label"
        )
        raise InputInvalid(
            f"the density of this {acid.name.lower()} is not known",
            [Fault("strength_pct", f"{strength_pct:g}", allowed)],
        )
    for (low_pct, low), (high_pct, high) in pairwise(table):
        if strength_pct <= high_pct:
            return low + (high - low) * (strength_pct - low_pct) / (high_pct - low_pct)
    return table[-1][1]


def acid_normality_eq_per_l(
    acid_key: str, strength_pct: float, density_kg_per_l: float | None = None
) -> float:
    """Equivalents in a litre of an acid, as the trade counts them.

    Sulfuric acid counts twice; phosphoric and citric acid once, as near the end point.

    Shapes: scalars.
    density_kg_per_l: from the label; the table's where it is not given.
    Returns: [eq/L].
    Equation: 10 n % density / molar mass.
    >>> round(acid_normality_eq_per_l("sulfuric", 93.0), 2)
    34.66
    """
    acid = _known_acid(acid_key)
    density = density_kg_per_l or acid_density_kg_per_l(acid_key, strength_pct)
    if density is None:
        raise InputInvalid(
            "crystals have no normality",
            [Fault("strength_pct", f"{strength_pct:g}", "the strength of a solution")],
        )
    mol_per_l = 10.0 * strength_pct * density / acid.molar_mass_g_per_mol
    return max(1, acid.strong_proton_count) * mol_per_l


def titration_points(
    acid_ml: Sequence[float],
    ph: Sequence[float],
    *,
    acid_normality_eq_per_l: float,
    sample_ml: float,
) -> tuple[TitrationPoint, ...]:
    """Doses per litre of water from a titration as recorded at the bench.

    Shapes: acid_ml, ph (points,).
    acid_ml: strong acid added since the start, rising; sample_ml: water in the beaker.
    Returns: points; unequal lengths or sizes of zero raise ``InputInvalid``.
    Equation: meq/L = 1000 mL N / sample.
    >>> titration_points([0.0, 5.0], [7.8, 6.5], acid_normality_eq_per_l=0.02, sample_ml=100.0)[1]
    TitrationPoint(dose_meq_per_l=1.0, ph=6.5)
    """
    faults = []
    if len(acid_ml) != len(ph):
        faults.append(Fault("acid_ml, ph", f"{len(acid_ml)} and {len(ph)} entries", "as many each"))
    if not acid_normality_eq_per_l > 0.0:
        found = f"{acid_normality_eq_per_l:g}"
        faults.append(Fault("acid_normality_eq_per_l", found, "above 0 eq/L"))
    if not sample_ml > 0.0:
        faults.append(Fault("sample_ml", f"{sample_ml:g}", "above 0 mL"))
    if faults:
        raise InputInvalid("this titration cannot be used", faults)
    per_ml = 1000.0 * acid_normality_eq_per_l / sample_ml
    return tuple(
        TitrationPoint(dose_meq_per_l=per_ml * added, ph=reached)
        for added, reached in zip(acid_ml, ph, strict=True)
    )


def titrated_dose_meq_per_l(
    points: Iterable[TitrationPoint], target_ph: float, water_ph: float
) -> float:
    """Strong acid that a titration used to reach a pH.

    Shapes: points, scalars.
    Returns: [meq/L]; a table that does not fall, or does not reach the target, raises
    ``InputInvalid``.
    Equation: linear between the two points around the target.
    >>> titrated_dose_meq_per_l([TitrationPoint(0.0, 7.8), TitrationPoint(1.0, 6.5)], 7.15, 7.8)
    0.5
    """
    table = sorted(points, key=lambda point: point.dose_meq_per_l)
    if table and table[0].dose_meq_per_l > 0.0:
        table.insert(0, TitrationPoint(0.0, water_ph))
    faults = []
    if len(table) < 2:
        faults.append(Fault("titration", f"{len(table)} points", "two points or more"))
    for place, point in enumerate(table):
        where = f"titration[{place}]"
        if not (point.dose_meq_per_l >= 0.0 and math.isfinite(point.dose_meq_per_l)):
            faults.append(Fault(where, f"{point.dose_meq_per_l:g} meq/L", "0 meq/L or more"))
        if not 0.0 < point.ph < 14.0:
            faults.append(Fault(where, f"pH {point.ph:g}", "a pH between 0 and 14"))
        if place and not (
            point.ph < table[place - 1].ph
            and point.dose_meq_per_l > table[place - 1].dose_meq_per_l
        ):
            allowed = f"a pH below {table[place - 1].ph:g}, which less acid had reached"
            faults.append(Fault(where, f"pH {point.ph:g}", allowed))
    if not faults and abs(table[0].ph - water_ph) > TITRATION_START_PH:
        allowed = f"within {TITRATION_START_PH:g} of the water's pH {water_ph:g}"
        faults.append(Fault("titration[0]", f"pH {table[0].ph:g}", allowed))
    if not faults and not table[-1].ph <= target_ph:
        allowed = f"a titration down to the target, pH {target_ph:g}, or below"
        faults.append(Fault("titration", f"its lowest pH is {table[-1].ph:g}", allowed))
    if faults:
        raise InputInvalid("this titration cannot be used", faults)
    for before, after in pairwise(table):
        if after.ph <= target_ph:
            share = (before.ph - target_ph) / (before.ph - after.ph)
            step = after.dose_meq_per_l - before.dose_meq_per_l
            # A target above the table's first pH, within the reading's error, needs nothing.
            return max(0.0, before.dose_meq_per_l + share * step)
    return table[-1].dose_meq_per_l


def acid_dose(
    water: CarbonateWater,
    target_ph: float,
    *,
    acid_key: str,
    strength_pct: float,
    density_kg_per_l: float | None = None,
    flow_l_per_h: float | None = None,
    titration: Sequence[TitrationPoint] = (),
    is_chlorine_injected: bool = False,
    log_pco2: float = OPEN_AIR_LOG_PCO2,
) -> AcidDose:
    """Acid that brings a water to a lower pH inside a closed pipe.

    Shapes: one water, scalars.
    target_ph: 4 up to the water's own pH; acid_key: one of ``ACIDS``; strength_pct: by weight;
    flow_l_per_h: of the water past the injector; titration: with strong acid, decides where given;
    is_chlorine_injected: chlorine goes into the same water.
    Returns: AcidDose. A target above the water's pH, an alkalinity that is zero or not known,
    acid together with chlorine, and numbers out of range raise ``InputInvalid``.
    Equation: proton deficit before = proton deficit after + strong protons, total carbonate kept;
    weak acids by their own equilibria. Plummer & Busenberg 1982; Davies.
    >>> tap = CarbonateWater(ph=7.8, alkalinity_meq_per_l=2.398, temperature_c=20.0)
    >>> dose = acid_dose(tap, 6.5, acid_key="sulfuric", strength_pct=93.0, flow_l_per_h=20000.0)
    >>> round(dose.dose_mmol_per_l, 3), round(dose.acid_ml_per_m3, 1), round(dose.open_air_ph, 1)
    (0.476, 27.4, 8.3)
    """
    acid = _known_acid(acid_key)
    _check_request(water, target_ph, strength_pct, density_kg_per_l, flow_l_per_h)
    if is_chlorine_injected:
        allowed = "acid or chlorine, never both: together they give off chlorine gas"
        raise InputInvalid(
            "acid and chlorine must not go into the same water",
            [Fault("is_chlorine_injected", "True with an acid dose", allowed)],
        )
    before = water_speciation(water)
    totals = dict(component_totals(water))
    totals["carbonate"] = before.total_carbonate_mmol_per_l * 1e-3
    start_meq = before.proton_deficit_meq_per_l
    model_mmol, model_meq = _model_dose(acid, totals, start_meq, target_ph, water.temperature_c)
    protons = (
        model_meq / model_mmol
        if model_mmol > 0.0
        else _protons_per_mol(acid, totals, target_ph, water.temperature_c)
    )
    dose_mmol, dose_meq = model_mmol, model_meq
    if titration:
        dose_meq = titrated_dose_meq_per_l(titration, target_ph, water.ph)
        dose_mmol = dose_meq / protons
    after_totals = _with_acid(totals, acid, dose_mmol)
    after = speciate(target_ph, after_totals, water.temperature_c)
    left_meq = start_meq - acid.strong_proton_count * dose_mmol
    density = density_kg_per_l or (
        acid_density_kg_per_l(acid_key, strength_pct) if acid.density_table else None
    )
    acid_g = dose_mmol * acid.molar_mass_g_per_mol / (strength_pct / 100.0)
    acid_ml = None if density is None else acid_g / density
    rate_l_per_h = (
        None if acid_ml is None or flow_l_per_h is None else acid_ml * 1e-3 * flow_l_per_h * 1e-3
    )
    return AcidDose(
        acid_key=acid_key,
        target_ph=target_ph,
        basis="titration" if titration else "model",
        dose_meq_per_l=dose_meq,
        dose_mmol_per_l=dose_mmol,
        model_dose_mmol_per_l=model_mmol,
        protons_per_mol=protons,
        acid_g_per_m3=acid_g,
        acid_ml_per_m3=acid_ml,
        injector_l_per_h=rate_l_per_h,
        injector_ml_per_min=None if rate_l_per_h is None else rate_l_per_h * 1000.0 / 60.0,
        nutrient=acid.nutrient,
        nutrient_g_per_m3=dose_mmol * acid.nutrient_g_per_mol,
        alkalinity_left_meq_per_l=start_meq - dose_meq,
        alkalinity_removed_fraction=dose_meq / start_meq,
        open_air_ph=open_air_ph(left_meq, after_totals, water.temperature_c, log_pco2=log_pco2),
        calcite_saturation_before=before.calcite_saturation_index,
        calcite_saturation_after=after.calcite_saturation_index,
        advisories=_advisories(acid, water, target_ph, dose_mmol, model_mmol),
        cautions=ACID_CAUTIONS,
    )


def _model_dose(
    acid: Acid,
    totals: Mapping[str, float],
    start_meq: float,
    target_ph: float,
    temperature_c: float,
) -> tuple[float, float]:
    """Moles of acid, and the protons that the rest of the water takes up."""

    def excess(mmol: float) -> float:
        found = speciate(target_ph, _with_acid(totals, acid, mmol), temperature_c)
        return found.proton_deficit_meq_per_l + acid.strong_proton_count * mmol - start_meq

    first = excess(0.0)
    if first >= 0.0:
        return 0.0, 0.0
    # Secant: the excess is linear except for activities and ion pairs.
    last, last_excess = 0.0, first
    mmol = -first / max(1.0, acid.strong_proton_count)
    for _ in range(60):
        value = excess(mmol)
        if abs(value) < 1e-10 or value == last_excess:
            break
        step = value * (mmol - last) / (value - last_excess)
        last, last_excess = mmol, value
        mmol = max(0.0, mmol - step)
    # Strong-acid protons as a titration counts them: what is not the anion's own re-uptake.
    anion_part = _anion_deficit_meq(acid, totals, mmol, target_ph, temperature_c)
    return mmol, mmol * acid.strong_proton_count + anion_part


def _anion_deficit_meq(
    acid: Acid,
    totals: Mapping[str, float],
    mmol: float,
    target_ph: float,
    temperature_c: float,
) -> float:
    """Protons that a weak acid gives off; 0 for a strong one."""
    if acid.strong_proton_count:
        return 0.0
    with_acid = speciate(target_ph, _with_acid(totals, acid, mmol), temperature_c)
    without = speciate(target_ph, totals, temperature_c)
    return with_acid.proton_deficit_meq_per_l - without.proton_deficit_meq_per_l


def _protons_per_mol(
    acid: Acid, totals: Mapping[str, float], target_ph: float, temperature_c: float
) -> float:
    if acid.strong_proton_count:
        return float(acid.strong_proton_count)
    return _anion_deficit_meq(acid, totals, 0.01, target_ph, temperature_c) / 0.01


def _with_acid(totals: Mapping[str, float], acid: Acid, mmol: float) -> dict[str, float]:
    together = dict(totals)
    together[acid.anion] = together.get(acid.anion, 0.0) + mmol * 1e-3
    return together


def _advisories(
    acid: Acid, water: CarbonateWater, target_ph: float, dose_mmol: float, model_mmol: float
) -> tuple[Advisory, ...]:
    found = []
    if target_ph < CONTINUOUS_LINE_PH:
        text = (
            f"A pH below {CONTINUOUS_LINE_PH:g} in the lines is for short, supervised flushes, not"
            " for continuous injection."
        )
        found.append(Advisory("low-line-ph", text))
    if abs(dose_mmol - model_mmol) > TITRATION_DISAGREEMENT * model_mmol:
        text = (
            f"The titration asks for {dose_mmol:.3f} mmol/L, the analysis for {model_mmol:.3f}."
            " The titration was used; check that both are of the same water."
        )
        found.append(Advisory("titration-differs", text))
    if water.calcium_meq_per_l is None:
        text = (
            "Calcium is not known; it was taken as what balances the ions that are. The dose hardly"
            " depends on it, the saturation does."
        )
        found.append(Advisory("calcium-assumed", text))
    is_salt_known = water.sodium_meq_per_l is not None and water.chloride_meq_per_l is not None
    if not is_salt_known and water.ec_ds_m is None:
        text = (
            "Neither EC nor sodium and chloride are known: for a salty water (10 to 50 mmol/L of"
            " salt) the dose near pH 6.5 comes out up to 5 to 12 % too high."
        )
        found.append(Advisory("salt-unknown", text))
    if acid.key == "phosphoric" and target_ph > 6.0 and (water.calcium_meq_per_l or 4.0) > 2.0:
        text = (
            "Phosphate with the calcium of this water may precipitate in the lines above about"
            " pH 6. Common practice, no source: make a jar test, or take another acid."
        )
        found.append(Advisory("calcium-phosphate", text))
    if acid.key in ("phosphoric", "nitric"):
        text = f"This acid also feeds {acid.nutrient}: count it in the season's need."
        found.append(Advisory("feeds-nutrient", text))
    if acid.key == "hydrochloric":
        found.append(Advisory("adds-chloride", "This acid adds chloride to the water."))
    return tuple(found)


def _known_acid(acid_key: str) -> Acid:
    acid = ACIDS.get(acid_key)
    if acid is None:
        raise InputInvalid(
            f"acid {acid_key!r} is not known",
            [Fault("acid_key", repr(acid_key), f"one of {', '.join(ACIDS)}")],
        )
    return acid


def _check_request(
    water: CarbonateWater,
    target_ph: float,
    strength_pct: float,
    density_kg_per_l: float | None,
    flow_l_per_h: float | None,
) -> None:
    faults = []
    if not target_ph <= water.ph:
        allowed = f"at most the water's own pH, {water.ph:g}: acid lowers a pH, it cannot raise it"
        faults.append(Fault("target_ph", f"{target_ph:g}", allowed))
    elif not target_ph >= LOWEST_TARGET_PH:
        allowed = f"{LOWEST_TARGET_PH:g} up to the water's own pH, {water.ph:g}"
        faults.append(Fault("target_ph", f"{target_ph:g}", allowed))
    if not 1.0 <= strength_pct <= 100.0:
        allowed = "1 to 100 per cent by weight; 93 % is 93, not 0.93"
        faults.append(Fault("strength_pct", f"{strength_pct:g}", allowed))
    if density_kg_per_l is not None and not 0.9 <= density_kg_per_l <= 2.0:
        faults.append(Fault("density_kg_per_l", f"{density_kg_per_l:g}", "0.9 to 2.0 kg/L"))
    if flow_l_per_h is not None and not 0.0 < flow_l_per_h < math.inf:
        faults.append(Fault("flow_l_per_h", f"{flow_l_per_h:g}", "above 0 L/h"))
    if faults:
        raise InputInvalid("this acid dose cannot be computed", faults)
