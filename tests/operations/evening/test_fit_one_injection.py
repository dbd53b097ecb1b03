"""Injections in a day's pulses: what they change keeps every promise of the plan.

The farm is invented. Room in the soil and flow of the supply are checked minute by minute, by code
that shares nothing with the fitting.
"""

from __future__ import annotations

import functools
import itertools
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.block_batch import make_block_batch
from service.agronomy.block_days import SiteDays, crop_days
from service.agronomy.daily_plan import plan_tomorrow
from service.agronomy.injection_room import PlannedDay, changed_plan, pulse_fault
from service.agronomy.watering_window import watering_windows
from service.errors import InputInvalid
from service.farm_files.farm_file import parse_farm
from service.operations.evening.fit_injections import order_advisories
from service.operations.evening.fit_one_injection import fit_injection
from service.pulses import Pulse
from service.records.farms import BLOCK_NUMBERS, FarmBundle
from service.records.waterworks import FertigationOrder
from service.waterworks.fertigation import InjectionPlan
from service.waterworks.fertiliser import PRODUCTS
from tests.agronomy.minute_simulation import simulate_day

DAY = date(2026, 7, 15)
SUNRISE, SUNSET = 370.0, 1225.0
BLOCKS = ("one", "two", "three")
FARM = """
[farm]
id = "invented"
zone = "UTC"

[[site]]
id = "home"
latitude = 40.0
longitude = 0.0
elevation = "100 m"

[[supply]]
id = "well"
flow = "{flow_m3_per_h} m3/h"
windows = ["05:00-21:00"]
"""
BLOCK = """
[[block]]
id = "{name}"
crop = "grape-wine"
area = "0.2 ha"
row_spacing = "2.5 m"
emitter_spacing = "0.5 m"
emitter_flow = "2 L/h"
soil = {{ texture = "{texture}" }}
root_depth = "0.6 m"
season = {{ start = "03-01", lengths = [20, 30, 150, 30] }}
"""


@functools.cache
def invented_farm(texture: str = "loam", pump: int = 6) -> FarmBundle:
    """Three blocks of 3.2 m3/h on one supply, which feeds one of them at a time, or more."""
    blocks = "".join(BLOCK.format(name=name, texture=texture) for name in BLOCKS)
    return parse_farm(FARM.format(flow_m3_per_h=pump) + blocks, name="invented.toml")


def planned_day(
    texture: str, et0_mm: float, shares: tuple[float, ...], *, pump: int = 6
) -> PlannedDay:
    """A day planned by the service; each block begins it with a share of RAW lacking."""
    bundle = invented_farm(texture, pump)
    blocks = make_block_batch(
        {
            name: np.array([getattr(block, name) for block in bundle.blocks], dtype=np.float64)
            for name in BLOCK_NUMBERS
        },
        [block.curve for block in bundle.blocks],
        site_index=np.zeros(3, dtype=np.int64),
        supply_index=np.zeros(3, dtype=np.int64),
        season_year=DAY.year,
    )
    one = np.ones((1, 1))
    site = SiteDays(
        days=np.array([DAY], dtype="datetime64[D]"),
        et0_mm=et0_mm * one,
        rain_mm=0.0 * one,
        rain_probability_fraction=one,
        tmax_c=30.0 * one,
        tmin_c=15.0 * one,
        climate_term=0.0 * one,
        sunrise_min=SUNRISE * one,
        sunset_min=SUNSET * one,
    )
    crop = crop_days(blocks, site)
    flow = np.array([supply.flow_l_per_h for supply in bundle.supplies])
    windows = watering_windows(
        [block.windows for block in bundle.blocks],
        [bundle.supplies[0].windows] * 3,
        [block.no_water for block in bundle.blocks],
        zones=["UTC"] * 3,
        day=DAY,
    )
    plan = plan_tomorrow(
        blocks,
        site,
        crop,
        depletion_midnight_mm=np.array(shares) * crop.raw_mm[0],
        windows=windows,
        supply_flow_l_per_h=flow,
    )
    return PlannedDay(
        blocks=blocks,
        plan=plan,
        windows=windows,
        supply_flow_l_per_h=flow,
        sunrise_min=np.full(3, SUNRISE),
        sunset_min=np.full(3, SUNSET),
    )


