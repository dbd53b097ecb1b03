"""Leaf, petiole and soil tests of blocks, as the laboratory printed them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal, get_args

from service.nutrition.readings import NutrientReading

TestSort = Literal["leaf", "petiole", "soil"]
TEST_KINDS: tuple[TestSort, ...] = get_args(TestSort)
EXTRACTANTS = ("mehlich-3", "bray-1", "olsen", "ammonium-acetate", "not-stated")
PH_METHODS = ("water", "calcium-chloride")


@dataclass(frozen=True, slots=True, kw_only=True)
class NutrientTest:
    """A laboratory's report on a block's leaves, petioles or soil."""

    block_id: str
    day: date
    """On which the sample was taken."""
    kind: TestSort
    readings: tuple[NutrientReading, ...]
    crop: str = ""
    """Of the leaf; empty for a soil."""
    tissue: str = ""
    stage: str = ""
    leaf_count: int | None = None
    """Leaves or petioles; None: not stated."""
    cultivar: str = ""
    last_spray_day: date | None = None
    is_washed: bool = False
    extractant: str = "not-stated"
    """Of a soil's phosphorus, potassium and magnesium."""
    ph_method: str = "water"
    texture: str = ""
    """As the laboratory names it; empty: from the exchange capacity."""
    laboratory: str = "not named"
    laboratory_number: str = ""
    own_ranges: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """Ranges that the laboratory printed, in the units of ours; they come first."""
    recommendation: str = ""
    """Of the laboratory, as printed; shown before any plan of ours."""
    tables_edition: str = ""
    """Edition of the published ranges when the test was stored."""
