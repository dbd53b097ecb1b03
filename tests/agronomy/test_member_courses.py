"""Which members of an ensemble are of use: whole courses that have moved."""

import numpy as np
import pytest

from service.agronomy.member_courses import frozen_members, member_courses, whole_members
from service.agronomy.records import Floats

DAYS = np.arange("2026-07-01", "2026-07-08", dtype="datetime64[D]")


def test_a_member_with_a_hole_is_left_out_whole_and_a_common_end_ends_all() -> None:
    values = np.ones((20, 7))
    values[:, 6] = np.nan
    values[3, 2] = values[5, 5] = np.nan
    found = whole_members(values)
    assert found.day_count == 6
    assert np.flatnonzero(~found.is_whole).tolist() == [3, 5]


def test_a_model_that_ends_before_a_decision_has_no_members() -> None:
    values = np.ones((20, 7))
    values[:, 4:] = np.nan
    assert whole_members(values).day_count == 0
    assert not whole_members(values).is_whole.any()
    assert whole_members(np.full((3, 7), np.nan)).day_count == 0


def courses(seed: int, member_count: int = 6) -> Floats:
    return np.random.default_rng(seed).uniform(0, 9, (member_count, 7, 2)).round(2)


@pytest.mark.parametrize("days_between", [1, 2])
def test_a_control_run_that_stands_still_is_found(days_between: int) -> None:
    numbers, old, new = np.arange(6), courses(1), courses(2)
    new[0, : 7 - days_between] = old[0, days_between:]
    frozen = frozen_members(
        numbers, new, before_numbers=numbers, before_mm=old, days_between=days_between
    )
    assert frozen.tolist() == [True] + [False] * 5


def test_a_dry_member_that_moves_is_not_frozen() -> None:
    """Rain of 0 on every day is the same as yesterday's; reference ET tells."""
    numbers, old, new = np.arange(2), courses(1, 2), courses(2, 2)
    old[..., 0] = new[..., 0] = 0.0
    frozen = frozen_members(numbers, new, before_numbers=numbers, before_mm=old, days_between=1)
    assert not frozen.any()


def test_members_are_compared_by_number_not_by_place() -> None:
    old, new = courses(1), courses(2)
    new[2, :6] = old[4, 1:]
    for before_numbers, expected in (([0, 1, 2, 3, 4, 5], []), ([5, 6, 7, 8, 2, 9], [2])):
        found = frozen_members(
            np.arange(6),
            new,
            before_numbers=np.array(before_numbers),
            before_mm=old,
            days_between=1,
        )
        assert np.flatnonzero(found).tolist() == expected


def test_snow_is_no_rain_and_an_unknown_field_makes_the_day_unknown() -> None:
    fields = {
        "tmax_c": np.array([[25.0, 1.5, 25.0]] * 7),
        "tmin_c": np.array([[15.0, -4.0, 15.0]] * 7),
        "ea_kpa": np.array([[1.5, 0.4, 1.5]] * 7),
        "wind_m_s": np.full((7, 3), 2.5),
        "rs_mj_m2": np.array([[22.0, 5.0, 22.0]] * 7),
        "rain_mm": np.full((7, 3), 4.0),
    }
    fields["wind_m_s"][2, 2] = np.nan
    rain_mm, et0_mm = member_courses(
        DAYS, fields, latitude_deg=np.full(3, 45.0), elevation_m=np.full(3, 100.0)
    )
    assert rain_mm[:, 0].tolist() == [4.0] * 7
    assert rain_mm[:, 1].tolist() == [0.0] * 7
    assert np.isnan(rain_mm[2, 2])
    assert np.isnan(et0_mm[2, 2])
    assert (et0_mm[:, 0] > et0_mm[:, 1]).all()
