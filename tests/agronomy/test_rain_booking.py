"""Which civil days a rain-gauge reading is booked to."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.rain_booking import covered_days, model_rain_mm, rain_shares

ZONE = "America/Chicago"


def local(day: int, hour: int, month: int = 7) -> datetime:
    return datetime(2026, month, day, hour, tzinfo=ZoneInfo(ZONE)).astimezone(UTC)


def shares(covers_from: datetime, read_at: datetime, *model_mm: float) -> dict[date, float]:
    """Shares of the days that are booked; the model knows nothing unless given."""
    covered = covered_days(covers_from, read_at, ZONE)
    model = np.array(model_mm) if model_mm else np.full(covered.days.size, np.nan)
    found = rain_shares(covered.covered_h, covered.length_h, model)
    return {
        day: share
        for day, share in zip(covered.days.tolist(), found.tolist(), strict=True)
        if np.isfinite(share)
    }


def test_a_gauge_read_at_seven_counts_for_the_day_before() -> None:
    # The value that an observer files for the 7th at 07:00 fell from 07:00 on the 6th.
    assert shares(local(6, 7), local(7, 7)) == {date(2026, 7, 6): 1.0}


def test_a_gauge_read_in_the_evening_counts_for_its_own_day() -> None:
    assert shares(local(6, 18), local(7, 18)) == {date(2026, 7, 7): 1.0}


def test_of_two_equal_halves_the_later_day_counts() -> None:
    assert shares(local(6, 12), local(7, 12)) == {date(2026, 7, 7): 1.0}


def test_a_model_does_not_move_the_rain_of_one_day() -> None:
    assert shares(local(6, 7), local(7, 7), 0.0, 30.0) == {date(2026, 7, 6): 1.0}


def test_seven_oclock_local_time_is_kept_through_a_clock_change() -> None:
    # Clocks go from 02:00 to 03:00 on 8 March 2026, so 07:00 to 07:00 has 23 hours.
    covered = covered_days(local(7, 7, month=3), local(8, 7, month=3), ZONE)
    assert covered.covered_h.tolist() == [17.0, 6.0]
    assert covered.length_h.tolist() == [24.0, 23.0]
    assert shares(local(7, 7, month=3), local(8, 7, month=3)) == {date(2026, 3, 7): 1.0}


def test_several_days_are_spread_by_the_rain_of_the_model() -> None:
    # Monday 07:00 to Thursday 07:00. Monday counts by 17 of its 24 hours: 4.8 x 17/24 = 3.4.
    found = shares(local(6, 7), local(9, 7), 4.8, 0.0, 6.6, 50.0)
    assert found == pytest.approx(
        {date(2026, 7, 6): 0.34, date(2026, 7, 7): 0.0, date(2026, 7, 8): 0.66}
    )


@pytest.mark.parametrize("model", [(0.0, 0.0, 0.0, 0.0), (1.0, np.nan, 0.0, 0.0)])
def test_several_days_are_spread_by_their_hours_where_the_model_does_not_help(
    model: tuple[float, ...],
) -> None:
    found = shares(local(6, 7), local(9, 7), *model)
    assert found == pytest.approx(
        {date(2026, 7, 6): 17 / 65, date(2026, 7, 7): 24 / 65, date(2026, 7, 8): 24 / 65}
    )


def test_the_model_is_asked_for_the_covered_part_of_a_day() -> None:
    covered = covered_days(local(6, 6), local(7, 12), ZONE)
    assert model_rain_mm(covered, np.array([8.0, 4.0])) == pytest.approx(8.0 * 0.75 + 2.0)
    assert np.isnan(model_rain_mm(covered, np.array([8.0, np.nan])))


@given(
    start_h=st.integers(0, 24 * 365),
    length_h=st.integers(1, 24 * 31),
    seed=st.integers(0, 2**32 - 1),
)
def test_shares_add_up_to_one_and_none_is_negative(start_h: int, length_h: int, seed: int) -> None:
    start = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(hours=start_h)
    covered = covered_days(start, start + timedelta(hours=length_h), ZONE)
    assert covered.covered_h.sum() == pytest.approx(length_h)
    rain = np.random.default_rng(seed).choice([0.0, 3.0, 40.0, np.nan], covered.days.size)
    found = rain_shares(covered.covered_h, covered.length_h, rain)
    assert np.nansum(found) == pytest.approx(1.0)
    assert np.nanmin(found) >= 0.0


@given(read_h=st.integers(0, 23), day_count=st.integers(3, 10))
def test_readings_at_one_time_of_day_give_each_day_to_one_reading(
    read_h: int, day_count: int
) -> None:
    days = [
        day
        for place in range(day_count)
        for day in shares(local(1 + place, read_h), local(2 + place, read_h))
    ]
    assert len(set(days)) == day_count
