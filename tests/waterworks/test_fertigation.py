"""Injection inside its window: nothing outside it, all of the mass inside, and reasons if not."""

from __future__ import annotations

import math
from functools import partial

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.pulses import Pulse
from service.waterworks.caution import CHEMIGATION_CAUTIONS
from service.waterworks.fertigation import (
    InjectionPlan,
    Injector,
    plan_fertigation,
    plan_injection,
)
from service.waterworks.fertiliser import PRODUCTS, stock_solution
from service.waterworks.injection_window import InjectionWindow, injection_window, pulse_windows

DAY = [Pulse(300 + 72 * place, 24) for place in range(5)]
"""Five pulses of 24 minutes with 48 minutes off."""


@st.composite
def days(draw: st.DrawFn) -> list[Pulse]:
    pulses: list[Pulse] = []
    minute = draw(st.integers(0, 400))
    for _ in range(draw(st.integers(1, 8))):
        duration = draw(st.integers(5, 120))
        pulses.append(Pulse(minute, duration))
        minute += duration + draw(st.integers(0, 90))
    return pulses


def keys_of(plan: InjectionPlan) -> list[str]:
    return [advisory.key for advisory in plan.advisories]


@given(
    pulses=days(),
    minutes=st.integers(1, 120),
    fill=st.floats(0.0, 30.0),
    travel=st.floats(0.0, 30.0),
    longest=st.integers(30, 400),
    added=st.integers(0, 60),
)
def test_no_injection_runs_outside_its_window_and_all_of_it_runs(
    pulses: list[Pulse], minutes: int, fill: float, travel: float, longest: int, added: int
) -> None:
    plan = plan_injection(
        pulses,
        minutes,
        fill_min=fill,
        travel_min=travel,
        longest_pulse_min=longest,
        largest_added_min=added,
    )
    assert plan.cautions == CHEMIGATION_CAUTIONS
    if not plan.is_possible:
        assert plan.pulses == tuple(pulses) and plan.spans == () and plan.advisories
        return
    windows = pulse_windows(plan.pulses, fill, travel)
    for span in plan.spans:
        window, pulse = windows[span.pulse_index], plan.pulses[span.pulse_index]
        assert window is not None
        assert pulse.start_min + window.opens_min <= span.start_min + 1e-6
        assert span.end_min <= pulse.start_min + window.closes_min + 1e-6
        # Stated again, apart from the code: clean water first, and lines flushed at the end.
        assert span.start_min - pulse.start_min >= fill - 1e-6
        assert pulse.end_min - span.end_min >= 1.5 * travel - 1e-6
        if len(plan.pulses) == 1:
            assert span.start_min - pulse.start_min >= pulse.duration_min / 4.0 - 1e-6
            assert pulse.end_min - span.end_min >= pulse.duration_min / 4.0 - 1e-6
        elif len(plan.pulses) == 2:
            assert span.pulse_index == 1
            water = sum(each.duration_min for each in plan.pulses)
            assert pulse.end_min - span.end_min >= water / 4.0 - 1e-6
        else:
            assert 0 < span.pulse_index < len(plan.pulses) - 1
    assert sum(span.duration_min for span in plan.spans) == minutes


@given(
    pulses=days(),
    minutes=st.integers(1, 120),
    travel=st.floats(0.0, 20.0),
    longest=st.integers(30, 400),
    added=st.integers(0, 60),
)
def test_changed_pulses_keep_the_water_their_order_and_their_limits(
    pulses: list[Pulse], minutes: int, travel: float, longest: int, added: int
) -> None:
    plan = plan_injection(
        pulses,
        minutes,
        fill_min=travel,
        travel_min=travel,
        longest_pulse_min=longest,
        largest_added_min=added,
    )
    before = sum(pulse.duration_min for pulse in pulses)
    after = sum(pulse.duration_min for pulse in plan.pulses)
    assert after == before + plan.added_min
    assert 0 <= plan.added_min <= added
    for earlier, later in zip(plan.pulses[:-1], plan.pulses[1:], strict=True):
        assert later.start_min >= earlier.end_min
    for pulse in plan.pulses:
        assert pulse in pulses or pulse.duration_min <= longest
    if plan.added_min == 0:
        assert plan.pulses[-1].end_min <= pulses[-1].end_min