def order(**changes: Any) -> FertigationOrder:
    """An order of urea."""
    facts: dict[str, Any] = {
        "block_id": "invented.one",
        "day": DAY,
        "product_kg": ((PRODUCTS["urea"], 4.0),),
        "stock_l": 30.0,
        "temperature_c": 15.0,
        "injector_lowest_l_per_h": 1.0,
        "injector_highest_l_per_h": 120.0,
        "fill_min": 5.0,
        "travel_min": 8.0,
    }
    return FertigationOrder(**{**facts, **changes})


def pulses_of(day: PlannedDay, row: int) -> tuple[Pulse, ...]:
    return day.plan.schedule.pulses.of_block(row)


def drained_mm(day: PlannedDay, row: int) -> float:
    """What drains from a block that day, minute by minute."""
    plan = day.plan
    pulses = pulses_of(day, row)
    return simulate_day(
        depletion_after_rain_mm=float(plan.need.depletion_after_rain_mm[row]),
        crop_et_mm=float(plan.crop_et_mm[row]),
        taw_mm=float(plan.taw_mm[row]),
        raw_mm=float(plan.raw_mm[row]),
        sunrise_min=SUNRISE,
        sunset_min=SUNSET,
        net_rate_mm_per_min=float(plan.net_rate_mm_per_min[row]),
        starts_min=[start for start, _ in pulses],
        durations_min=[length for _, length in pulses],
    ).drainage_mm


def largest_flow_l_per_h(day: PlannedDay) -> float:
    """Most that the supply gives in any minute."""
    flow = np.zeros(2880)
    for row in range(3):
        for start, length in pulses_of(day, row):
            flow[start : start + length] += day.blocks.system.flow_l_per_h[row]
    return float(flow.max())


def check_spans(plan: InjectionPlan, fill_min: float, travel_min: float) -> None:
    """Every span lies in one pulse, after filling and before the flush."""
    for span in plan.spans:
        inside = [
            pulse
            for pulse in plan.pulses
            if pulse.start_min + fill_min <= span.start_min + 1e-9
            and span.end_min <= pulse.end_min - 1.5 * travel_min + 1e-9
        ]
        assert inside, (span, plan.pulses)


@given(
    pump=st.sampled_from([6, 8, 20]),
    texture=st.sampled_from(["sand", "sandy-loam", "loam", "clay-loam"]),
    et0_mm=st.floats(2.0, 9.0),
    shares=st.tuples(*[st.floats(0.2, 1.3)] * 3),
    urea_kg=st.floats(0.5, 10.0),
    travel_min=st.floats(1.0, 25.0),
    added_min=st.integers(0, 120),
)
def test_a_fitted_injection_keeps_every_promise_of_the_plan(
    pump: int,
    texture: str,
    et0_mm: float,
    shares: tuple[float, ...],
    urea_kg: float,
    travel_min: float,
    added_min: int,
) -> None:
    day = planned_day(texture, et0_mm, shares, pump=pump)
    wanted = order(
        product_kg=((PRODUCTS["urea"], urea_kg),),
        travel_min=travel_min,
        largest_added_min=added_min,
    )
    before = pulses_of(day, 0)
    found, _ = fit_injection(day, 0, wanted, block=invented_farm(texture).blocks[0])
    if not found.plan.is_possible:
        assert found.injection is None
        assert found.plan.spans == ()
        assert found.plan.advisories
        assert found.plan.pulses == before
        return
    after = found.plan.pulses
    changed = PlannedDay(
        blocks=day.blocks,
        plan=changed_plan(day, {0: after}),
        windows=day.windows,
        supply_flow_l_per_h=day.supply_flow_l_per_h,
        sunrise_min=day.sunrise_min,
        sunset_min=day.sunset_min,
    )
    water = sum(length for _, length in after) - sum(length for _, length in before)
    assert 0 <= water <= added_min
    check_spans(found.plan, max(5.0, 3.0), travel_min)
    # One minute's water may be left over at the instant of a start.
    minute_mm = float(day.plan.net_rate_mm_per_min[0])
    assert drained_mm(changed, 0) <= drained_mm(day, 0) + minute_mm
    assert largest_flow_l_per_h(changed) <= day.supply_flow_l_per_h[0] + 1e-6
    assert pulses_of(changed, 1) == pulses_of(day, 1)
    for start, length in after:
        assert 300 <= start < start + length <= 1260  # 05:00 to 21:00
    injection = found.injection
    assert injection is not None
    minutes = sum(span.duration_min for span in found.plan.spans)
    # Mass in: 46.646 % of urea is nitrogen, by its formula CO(NH2)2.
    assert injection.nutrient_kg["nitrogen"] == pytest.approx(0.46646 * urea_kg, rel=1e-3)
    assert injection.injector_l_per_h * minutes / 60.0 == pytest.approx(30.0, rel=1e-9)


