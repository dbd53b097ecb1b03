"""The evening plan as a whole: an example worked by hand, then what holds for all plans."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.agronomy.block_batch import BlockBatch, take_blocks
from service.agronomy.block_days import CropDays, SiteDays, crop_days, days_of
from service.agronomy.daily_plan import (
    DailyPlan,
    coming_days,
    keep_ledger,
    plan_tomorrow,
    ready_min,
)
from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.records import CurveDefinition, Floats, WindowBatch
from service.agronomy.water_balance import PulseTimes, step_day
from tests.agronomy.ledger_error import mass_balance_error_mm
from tests.agronomy.minute_simulation import simulate_day
from tests.factories import batch_of, even_days, make_block, windows_of

DAY = ((240, 1260),)
AMPLE = np.array([1e9])
MID_KC = CurveDefinition(basis="table", season_start=(1, 1), points=((7, 1, 1.0),))
"""Kc 1 all year, so that crop ET is reference ET in examples worked by hand."""


def plan_of(
    blocks: BlockBatch,
    weather: SiteDays,
    depletion_mm: Any,
    *,
    windows: WindowBatch | None = None,
    supply_flow_l_per_h: Floats = AMPLE,
    **options: Any,
) -> tuple[DailyPlan, CropDays]:
    crop = crop_days(blocks, weather)
    count = blocks.area_m2.size
    plan = plan_tomorrow(
        blocks,
        weather,
        crop,
        depletion_midnight_mm=np.broadcast_to(np.asarray(depletion_mm, np.float64), (count,)),
        windows=windows or windows_of(*[DAY] * count),
        supply_flow_l_per_h=supply_flow_l_per_h,
        **options,
    )
    return plan, crop


def pulses_of(plan: DailyPlan, block: int = 0) -> tuple[list[int], list[int]]:
    pulses = plan.schedule.pulses
    rows = slice(int(pulses.offset[block]), int(pulses.offset[block + 1]))
    return pulses.start_min[rows].tolist(), pulses.duration_min[rows].tolist()


def test_an_evening_worked_by_hand() -> None:
    # Berry on sandy loam: TAW 1000 x 0.10 x 0.45 x 0.33 = 14.85 (FAO-56 Eq. 82); at 5 mm/d
    # p = 0.5, RAW 7.425. At midnight 4.0, no rain, ET 5: planned 9.0, beyond the trigger 5.1975.
    # Need 9.0 - 0.3 x 7.425 = 6.7725; net rate 2 / 0.69 x 0.9 / 60 = 0.0434783 mm/min: 155.77 min,
    # rounded down to 155. One pulse may last 85 min (0.6 of 0.45 m): two, of 78 and 77 min.
    blocks = batch_of(make_block(curve=MID_KC))
    plan, _ = plan_of(blocks, even_days(), 4.0)
    assert plan.taw_mm[0] == pytest.approx(14.85)
    assert plan.raw_mm[0] == pytest.approx(7.425)
    assert plan.need.need_mm[0] == pytest.approx(6.7725)
    assert plan.need.urgent_need_mm[0] == pytest.approx(9.0 - 7.425)
    assert plan.schedule.wanted_min[0] == 155
    starts, durations = pulses_of(plan)
    assert durations == [78, 77]
    # The first may start when there is room for 78 x 0.0434783 = 3.391 mm: 4.0 at midnight has it.
    assert starts[0] == 240
    # The second needs 3.348 + 3.391 = 6.739 = 4.0 + 5 F(t): F = 0.5478, just after solar noon,
    # (1 - cos(pi x)) / 2 = 0.5478 at x = 0.5305: 360 + 0.5305 x 840 = 805.6.
    assert starts[1] == 806
    assert plan.gross_mm[0] == pytest.approx(155 / 60 * 2.0 / 0.69)
    assert plan.deferred_mm[0] == pytest.approx(6.7725 - 155 * 2.0 / 0.69 * 0.9 / 60)
    assert plan.shortfall_mm[0] == 0.0
    assert plan.schedule.cause[0] == ShortfallCause.NONE


@pytest.mark.parametrize("most", [1.0, 2.0, 3.0, 5.0])
def test_a_day_has_no_more_pulses_than_a_block_may_have(most: float) -> None:
    # With pulses of 15 min the 155 min would take eleven; a valve turned by hand gets fewer.
    limited = make_block(curve=MID_KC, longest_pulse_min=15.0, daily_pulse_count=most)
    plan, _ = plan_of(batch_of(limited), even_days(), 4.0)
    assert pulses_of(plan)[1] == [15] * int(most)
    assert plan.schedule.cause[0] == ShortfallCause.PULSE_COUNT
    assert plan.deferred_mm[0] > 0.0


def test_a_limit_of_pulses_beyond_those_needed_changes_nothing() -> None:
    for most in (2.0, 12.0, np.nan):
        plan, _ = plan_of(
            batch_of(make_block(curve=MID_KC, daily_pulse_count=most)), even_days(), 4.0
        )
        assert pulses_of(plan)[1] == [78, 77]
        assert plan.schedule.cause[0] == ShortfallCause.NONE


def test_below_the_trigger_the_plan_is_to_wait() -> None:
    plan, _ = plan_of(batch_of(make_block(curve=MID_KC)), even_days(), 0.1)
    assert plan.need.planned_depletion_mm[0] == pytest.approx(5.1)
    assert plan.schedule.planned_min[0] == 0
    assert pulses_of(plan) == ([], [])


def test_likely_rain_makes_the_plan_smaller_and_unlikely_rain_does_not() -> None:
    blocks = batch_of(make_block(curve=MID_KC))
    dry, _ = plan_of(blocks, even_days(), 6.0)
    likely, _ = plan_of(blocks, even_days(rain_mm=9.0, rain_probability_fraction=0.5), 6.0)
    unlikely, _ = plan_of(blocks, even_days(rain_mm=9.0, rain_probability_fraction=0.2), 6.0)
    # 0.5 x 9.0 x 0.33 = 1.485 mm credited.
    assert likely.rain_credit_mm[0] == pytest.approx(1.485)
    assert dry.need.need_mm[0] - likely.need.need_mm[0] == pytest.approx(1.485)
    assert unlikely.need.need_mm[0] == dry.need.need_mm[0]


def test_nothing_runs_before_the_off_time_of_the_day_before_is_over() -> None:
    blocks = batch_of(make_block(curve=MID_KC))
    plan, _ = plan_of(blocks, even_days(), 6.0, not_before_min=np.array([300]))
    assert pulses_of(plan)[0][0] == 300


def test_a_block_is_ready_again_after_the_off_time_of_its_last_pulse() -> None:
    deep = make_block("deep", curve=MID_KC, root_depth_m=0.9)
    plan, _ = plan_of(batch_of(make_block(curve=MID_KC), deep), even_days(), [6.0, 0.0])
    starts, durations = pulses_of(plan)
    expected = starts[-1] + 2 * durations[-1]  # once its length, though the off ratio is 2
    assert ready_min(plan.schedule).tolist() == [expected, 0]


def test_an_outage_is_named_where_it_leaves_the_block_short() -> None:
    blocks = batch_of(make_block(curve=MID_KC))
    closed = windows_of((), is_outage=True)
    plan, _ = plan_of(blocks, even_days(), 6.0, windows=closed)
    assert plan.schedule.planned_min[0] == 0
    assert plan.shortfall_mm[0] == pytest.approx(11.0 - 7.425)
    assert plan.schedule.cause[0] == ShortfallCause.OUTAGE


def test_a_zone_that_became_smaller_counts_as_dry_not_as_drier_than_dry() -> None:
    plan, _ = plan_of(batch_of(make_block(curve=MID_KC)), even_days(), 30.0)
    assert plan.depletion_midnight_mm[0] == pytest.approx(14.85)
    assert plan.need.planned_depletion_mm[0] == pytest.approx(19.85)


def test_the_outlook_starts_with_the_plan() -> None:
    blocks = batch_of(make_block(curve=MID_KC))
    weather = even_days()
    plan, crop = plan_of(blocks, weather, 4.0)
    outlook = coming_days(
        blocks,
        weather,
        crop,
        plan=plan,
        windows_of_day=[windows_of(DAY)] * weather.days.size,
        supply_flow_l_per_h=AMPLE,
    )
    assert outlook.expected_min[0, 0] == pytest.approx(155.0)
    assert outlook.depletion_end_mm[0, 0] == pytest.approx(9.0 - plan.schedule.planned_net_mm[0])
    assert outlook.unwatered_passes_raw_day.tolist() == [0]
    assert outlook.keeps_up.tolist() == [True]


def test_crop_days_of_two_sites_use_the_weather_of_each() -> None:
    blocks = batch_of(
        make_block("a", curve=MID_KC, site_id="west"),
        make_block("b", curve=MID_KC, site_id="east"),
        site_ids=("east", "west"),
    )
    weather = even_days(day_count=2, site_count=2, et0_mm=np.array([[3.0, 6.0]]))
    assert crop_days(blocks, weather).crop_et_mm.tolist() == [[6.0, 3.0], [6.0, 3.0]]


def test_degree_days_go_on_from_the_sum_given() -> None:
    heat = CurveDefinition(
        basis="degree-days",
        season_start=(1, 1),
        stage_knots=(100.0, 200.0, 2000.0, 3000.0),
        degree_day_floor_c=10.0,
    )
    blocks = batch_of(make_block(curve=heat))
    weather = even_days(day_count=3)
    known = crop_days(blocks, weather, degree_day_start_c_day=np.array([300.0]))
    assert known.degree_day_sum_c_day[:, 0].tolist() == [315.0, 330.0, 345.0]
    unknown = crop_days(blocks, weather)
    assert np.isnan(unknown.crop_et_mm).all()


def test_the_ledger_waits_for_a_blocks_first_day() -> None:
    blocks = batch_of(make_block("a", curve=MID_KC), make_block("b", curve=MID_KC))
    crop = crop_days(blocks, even_days(day_count=2))
    nothing = np.zeros((2, 2))
    ledger = keep_ledger(
        np.array([1.0, 2.0]),
        crop,
        first_day_index=np.array([0, 1]),
        early_net_mm=nothing,
        day_net_mm=nothing,
    )
    # TAW 14.85, RAW 7.425: 3.575 of the second day's 5 mm of ET come beyond RAW.
    after_mm = 14.85 - 7.425 * np.exp(-3.575 / 7.425)
    assert ledger.depletion_end_mm[:, 0] == pytest.approx([6.0, after_mm])
    assert math.isnan(ledger.depletion_end_mm[0, 1])
    assert ledger.depletion_start_mm[1, 1] == 2.0


def test_days_of_takes_the_rows_of_every_field() -> None:
    weather = even_days(day_count=4, et0_mm=np.arange(4.0)[:, None])
    part = days_of(weather, 1, 3)
    for field in fields(SiteDays):
        np.testing.assert_array_equal(getattr(part, field.name), getattr(weather, field.name)[1:3])


# --- properties ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Case:
    """An evening of several blocks on one supply."""

    blocks: BlockBatch
    weather: SiteDays
    depletion_mm: Floats
    windows: WindowBatch
    supply_flow_l_per_h: Floats

    def plan(self) -> DailyPlan:
        plan, _ = plan_of(
            self.blocks,
            self.weather,
            self.depletion_mm,
            windows=self.windows,
            supply_flow_l_per_h=self.supply_flow_l_per_h,
        )
        return plan

    def in_order(self, rows: list[int]) -> Case:
        order = np.array(rows)
        return replace(
            self,
            blocks=take_blocks(self.blocks, order),
            depletion_mm=self.depletion_mm[order],
            windows=WindowBatch(
                opens_min=self.windows.opens_min[order],
                closes_min=self.windows.closes_min[order],
                is_outage=self.windows.is_outage[order],
            ),
        )


WINDOWS = (DAY, ((0, 300), (1320, 1440)), ((360, 600),), ())


@st.composite
def evenings(draw: st.DrawFn, *, most_blocks: int = 4, supply: float | None = None) -> Case:
    count = draw(st.integers(1, most_blocks))
    blocks, depletions, windows = [], [], []
    for number in range(count):
        root_depth_m = draw(st.sampled_from([0.2, 0.3, 0.45, 0.9]))
        blocks.append(
            make_block(
                f"block-{number}",
                curve=MID_KC,
                area_m2=draw(st.sampled_from([1500.0, 4000.0, 9000.0])),
                root_depth_m=root_depth_m,
                root_share_of_wetted=draw(st.sampled_from([0.45, 1.0])),
                emission_uniformity_pct=draw(st.sampled_from([75.0, 90.0])),
                saturated_conductivity_mm_per_h=draw(st.sampled_from([4.0, 50.0, 110.0])),
                fill_time_min=draw(st.sampled_from([2.0, 8.0, 25.0])),
                off_ratio=draw(st.sampled_from([1.0, 2.0, 3.0])),
                valve_gap_s=draw(st.sampled_from([0.0, 90.0])),
                daily_maximum_min=draw(st.sampled_from([120.0, 1440.0])),
                depletion_fraction=draw(st.sampled_from([0.2, 0.5])),
            )
        )
        depletions.append(draw(st.floats(0.0, 1.0)) * 100.0 * root_depth_m * 0.33)
        windows.append(draw(st.sampled_from(WINDOWS)))
    weather = even_days(
        et0_mm=draw(st.floats(0.5, 9.0)),
        rain_mm=draw(st.sampled_from([0.0, 3.0, 25.0])),
        rain_probability_fraction=draw(st.sampled_from([0.2, 0.5, 1.0])),
        sunrise_min=draw(st.floats(280.0, 420.0)),
        sunset_min=draw(st.floats(1080.0, 1250.0)),
    )
    batch = batch_of(*blocks)
    flow = supply or draw(st.sampled_from([1.0, 1.5, 3.0])) * float(batch.system.flow_l_per_h.max())
    return Case(batch, weather, np.array(depletions), windows_of(*windows), np.array([flow]))


@given(evenings())
def test_pulses_sum_to_the_planned_minutes_and_the_booked_depths(case: Case) -> None:
    plan = case.plan()
    schedule = plan.schedule
    np.testing.assert_array_equal(schedule.pulses.total_min(), schedule.planned_min)
    np.testing.assert_allclose(
        schedule.early_net_mm + schedule.day_net_mm, schedule.planned_net_mm, atol=1e-9
    )
    np.testing.assert_allclose(
        schedule.planned_min * plan.net_rate_mm_per_min, schedule.planned_net_mm, atol=1e-9
    )
    assert np.all(schedule.planned_net_mm <= plan.need.need_mm + 1e-9)
    assert np.all(schedule.planned_min <= case.blocks.system.daily_maximum_min)
    assert np.all(schedule.pulses.duration_min > 0)


@given(evenings())
def test_no_planned_pulse_drains(case: Case) -> None:
    plan = case.plan()
    weather = case.weather
    sunrise, sunset = float(weather.sunrise_min[0, 0]), float(weather.sunset_min[0, 0])
    for block in range(case.depletion_mm.size):
        starts, durations = pulses_of(plan, block)
        rate = float(plan.net_rate_mm_per_min[block])
        simulated = simulate_day(
            depletion_after_rain_mm=float(plan.need.depletion_after_rain_mm[block]),
            crop_et_mm=float(plan.crop_et_mm[block]),
            taw_mm=float(plan.taw_mm[block]),
            raw_mm=float(plan.raw_mm[block]),
            sunrise_min=sunrise,
            sunset_min=sunset,
            net_rate_mm_per_min=rate,
            starts_min=starts,
            durations_min=durations,
        )
        for duration, room_mm in zip(durations, simulated.room_mm, strict=True):
            assert duration * rate <= room_mm + 1e-6


@given(evenings())
def test_a_one_minute_simulation_of_the_plan_drains_nothing_and_ends_where_the_ledger_does(
    case: Case,
) -> None:
    plan = case.plan()
    schedule = plan.schedule
    ledger = step_day(
        plan.need.depletion_after_rain_mm,
        taw_mm=plan.taw_mm,
        raw_mm=plan.raw_mm,
        rain_entering_mm=np.zeros_like(plan.taw_mm),
        crop_et_mm=plan.crop_et_mm,
        early_net_mm=schedule.early_net_mm,
        day_net_mm=schedule.day_net_mm,
        times=PulseTimes.of_day(
            schedule.pulses,
            sunrise_min=case.weather.sunrise_min[0, case.blocks.site_index],
            sunset_min=case.weather.sunset_min[0, case.blocks.site_index],
        ),
    )
    assert np.all(ledger.irrigation_drainage_mm <= 1e-9)
    for block in range(case.depletion_mm.size):
        starts, durations = pulses_of(plan, block)
        simulated = simulate_day(
            depletion_after_rain_mm=float(plan.need.depletion_after_rain_mm[block]),
            crop_et_mm=float(plan.crop_et_mm[block]),
            taw_mm=float(plan.taw_mm[block]),
            raw_mm=float(plan.raw_mm[block]),
            sunrise_min=float(case.weather.sunrise_min[0, 0]),
            sunset_min=float(case.weather.sunset_min[0, 0]),
            net_rate_mm_per_min=float(plan.net_rate_mm_per_min[block]),
            starts_min=starts,
            durations_min=durations,
        )
        assert simulated.drainage_mm <= 1e-9
        assert simulated.depletion_end_mm == pytest.approx(ledger.depletion_end_mm[block], abs=1e-6)


@given(evenings())
def test_the_supply_is_never_asked_for_more_than_it_gives(case: Case) -> None:
    schedule = case.plan().schedule
    taken_l_per_h = np.zeros(2 * 1440)
    block_of_pulse = np.repeat(np.arange(case.depletion_mm.size), schedule.pulses.count())
    gap_min = np.ceil(case.blocks.system.valve_gap_s / 60.0).astype(np.int64)
    for block, start, duration in zip(
        block_of_pulse, schedule.pulses.start_min, schedule.pulses.duration_min, strict=True
    ):
        ends = start + duration + gap_min[block]
        taken_l_per_h[start:ends] += case.blocks.system.flow_l_per_h[block]
    assert taken_l_per_h.max() <= case.supply_flow_l_per_h[0] * (1.0 + 1e-9)


@given(evenings(), st.randoms(use_true_random=False))
def test_the_order_of_the_blocks_changes_nothing_with_water_for_all(case: Case, dice: Any) -> None:
    ample = replace(case, supply_flow_l_per_h=AMPLE)
    rows = list(range(case.depletion_mm.size))
    dice.shuffle(rows)
    plan, shuffled = ample.plan(), ample.in_order(rows).plan()
    for place, row in enumerate(rows):
        assert pulses_of(plan, row) == pulses_of(shuffled, place)
    np.testing.assert_array_equal(plan.shortfall_mm[rows], shuffled.shortfall_mm)
    np.testing.assert_array_equal(plan.schedule.cause[rows], shuffled.schedule.cause)


@given(evenings(), st.randoms(use_true_random=False))
def test_the_order_of_the_blocks_shifts_no_more_than_ties_on_a_short_supply(
    case: Case, dice: Any
) -> None:
    rows = list(range(case.depletion_mm.size))
    dice.shuffle(rows)
    plan, shuffled = case.plan(), case.in_order(rows).plan()
    # Ties go by the block's place, so on a short supply equal blocks may swap. What each supply
    # gives in all, and every need, does not depend on the order.
    np.testing.assert_array_equal(plan.need.need_mm[rows], shuffled.need.need_mm)
    np.testing.assert_array_equal(plan.schedule.wanted_min[rows], shuffled.schedule.wanted_min)
    np.testing.assert_array_equal(plan.schedule.alone_share[rows], shuffled.schedule.alone_share)


UNKNOWN_FIELDS = (
    "field_capacity",
    "saturated_conductivity_mm_per_h",
    "emitter_flow_l_per_h",
    "fill_time_min",
    "daily_maximum_min",
    "valve_gap_s",
    "depletion_fraction",
)


@pytest.mark.parametrize("name", [*UNKNOWN_FIELDS, "depletion"])
def test_an_unknown_number_of_one_block_stops_that_block_and_no_other(name: str) -> None:
    known = [make_block("a", curve=MID_KC), make_block("c", curve=MID_KC, root_depth_m=0.3)]
    faulty = make_block("b", curve=MID_KC)
    if name != "depletion":
        unknown: dict[str, Any] = {name: np.nan}
        faulty = replace(faulty, **unknown)
    depletion_mm = [6.0, np.nan if name == "depletion" else 6.0, 4.0]
    plan, _ = plan_of(batch_of(known[0], faulty, known[1]), even_days(), depletion_mm)
    alone, _ = plan_of(batch_of(*known), even_days(), [6.0, 4.0])
    assert plan.can_be_planned.tolist() == [True, False, True]
    assert plan.schedule.planned_min[1] == 0
    assert math.isnan(plan.schedule.planned_net_mm[1])
    assert pulses_of(plan, 0) == pulses_of(alone, 0)
    assert pulses_of(plan, 2) == pulses_of(alone, 1)


@given(evenings(most_blocks=4), st.integers(0, 3))
def test_unknown_weather_at_one_site_changes_no_block_of_another(case: Case, which: int) -> None:
    row = which % case.depletion_mm.size
    ample = replace(case, supply_flow_l_per_h=AMPLE)
    two_sites = SiteDays(
        days=case.weather.days,
        **{
            field.name: np.repeat(getattr(case.weather, field.name), 2, axis=1)
            for field in fields(SiteDays)
            if field.name != "days"
        },
    )
    two_sites.et0_mm[:, 1] = np.nan
    at_site = np.zeros(case.depletion_mm.size, dtype=np.int64)
    at_site[row] = 1
    plan = ample.plan()
    broken = replace(
        ample, blocks=replace(case.blocks, site_index=at_site), weather=two_sites
    ).plan()
    assert not broken.can_be_planned[row]
    assert pulses_of(broken, row) == ([], [])
    for block in range(case.depletion_mm.size):
        if block != row:
            assert pulses_of(broken, block) == pulses_of(plan, block)


daily_depths = st.lists(st.floats(0.0, 30.0), min_size=6, max_size=6)


@given(rain=daily_depths, more=daily_depths, water=daily_depths, start=st.floats(0.0, 14.0))
@settings(max_examples=60)
def test_with_the_same_pulses_more_rain_never_raises_depletion(
    rain: list[float], more: list[float], water: list[float], start: float
) -> None:
    blocks = batch_of(make_block(curve=MID_KC))
    early_mm, day_mm = np.array(water)[:, None] * 0.1, np.array(water)[::-1, None] * 0.1

    def ends(depths: list[float]) -> Floats:
        weather = even_days(day_count=6, rain_mm=np.array(depths)[:, None])
        ledger = keep_ledger(
            np.array([start]),
            crop_days(blocks, weather),
            first_day_index=np.array([0]),
            early_net_mm=early_mm,
            day_net_mm=day_mm,
        )
        assert np.abs(mass_balance_error_mm(ledger)).max() < 1e-9
        return ledger.depletion_end_mm

    dry = ends(rain)
    wet = ends([a + b for a, b in zip(rain, more, strict=True)])
    assert np.all(wet <= dry + 1e-9)
