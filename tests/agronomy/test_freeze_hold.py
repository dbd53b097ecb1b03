"""Hours near freezing: how they are found, and that no pulse runs in them."""

from __future__ import annotations

import math
from datetime import date
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.agronomy.block_days import SiteDays, crop_days
from service.agronomy.daily_plan import plan_tomorrow
from service.agronomy.freeze_hold import NEVER_MIN, cold_hours, hold_windows
from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.records import CurveDefinition
from service.agronomy.season import run_season
from tests.factories import batch_of, even_days, make_block, windows_of

ONE_BLOCK = np.array([0])
FREEZING = np.array([0.0])
RISE, SET = 330.0, 1110.0
WHOLE = ((0, 1440),)


def spring(tmax_c: Any = 16.0, tmin_c: Any = -2.0, day_count: int = 3) -> SiteDays:
    return even_days(
        day_count=day_count,
        first_day=date(2025, 4, 10),
        tmax_c=tmax_c,
        tmin_c=tmin_c,
        sunrise_min=RISE,
        sunset_min=SET,
    )


def course_c(
    minute: float, *, before: tuple[float, float], today: tuple[float, float], next_tmin_c: float
) -> float:
    """Parton & Logan 1981, minute by minute, written out here a second time."""
    lag, decay, lead = 1.86 * 60.0, 2.20, 0.17 * 60.0
    low = RISE - lead
    day_min = SET - low
    night_min = 1440.0 - day_min

    def by_day(extremes: tuple[float, float], since: float) -> float:
        tmax, tmin = extremes
        return tmin + (tmax - tmin) * math.sin(math.pi * since / (day_min + 2.0 * lag))

    def by_night(dusk_c: float, end_c: float, since: float) -> float:
        left = (math.exp(-decay * since / night_min) - math.exp(-decay)) / (1.0 - math.exp(-decay))
        return end_c + (dusk_c - end_c) * left

    if minute < low:
        # No hour of a day is below its minimum, however cold the day before was.
        return max(today[1], by_night(by_day(before, day_min), today[1], minute + 1440.0 - SET))
    if minute < SET:
        return by_day(today, minute - low)
    return by_night(by_day(today, day_min), next_tmin_c, minute - SET)


temperature = st.floats(-12.0, 14.0).map(lambda value: round(value, 1))
span = st.floats(1.0, 18.0).map(lambda value: round(value, 1))


@settings(max_examples=300, deadline=None)
@given(tmin=st.tuples(*[temperature] * 3), width=st.tuples(*[span] * 3))
def test_the_hours_held_are_those_that_a_simulation_by_the_minute_finds(
    tmin: tuple[float, float, float], width: tuple[float, float, float]
) -> None:
    lows, highs = np.array(tmin), np.array(tmin) + np.array(width)
    weather = spring(tmax_c=highs[:, None], tmin_c=lows[:, None])
    hours = cold_hours(weather, 1, site_index=ONE_BLOCK, freeze_hold_c=FREEZING)
    from_min, until_min, again_min = (int(part[0]) for part in hours)
    if highs[1] < 3.0:
        assert (from_min, until_min, again_min) == (0, NEVER_MIN, 0)
        return
    for minute in range(1440):
        air_c = course_c(
            float(minute),
            before=(float(highs[0]), float(lows[0])),
            today=(float(highs[1]), float(lows[1])),
            next_tmin_c=float(lows[2]),
        )
        is_held = from_min <= minute < until_min or minute >= again_min
        if again_min < SET <= minute:
            assert is_held  # to midnight, even where the night grows warmer
        elif abs(air_c) > 0.2:  # within a minute or two of the limit either is right
            assert is_held == (air_c < 0.0), (minute, air_c, hours)


def test_a_spring_night_is_held_in_its_small_hours_and_the_day_is_not() -> None:
    windows = hold_windows(
        windows_of(WHOLE), spring(), 1, site_index=ONE_BLOCK, freeze_hold_c=FREEZING
    )
    assert windows.opens_min.tolist() == [[0, 356]]
    assert windows.closes_min.tolist() == [[61, 1440]]
    assert windows.held_min is not None
    assert windows.held_min.tolist() == [295.0]


def test_nothing_is_held_on_a_mild_day_and_the_windows_stay_the_same_object() -> None:
    windows = windows_of(WHOLE)
    mild = spring(tmin_c=4.0)
    assert hold_windows(windows, mild, 1, site_index=ONE_BLOCK, freeze_hold_c=FREEZING) is windows
    unknown = spring(tmin_c=np.nan, tmax_c=np.nan)
    held = hold_windows(windows, unknown, 1, site_index=ONE_BLOCK, freeze_hold_c=FREEZING)
    assert held is windows
    cold = spring(tmin_c=-9.0)
    none = np.array([np.nan])
    assert hold_windows(windows, cold, 1, site_index=ONE_BLOCK, freeze_hold_c=none) is windows


