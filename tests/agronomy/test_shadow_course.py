"""Courses of a rule on paper, beside what was booked."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.records import Floats
from service.agronomy.shadow_course import BookedDays, follow_course
from service.agronomy.water_balance import step_days

DAYS, BLOCKS = 9, 4
NOTHING = np.full((DAYS, BLOCKS), np.nan)
UNKNOWN = np.full(BLOCKS, np.nan)


def booked(seed: int, net_mm: Floats, *, correction_mm: float = 0.0) -> BookedDays:
    """The ledger of some days with water given evenly over the day's ET."""
    random = np.random.default_rng(seed)
    shape = (DAYS, BLOCKS)
    ledger = step_days(
        random.uniform(0.0, 8.0, BLOCKS),
        first_day_index=np.zeros(BLOCKS, dtype=np.int64),
        taw_mm=np.broadcast_to(random.uniform(15.0, 40.0, BLOCKS), shape),
        raw_mm=np.broadcast_to(random.uniform(6.0, 12.0, BLOCKS), shape),
        rain_entering_mm=random.choice([0.0, 0.0, 6.0], shape),
        crop_et_mm=random.uniform(2.0, 6.0, shape),
        early_net_mm=0.0 * net_mm,
        day_net_mm=net_mm,
    )
    return BookedDays(
        depletion_start_mm=ledger.depletion_start_mm,
        rain_entering_mm=ledger.rain_entering_mm,
        zone_et_mm=ledger.crop_et_mm,
        taw_mm=ledger.taw_mm,
        raw_mm=ledger.raw_mm,
        correction_mm=np.full(shape, correction_mm),
        depletion_end_mm=ledger.depletion_end_mm,
    )


@given(st.integers(0, 200))
def test_who_gives_what_was_given_has_the_ledger_that_was_booked(seed: int) -> None:
    net_mm = np.random.default_rng(seed + 1).choice([0.0, 4.0, 9.0], (DAYS, BLOCKS))
    days = booked(seed, net_mm)
    course = follow_course(days, net_mm, UNKNOWN)
    assert course.depletion_end_mm == pytest.approx(days.depletion_end_mm, abs=1e-9)
    # Every millimeter is somewhere: what the zone lacks more is what it used less what it got.
    used_mm = days.zone_et_mm - course.lost_et_mm
    change_mm = used_mm + course.drainage_mm - days.rain_entering_mm - net_mm
    assert course.depletion_end_mm[-1] - days.depletion_start_mm[0] == pytest.approx(
        change_mm.sum(axis=0), abs=1e-9
    )


@given(st.integers(0, 200))
def test_more_water_never_leaves_a_drier_soil_or_more_thirst(seed: int) -> None:
    days = booked(seed, np.zeros((DAYS, BLOCKS)))
    less, more = (
        follow_course(days, np.full((DAYS, BLOCKS), net_mm), UNKNOWN) for net_mm in (2.0, 3.0)
    )
    assert (more.depletion_end_mm <= less.depletion_end_mm + 1e-9).all()
    assert (more.lost_et_mm <= less.lost_et_mm + 1e-9).all()
    assert (more.drainage_mm >= less.drainage_mm - 1e-9).all()


def test_a_day_without_a_decision_takes_what_was_booked_and_begins_again_there() -> None:
    days = booked(3, np.full((DAYS, BLOCKS), 4.0))
    decided = np.zeros((DAYS, BLOCKS))
    decided[4] = np.nan
    course = follow_course(days, decided, UNKNOWN)
    assert np.isnan(course.depletion_end_mm[4]).all() and np.isnan(course.net_mm[4]).all()
    assert not course.is_short[4].any()
    later = BookedDays(
        **{name: getattr(days, name)[5:] for name in BookedDays.__dataclass_fields__}
    )
    again = follow_course(later, decided[5:], days.depletion_end_mm[4])
    assert np.array_equal(course.depletion_end_mm[5:], again.depletion_end_mm)


def test_nothing_is_known_of_days_that_are_not_booked() -> None:
    days = booked(3, np.full((DAYS, BLOCKS), 4.0))
    unknown = BookedDays(**dict.fromkeys(BookedDays.__dataclass_fields__, NOTHING))
    assert np.isnan(follow_course(unknown, np.zeros((DAYS, BLOCKS)), UNKNOWN).net_mm).all()
    assert np.isnan(follow_course(days, NOTHING, UNKNOWN).depletion_end_mm).all()


def test_a_soil_reading_moves_a_course_as_far_as_the_books_and_never_past_its_ends() -> None:
    dry = booked(5, np.zeros((DAYS, BLOCKS)))
    read = booked(5, np.zeros((DAYS, BLOCKS)), correction_mm=-1.0)
    decided = np.full((DAYS, BLOCKS), 2.0)
    plain, moved = (follow_course(each, decided, UNKNOWN).depletion_end_mm for each in (dry, read))
    assert moved[0] == pytest.approx(np.maximum(0.0, plain[0] - 1.0))
    assert (moved >= 0.0).all()