def test_the_generated_days_hold_fitted_joined_and_refused_injections() -> None:
    # What the property test above says would be empty if one of these never came up.
    seen = set()
    cases = itertools.product(
        ("sand", "sandy-loam"),
        (3.0, 5.0, 7.0),
        (0.4, 0.7, 1.0, 1.2),
        (3.0, 25.0, 40.0, 60.0),
        (0, 120),
    )
    for texture, et0_mm, share, travel_min, added_min in cases:
        found, _ = fit_injection(
            planned_day(texture, et0_mm, (share, 0.6, 0.6), pump=20),
            0,
            order(travel_min=travel_min, largest_added_min=added_min),
            block=invented_farm(texture).blocks[0],
        )
        kind = "refused"
        if found.plan.is_possible:
            kind = "joined" if found.plan.merged_count else "as it is"
            kind = "lengthened" if found.plan.added_min else kind
        seen.add(kind)
    assert seen == {"refused", "as it is", "joined", "lengthened"}


def test_pulses_that_nobody_may_change_stay_as_they_are() -> None:
    day = planned_day("loam", 6.0, (1.0, 0.6, 0.6))
    found, _ = fit_injection(
        day,
        0,
        order(travel_min=40.0, largest_added_min=200),
        block=invented_farm().blocks[0],
        may_change=False,
    )
    assert found.plan.pulses == pulses_of(day, 0)


def test_what_breaks_a_promise_is_named() -> None:
    day = planned_day("loam", 6.0, (1.0, 0.6, 0.6))
    nothing = np.zeros(2880)
    assert pulse_fault(day, 0, pulses_of(day, 0), nothing) is None
    assert "window" in str(pulse_fault(day, 0, [Pulse(200, 60)], nothing))
    assert "no room" in str(pulse_fault(day, 0, [Pulse(310, 900)], nothing))
    busy = np.full(2880, 5_000.0)
    assert "supply" in str(pulse_fault(day, 0, [Pulse(600, 30)], busy))


def test_an_unknown_travel_time_is_refused_with_what_to_do() -> None:
    day = planned_day("loam", 6.0, (1.0, 0.6, 0.6))
    with pytest.raises(InputInvalid, match="dye"):
        fit_injection(day, 0, order(travel_min=None), block=invented_farm().blocks[0])


def test_nitrogen_after_its_last_day_is_warned_of_and_other_nutrients_are_not() -> None:
    late = DAY - timedelta(days=1)
    assert order_advisories(order(last_nitrogen_day=late))[0].key == "nitrogen-too-late"
    assert order_advisories(order(last_nitrogen_day=DAY)) == ()
    potash = ((PRODUCTS["potassium-sulfate"], 2.0),)
    assert order_advisories(order(last_nitrogen_day=late, product_kg=potash)) == ()
