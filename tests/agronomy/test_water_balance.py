"""The daily step: the order of its bookings, its bounds, and batches against single blocks."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from service.agronomy.records import Floats
from service.agronomy.water_balance import (
    DayLedger,
    PulseTimes,
    step_day,
    step_days,
)
from tests.agronomy.ledger_error import mass_balance_error_mm

TERMS = ("taw_mm", "raw_mm", "rain_entering_mm", "crop_et_mm", "early_net_mm", "day_net_mm")


def one_day(depletion_mm: float, **terms: float) -> dict[str, float]:
    """One block with TAW 50 and RAW 20; what is not named is zero."""
    given_terms: dict[str, float] = {
        **dict.fromkeys(TERMS, 0.0),
        "taw_mm": 50.0,
        "raw_mm": 20.0,
        **terms,
    }
    arrays_of: dict[str, Any] = {name: np.array([v]) for name, v in given_terms.items()}
    ledger = step_day(np.array([depletion_mm]), **arrays_of)
    assert abs(mass_balance_error_mm(ledger)[0]) < 1e-9
    return {part.name: float(getattr(ledger, part.name)[0]) for part in fields(ledger)}


def test_a_day_without_water_or_demand_changes_nothing() -> None:
    day = one_day(12.0)
    assert day["depletion_end_mm"] == 12.0
    assert day["stress_ratio"] == 1.0


def test_rain_above_what_is_missing_drains() -> None:
    day = one_day(5.0, rain_entering_mm=8.0, crop_et_mm=2.0)
    assert day["rain_drainage_mm"] == 3.0
    assert day["irrigation_drainage_mm"] == 0.0
    assert day["depletion_end_mm"] == 2.0


def test_irrigation_before_sunrise_drains_before_the_crop_can_use_it() -> None:
    day = one_day(5.0, early_net_mm=8.0, crop_et_mm=4.0)
    assert day["irrigation_drainage_mm"] == 3.0
    assert day["depletion_end_mm"] == 4.0


def test_irrigation_of_the_day_is_used_before_it_drains() -> None:
    day = one_day(5.0, day_net_mm=8.0, crop_et_mm=4.0)
    assert day["irrigation_drainage_mm"] == 0.0
    assert day["depletion_end_mm"] == 1.0
    assert one_day(5.0, day_net_mm=11.0, crop_et_mm=4.0)["irrigation_drainage_mm"] == 2.0


def test_rain_comes_before_irrigation_so_that_irrigation_drains_on_a_wet_day() -> None:
    day = one_day(5.0, rain_entering_mm=5.0, early_net_mm=5.0)
    assert day["rain_drainage_mm"] == 0.0
    assert day["irrigation_drainage_mm"] == 5.0


def test_stress_follows_the_depletion_through_the_day() -> None:
    # TAW 50, RAW 20: 50 - D = 15 exp(-4 / 30) from D = 35 on, 12 exp(-2 / 30) after 2 mm from 20.
    assert one_day(35.0, crop_et_mm=4.0)["actual_crop_et_mm"] == pytest.approx(
        15.0 * (1.0 - math.exp(-4.0 / 30.0)), abs=1e-12
    )
    late = one_day(18.0, crop_et_mm=4.0)
    assert late["depletion_end_mm"] == pytest.approx(50.0 - 30.0 * math.exp(-2.0 / 30.0), abs=1e-12)
    assert late["stress_ratio"] == pytest.approx((late["depletion_end_mm"] - 18.0) / 4.0)
    assert one_day(35.0, crop_et_mm=4.0, early_net_mm=15.0)["stress_ratio"] < 1.0
    assert one_day(35.0, crop_et_mm=4.0, early_net_mm=19.0)["stress_ratio"] == 1.0
    assert one_day(35.0)["stress_ratio"] == 0.5


def test_water_without_a_time_enters_in_step_with_the_et() -> None:
    # From D = 35, R = 15: 4 mm of ET and 2 of water a day, dR/dF = 2 - 4 R / 30 = 0.
    assert one_day(35.0, crop_et_mm=4.0, day_net_mm=2.0)["depletion_end_mm"] == pytest.approx(35.0)
    # 12 mm of water to 4 of ET: R = 90 - 75 exp(-4 F / 30), which reaches 30 only at F = 1.7.
    assert one_day(35.0, crop_et_mm=4.0, day_net_mm=12.0)["depletion_end_mm"] == pytest.approx(
        50.0 - 90.0 + 75.0 * math.exp(-4.0 / 30.0)
    )
    # 24 mm: R = 180 - 165 exp(-4 F / 30) reaches 30 at F = 0.71, then 20 mm a day to the good.
    more = one_day(35.0, crop_et_mm=4.0, day_net_mm=24.0)["depletion_end_mm"]
    free = 7.5 * math.log((180.0 - 15.0) / (180.0 - 30.0))
    assert more == pytest.approx(20.0 - 20.0 * (1.0 - free))


def test_a_pulse_relieves_the_stress_of_the_hours_after_it_only() -> None:
    # At solar noon half of the 4 mm have passed: R = 15 exp(-2 / 30), then 6 more, then the same.
    one = np.ones(1)
    ledger = step_day(
        35.0 * one, taw_mm=50.0 * one, raw_mm=20.0 * one, rain_entering_mm=0.0 * one,
        crop_et_mm=4.0 * one, early_net_mm=0.0 * one, day_net_mm=6.0 * one,
        times=PulseTimes(
            offset=np.array([0, 1]), start_min=720.0 * one, duration_min=60.0 * one,
            sunrise_min=360.0 * one, sunset_min=1080.0 * one,
        ),
    )  # fmt: skip
    half = math.exp(-2.0 / 30.0)
    assert ledger.depletion_end_mm[0] == pytest.approx(50.0 - (15.0 * half + 6.0) * half, abs=1e-12)
    assert abs(mass_balance_error_mm(ledger)[0]) < 1e-12


def test_a_dry_zone_gives_the_crop_only_what_the_day_brings() -> None:
    assert one_day(50.0, crop_et_mm=6.0)["actual_crop_et_mm"] == 0.0
    day = one_day(50.0, raw_mm=50.0, crop_et_mm=6.0, day_net_mm=2.0)
    assert day["actual_crop_et_mm"] == 2.0
    assert day["depletion_end_mm"] == 50.0


def test_a_zone_that_shrinks_books_the_missing_depletion_first() -> None:
    day = one_day(60.0, rain_entering_mm=50.0)
    assert day["resize_mm"] == -10.0
    assert day["depletion_end_mm"] == 0.0
    assert day["rain_drainage_mm"] == 0.0


def test_a_zone_that_grows_keeps_its_depletion() -> None:
    assert one_day(30.0, taw_mm=80.0)["resize_mm"] == 0.0


def test_a_day_that_ends_below_its_readily_available_water_is_flagged() -> None:
    assert one_day(18.0, crop_et_mm=3.0)["has_afternoon_stress"]
    assert not one_day(18.0, crop_et_mm=2.0)["has_afternoon_stress"]


def test_a_zone_that_holds_nothing_gives_nothing_and_keeps_the_books() -> None:
    day = one_day(0.0, taw_mm=0.0, raw_mm=0.0, crop_et_mm=5.0, early_net_mm=2.0)
    assert day["depletion_end_mm"] == 0.0
    assert day["irrigation_drainage_mm"] == 2.0
    assert day["actual_crop_et_mm"] == 0.0


def amounts(shape: tuple[int, ...], largest: float) -> st.SearchStrategy[Floats]:
    return arrays(np.float64, shape, elements=st.floats(0.0, largest))


@st.composite
def seasons(draw: st.DrawFn) -> dict[str, Any]:
    shape = (draw(st.integers(1, 12)), draw(st.integers(1, 5)))
    taw_mm = draw(amounts(shape, 200.0))
    return {
        "depletion_start_mm": draw(amounts(shape[1:], 250.0)),
        "first_day_index": draw(arrays(np.int64, shape[1:], elements=st.integers(0, shape[0]))),
        "taw_mm": taw_mm,
        "raw_mm": taw_mm * draw(st.floats(0.1, 0.8)),
        "rain_entering_mm": draw(amounts(shape, 120.0)),
        "crop_et_mm": draw(amounts(shape, 15.0)),
        "early_net_mm": draw(amounts(shape, 40.0)),
        "day_net_mm": draw(amounts(shape, 40.0)),
    }


def run(season: dict[str, Any], **changes: Any) -> DayLedger:
    terms = {**season, **changes}
    return step_days(terms.pop("depletion_start_mm"), **terms)


@given(season=seasons())
def test_every_millimetre_is_booked(season: dict[str, Any]) -> None:
    ledger = run(season)
    error = mass_balance_error_mm(ledger)
    is_running = season["first_day_index"] <= np.arange(error.shape[0])[:, np.newaxis]
    assert (np.abs(error[is_running]) < 1e-9).all()
    assert np.isnan(error[~is_running]).all()


@given(season=seasons())
def test_depletion_stays_between_full_and_empty_and_nothing_runs_backwards(
    season: dict[str, Any],
) -> None:
    ledger = run(season, first_day_index=np.zeros_like(season["first_day_index"]))
    assert (ledger.depletion_end_mm >= 0.0).all()
    assert (ledger.depletion_end_mm <= ledger.taw_mm).all()
    assert (ledger.actual_crop_et_mm >= 0.0).all()
    assert (ledger.actual_crop_et_mm <= ledger.crop_et_mm).all()
    assert (ledger.rain_drainage_mm >= 0.0).all()
    assert (ledger.irrigation_drainage_mm >= 0.0).all()
    assert (ledger.resize_mm <= 0.0).all()
    assert ((ledger.stress_ratio >= 0.0) & (ledger.stress_ratio <= 1.0)).all()


@st.composite
def small_zones(draw: st.DrawFn) -> dict[str, Any]:
    """Seasons of one zone that may hold less than a day's use, with pulses by day."""
    season = draw(seasons())
    shape = season["taw_mm"].shape
    season["taw_mm"] = np.full(shape, draw(st.floats(0.5, 200.0)))
    season["raw_mm"] = season["taw_mm"] * draw(st.floats(0.1, 0.8))
    count = draw(
        arrays(np.int64, (taw_count := season["taw_mm"].size,), elements=st.integers(0, 3))
    )
    starts = draw(arrays(np.float64, (3 * taw_count,), elements=st.floats(360.0, 1200.0)))
    offset = np.concatenate(([0], np.cumsum(count)))
    start_min = np.concatenate(
        [np.empty(0), *(np.sort(starts[3 * k : 3 * k + n]) for k, n in enumerate(count.tolist()))]
    )
    season["times"] = PulseTimes(
        offset=offset,
        start_min=start_min,
        duration_min=np.full(start_min.size, 30.0),
        sunrise_min=np.full(shape, 330.0),
        sunset_min=np.full(shape, 1150.0),
    )
    return season


