"""Faults of numbers with a unit, in the words of a form: bounds in the unit chosen beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from service.errors import Fault
from service.farm_files.block_keys import BlockKeys
from service.farm_files.farm_keys import SiteKeys, SupplyKeys
from service.farm_files.quantities import Measure
from service.pages.number_fields import number_or_nan
from service.translations import Wording

_MEASURES: Mapping[str, Measure] = {
    "elevation": SiteKeys.elevation.measure,
    "flow": SupplyKeys.flow.measure,
    "area": BlockKeys.area.measure,
    "row_spacing": BlockKeys.row_spacing.measure,
    "emitter_spacing": BlockKeys.emitter_spacing.measure,
    "emitter_flow": BlockKeys.emitter_flow.measure,
    "root_depth": BlockKeys.root_depth.measure,
    "longest_pulse": BlockKeys.longest_pulse.measure,
    "emission_uniformity": BlockKeys.emission_uniformity.measure,
    "canopy_height": BlockKeys.canopy_height.measure,
    "full_height": BlockKeys.full_height.measure,
}


def in_own_units(
    faults: Mapping[str, Fault],
    form: Mapping[str, str],
    units: Mapping[str, Sequence[str]],
    words: Wording,
) -> dict[str, Fault]:
    """The faults by field, those of numbers out of bounds in the unit that the form names.

    ``units`` are those that each field offers. What is wrong with a number within its bounds stays
    as it is said, since something else is.
    """
    return {
        name: _in_own_unit(name, fault, form, units[name], words) if name in _MEASURES else fault
        for name, fault in faults.items()
    }


def _in_own_unit(
    name: str, fault: Fault, form: Mapping[str, str], offered: Sequence[str], words: Wording
) -> Fault:
    chosen = form.get(f"{name}_unit", "")
    unit = chosen if chosen in offered else offered[0]
    lowest, highest = _MEASURES[name].bounds_in(unit)
    number = number_or_nan(form.get(name, ""))
    if float(lowest.replace(",", "")) <= number <= float(highest.replace(",", "")):
        return fault
    return Fault(
        name, form.get(name, ""), f"a number from {lowest} to {highest} {words.unit(unit)}"
    )
