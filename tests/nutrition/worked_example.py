"""The worked example of the tests: a highbush blueberry with leaf, soil and water tests."""

from __future__ import annotations

from datetime import date
from typing import Any

from service.nutrition.leaf_classes import LeafResult, leaf_result
from service.nutrition.sampling import check_protocol
from service.nutrition.season_facts import NitrogenProduct, SeasonFacts, SoilFacts, WaterFacts
from service.nutrition.tables import find_nutrition_crop, leaf_row

CROP = find_nutrition_crop("highbush-blueberry")
LEAF = {
    "N": 1.60, "P": 0.12, "K": 0.45, "Ca": 0.50, "Mg": 0.12, "S": 0.14,
    "B": 22.0, "Fe": 90.0, "Mn": 120.0, "Zn": 12.0, "Cu": 6.0,
}  # fmt: skip
SOIL = {"pH": 5.8, "P": 22.0, "K": 70.0, "cec": 7.0, "organic-matter": 2.0}
SULFATE = NitrogenProduct(
    key="ammonium-sulfate", name="Ammonium sulfate", nitrogen_fraction=0.21, is_nitrate=False
)


def leaf(*, row_key: str = "highbush-michigan") -> LeafResult:
    row = leaf_row("highbush-blueberry", "leaf", "mid-season", chosen=[row_key])
    check = check_protocol(
        CROP,
        tissue="leaf",
        stage="mid-season",
        day=date(2026, 8, 1),
        leaf_count=60,
        latitude_deg=40.0,
    )
    assert check.is_classed and check.notes == ()
    return leaf_result(LEAF, CROP, row=row, is_classed=check.is_classed)


def facts(**changes: Any) -> SeasonFacts:
    given: dict[str, Any] = {
        "crop": CROP,
        "season_year": 2027,
        "today": date(2026, 11, 1),
        "latitude_deg": 35.0,
        "area_m2": 12_000.0,
        "age_years": 6,
        "planted_share": 0.33,
        "leaf": leaf(),
        "soil": SoilFacts(values=SOIL, extractant="mehlich-3", texture="sandy-loam"),
        "water": WaterFacts(
            nitrate_nitrogen_mg_per_l=4.0, alkalinity_mg_per_l=80.0, planned_mm=250.0
        ),
        "product": SULFATE,
        "last_season_kg_per_ha": 55.0,
        "base_kg_per_ha": 55.0,
        "chosen_rows": ("highbush-michigan", "p-mehlich-3", "k-heavier"),
    }
    return SeasonFacts(**{**given, **changes})
