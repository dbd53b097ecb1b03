"""What may be a slip in a block that is allowed."""

from __future__ import annotations

import math
from datetime import date

import pytest

from service.operations.farms.question_blocks import questions_of
from tests.factories import make_block

TODAY = date(2026, 7, 15)
GROWING = {"canopy_is_scaled": True, "canopy_height_is_scaled": True}


def test_a_planting_year_ahead_is_asked_about_and_no_other() -> None:
    blocks = [
        make_block(f"planted-{place}", planting_year=year, **GROWING)
        for place, year in enumerate((2041.0, 2026.0, 2019.0, math.nan))
    ]
    (question,) = questions_of(blocks, TODAY)
    assert question.startswith(f"{blocks[0].block_id}: planting year 2041 is after 2026;")


@pytest.mark.parametrize(
    ("planting_year", "measured_year", "is_asked"),
    [(2024.0, math.nan, True), (2024.0, 2025.5, False), (2010.0, math.nan, False)],
    ids=["young", "measured on a day", "full-grown"],
)
def test_a_young_canopy_without_the_day_of_its_measurement_is_asked_about(
    planting_year: float, measured_year: float, is_asked: bool
) -> None:
    block = make_block(
        planting_year=planting_year,
        canopy_measured_year=measured_year,
        canopy_is_scaled=True,
        canopy_height_is_scaled=False,
    )
    asked = questions_of([block], TODAY)
    assert [("canopy_height has no canopy_measured_on" in text) for text in asked] == (
        [True] if is_asked else []
    )