@given(
    pulses=days(),
    stock_l=st.floats(0.5, 100.0),
    highest=st.floats(5.0, 300.0),
    travel=st.floats(0.0, 20.0),
    flow=st.floats(1000.0, 100_000.0),
)
def test_the_nutrient_that_goes_in_is_what_was_planned(
    pulses: list[Pulse], stock_l: float, highest: float, travel: float, flow: float
) -> None:
    tank = stock_solution([(PRODUCTS["potassium-nitrate"], 20.0)], 100.0, 20.0)
    found = plan_fertigation(
        pulses,
        tank,
        stock_l,
        injector=Injector(0.0, highest),
        flow_l_per_h=flow,
        fill_min=travel,
        travel_min=travel,
        longest_pulse_min=400.0,
        largest_added_min=120,
    )
    assume(found.injection is not None)
    assert found.injection is not None
    assert found.injection.injector_l_per_h <= highest * (1.0 + 1e-9)
    # Minute by minute through the day: what the injector gave, times what a litre holds.
    nitrogen_kg_per_l = 20.0 * 0.1385396 / 100.0
    given_l = 0.0
    for minute in range(found.plan.pulses[-1].end_min + 1):
        runs = any(span.start_min <= minute < span.end_min for span in found.plan.spans)
        waters = any(p.start_min <= minute < p.end_min for p in found.plan.pulses)
        assert waters or not runs
        given_l += found.injection.injector_l_per_h / 60.0 if runs else 0.0
    planned_kg = stock_l * nitrogen_kg_per_l
    assert given_l * nitrogen_kg_per_l == pytest.approx(planned_kg, rel=1e-3)
    assert found.injection.nutrient_kg["nitrogen"] == pytest.approx(planned_kg, rel=1e-3)


@given(
    pulses=days(),
    stock_l=st.floats(0.5, 100.0),
    lowest=st.floats(0.0, 4.0),
    travel=st.integers(0, 20),
)
def test_the_injection_fills_its_window_or_runs_at_the_lowest_rate_and_ends_late(
    pulses: list[Pulse], stock_l: float, lowest: float, travel: int
) -> None:
    tank = stock_solution([(PRODUCTS["potassium-nitrate"], 20.0)], 100.0, 20.0)
    found = plan_fertigation(
        pulses,
        tank,
        stock_l,
        injector=Injector(lowest, 300.0),
        flow_l_per_h=10_000.0,
        fill_min=travel,
        travel_min=travel,
        longest_pulse_min=400.0,
    )
    assume(found.injection is not None)
    assert found.injection is not None
    windows = pulse_windows(found.plan.pulses, travel, travel)
    minutes = sum(span.duration_min for span in found.plan.spans)
    is_slowest = 60.0 * stock_l / (minutes + 1) < lowest * (1.0 + 1e-6)
    for span in found.plan.spans:
        window, pulse = windows[span.pulse_index], found.plan.pulses[span.pulse_index]
        assert window is not None
        closes = pulse.start_min + math.floor(window.closes_min + 1e-6)
        opens = pulse.start_min + math.ceil(window.opens_min - 1e-6)
        assert opens <= span.start_min and span.end_min == closes
        assert span.start_min == opens or is_slowest
    assert found.injection.injector_l_per_h >= lowest * (1.0 - 1e-6)


def test_a_strong_dose_goes_in_as_slowly_as_its_window_allows() -> None:
    # 124 kg of calcium nitrate in 400 L into one run of 4 h; the window is its two middle quarters.
    tank = stock_solution([(PRODUCTS["calcium-nitrate"], 124.0)], 400.0, 20.0)
    found = plan_fertigation(
        [Pulse(300, 240)],
        tank,
        400.0,
        injector=Injector(20.0, 600.0),
        flow_l_per_h=27_000.0,
        fill_min=15.0,
        travel_min=15.0,
        longest_pulse_min=240.0,
    )
    assert [(span.start_min, span.end_min) for span in found.plan.spans] == [(360, 480)]
    assert found.injection is not None
    assert found.injection.injector_l_per_h == pytest.approx(200.0)


def test_pulses_that_have_the_room_are_left_as_they_are() -> None:
    long = [Pulse(300 + 120 * place, 60) for place in range(4)]
    plan = plan_injection(long, 20.0, fill_min=10.0, travel_min=10.0, longest_pulse_min=60.0)
    assert plan.pulses == tuple(long)
    assert (plan.merged_count, plan.added_min, plan.advisories) == (0, 0, ())
    # The later of the two between, as late as 15 min of flush allow: less water follows.
    assert [(span.pulse_index, span.start_min, span.end_min) for span in plan.spans] == [
        (2, 565, 585)
    ]


def test_a_long_injection_is_split_over_pulses_before_they_are_changed() -> None:
    long = [Pulse(300 + 120 * place, 60) for place in range(4)]
    plan = plan_injection(long, 60.0, fill_min=10.0, travel_min=10.0, longest_pulse_min=200.0)
    assert plan.pulses == tuple(long)
    assert [span.pulse_index for span in plan.spans] == [1, 2]
    assert keys_of(plan) == ["injection-split"]


