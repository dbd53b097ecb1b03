"""The last day for a block's nitrogen: its own, or by crop and place, in the season of a day."""

from __future__ import annotations

from datetime import date

import pytest

from service.nutrition.nutrient_dates import block_last_nitrogen

SEPTEMBER_15 = 258.0
JANUARY_20 = 20.0


@pytest.mark.parametrize(
    ("crop", "latitude", "expected"),
    [
        # Common practice for blueberries: before the end of July in the south-east, earlier beyond.
        ("blueberry", 33.0, date(2026, 7, 31)),
        ("blueberry", 43.0, date(2026, 7, 7)),
        ("peach-bare-frost", 33.0, date(2026, 8, 15)),  # from memory
        ("apple-bare-frost", 40.0, date(2026, 6, 30)),  # choice: six weeks after bloom
    ],
)
def test_the_default_is_that_of_crop_and_place(crop: str, latitude: float, expected: date) -> None:
    found = block_last_nitrogen(crop, date(2026, 8, 20), latitude)
    assert found is not None and (found.day, found.origin != "given") == (expected, True)


@pytest.mark.parametrize("crop", ["blackberry", "kiwi", "strawberry"])
def test_a_crop_without_a_rule_or_with_one_for_some_kinds_only_has_no_last_day(crop: str) -> None:
    assert block_last_nitrogen(crop, date(2026, 8, 20), 33.0) is None


def test_the_blocks_own_day_stands_before_the_table() -> None:
    found = block_last_nitrogen(
        "blueberry", date(2026, 8, 20), 33.0, last_nitrogen_doy=SEPTEMBER_15
    )
    assert found is not None and (found.day, found.origin) == (date(2026, 9, 15), "given")


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        (date(2026, 10, 1), date(2027, 1, 20)),
        (date(2027, 3, 1), date(2027, 1, 20)),
        (date(2027, 7, 1), date(2028, 1, 20)),
    ],
)
def test_in_the_south_a_season_runs_from_july_to_june(day: date, expected: date) -> None:
    found = block_last_nitrogen("blackberry", day, -34.0, last_nitrogen_doy=JANUARY_20)
    assert found is not None and found.day == expected


def test_the_default_of_the_south_is_half_a_year_away() -> None:
    found = block_last_nitrogen("blueberry", date(2026, 10, 1), -34.0)
    assert found is not None and found.day == date(2027, 1, 30)
