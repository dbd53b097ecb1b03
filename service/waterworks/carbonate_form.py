"""Whether alkalinity or bicarbonate was typed in the form that the laboratory meant.

In: a report's readings and the analysis made of them. Out: the same analysis, with a question where
its charges balance badly as typed and well in the other form. Laboratories print alkalinity and
bicarbonate as CaCO3 or as HCO3, and both often as a bare mg/L; the numbers differ by 22 %.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from service.waterworks.caution import Advisory
from service.waterworks.water_analysis import (
    CALCITE_MG_PER_MEQ,
    Reading,
    WaterAnalysis,
    canonical_unit,
)

DOUBTFUL_PCT = 5.0  # [CHOICE]: half of what 1030 E lets a dilute water differ by
CONVINCING_PCT = 3.0  # [CHOICE]: the other form must balance clearly better
HCO3_MG_PER_MEQ = 61.017
CO3_MG_PER_MEQ = 30.0045
_AS_CALCITE, _AS_ION = "mg/L as CaCO3", "mg/L as HCO3"
_MASSES = ("mg/l", "ppm")


@dataclass(frozen=True, slots=True)
class OtherForm:
    """What a line of the report would be, had the laboratory meant the other form."""

    quantity: str
    form: str
    change_meq_per_l: float


def question_form(readings: Sequence[Reading], analysis: WaterAnalysis) -> WaterAnalysis:
    """The analysis, with a question where its alkalinity was probably typed in the wrong form.

    Shapes: readings (lines,), the analysis of the same lines.
    Returns: WaterAnalysis with the advisory ``alkalinity-form`` where the charges are off by more
    than 5 % as typed and by no more than 3 % in the other form; values are never changed.
    Equation: 1 meq/L is 50.04 mg/L as CaCO3 or 61.02 mg/L as HCO3.
    >>> from service.waterworks.water_analysis import analysis_from_readings
    >>> lines = [Reading("bicarbonate", 250.2, "mg/L"), Reading("calcium", 4.0, "meq/L"),
    ...     Reading("magnesium", 1.5, "meq/L"), Reading("sodium", 0.5, "meq/L"),
    ...     Reading("chloride", 0.5, "meq/L"), Reading("sulfate", 0.5, "meq/L")]
    >>> [each.key for each in question_form(lines, analysis_from_readings(lines)).advisories]
    ['alkalinity-form']
    """
    balance = analysis.charge_balance
    if balance is None or abs(balance.difference_pct) <= DOUBTFUL_PCT:
        return analysis
    others = other_forms(readings)
    if not others:
        return analysis
    anions = balance.anions_meq_per_l + sum(each.change_meq_per_l for each in others)
    cations = balance.cations_meq_per_l
    # Plus zero, so that no difference is not shown as less than nothing.
    difference_pct = round(100.0 * (cations - anions) / (cations + anions), 1) + 0.0
    if abs(difference_pct) > CONVINCING_PCT:
        return analysis
    typed = " and ".join(each.quantity for each in others)
    text = (
        f"As typed the charges differ by {balance.difference_pct:+.1f} %; with {typed} read as"
        f" {others[0].form} they would differ by {difference_pct:+.1f} %. Ask the laboratory which"
        " form it prints. Nothing was changed."
    )
    return replace(analysis, advisories=(*analysis.advisories, Advisory("alkalinity-form", text)))


def other_forms(readings: Sequence[Reading]) -> tuple[OtherForm, ...]:
    """The lines that carry the alkalinity, in the form in which they were not typed.

    Alkalinity stands before bicarbonate and carbonate where a report gives both, as in the charge
    balance.

    Shapes: readings (lines,).
    Returns: one entry a line that a laboratory may have meant otherwise; none where it is given in
    equivalents.
    Equation: 1 meq/L is 50.04 mg/L as CaCO3 or 61.02 mg/L as HCO3.
    >>> [round(each.change_meq_per_l, 3) for each in other_forms(
    ...     [Reading("bicarbonate", 61.017, "mg/L")])]
    [0.219]
    """
    alkalinity = [each for each in readings if each.quantity == "alkalinity"]
    lines = alkalinity or [
        each for each in readings if each.quantity in ("bicarbonate", "carbonate")
    ]
    found = []
    for line in lines:
        unit = canonical_unit(line.unit)
        of_ion = CO3_MG_PER_MEQ if line.quantity == "carbonate" else HCO3_MG_PER_MEQ
        if unit in _MASSES or unit.endswith("as hco3"):
            change = line.value / CALCITE_MG_PER_MEQ - line.value / of_ion
            found.append(OtherForm(line.quantity, _AS_CALCITE, change))
        elif unit.endswith("as caco3"):
            change = line.value / of_ion - line.value / CALCITE_MG_PER_MEQ
            form = "mg/L of the ion" if line.quantity == "carbonate" else _AS_ION
            found.append(OtherForm(line.quantity, form, change))
    return tuple(found)
