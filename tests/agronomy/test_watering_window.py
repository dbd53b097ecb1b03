"""Windows and no-water periods as minutes of the civil day, also when the clocks change."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.civil_day import day_length_min
from service.agronomy.records import NoWaterPeriod, WallWindow, WindowBatch
from service.agronomy.watering_window import watering_windows
from tests.factories import ZONE

ORDINARY = date(2023, 7, 12)
SPRING_FORWARD = date(2023, 3, 12)  # 02:00 becomes 03:00: 23 hours
FALL_BACK = date(2023, 11, 5)  # 02:00 becomes 01:00: 25 hours
ALL_DAY = (WallWindow(0, 1440),)
Span = tuple[int, int]


def at(month: int, day: int, hour: int = 0, minute: int = 0) -> datetime:
    """A local wall-clock time of 2023."""
    return datetime.combine(date(2023, month, day), time(hour, minute))


def wall(*spans: tuple[float, float]) -> tuple[WallWindow, ...]:
    """Windows from whole or half hours."""
    return tuple(WallWindow(int(opens * 60), int(closes * 60)) for opens, closes in spans)


def spans_of(batch: WindowBatch, row: int = 0) -> list[Span]:
    pairs = zip(batch.opens_min[row].tolist(), batch.closes_min[row].tolist(), strict=True)
    return [(opens, closes) for opens, closes in pairs if closes > opens]


def one(
    own: tuple[WallWindow, ...],
    shared: tuple[WallWindow, ...] = ALL_DAY,
    *closed: NoWaterPeriod,
    day: date = ORDINARY,
) -> WindowBatch:
    return watering_windows([own], [shared], [closed], zones=[ZONE], day=day)


def period(starts: datetime, ends: datetime) -> NoWaterPeriod:
    return NoWaterPeriod(starts, ends, "harvest")


def test_an_ordinary_day_has_the_minutes_of_the_wall_clock() -> None:
    assert spans_of(one(wall((4, 21)))) == [(240, 1260)]
    assert spans_of(one(ALL_DAY)) == [(0, 1440)]


def test_a_block_runs_only_while_its_supply_is_open_too() -> None:
    assert spans_of(one(wall((0, 6), (18, 24)), wall((5, 20)))) == [(300, 360), (1080, 1200)]
    assert spans_of(one(wall((0, 6)), wall((6, 24)))) == []


def test_windows_that_touch_or_overlap_are_one() -> None:
    assert spans_of(one(wall((8, 10), (4, 8), (9, 12)))) == [(240, 720)]


def test_after_the_clock_went_forward_wall_times_come_an_hour_sooner() -> None:
    assert day_length_min(SPRING_FORWARD, ZONE) == 1380
    assert spans_of(one(wall((4, 21)), day=SPRING_FORWARD)) == [(180, 1200)]
    assert spans_of(one(ALL_DAY, day=SPRING_FORWARD)) == [(0, 1380)]


def test_a_window_within_the_skipped_hour_is_gone_and_one_across_it_is_shorter() -> None:
    assert spans_of(one(wall((2, 3)), day=SPRING_FORWARD)) == []
    assert spans_of(one(wall((2.5, 4)), day=SPRING_FORWARD)) == [(120, 180)]
    assert spans_of(one(wall((1, 2), (3, 5)), day=SPRING_FORWARD)) == [(60, 240)]


def test_after_the_clock_went_back_wall_times_come_an_hour_later() -> None:
    assert day_length_min(FALL_BACK, ZONE) == 1500
    assert spans_of(one(wall((4, 21)), day=FALL_BACK)) == [(300, 1320)]
    assert spans_of(one(ALL_DAY, day=FALL_BACK)) == [(0, 1500)]


def test_times_that_come_twice_mean_their_first_coming() -> None:
    # 01:00 to 01:30 comes twice; a window there opens once. One that ends at 02:00 has both hours.
    assert spans_of(one(wall((1, 1.5)), day=FALL_BACK)) == [(60, 90)]
    assert spans_of(one(wall((1, 2)), day=FALL_BACK)) == [(60, 180)]


def test_a_no_water_period_cuts_out_its_hours_and_is_an_outage() -> None:
    harvest = period(at(7, 12, 6), at(7, 12, 11, 30))
    batch = one(wall((4, 21)), ALL_DAY, harvest)
    assert spans_of(batch) == [(240, 360), (690, 1260)]
    assert batch.is_outage.tolist() == [True]


def test_a_period_outside_the_windows_is_no_outage() -> None:
    at_night = period(at(7, 12, 22), at(7, 13, 3))
    batch = one(wall((4, 21)), ALL_DAY, at_night)
    assert spans_of(batch) == [(240, 1260)]
    assert batch.is_outage.tolist() == [False]


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        (date(2023, 7, 9), [(240, 1260)]),
        (date(2023, 7, 10), [(240, 600)]),
        (date(2023, 7, 11), []),
        (date(2023, 7, 13), []),
        (date(2023, 7, 14), [(480, 1260)]),
        (date(2023, 7, 15), [(240, 1260)]),
    ],
)
def test_a_period_of_days_takes_its_part_of_each(day: date, expected: list[Span]) -> None:
    repair = period(at(7, 10, 10), at(7, 14, 8))
    assert spans_of(one(wall((4, 21)), ALL_DAY, repair, day=day)) == expected


def test_a_period_that_ends_at_midnight_leaves_the_next_day_alone() -> None:
    repair = period(at(7, 10), at(7, 12))
    batch = one(wall((4, 21)), ALL_DAY, repair, day=ORDINARY)
    assert spans_of(batch) == [(240, 1260)]
    assert not batch.is_outage[0]
    assert spans_of(one(wall((4, 21)), ALL_DAY, repair, day=date(2023, 7, 11))) == []


def test_a_period_on_a_day_of_23_hours_ends_by_the_wall_clock() -> None:
    morning = period(at(3, 12), at(3, 12, 6))
    batch = one(ALL_DAY, ALL_DAY, morning, day=SPRING_FORWARD)
    assert spans_of(batch) == [(300, 1380)]


def test_several_periods_may_overlap() -> None:
    batch = one(
        wall((4, 21)),
        ALL_DAY,
        period(at(7, 12, 6), at(7, 12, 9)),
        period(at(7, 12, 8), at(7, 12, 10)),
        period(at(7, 12, 20), at(7, 14)),
    )
    assert spans_of(batch) == [(240, 360), (600, 1200)]


def test_each_block_has_its_own_row_whatever_its_zone() -> None:
    batch = watering_windows(
        [wall((4, 21)), wall((4, 6), (20, 22)), ()],
        [ALL_DAY, ALL_DAY, ALL_DAY],
        [(), (), ()],
        zones=[ZONE, "America/Phoenix", ZONE],
        day=SPRING_FORWARD,
    )
    assert spans_of(batch, 0) == [(180, 1200)]
    assert spans_of(batch, 1) == [(240, 360), (1200, 1320)]
    assert spans_of(batch, 2) == []
    assert batch.opens_min.shape == (3, 2)


def test_no_blocks_give_an_empty_batch() -> None:
    batch = watering_windows([], [], [], zones=[], day=ORDINARY)
    assert batch.opens_min.shape[0] == batch.is_outage.shape[0] == 0


quarter_hours = st.integers(0, 95).map(lambda quarter: quarter * 15)


@st.composite
def wall_windows(draw: st.DrawFn) -> tuple[WallWindow, ...]:
    edges = draw(st.lists(st.tuples(quarter_hours, quarter_hours), min_size=0, max_size=3))
    return tuple(WallWindow(min(edge), max(edge) + 15) for edge in edges)


@st.composite
def no_water_periods(draw: st.DrawFn) -> tuple[NoWaterPeriod, ...]:
    start = at(7, 11)
    edges = draw(st.lists(st.tuples(st.integers(0, 288), st.integers(1, 200)), max_size=3))
    return tuple(
        period(
            start + timedelta(minutes=15 * begin), start + timedelta(minutes=15 * (begin + length))
        )
        for begin, length in edges
    )


@given(own=wall_windows(), shared=wall_windows(), closed=no_water_periods())
def test_a_minute_is_open_exactly_when_all_say_so(
    own: tuple[WallWindow, ...],
    shared: tuple[WallWindow, ...],
    closed: tuple[NoWaterPeriod, ...],
) -> None:
    batch = one(own, shared, *closed)
    is_open = np.zeros(1440, dtype=np.bool_)
    for opens, closes in spans_of(batch):
        assert not is_open[opens:closes].any()
        is_open[opens:closes] = True
    midnight = datetime.combine(ORDINARY, time())
    for minute in range(0, 1440, 15):
        moment = midnight + timedelta(minutes=minute)
        expected = (
            any(w.opens_wall_min <= minute < w.closes_wall_min for w in own)
            and any(w.opens_wall_min <= minute < w.closes_wall_min for w in shared)
            and not any(p.starts_local <= moment < p.ends_local for p in closed)
        )
        assert is_open[minute] == expected
