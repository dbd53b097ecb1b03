"""What a water analysis means for crop, soil and emitters, class by class, each with its source.

In: a completed analysis, and the salinity numbers of a crop where there is one. Out: the sodium
adsorption ratio, the restriction classes of FAO-29 (Ayers & Westcot 1985, Table 1), the clogging
hazard of Bucks, Nakayama & Gilbert 1979, the saturation with calcite in two ways, the leaching
requirement, the soil salinity to expect and the yield that goes with it. Every class comes with
what an adviser commonly does about it.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass, fields
from typing import Any

from service.errors import Fault, InputInvalid
from service.waterworks.carbonate import water_speciation
from service.waterworks.caution import Advisory
from service.waterworks.water_analysis import (
    CALCITE_MG_PER_MEQ,
    WaterAnalysis,
    carbonate_water,
)

FAO_29 = "FAO-29 rev. 1 (Ayers & Westcot 1985), Table 1"
BUCKS_1979 = "Bucks, Nakayama & Gilbert 1979, Agric. Water Manage. 2:149-162; limits from memory"
NEUTRAL_INDEX = 0.3  # [CHOICE]: the two indices disagree by up to 0.25, so less says nothing
DRIP_LEACHING_SOURCE = "high-frequency drip, NEH 623 ch. 7 (from memory)"


class Grade(enum.IntEnum):
    """Severity, across the wordings of the sources."""

    NONE = 0
    MODERATE = 1
    SEVERE = 2


_RESTRICTION = ("none", "slight to moderate", "severe")
_HAZARD = ("minor", "moderate", "severe")


@dataclass(frozen=True, slots=True)
class WaterClass:
    """The class of one property of the water in a published table."""

    name: str
    label: str
    value: float
    unit: str
    grade: Grade
    word: str
    """The source's own word for the class."""
    limits: str
    source: str
    advice: str
    """What an adviser commonly does about it; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Saturation:
    """Whether the water tends to leave scale, in two ways."""

    calcite_index: float
    """log10 of ion product over solubility product, with activities and ion pairs."""
    langelier_index: float | None
    """pH - pHs; None where dissolved solids are not known."""
    langelier_ph: float | None
    """pHs, the pH at which the water would be saturated."""
    ionic_strength_mol_per_l: float
    word: str
    """``dissolves``, ``neutral`` or ``scales``."""
    advice: str


@dataclass(frozen=True, slots=True)
class SalinityOutlook:
    """Leaching and yield of one crop with one water."""

    leaching_requirement_fraction: float | None
    """Conventional form; None where no leaching makes this water fit for full yield."""
    drip_leaching_requirement_fraction: float | None
    """None where the water is beyond the salinity at which the crop yields nothing."""
    leaching_fraction: float
    """The fraction that the two numbers below assume."""
    expected_soil_salinity_ds_m: float
    relative_yield_pct: float
    advice: str


@dataclass(frozen=True, slots=True)
class WaterReport:
    """Everything that follows from an analysis, and what does not."""

    analysis: WaterAnalysis
    sodium_adsorption_ratio: float | None
    restrictions: tuple[WaterClass, ...]
    clogging: tuple[WaterClass, ...]
    saturation: Saturation | None
    salinity: SalinityOutlook | None
    advisories: tuple[Advisory, ...]


def sodium_adsorption_ratio(
    sodium_meq_per_l: float, calcium_meq_per_l: float, magnesium_meq_per_l: float
) -> float:
    """Weight of sodium against calcium and magnesium.

    Shapes: scalars.
    Returns: SAR [(meq/L)^0.5]; without calcium and magnesium infinite, or 0 without sodium too.
    Equation: Na / sqrt((Ca + Mg) / 2). FAO-29.
    >>> round(sodium_adsorption_ratio(5.0, 2.0, 1.0), 3)
    4.082
    """
    divisor = math.sqrt((calcium_meq_per_l + magnesium_meq_per_l) / 2.0)
    if divisor == 0.0:
        return math.inf if sodium_meq_per_l > 0.0 else 0.0
    return sodium_meq_per_l / divisor


def langelier_saturation_ph(
    dissolved_solids_mg_per_l: float,
    calcium_hardness_mg_per_l: float,
    alkalinity_mg_per_l: float,
    *,
    temperature_c: float,
) -> float:
    """pH at which a water would be saturated with calcite, by the waterworks formula.

    Shapes: scalars.
    calcium_hardness_mg_per_l, alkalinity_mg_per_l: as CaCO3 [mg/L], above 0.
    Returns: pHs; the Langelier index is the water's pH less this.
    Equation: (9.3 + A + B) - (C + D); A = (log TDS - 1)/10, B = -13.12 log(T + 273) + 34.55,
    C = log Ca - 0.4, D = log Alk (from memory).
    >>> round(langelier_saturation_ph(300.0, 120.0, 120.0, temperature_c=20.0), 3)
    7.874
    """
    amounts = (dissolved_solids_mg_per_l, calcium_hardness_mg_per_l, alkalinity_mg_per_l)
    if not all(value > 0.0 for value in amounts):
        raise InputInvalid(
            "there is no Langelier index for this water",
            [
                Fault(
                    "dissolved solids, calcium, alkalinity",
                    ", ".join(f"{value:g}" for value in amounts),
                    "above 0 mg/L each",
                )
            ],
        )
    a = (math.log10(dissolved_solids_mg_per_l) - 1.0) / 10.0
    b = -13.12 * math.log10(temperature_c + 273.0) + 34.55
    c = math.log10(calcium_hardness_mg_per_l) - 0.4
    d = math.log10(alkalinity_mg_per_l)
    return (9.3 + a + b) - (c + d)


def leaching_requirement_fraction(
    water_ec_ds_m: float, salinity_threshold_ds_m: float
) -> float | None:
    """Share of the water that must pass the roots, for surface and sprinkler irrigation.

    Shapes: scalars.
    salinity_threshold_ds_m: ECe up to which the crop yields in full.
    Returns: fraction, 0 to 1; None where no leaching keeps the soil under the threshold.
    Equation: LR = ECw / (5 ECe - ECw). FAO-29 as quoted in FAO-56 p. 180.
    >>> round(leaching_requirement_fraction(1.0, 1.5), 5)
    0.15385
    """
    _check_salinity(water_ec_ds_m, salinity_threshold_ds_m)
    room = 5.0 * salinity_threshold_ds_m - water_ec_ds_m
    if room <= water_ec_ds_m:
        return None
    return water_ec_ds_m / room


def zero_yield_salinity_ds_m(
    salinity_threshold_ds_m: float, salinity_slope_pct_per_ds_m: float
) -> float:
    """Soil salinity at which the crop yields nothing.

    Shapes: scalars.
    Returns: ECe [dS/m].
    Equation: threshold + 100 / slope. Maas & Hoffman 1977; FAO-56 Table 23.
    >>> round(zero_yield_salinity_ds_m(1.7, 21.0), 2)
    6.46
    """
    _check_salinity(0.0, salinity_threshold_ds_m, salinity_slope_pct_per_ds_m)
    return salinity_threshold_ds_m + 100.0 / salinity_slope_pct_per_ds_m


def drip_leaching_requirement_fraction(
    water_ec_ds_m: float, zero_yield_ec_ds_m: float
) -> float | None:
    """Share of the water that must pass the roots under frequent drip irrigation.

    Shapes: scalars.
    zero_yield_ec_ds_m: ECe at which the crop yields nothing, see ``zero_yield_salinity_ds_m``.
    Returns: fraction, 0 to 1; None where the water is beyond what leaching can correct.
    Equation: LR = ECw / (2 max ECe). NEH 623 ch. 7 (from memory).
    >>> round(drip_leaching_requirement_fraction(1.0, 6.0), 5)
    0.08333
    """
    _check_salinity(water_ec_ds_m, zero_yield_ec_ds_m)
    fraction = water_ec_ds_m / (2.0 * zero_yield_ec_ds_m)
    return fraction if fraction < 1.0 else None


def expected_soil_salinity_ds_m(water_ec_ds_m: float, leaching_fraction: float) -> float:
    """Mean salinity of the root zone that a water leads to, without rain.

    Shapes: scalars.
    leaching_fraction: share of the water that passes the roots, above 0 and up to 1.
    Returns: ECe [dS/m].
    Equation: ECw (1 + LF) / (5 LF). FAO-56 Eq. 93.
    >>> round(expected_soil_salinity_ds_m(1.0, 0.15), 3)
    1.533
    """
    if not 0.0 < leaching_fraction <= 1.0:
        raise InputInvalid(
            "the salinity of the soil cannot be determined",
            [Fault("leaching_fraction", f"{leaching_fraction:g}", "above 0 and up to 1")],
        )
    return water_ec_ds_m * (1.0 + leaching_fraction) / (5.0 * leaching_fraction)


def relative_yield_pct(
    soil_salinity_ds_m: float, salinity_threshold_ds_m: float, salinity_slope_pct_per_ds_m: float
) -> float:
    """Yield that is left at a salinity of the soil, as a share of the full one.

    Shapes: scalars.
    soil_salinity_ds_m: ECe of the root zone.
    Returns: 0 to 100 [%].
    Equation: 100 - b (ECe - a) beyond the threshold a. Maas & Hoffman 1977; FAO-56 Eq. 89.
    >>> round(relative_yield_pct(3.0, 1.7, 21.0), 1)
    72.7
    """
    _check_salinity(0.0, salinity_threshold_ds_m, salinity_slope_pct_per_ds_m)
    beyond = max(0.0, soil_salinity_ds_m - salinity_threshold_ds_m)
    return max(0.0, 100.0 - salinity_slope_pct_per_ds_m * beyond)


def restriction_classes(analysis: WaterAnalysis) -> tuple[WaterClass, ...]:
    """Restrictions on the use of a water, property by property.

    Shapes: one analysis.
    Returns: classes of the properties that are known, in a fixed order.
    Equation: limits of FAO-29 rev. 1, Table 1, in its own units: chloride and bicarbonate in
    meq/L, which some reprints call mg/L.
    >>> [c.word for c in restriction_classes(WaterAnalysis(ec_ds_m=1.0, ph=8.0))]
    ['slight to moderate', 'normal range']
    """
    ratio = _known_ratio(analysis)
    rows: tuple[tuple[str, str, float | None, str, tuple[float, float], tuple[str, str, str]], ...]
    rows = (
        ("ec_ds_m", "Salinity", analysis.ec_ds_m, "dS/m", (0.7, 3.0), _SALINITY_ADVICE),
        (
            "dissolved_solids_mg_per_l", "Dissolved solids", analysis.dissolved_solids_mg_per_l,
            "mg/L", (450.0, 2000.0), _SALINITY_ADVICE,
        ),
        (
            "sodium_adsorption_ratio", "Sodium, taken up by roots", ratio, "SAR", (3.0, 9.0),
            _SODIUM_ADVICE,
        ),
        (
            "chloride_meq_per_l", "Chloride, taken up by roots", analysis.chloride_meq_per_l,
            "meq/L", (4.0, 10.0), _CHLORIDE_ADVICE,
        ),
        ("boron_mg_per_l", "Boron", analysis.boron_mg_per_l, "mg/L", (0.7, 3.0), _BORON_ADVICE),
        (
            "nitrate_nitrogen_mg_per_l", "Nitrate nitrogen", analysis.nitrate_nitrogen_mg_per_l,
            "mg/L", (5.0, 30.0), _NITRATE_ADVICE,
        ),
        (
            "bicarbonate_meq_per_l", "Bicarbonate", analysis.bicarbonate_meq_per_l, "meq/L",
            (1.5, 8.5), _BICARBONATE_ADVICE,
        ),
    )  # fmt: skip
    found = [
        _rising(name, label, value, unit=unit, limits=limits, advice=advice)
        for name, label, value, unit, limits, advice in rows
    ]
    found += [_infiltration(ratio, analysis.ec_ds_m), _normal_ph(analysis.ph)]
    return tuple(each for each in found if each is not None)


def clogging_classes(analysis: WaterAnalysis) -> tuple[WaterClass, ...]:
    """Hazard that a water clogs emitters, property by property.

    Shapes: one analysis.
    Returns: classes of the properties that are known, in the order of the source.
    Equation: limits of Bucks, Nakayama & Gilbert 1979 (limits from memory; some reprints exchange
    the rows of dissolved and suspended solids).
    >>> [c.word for c in clogging_classes(WaterAnalysis(iron_mg_per_l=0.5, ph=8.2))]
    ['severe', 'moderate']
    """
    rows = (
        ("suspended_solids_mg_per_l", "Suspended solids", "mg/L", (50.0, 100.0), _FILTER_ADVICE),
        ("ph", "pH", "", (7.0, 8.0), _SCALE_ADVICE),
        ("dissolved_solids_mg_per_l", "Dissolved solids", "mg/L", (500.0, 2000.0), _SCALE_ADVICE),
        ("manganese_mg_per_l", "Manganese", "mg/L", (0.1, 1.5), _IRON_ADVICE),
        ("iron_mg_per_l", "Iron", "mg/L", (0.1, 1.5), _IRON_ADVICE),
        ("hydrogen_sulfide_mg_per_l", "Hydrogen sulfide", "mg/L", (0.5, 2.0), _SULFIDE_ADVICE),
        ("bacteria_per_ml", "Bacteria", "per mL", (10_000.0, 50_000.0), _BACTERIA_ADVICE),
        ("hardness_mg_per_l", "Hardness", "mg/L as CaCO3", (150.0, 300.0), _SCALE_ADVICE),
    )
    found = [
        _rising(
            name,
            label,
            getattr(analysis, name),
            unit=unit,
            limits=limits,
            advice=advice,
            words=_HAZARD,
            source=BUCKS_1979,
        )
        for name, label, unit, limits, advice in rows
    ]
    return tuple(each for each in found if each is not None)


def calcite_saturation(analysis: WaterAnalysis, temperature_c: float) -> Saturation:
    """Whether a water tends to leave scale, by carbonate equilibrium and by Langelier.

    Shapes: one analysis, one number.
    temperature_c: of the water; warm water in lines under the sun scales before cool water does.
    Returns: Saturation; without pH, alkalinity or calcium ``InputInvalid`` is raised.
    Equation: log10(IAP / Ksp), Plummer & Busenberg 1982 with Davies activities and ion pairs;
    pH - pHs for the Langelier index.
    >>> tap = WaterAnalysis(ph=7.8, alkalinity_meq_per_l=2.398, calcium_meq_per_l=2.398,
    ...     dissolved_solids_mg_per_l=300.0)
    >>> found = calcite_saturation(tap, 20.0)
    >>> round(found.calcite_index, 2), round(found.langelier_index, 3), found.word
    (0.17, -0.074, 'neutral')
    """
    water = carbonate_water(analysis, temperature_c)
    calcium = analysis.calcium_meq_per_l
    if calcium is None or calcium <= 0.0:
        found = "not known" if calcium is None else f"{calcium:g} meq/L"
        raise InputInvalid(
            "the saturation of this water cannot be determined",
            [Fault("calcium_meq_per_l", found, "calcium above 0 from the laboratory")],
        )
    species = water_speciation(water)
    index = species.calcite_saturation_index
    assert index is not None  # calcium is there
    solids = analysis.dissolved_solids_mg_per_l
    langelier_ph = None
    if solids is not None and solids > 0.0:
        langelier_ph = langelier_saturation_ph(
            solids,
            calcium * CALCITE_MG_PER_MEQ,
            water.alkalinity_meq_per_l * CALCITE_MG_PER_MEQ,
            temperature_c=temperature_c,
        )
    if index > NEUTRAL_INDEX:
        word, advice = "scales", _SCALES_ADVICE
    elif index < -NEUTRAL_INDEX:
        word, advice = "dissolves", _DISSOLVES_ADVICE
    else:
        word, advice = "neutral", _NEUTRAL_ADVICE
    return Saturation(
        calcite_index=index,
        langelier_index=None if langelier_ph is None else water.ph - langelier_ph,
        langelier_ph=langelier_ph,
        ionic_strength_mol_per_l=species.ionic_strength_mol_per_l,
        word=word,
        advice=advice,
    )


def salinity_outlook(
    water_ec_ds_m: float,
    salinity_threshold_ds_m: float,
    salinity_slope_pct_per_ds_m: float,
    *,
    leaching_fraction: float = 0.15,
) -> SalinityOutlook:
    """Leaching that a crop asks for with a water, and the yield without any rain.

    Shapes: scalars.
    leaching_fraction: share of the water that passes the roots; 0.15 as in FAO-29's guidelines.
    Returns: SalinityOutlook.
    Equation: the functions of this module.
    >>> peach = salinity_outlook(1.2, 1.7, 21.0)
    >>> round(peach.leaching_requirement_fraction, 4), round(peach.relative_yield_pct, 1)
    (0.1644, 97.1)
    """
    conventional = leaching_requirement_fraction(water_ec_ds_m, salinity_threshold_ds_m)
    most = zero_yield_salinity_ds_m(salinity_threshold_ds_m, salinity_slope_pct_per_ds_m)
    expected = expected_soil_salinity_ds_m(water_ec_ds_m, leaching_fraction)
    yields = relative_yield_pct(expected, salinity_threshold_ds_m, salinity_slope_pct_per_ds_m)
    if conventional is None:
        advice = _TOO_SALINE_ADVICE
    elif yields < 100.0:
        advice = _LEACHING_ADVICE
    else:
        advice = _RAIN_LEACHES_ADVICE
    return SalinityOutlook(
        leaching_requirement_fraction=conventional,
        drip_leaching_requirement_fraction=drip_leaching_requirement_fraction(water_ec_ds_m, most),
        leaching_fraction=leaching_fraction,
        expected_soil_salinity_ds_m=expected,
        relative_yield_pct=yields,
        advice=advice,
    )


def water_report(
    analysis: WaterAnalysis,
    temperature_c: float,
    *,
    salinity_threshold_ds_m: float | None = None,
    salinity_slope_pct_per_ds_m: float | None = None,
    leaching_fraction: float = 0.15,
) -> WaterReport:
    """All that a completed analysis says; what it lacks stays out and is named.

    Shapes: one analysis, scalars.
    salinity_threshold_ds_m, salinity_slope_pct_per_ds_m: of the crop, None where none is published.
    Returns: WaterReport; parts whose values are missing are None or absent, never guessed.
    Equation: the functions of this module.
    >>> report = water_report(WaterAnalysis(ec_ds_m=1.2), 20.0)
    >>> report.saturation is None, report.restrictions[0].word
    (True, 'slight to moderate')
    """
    has_carbonate = (
        analysis.ph is not None
        and (analysis.alkalinity_meq_per_l or 0.0) > 0.0
        and (analysis.calcium_meq_per_l or 0.0) > 0.0
    )
    outlook = None
    advisories = list(analysis.advisories)
    if analysis.ec_ds_m is not None:
        if salinity_threshold_ds_m is not None and salinity_slope_pct_per_ds_m is not None:
            outlook = salinity_outlook(
                analysis.ec_ds_m,
                salinity_threshold_ds_m,
                salinity_slope_pct_per_ds_m,
                leaching_fraction=leaching_fraction,
            )
        else:
            text = (
                "No salinity threshold and slope are published for this crop, or none was given: no"
                " leaching requirement and no expected yield are given."
            )
            advisories.append(Advisory("salinity-numbers-missing", text))
    return WaterReport(
        analysis=analysis,
        sodium_adsorption_ratio=_known_ratio(analysis),
        restrictions=restriction_classes(analysis),
        clogging=clogging_classes(analysis),
        saturation=calcite_saturation(analysis, temperature_c) if has_carbonate else None,
        salinity=outlook,
        advisories=tuple(advisories),
    )


def _known_ratio(analysis: WaterAnalysis) -> float | None:
    sodium, calcium = analysis.sodium_meq_per_l, analysis.calcium_meq_per_l
    magnesium = analysis.magnesium_meq_per_l
    if sodium is None or calcium is None or magnesium is None:
        return None
    return sodium_adsorption_ratio(sodium, calcium, magnesium)


def _rising(
    name: str,
    label: str,
    value: float | None,
    *,
    unit: str,
    limits: tuple[float, float],
    advice: tuple[str, str, str],
    words: tuple[str, str, str] = _RESTRICTION,
    source: str = FAO_29,
) -> WaterClass | None:
    if value is None:
        return None
    low, high = limits
    grade = Grade.NONE if value < low else Grade.MODERATE if value <= high else Grade.SEVERE
    text = f"{words[0]} below {low:g}, {words[1]} {low:g} to {high:g}, {words[2]} above {high:g}"
    return WaterClass(name, label, value, unit, grade, words[grade], text, source, advice[grade])


# Upper end of SAR, then the EC from which on there is no restriction, and under which it is severe.
_INFILTRATION = ((3.0, 0.7, 0.2), (6.0, 1.2, 0.3), (12.0, 1.9, 0.5), (20.0, 2.9, 1.3))
_INFILTRATION_LAST = (5.0, 2.9)  # SAR 20 to 40, and beyond for want of more


def _infiltration(ratio: float | None, ec_ds_m: float | None) -> WaterClass | None:
    if ratio is None or ec_ds_m is None:
        return None
    fine, bad = next(
        ((fine, bad) for most, fine, bad in _INFILTRATION if ratio < most), _INFILTRATION_LAST
    )
    grade = Grade.NONE if ec_ds_m > fine else Grade.MODERATE if ec_ds_m >= bad else Grade.SEVERE
    return WaterClass(
        name="infiltration_ec_ds_m",
        label="Infiltration into the soil (EC at this SAR)",
        value=ec_ds_m,
        unit="dS/m",
        grade=grade,
        word=_RESTRICTION[grade],
        limits=(
            f"at SAR {ratio:.1f}: none above {fine:g}, slight to moderate {fine:g} to {bad:g},"
            f" severe below {bad:g}"
        ),
        source=FAO_29,
        advice=_INFILTRATION_ADVICE[grade],
    )


def _normal_ph(ph: float | None) -> WaterClass | None:
    if ph is None:
        return None
    grade = Grade.NONE if 6.5 <= ph <= 8.4 else Grade.MODERATE
    word = "normal range" if grade == Grade.NONE else "outside the normal range"
    limits = "normal range 6.5 to 8.4"
    return WaterClass("ph", "pH", ph, "", grade, word, limits, FAO_29, _PH_ADVICE[grade])


def _check_salinity(
    water_ec_ds_m: float, limit_ds_m: float, slope_pct_per_ds_m: float | None = None
) -> None:
    faults = []
    if not 0.0 <= water_ec_ds_m < math.inf:
        faults.append(Fault("water_ec_ds_m", f"{water_ec_ds_m:g}", "0 dS/m or more"))
    if not 0.0 < limit_ds_m < math.inf:
        faults.append(Fault("salinity_threshold_ds_m", f"{limit_ds_m:g}", "above 0 dS/m"))
    if slope_pct_per_ds_m is not None and not 0.0 < slope_pct_per_ds_m < math.inf:
        found = f"{slope_pct_per_ds_m:g}"
        faults.append(Fault("salinity_slope_pct_per_ds_m", found, "above 0 % per dS/m"))
    if faults:
        raise InputInvalid("these salinity numbers cannot be used", faults)


# What is commonly done, by grade. Common practice, no source.
NOTHING_DONE = "Usually no action needed."
_SALINITY_ADVICE = (
    NOTHING_DONE,
    "Watch the salinity of the soil; where winter rain does not leach, add a leaching share.",
    "Leach regularly, choose a tolerant crop or rootstock, or blend with a better water.",
)
_SODIUM_ADVICE = (
    NOTHING_DONE,
    "Sensitive fruit may burn at the leaf edge: have leaves analyzed, keep the root zone moist.",
    "Supply calcium (gypsum where the soil needs it), blend, or choose another source.",
)
_CHLORIDE_ADVICE = (
    NOTHING_DONE,
    "Avoid chloride fertilizers; sensitive crops and rootstocks may burn at the leaf edge.",
    "Choose a tolerant rootstock, leach, blend, and use no chloride fertilizer.",
)
_BORON_ADVICE = (
    "Nothing for most crops; blackberry, grape, stone fruit and citrus may bear less.",
    "Leave boron out of the fertilizer; have leaves analyzed.",
    "Choose a tolerant crop or another source; boron leaches slowly.",
)
_NITRATE_ADVICE = (
    NOTHING_DONE,
    "Count the water's nitrogen in the season's need: 1 mg/L is 1 kg per 1000 m³.",
    "Count the water's nitrogen in the season's need; late nitrogen delays ripening and hardening.",
)
_BICARBONATE_ADVICE = (
    NOTHING_DONE,
    "Expect scale on emitters where calcium is high; acid, or flushing more often, is common.",
    "Acid against scale is common; crops that want a sour soil will slowly lose it.",
)
_PH_ADVICE = (
    NOTHING_DONE,
    "Look for the cause; treat by alkalinity, not by pH alone.",
)
_INFILTRATION_ADVICE = (
    NOTHING_DONE,
    "Where water stands under the emitters, gypsum or another calcium source is common.",
    "Calcium to soil or water, organic matter and shorter pulses are common.",
)
_FILTER_ADVICE = (
    "A screen or disc filter suited to the emitters.",
    "Media or disc filters that clean themselves, and flushing of lines every few weeks.",
    "A settling pond before media filters, and flushing every week or two.",
)
_SCALE_ADVICE = (
    "Flush lines a few times a season.",
    "Look at the calcium carbonate saturation; where it says scale, acid now and then is common.",
    "Acid, continuous or in turns, is common where calcium carbonate saturation says scale.",
)
_IRON_ADVICE = (
    "Flush lines a few times a season.",
    "Aerate and settle, or chlorinate ahead of a filter; watch for brown slime at the emitters.",
    "Remove it before the lines: aeration and a settling pond, or oxidation and media filter.",
)
_SULFIDE_ADVICE = (
    "Flush lines a few times a season.",
    "Aerate, or chlorinate ahead of a filter; watch for white slime.",
    "Aeration and chlorination ahead of a filter; keep air out of the suction side.",
)
_BACTERIA_ADVICE = (
    "Flush lines a few times a season.",
    "Chlorinate now and then, never together with acid, and flush.",
    "Chlorinate continuously at a low rate, never together with acid, and flush often.",
)
_SCALES_ADVICE = "Scale is to be expected: acid or frequent flushing is commonly used against it."
_NEUTRAL_ADVICE = "Neither scale nor attack is sure; warm lines may scale. Look into some emitters."
_DISSOLVES_ADVICE = "No scale; such a water may attack concrete and metal."
_TOO_SALINE_ADVICE = (
    "No leaching keeps the soil under this crop's threshold with this water alone: a more tolerant"
    " crop, blending, or rain that leaches in winter."
)
_LEACHING_ADVICE = (
    "Some yield is lost if rain does not leach: add the leaching requirement, or leach in winter."
)
_NO_NUMBERS = {"charge_balance", "derived", "missing", "advisories"}
_RAIN_LEACHES_ADVICE = "No loss is expected; in humid climates the year's rain usually leaches."


def report_texts() -> tuple[str, ...]:
    """Every text that a report may say of a water, without its numbers: for translation.

    Shapes: result (texts,).
    Returns: labels and words of classes, what is commonly done, and what saturation comes to.
    Source: the tables of this module.
    """
    names = {field.name for field in fields(WaterAnalysis)} - _NO_NUMBERS
    ones: dict[str, Any] = dict.fromkeys(names, 1.0)
    water = WaterAnalysis(**ones)
    classes = (*restriction_classes(water), *clogging_classes(water))
    labels = [each.label for each in classes if each.label != "pH"]  # a symbol in any language
    advices = (
        _SALINITY_ADVICE, _SODIUM_ADVICE, _CHLORIDE_ADVICE, _BORON_ADVICE, _NITRATE_ADVICE,
        _BICARBONATE_ADVICE, _PH_ADVICE, _INFILTRATION_ADVICE, _FILTER_ADVICE, _SCALE_ADVICE,
        _IRON_ADVICE, _SULFIDE_ADVICE, _BACTERIA_ADVICE,
    )  # fmt: skip
    alone = (
        _SCALES_ADVICE, _NEUTRAL_ADVICE, _DISSOLVES_ADVICE, _TOO_SALINE_ADVICE, _LEACHING_ADVICE,
        _RAIN_LEACHES_ADVICE, "dissolves", "neutral", "scales", "normal range",
        "outside the normal range",
    )  # fmt: skip
    rows = [text for row in advices for text in row]
    return tuple(dict.fromkeys([*labels, *_RESTRICTION, *_HAZARD, *rows, *alone]))