@settings(max_examples=300)
@given(season=small_zones(), more=st.floats(0.0, 60.0), on_day=st.integers(0, 11))
def test_more_rain_never_raises_depletion_under_the_same_pulses(
    season: dict[str, Any], more: float, on_day: int
) -> None:
    wetter = season["rain_entering_mm"].copy()
    wetter[on_day % wetter.shape[0]] += more
    start = np.zeros_like(season["first_day_index"])
    for times in (season["times"], None):
        terms = season | {"times": times, "first_day_index": start}
        dry = run(terms).depletion_end_mm
        wet = run(terms | {"rain_entering_mm": wetter}).depletion_end_mm
        assert (wet <= dry + 1e-9).all()


@given(season=small_zones())
def test_every_millimetre_is_booked_with_pulses_at_their_times(season: dict[str, Any]) -> None:
    ledger = run(season | {"first_day_index": np.zeros_like(season["first_day_index"])})
    assert (np.abs(mass_balance_error_mm(ledger)) < 1e-9).all()
    assert ((ledger.stress_ratio >= 0.0) & (ledger.stress_ratio <= 1.0)).all()


@given(season=seasons())
def test_a_batch_gives_what_its_blocks_give_one_by_one(season: dict[str, Any]) -> None:
    together = run(season)
    for block in range(season["depletion_start_mm"].size):
        single = run({name: term[..., block : block + 1] for name, term in season.items()})
        for part in fields(DayLedger):
            np.testing.assert_array_equal(
                getattr(together, part.name)[:, block], getattr(single, part.name)[:, 0]
            )


