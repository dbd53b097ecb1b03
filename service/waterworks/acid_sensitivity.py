"""What becomes of the pH when a dose of acid is a little off.

In: a water, an acid and the pH wanted. Out: the pH inside the pipe at a few per cent less and more
of the dose. Near the end point of the alkalinity, about pH 4.5, nothing buffers any more, and an
injector's ordinary error decides between a harmless and a corrosive water.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.waterworks.acid import ACIDS
from service.waterworks.carbonate import (
    CarbonateWater,
    component_totals,
    water_speciation,
)
from service.waterworks.caution import Advisory
from service.waterworks.closed_pipe import closed_pipe_ph

DOSE_CHANGES_PCT = (-10.0, -5.0, -2.0, 0.0, 2.0, 5.0, 10.0)
"""[CHOICE]: 2 % is a good injector, 10 % a worn one or a changed water."""
STEEP_PH = 0.5  # [CHOICE]: change of pH by 5 % of the dose from which an advisory is given
STEEP_AT_PCT = 5.0


@dataclass(frozen=True, slots=True)
class DoseShift:
    """The pH at a dose that is off by so much."""

    dose_change_pct: float
    ph: float


def ph_by_dose(
    water: CarbonateWater, acid_key: str, dose_mmol_per_l: float
) -> tuple[DoseShift, ...]:
    """The pH inside a closed pipe at the dose, and at 2, 5 and 10 % less and more of it.

    Shapes: one water, scalars.
    acid_key: one of ``acid.ACIDS``; dose_mmol_per_l: what the model asks for.
    Returns: one entry for each of ``DOSE_CHANGES_PCT``, in that order.
    Equation: pH at which the proton deficit left is the water's less the protons added, total
    carbonate kept; false position.
    >>> tap = CarbonateWater(ph=7.8, alkalinity_meq_per_l=4.0, temperature_c=20.0)
    >>> [round(each.ph, 1) for each in ph_by_dose(tap, "sulfuric", 2.0)]
    [5.4, 5.1, 4.8, 4.4, 4.1, 3.8, 3.5]
    """
    before = water_speciation(water)
    totals = dict(component_totals(water))
    totals["carbonate"] = before.total_carbonate_mmol_per_l * 1e-3
    acid = ACIDS[acid_key]
    found = []
    for change_pct in reversed(DOSE_CHANGES_PCT):
        mmol = dose_mmol_per_l * (1.0 + change_pct / 100.0)
        together = {**totals, acid.anion: totals.get(acid.anion, 0.0) + mmol * 1e-3}
        wanted = before.proton_deficit_meq_per_l - acid.strong_proton_count * mmol
        ph = closed_pipe_ph(wanted, together, water.temperature_c, highest_ph=water.ph)
        found.append(DoseShift(change_pct, ph))
    return tuple(reversed(found))


def steepness(shifts: tuple[DoseShift, ...]) -> Advisory | None:
    """A warning where a few per cent of the dose decide over the pH.

    Shapes: shifts of one dose.
    Returns: an advisory where 5 % less or more move the pH by more than 0.5; otherwise None.
    Equation: difference to the pH at the dose itself. [CHOICE]
    >>> steepness((DoseShift(-5.0, 6.6), DoseShift(0.0, 6.5), DoseShift(5.0, 6.4))) is None
    True
    """
    at = {each.dose_change_pct: each.ph for each in shifts}
    low, high = at[STEEP_AT_PCT], at[-STEEP_AT_PCT]
    if max(high - at[0.0], at[0.0] - low) <= STEEP_PH:
        return None
    text = (
        f"This dose is on a cliff: 5 % less acid gives pH {high:.1f}, 5 % more gives pH"
        f" {low:.1f}. No injector holds that; take a higher pH."
    )
    return Advisory("steep-dose", text)
