"""What a week came to: how much was watered for how much the crop used."""

from __future__ import annotations

import pytest

from service.delivery.week_balance import Verdict, WeekBalance, balance_of, balance_words
from service.translations import wording
from tests.letters import block_week


@pytest.mark.parametrize(
    ("applied_mm", "rain_kept_mm", "needed_mm", "verdict"),
    [
        (30.48, 0.0, 18.796, Verdict.OVER),  # 1.20 in for 0.74
        (23.0, 0.0, 18.796, Verdict.EVEN),  # the losses of a good system
        (13.0, 10.0, 18.796, Verdict.EVEN),  # rain is water
        (5.0, 0.0, 18.796, Verdict.UNDER),
        (2.0, 0.0, 0.0, Verdict.EVEN),  # less than 2.5 mm is none, however little is used
        (0.0, 0.0, 0.0, Verdict.EVEN),
    ],
)
def test_a_week_is_over_or_under_beyond_losses_and_the_store_of_the_soil(
    applied_mm: float, rain_kept_mm: float, needed_mm: float, verdict: Verdict
) -> None:
    assert WeekBalance(applied_mm, rain_kept_mm, needed_mm).verdict is verdict


def test_the_depth_of_a_farm_is_its_water_over_its_ground() -> None:
    blocks = [
        block_week("North", applied_mm=30.0, area_m2=9_000.0, applied_l=270_000.0),
        block_week("South", applied_mm=10.0, area_m2=1_000.0, applied_l=10_000.0),
    ]
    together = balance_of(blocks)
    total_l, area_m2 = (
        sum(getattr(each, key) for each in blocks) for key in ("applied_l", "area_m2")
    )
    assert together.applied_mm == pytest.approx(total_l / area_m2)
    assert together.needed_mm == pytest.approx(30.48)


def test_rain_is_named_where_some_was_kept() -> None:
    words = wording("en", "us")
    assert balance_words(WeekBalance(30.48, 0.1, 18.796), words) == (
        "Watered 1.20 in for 0.74 in used: over by 0.46 in."
    )
    assert balance_words(WeekBalance(2.54, 5.08, 18.796), words) == (
        "Watered 0.10 in and kept 0.20 in of rain for 0.74 in used: under by 0.44 in."
    )