@given(season=seasons(), name=st.sampled_from(TERMS), place=st.integers(0, 4))
def test_an_unknown_number_makes_only_its_own_block_unknown(
    season: dict[str, Any], name: str, place: int
) -> None:
    start = np.zeros_like(season["first_day_index"])
    block = place % start.size
    broken = season[name].copy()
    broken[0, block] = np.nan
    whole = run(season, first_day_index=start)
    ledger = run(season, **{"first_day_index": start, name: broken})
    assert np.isnan(ledger.depletion_end_mm[:, block]).all()
    assert not ledger.has_afternoon_stress[:, block].any()
    others = np.arange(start.size) != block
    np.testing.assert_array_equal(
        ledger.depletion_end_mm[:, others], whole.depletion_end_mm[:, others]
    )


@given(season=seasons(), cut=st.integers(0, 12))
def test_a_season_is_the_same_in_one_run_or_two(season: dict[str, Any], cut: int) -> None:
    start = np.zeros_like(season["first_day_index"])
    whole = run(season, first_day_index=start)
    days = whole.taw_mm.shape[0]
    cut = min(cut, days)
    first = run({**season, **{n: season[n][:cut] for n in TERMS}}, first_day_index=start)
    between = first.depletion_end_mm[-1] if cut else season["depletion_start_mm"]
    second = run(
        {**season, **{n: season[n][cut:] for n in TERMS}},
        first_day_index=start,
        depletion_start_mm=between,
    )
    np.testing.assert_array_equal(
        whole.depletion_end_mm, np.concatenate((first.depletion_end_mm, second.depletion_end_mm))
    )