def test_short_pulses_are_joined_as_few_as_needed() -> None:
    plan = plan_injection(DAY, 20.0, fill_min=8.0, travel_min=8.0, longest_pulse_min=60.0)
    assert plan.merged_count == 2
    assert [pulse.duration_min for pulse in plan.pulses] == [24, 24, 48, 24]
    assert keys_of(plan) == ["pulses-merged"]


def test_of_two_pulses_the_second_injects_and_ends_with_a_clean_quarter_of_the_day() -> None:
    two = [Pulse(300, 60), Pulse(420, 60)]
    plan = plan_injection(two, 20.0, fill_min=10.0, travel_min=10.0, longest_pulse_min=60.0)
    assert plan.pulses == tuple(two)
    # Full after 10 min, then 20 of injection; the last 30 of 120 are clean.
    assert [(span.start_min, span.end_min) for span in plan.spans] == [(430, 450)]
    assert (plan.merged_count, plan.advisories) == (0, ())


def test_the_second_of_two_pulses_is_lengthened_where_joining_is_forbidden() -> None:
    two = [Pulse(300, 40), Pulse(420, 40)]
    plan = plan_injection(
        two,
        20.0,
        fill_min=10.0,
        travel_min=10.0,
        longest_pulse_min=75.0,
        largest_added_min=30,
    )
    # 10 to fill, 20 of injection, and a quarter of 40 + 54 min clean: 23.5.
    assert plan.pulses == (Pulse(300, 40), Pulse(420, 54))
    assert plan.added_min == 14
    assert [(span.start_min, span.end_min) for span in plan.spans] == [(430, 450)]


def test_two_pulses_become_one_run_where_neither_has_the_room() -> None:
    two = [Pulse(300, 50), Pulse(420, 50)]
    plan = plan_injection(two, 30.0, fill_min=10.0, travel_min=10.0, longest_pulse_min=100.0)
    assert plan.pulses == (Pulse(300, 100),)
    assert [(span.start_min, span.end_min) for span in plan.spans] == [(345, 375)]


def test_water_is_added_only_where_it_may_be_and_joining_does_not_help() -> None:
    day = [Pulse(300, 30), Pulse(400, 30), Pulse(500, 30)]
    asked = partial(
        plan_injection, day, 15.0, fill_min=10.0, travel_min=10.0, longest_pulse_min=40.0
    )
    refused = asked()
    assert not refused.is_possible
    assert "no-added-water" in keys_of(refused)
    helped = asked(largest_added_min=20)
    assert helped.added_min == 10
    assert [pulse.duration_min for pulse in helped.pulses] == [30, 40, 30]
    assert keys_of(helped) == ["water-added"]


def test_a_single_run_is_lengthened_until_its_quarters_leave_room() -> None:
    # T/4 clean before and after leave T/2: 30 minutes need a run of 60.
    plan = plan_injection(
        [Pulse(300, 40)],
        30.0,
        fill_min=5.0,
        travel_min=5.0,
        longest_pulse_min=90.0,
        largest_added_min=60,
    )
    assert plan.added_min == 20
    assert [(span.start_min, span.end_min) for span in plan.spans] == [(315, 345)]


def test_a_run_is_not_lengthened_past_its_window() -> None:
    plan = plan_injection(
        [Pulse(300, 40)],
        30.0,
        fill_min=5.0,
        travel_min=5.0,
        longest_pulse_min=90.0,
        largest_added_min=60,
        closes_min=350,
    )
    assert not plan.is_possible
    assert keys_of(plan) == ["run-too-short", "added-water-too-little", "what-helps"]


def test_the_callers_check_can_forbid_a_joined_pulse() -> None:
    asked = partial(plan_injection, DAY, 20.0, fill_min=8.0, travel_min=8.0, longest_pulse_min=60.0)
    plan = asked(allows_pulse=lambda start, _minutes: start != 444)
    assert plan.is_possible and plan.pulses[1].duration_min == 48
    none = asked(allows_pulse=lambda _start, _minutes: False)
    assert not none.is_possible
    assert "supply do not allow" in " ".join(each.text for each in none.advisories)


@pytest.mark.parametrize(
    ("pulses", "key"),
    [
        ([], "no-pulses"),
        ([Pulse(300, 30)], "run-too-short"),
        ([Pulse(300, 30), Pulse(400, 30)], "second-pulse-too-short"),
        ([Pulse(300, 20), Pulse(400, 20), Pulse(500, 20)], "pulse-too-short"),
    ],
)
def test_what_cannot_be_done_says_why_and_what_helps(pulses: list[Pulse], key: str) -> None:
    plan = plan_injection(pulses, 45.0, fill_min=10.0, travel_min=10.0, longest_pulse_min=30.0)
    assert not plan.is_possible
    assert keys_of(plan)[0] == key
    if pulses:
        assert keys_of(plan)[-1] == "what-helps"


