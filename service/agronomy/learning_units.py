"""The part of the nomenclature that is about learning from soil readings.

In: nothing. Out: :data:`LEARNING_GROUP`, one line for each name, as in
:mod:`service.agronomy.units`.
"""

from __future__ import annotations

from math import inf

from service.agronomy.quantity import Quantity

LEARNING_GROUP = (
    Quantity("zone_et_mm", "mm", 0, 30, "unstressed use that the managed zone is asked for"),
    Quantity("water_mm", "mm", 0, inf, "rain and irrigation that entered the zone"),
    Quantity("entered_mm", "mm", 0, inf, "rain and irrigation that entered the zone on a day"),
    Quantity("accepted_count", "1", 0, inf, "readings of a sensor that are learned from"),
    Quantity("beforehand_mm", "mm", 0, inf, "depletion by the usual spreads, without readings"),
    Quantity("ledger_mm", "mm", 0, inf, "depletion by the ledger without its corrections"),
    Quantity("effective_count", "1", 1, inf, "points that weights of different size amount to"),
    Quantity("reading_count", "1", 0, inf, "soil readings that count"),
    Quantity("largest_drying_fraction", "1", 0, 1, "largest drying between two waterings, of TAW"),
    Quantity("metered_ratio", "1", 0, inf, "metered over nominal water of the last runs"),
)