def test_a_block_that_joins_later_keeps_its_depletion_until_then() -> None:
    day = np.full((3, 2), 4.0)
    ledger = step_days(
        np.array([1.0, 7.0]),
        first_day_index=np.array([0, 2]),
        taw_mm=10.0 * day,
        raw_mm=5.0 * day,
        rain_entering_mm=0.0 * day,
        crop_et_mm=day,
        early_net_mm=0.0 * day,
        day_net_mm=0.0 * day,
    )
    assert np.isnan(ledger.depletion_start_mm[:2, 1]).all()
    assert ledger.depletion_start_mm[2, 1] == 7.0
    assert ledger.depletion_end_mm[:, 0].tolist() == [5.0, 9.0, 13.0]


def test_a_run_of_no_days_is_an_empty_ledger() -> None:
    nothing: Any = np.zeros((0, 2))
    ledger = step_days(
        np.zeros(2),
        first_day_index=np.zeros(2, dtype=np.int64),
        **dict.fromkeys(TERMS, nothing),
    )
    assert ledger.depletion_end_mm.shape == (0, 2)


def test_inputs_are_left_as_they_were() -> None:
    start = np.array([60.0])
    terms: dict[str, Any] = {name: np.array([10.0]) for name in TERMS}
    terms["taw_mm"] = np.array([50.0])
    step_day(start, **terms)
    assert start[0] == 60.0
    assert terms["taw_mm"][0] == 50.0
    assert all(terms[name][0] == 10.0 for name in TERMS if name != "taw_mm")


@pytest.mark.parametrize("fault_mm", [1e-6, -0.5])
def test_a_ledger_that_was_tampered_with_shows_an_error(fault_mm: float) -> None:
    one = np.array([1.0])
    terms: dict[str, Any] = dict.fromkeys(TERMS, one)
    ledger = step_day(one, **{**terms, "taw_mm": 9.0 * one})
    ledger.depletion_end_mm[0] += fault_mm
    assert mass_balance_error_mm(ledger)[0] == pytest.approx(fault_mm)
