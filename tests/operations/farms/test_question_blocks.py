"""What may be a slip in a block that is allowed."""

from __future__ import annotations

import math
from datetime import date

from service.operations.farms.question_blocks import questions_of
from tests.factories import make_block

TODAY = date(2026, 7, 15)


def test_a_planting_year_ahead_is_asked_about_and_no_other() -> None:
    blocks = [
        make_block(f"planted-{place}", planting_year=year)
        for place, year in enumerate((2041.0, 2026.0, 2019.0, math.nan))
    ]
    (question,) = questions_of(blocks, TODAY)
    assert question.startswith(f"{blocks[0].block_id}: planting year 2041 is after 2026;")
