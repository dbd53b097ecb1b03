"""How sure a plan is, as its documents say."""

from __future__ import annotations

from service.operations.reading.plan_spread import band_columns


def test_bands_come_by_day_and_days_that_are_not_known_have_none() -> None:
    rows = ([0, 0, None], [10, 12, None], [10, 40, None])
    assert band_columns(rows, 4) == [
        {"p10": 0, "p50": 10, "p90": 10},
        {"p10": 0, "p50": 12, "p90": 40},
        None,
        None,
    ]
    assert band_columns(rows, 1) == [{"p10": 0, "p50": 10, "p90": 10}]


def test_a_plan_from_before_there_were_bands_has_none() -> None:
    assert band_columns((), 3) == [None, None, None]
