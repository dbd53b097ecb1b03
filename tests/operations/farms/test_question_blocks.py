"""What may be a slip in a block that is allowed."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

import pytest

from service.operations.farms.question_blocks import questions_of
from service.translations import wording
from tests.factories import make_block

TODAY = date(2026, 7, 15)
GROWING: dict[str, Any] = {"canopy_is_scaled": True, "canopy_height_is_scaled": True}


def test_a_planting_year_ahead_is_asked_about_and_no_other() -> None:
    blocks = [
        make_block(f"planted-{place}", planting_year=year, **GROWING)
        for place, year in enumerate((2041.0, 2026.0, 2019.0, math.nan))
    ]
    (question,) = questions_of(blocks, TODAY)
    assert question.startswith(f"{blocks[0].block_id}: planting year 2041 is after 2026;")
    assert "el año de plantación 2041 es posterior a 2026" in wording("es", "us").gettext(question)


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


@pytest.mark.parametrize(
    ("crop_key", "line_count", "is_asked"),
    [("blueberry", 1.0, True), ("blueberry", 2.0, False), ("raspberry", 1.0, False),
     ("grape-wine", 1.0, False)],
)  # fmt: skip
def test_a_single_line_in_blueberries_is_remarked_on(
    crop_key: str, line_count: float, is_asked: bool
) -> None:
    # Two lines: common practice, and Vargas et al. 2015, HortScience 50(6):897-903 (abstract).
    block = make_block(crop_key=crop_key, laterals_per_row_count=line_count, **GROWING)
    asked = questions_of([block], TODAY)
    assert [text.startswith(f"{block.block_id}: one drip line per row") for text in asked] == (
        [True] if is_asked else []
    )
    spanish = wording("es", "us")
    assert all(spanish.gettext(text).count("línea de goteo") == 1 for text in asked)


@pytest.mark.parametrize(("planted", "is_asked"), [(2025.0, True), (2024.0, False)])
def test_young_bark_is_remarked_on(planted: float, is_asked: bool) -> None:
    # Bandaranayake et al. 2018 (abstract): field capacity 0.07 when new, 0.21 after two years.
    block = make_block(
        planting_year=planted, origins={"field_capacity": "texture pine-bark: bark"}, **GROWING
    )
    asked = questions_of([block], TODAY)
    assert ["fresh pine bark" in text for text in asked] == ([True] if is_asked else [])
    assert all("corteza de pino" in wording("es", "us").gettext(text) for text in asked)