def test_a_run_without_room_has_no_window() -> None:
    assert injection_window(30.0, 20.0, 10.0) is None
    assert injection_window(0.0, 0.0, 0.0) is None
    assert injection_window(60.0, 5.0, 5.0) == InjectionWindow(15.0, 45.0)


@given(run=st.floats(1.0, 600.0), fill=st.floats(0.0, 60.0), travel=st.floats(0.0, 60.0))
def test_a_window_leaves_a_clean_quarter_and_the_travel_on_both_sides(
    run: float, fill: float, travel: float
) -> None:
    window = injection_window(run, fill, travel)
    if window is None:
        assert max(run / 4.0, fill) + max(run / 4.0, 1.5 * travel) >= run - 1e-9
        return
    assert window.opens_min >= max(run / 4.0, fill)
    assert run - window.closes_min >= max(run / 4.0, 1.5 * travel) - 1e-9
    assert 0.0 < window.duration_min <= run / 2.0 + 1e-9


def test_an_injector_too_large_for_the_dose_is_said() -> None:
    tank = stock_solution([(PRODUCTS["urea"], 20.0)], 100.0, 20.0)
    found = plan_fertigation(
        [Pulse(300, 120)],
        tank,
        1.0,
        injector=Injector(20.0, 100.0),
        flow_l_per_h=10_000.0,
        fill_min=10.0,
        travel_min=10.0,
        longest_pulse_min=120.0,
    )
    assert found.injection is None and not found.plan.is_possible
    assert keys_of(found.plan) == ["injector-too-large"]


def test_a_small_injector_takes_its_time() -> None:
    tank = stock_solution([(PRODUCTS["urea"], 20.0)], 100.0, 20.0)
    found = plan_fertigation(
        [Pulse(300, 120)],
        tank,
        30.0,
        injector=Injector(1.0, 30.0),
        flow_l_per_h=10_000.0,
        fill_min=10.0,
        travel_min=10.0,
        longest_pulse_min=120.0,
    )
    assert found.injection is not None
    assert found.plan.spans[0].duration_min == 60
    assert found.injection.injector_l_per_h == pytest.approx(30.0)


def test_what_cannot_be_planned_has_no_rates() -> None:
    tank = stock_solution([(PRODUCTS["urea"], 20.0)], 100.0, 20.0)
    found = plan_fertigation(
        [Pulse(300, 20)],
        tank,
        20.0,
        injector=Injector(1.0, 30.0),
        flow_l_per_h=10_000.0,
        fill_min=10.0,
        travel_min=10.0,
        longest_pulse_min=20.0,
    )
    assert found.injection is None
    assert keys_of(found.plan)[0] == "run-too-short"


def test_every_fault_of_a_day_is_listed() -> None:
    with pytest.raises(InputInvalid) as refusal:
        plan_injection(
            [Pulse(300, 30), Pulse(320, 0)],
            0.0,
            fill_min=5.0,
            travel_min=5.0,
            longest_pulse_min=math.inf,
            largest_added_min=-1,
        )
    assert [fault.where for fault in refusal.value.faults] == [
        "pulses[1]",
        "pulses[1] start",
        "injection_min",
        "longest_pulse_min",
        "largest_added_min",
    ]


@pytest.mark.parametrize(("fill", "travel"), [(-1.0, 5.0), (5.0, math.nan), (math.inf, 5.0)])
def test_times_that_cannot_be_are_refused(fill: float, travel: float) -> None:
    with pytest.raises(InputInvalid, match="filling and travel"):
        injection_window(60.0, fill, travel)


def test_an_injector_that_gives_nothing_and_a_dose_of_nothing_are_refused() -> None:
    tank = stock_solution([(PRODUCTS["urea"], 20.0)], 100.0, 20.0)

    def plan(stock_l: float, injector: Injector) -> None:
        plan_fertigation(
            DAY,
            tank,
            stock_l,
            injector=injector,
            flow_l_per_h=1000.0,
            fill_min=1.0,
            travel_min=1.0,
            longest_pulse_min=60.0,
        )

    with pytest.raises(InputInvalid, match="this injector"):
        plan(1.0, Injector(5.0, 5.0))
    with pytest.raises(InputInvalid, match="nothing to inject"):
        plan(0.0, Injector(0.0, 5.0))


def test_a_day_of_very_many_pulses_is_answered_at_once() -> None:
    many = [Pulse(20 * place, 10) for place in range(60)]
    plan = plan_injection(
        many,
        40.0,
        fill_min=15.0,
        travel_min=15.0,
        longest_pulse_min=60.0,
        largest_added_min=30,
    )
    # 15 min fill, 40 min injection and 22.5 min flush are more than a pulse may last.
    assert not plan.is_possible
    longer = plan_injection(many, 40.0, fill_min=15.0, travel_min=15.0, longest_pulse_min=80.0)
    assert longer.merged_count == 8 and longer.added_min == 0