def test_a_day_that_stays_near_freezing_is_held_as_a_whole() -> None:
    near = spring(tmax_c=2.9, tmin_c=0.5)
    windows = hold_windows(windows_of(WHOLE), near, 1, site_index=ONE_BLOCK, freeze_hold_c=FREEZING)
    assert (windows.closes_min - windows.opens_min).sum() == 0
    warmer = spring(tmax_c=3.0, tmin_c=0.5)
    assert (
        hold_windows(
            windows_of(WHOLE), warmer, 1, site_index=ONE_BLOCK, freeze_hold_c=FREEZING
        ).held_min
        is None
    )


def test_each_block_has_its_own_limit_and_windows_keep_their_order() -> None:
    limits = np.array([0.0, -5.0, 2.0])
    given_windows = windows_of(((60, 180), (300, 600)), ((60, 180),), ((400, 1380),))
    windows = hold_windows(
        given_windows, spring(), 1, site_index=np.zeros(3, dtype=int), freeze_hold_c=limits
    )
    assert windows.opens_min[1].tolist()[:1] == [60]
    assert windows.held_min is not None
    assert windows.held_min[1] == 0.0
    assert windows.held_min[2] > 0.0
    for opens, closes in zip(windows.opens_min, windows.closes_min, strict=True):
        spans = [(o, c) for o, c in zip(opens.tolist(), closes.tolist(), strict=True) if o < c]
        assert spans == sorted(spans)
        assert all(a[1] <= b[0] for a, b in pairwise(spans))


def test_a_pulse_waits_for_warmer_hours() -> None:
    blocks = batch_of(
        make_block(curve=CurveDefinition(basis="table", season_start=(1, 1), points=((7, 1, 1.0),)))
    )
    weather = spring()
    windows = hold_windows(
        windows_of(((0, 480),)), weather, 0, site_index=ONE_BLOCK, freeze_hold_c=FREEZING
    )
    plan = plan_tomorrow(
        blocks,
        weather,
        crop_days(blocks, weather),
        depletion_midnight_mm=np.array([9.0]),
        windows=windows,
        supply_flow_l_per_h=np.array([1e9]),
    )
    pulses = plan.schedule.pulses
    ends_min = pulses.start_min + pulses.duration_min
    assert pulses.start_min.size > 0
    assert np.all((ends_min <= 61) | (pulses.start_min >= 356))
    assert plan.held_min[0] == 295.0


def test_a_need_that_frost_leaves_unmet_is_put_down_to_it() -> None:
    blocks = batch_of(make_block())
    weather = spring(tmax_c=2.0, tmin_c=-11.6)
    windows = hold_windows(
        windows_of(WHOLE), weather, 0, site_index=ONE_BLOCK, freeze_hold_c=FREEZING
    )
    plan = plan_tomorrow(
        blocks,
        weather,
        crop_days(blocks, weather),
        depletion_midnight_mm=np.array([9.0]),
        windows=windows,
        supply_flow_l_per_h=np.array([1e9]),
    )
    assert plan.need.need_mm[0] > 0.0
    assert plan.schedule.planned_min[0] == 0
    assert plan.schedule.cause[0] == ShortfallCause.FREEZE_HOLD


def test_a_season_holds_water_by_what_was_forecast() -> None:
    blocks = batch_of(make_block())
    cold = spring(tmax_c=2.0, tmin_c=-6.0, day_count=6)
    season = run_season(
        lambda _year: blocks,
        cold,
        cold,
        windows_of_day=[windows_of(WHOLE)] * 6,
        day_length_min=np.full(6, 1440),
        supply_flow_l_per_h=np.array([1e9]),
        depletion_start_mm=np.array([9.0]),
    )
    assert season.planned_min.sum() == 0
    assert np.all(np.diff(season.ledger.depletion_end_mm[:, 0]) > 0.0)


@pytest.mark.parametrize("limit_c", [-4.0, 0.0, 3.0])
def test_no_colder_day_holds_fewer_hours(limit_c: float) -> None:
    held = []
    for fall in range(12):
        windows = hold_windows(
            windows_of(WHOLE),
            spring(tmax_c=16.0 - fall, tmin_c=4.0 - fall),
            1,
            site_index=ONE_BLOCK,
            freeze_hold_c=np.array([limit_c]),
        )
        held.append(0.0 if windows.held_min is None else float(windows.held_min[0]))
    assert held == sorted(held)
    assert held[-1] > 0.0
