"""Pulses of single blocks: worked days, the one-minute simulation and exhaustive search."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.pulse_plan import (
    CAUSE_TEXT,
    PulseSchedule,
    ShortfallCause,
)
from service.agronomy.supply import schedule_supplies
from service.agronomy.water_balance import PulseTimes, step_day
from tests.agronomy.minute_simulation import (
    depletion_after_minute,
    et_share,
    minute_et_mm,
    simulate_day,
)
from tests.agronomy.pulse_demands import (
    BLOCK,
    assert_rules_hold,
    block_days,
    make_demand,
    pulses_of,
)

NO_LIMIT = np.array([np.inf])


def plan_one(**values: Any) -> PulseSchedule:
    demand = make_demand(values)
    schedule = schedule_supplies(demand, NO_LIMIT)
    assert_rules_hold(demand, schedule, NO_LIMIT)
    return schedule


def cause_of(schedule: PulseSchedule) -> ShortfallCause:
    return ShortfallCause(int(schedule.cause[0]))


def test_a_need_is_split_into_the_fewest_pulses_from_the_opening_of_the_window() -> None:
    # 5 mm at 0.05 mm/min: 100 min, over 60, so two of 50 with 100 min off between them.
    schedule = plan_one(need_mm=5.0)
    assert pulses_of(schedule, 0) == [(240, 50), (390, 50)]
    assert schedule.planned_net_mm[0] == pytest.approx(5.0)
    assert cause_of(schedule) is ShortfallCause.NONE
    assert schedule.alone_share[0] == 1.0


def test_pulses_differ_by_one_minute_and_the_longer_come_first() -> None:
    # 125 min in three: 42, 42, 41; off times 84 and 84 from 240 on.
    schedule = plan_one(need_mm=6.25)
    assert pulses_of(schedule, 0) == [(240, 42), (366, 42), (492, 41)]


def test_minutes_are_rounded_down_but_a_whole_number_stays() -> None:
    assert plan_one(need_mm=2.99).planned_min[0] == 59
    assert plan_one(need_mm=3.0).planned_min[0] == 60
    # 0.1 * 3 / 0.05 is not exactly 6 in binary arithmetic.
    assert plan_one(need_mm=0.1 * 3 * 5).planned_min[0] == 30


def test_off_time_is_rounded_up_to_whole_minutes() -> None:
    # 70 min in two of 35; 1.5 x 35 = 52.5, so 53.
    schedule = plan_one(need_mm=3.5, off_ratio=1.5)
    assert pulses_of(schedule, 0) == [(240, 35), (240 + 35 + 53, 35)]


def test_early_and_day_pulses_are_told_apart_by_their_start() -> None:
    schedule = plan_one(need_mm=5.0, sunrise_min=390.0)
    assert schedule.early_net_mm[0] == pytest.approx(2.5)  # the second starts at sunrise: day
    assert schedule.day_net_mm[0] == pytest.approx(2.5)
    just_later = plan_one(need_mm=5.0, sunrise_min=390.25)
    assert just_later.early_net_mm[0] == pytest.approx(5.0)


def test_a_pulse_waits_until_the_soil_has_room_for_it() -> None:
    # Empty at midnight, 6 mm of ET between 06:00 and 18:00: a pulse of 1.5 mm finds room when
    # F = 1/4, that is at a third of the day, 10:00. The second of 1.5 needs F = 1/2, at 12:00.
    schedule = plan_one(
        depletion_after_rain_mm=0.0, crop_et_mm=6.0, need_mm=3.0, sunset_min=1080.0,
        longest_pulse_min=30, off_ratio=1.0,
    )  # fmt: skip
    assert pulses_of(schedule, 0) == [(600, 30), (720, 30)]


def test_stress_slows_the_et_that_makes_room() -> None:
    # D = 12 of TAW 16 and RAW 8, 6 mm of ET: 16 - D = 4 exp(-6 F / 8), so that 12.6838 mm find
    # room when F = 1/4, at 10:00; one pulse of 120 min.
    schedule = plan_one(
        depletion_after_rain_mm=12.0, crop_et_mm=6.0, taw_mm=16.0, raw_mm=8.0, need_mm=12.6838,
        net_rate_mm_per_min=12.6838 / 120.0, sunset_min=1080.0, longest_pulse_min=300,
        windows=((400, 1260),),
    )  # fmt: skip
    assert pulses_of(schedule, 0) == [(600, 120)]


def test_a_pulse_lies_wholly_in_one_window() -> None:
    # 50 min do not fit the half hour before 05:00, and the second not before 12:00.
    schedule = plan_one(need_mm=5.0, windows=((270, 300), (320, 400), (720, 800)))
    assert pulses_of(schedule, 0) == [(320, 50), (720, 50)]


def test_a_need_below_the_shortest_pulse_waits() -> None:
    schedule = plan_one(need_mm=0.45)
    assert pulses_of(schedule, 0) == []
    assert schedule.wanted_min[0] == 9
    assert cause_of(schedule) is ShortfallCause.MINIMUM_PULSE


def test_a_remainder_that_makes_no_pulse_of_its_own_waits() -> None:
    # 35 min in pulses of 20 to 30: two would be 18 and 17, so one of 30.
    schedule = plan_one(need_mm=1.75, shortest_pulse_min=20, longest_pulse_min=30)
    assert pulses_of(schedule, 0) == [(240, 30)]
    assert cause_of(schedule) is ShortfallCause.MINIMUM_PULSE


def test_the_daily_maximum_caps_the_minutes() -> None:
    schedule = plan_one(need_mm=6.0, daily_maximum_min=100)
    assert pulses_of(schedule, 0) == [(240, 50), (390, 50)]
    assert cause_of(schedule) is ShortfallCause.DAILY_MAXIMUM
    assert schedule.alone_share[0] == pytest.approx(100 / 120)


def test_a_maximum_of_the_whole_day_is_not_what_binds() -> None:
    # 3000 min wanted of the 1440 of a day: six hours are open, or all of them; nobody set a limit.
    few_hours = plan_one(
        need_mm=150.0, taw_mm=400.0, raw_mm=200.0, depletion_after_rain_mm=200.0,
        daily_maximum_min=1440, longest_pulse_min=360, windows=((240, 600),),
    )  # fmt: skip
    assert few_hours.wanted_min[0] == 3000
    assert cause_of(few_hours) is ShortfallCause.WINDOWS
    soil = plan_one(need_mm=150.0, daily_maximum_min=1440)
    assert cause_of(soil) is ShortfallCause.SOIL_STORE


def test_a_daily_maximum_below_the_shortest_pulse_stops_the_block() -> None:
    schedule = plan_one(need_mm=6.0, daily_maximum_min=5)
    assert pulses_of(schedule, 0) == []
    assert cause_of(schedule) is ShortfallCause.DAILY_MAXIMUM


def test_first_fallback_is_more_and_shorter_pulses() -> None:
    # Windows of 40 min: two pulses of 50 do not fit, three of 34, 33, 33 do.
    windows = ((240, 280), (400, 440), (600, 640))
    schedule = plan_one(need_mm=5.0, windows=windows)
    assert pulses_of(schedule, 0) == [(240, 34), (400, 33), (600, 33)]
    assert schedule.used_off_ratio[0] == 2.0
    assert cause_of(schedule) is ShortfallCause.NONE


def test_second_fallback_is_off_time_once_the_pulse() -> None:
    # 150 min of water and off time for two pulses of 50; 200 would be needed at twice.
    schedule = plan_one(need_mm=5.0, windows=((240, 390),))
    assert pulses_of(schedule, 0) == [(240, 50), (340, 50)]
    assert schedule.used_off_ratio[0] == 1.0


def test_last_fallback_places_what_fits_and_names_the_windows() -> None:
    # Of 100 min only one pulse fits 75 min of window: the longest allowed, 60.
    schedule = plan_one(need_mm=5.0, windows=((240, 315),))
    assert pulses_of(schedule, 0) == [(240, 60)]
    assert cause_of(schedule) is ShortfallCause.WINDOWS
    assert schedule.alone_share[0] == pytest.approx(0.6)


def test_windows_cut_by_a_period_without_water_are_called_an_outage() -> None:
    schedule = plan_one(need_mm=5.0, windows=((240, 315),), is_outage=True)
    assert cause_of(schedule) is ShortfallCause.OUTAGE


def test_no_window_at_all_means_no_pulse() -> None:
    schedule = plan_one(need_mm=5.0, windows=((0, 0),))
    assert pulses_of(schedule, 0) == []
    assert cause_of(schedule) is ShortfallCause.WINDOWS
    assert schedule.alone_share[0] == 0.0


def test_a_soil_that_takes_up_less_is_named_even_with_open_windows() -> None:
    # A full soil and 2 mm of ET never make room for 3 mm.
    schedule = plan_one(depletion_after_rain_mm=0.0, crop_et_mm=2.0, need_mm=3.0)
    assert 0 < schedule.planned_net_mm[0] <= 2.0
    assert cause_of(schedule) is ShortfallCause.SOIL_STORE


def test_a_replanned_day_starts_later_and_counts_what_was_given() -> None:
    # 10 mm of depletion, 6 of them given: room for 4 mm, so only the second pulse has to wait.
    schedule = plan_one(
        need_mm=5.0, crop_et_mm=4.0, longest_pulse_min=70, not_before_min=420,
        applied_early_net_mm=4.0, applied_day_net_mm=2.0,
    )  # fmt: skip
    first, second = pulses_of(schedule, 0)
    assert first == (420, 50)
    # 1 mm of 4 is missing: F = 1/4, at a third of the 840 min from 06:00.
    assert second == (640, 50)


def test_the_event_peak_is_what_the_pulses_hold_above_the_et_since() -> None:
    # Both pulses before sunrise: nothing leaves, 5 mm are held at the end of the second.
    schedule = plan_one(need_mm=5.0, sunrise_min=600.0, event_limit_mm=4.9)
    assert schedule.event_peak_mm[0] == pytest.approx(5.0)
    assert schedule.passes_event_limit[0]
    # Between two pulses by day all the first is used up: only the second counts.
    by_day = plan_one(
        need_mm=5.0, crop_et_mm=40.0, taw_mm=90.0, raw_mm=60.0, windows=((600, 660), (1150, 1260))
    )
    used_mm = 40.0 * (et_share(1200, 360.0, 1200.0) - et_share(1150, 360.0, 1200.0))
    assert by_day.event_peak_mm[0] == pytest.approx(2.5 - used_mm)
    assert not by_day.passes_event_limit[0]


@pytest.mark.parametrize(
    "name",
    ["depletion_after_rain_mm", "crop_et_mm", "need_mm", "net_rate_mm_per_min", "sunrise_min"],
)
def test_an_unknown_number_gives_no_pulse_and_unknown_depths(name: str) -> None:
    demand = make_demand({name: math.nan}, {})
    schedule = schedule_supplies(demand, NO_LIMIT)
    assert pulses_of(schedule, 0) == []
    assert np.isnan(schedule.planned_net_mm[0])
    assert pulses_of(schedule, 1) == [(240, 60)]
    assert schedule.planned_net_mm[1] == pytest.approx(3.0)


def test_every_cause_has_words() -> None:
    assert set(CAUSE_TEXT) == set(ShortfallCause)


@given(block_days())
def test_every_rule_holds_for_any_block_alone(block: dict[str, Any]) -> None:
    plan_one(**block)


@given(block_days(), st.integers(0, 1000), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_every_rule_holds_for_a_day_under_way(
    block: dict[str, Any], not_before_min: int, early: float, later: float
) -> None:
    applied_mm = 0.6 * block["depletion_after_rain_mm"]
    plan_one(
        **block,
        not_before_min=not_before_min,
        applied_early_net_mm=early * applied_mm,
        applied_day_net_mm=later * applied_mm * (not_before_min > block["sunrise_min"]),
    )


@given(block_days())
def test_no_pulse_drains_and_the_day_ends_as_the_daily_step_says(block: dict[str, Any]) -> None:
    schedule = plan_one(**block)
    pulses = pulses_of(schedule, 0)
    row = BLOCK | block
    day = simulate_day(
        starts_min=[start for start, _ in pulses],
        durations_min=[length for _, length in pulses],
        **{
            name: row[name]
            for name in (
                "depletion_after_rain_mm", "crop_et_mm", "taw_mm", "raw_mm",
                "sunrise_min", "sunset_min", "net_rate_mm_per_min",
            )
        },
    )  # fmt: skip
    assert day.drainage_mm <= 1e-6
    ledger = step_day(
        np.array([row["depletion_after_rain_mm"]]),
        times=PulseTimes.of_day(
            schedule.pulses,
            sunrise_min=np.array([row["sunrise_min"]]),
            sunset_min=np.array([row["sunset_min"]]),
        ),
        rain_entering_mm=np.zeros(1),
        early_net_mm=schedule.early_net_mm,
        day_net_mm=schedule.day_net_mm,
        **{name: np.array([row[name]]) for name in ("taw_mm", "raw_mm", "crop_et_mm")},
    )
    assert ledger.depletion_end_mm[0] == pytest.approx(day.depletion_end_mm, abs=1e-6)
    assert ledger.actual_crop_et_mm[0] == pytest.approx(day.et_mm, abs=1e-6)


def scan_starts(row: dict[str, Any], lengths: list[int], off_ratio: float) -> list[int]:
    """Earliest starts by looking at every minute of the day; as many as find a place."""
    starts: list[int] = []
    depletion_mm = row["depletion_after_rain_mm"]
    et_mm = minute_et_mm(row["crop_et_mm"], row["sunrise_min"], row["sunset_min"], 1441)
    now = free_from = 0
    for length in lengths:
        net_mm = length * row["net_rate_mm_per_min"]
        for minute in range(now, 1441 - length):
            now = minute
            if (
                minute >= free_from
                and depletion_mm >= net_mm - 1e-9
                and any(
                    opens <= minute and minute + length <= closes
                    for opens, closes in row["windows"]
                )
            ):
                break
            depletion_mm = depletion_after_minute(
                depletion_mm, et_mm[minute], row["taw_mm"], row["raw_mm"]
            )
        else:
            break
        starts.append(now)
        depletion_mm -= net_mm
        off_min = max(math.ceil(off_ratio * length - 1e-9), row["valve_gap_min"])
        free_from = now + length + off_min
    return starts


@given(block_days())
def test_starts_are_the_earliest_that_a_scan_of_all_minutes_finds(block: dict[str, Any]) -> None:
    schedule = plan_one(**block)
    pulses = pulses_of(schedule, 0)
    lengths = [length for _, length in pulses]
    starts = scan_starts(BLOCK | block, lengths, float(schedule.used_off_ratio[0]))
    assert [start for start, _ in pulses] == starts


@given(block_days(), st.integers(20, 60))
def test_a_block_that_does_not_fit_gets_what_an_exhaustive_search_gets(
    block: dict[str, Any], wanted_min: int
) -> None:
    row = BLOCK | block
    row |= {"need_mm": wanted_min * row["net_rate_mm_per_min"], "urgent_need_mm": 0.0}
    planned_min = int(plan_one(**row).planned_min[0])
    shortest, longest = row["shortest_pulse_min"], row["longest_pulse_min"]
    ratios = {row["off_ratio"], min(1.0, row["off_ratio"])}
    best_min = 0
    for total in range(shortest, min(wanted_min, row["daily_maximum_min"]) + 1):
        for count in range(-(-total // longest), total // shortest + 1):
            lengths = [total // count + (k < total % count) for k in range(count)]
            if any(len(scan_starts(row, lengths, ratio)) == count for ratio in ratios):
                best_min = total
                break
    assert planned_min == best_min
