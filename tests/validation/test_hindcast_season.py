"""A season of real weather through the hindcast, held against the rules and a one-minute oracle.

Weather: the typical year of Greensboro NC that pvlib ships (National Solar Radiation Data Base).
Rain: none, or SYNTHETIC rain with a fixed seed. Blocks: invented. See ``season_scenarios``.
"""

from __future__ import annotations

import math
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from service.agronomy.pulse_plan import ShortfallCause
from service.operations.review.hindcast import Hindcast, weekly_figures
from tests.agronomy.ledger_error import mass_balance_error_mm
from tests.agronomy.minute_simulation import simulate_day
from tests.validation.season_scenarios import (
    FIRST_DAY,
    OUTAGE,
    RAIN_MM_PER_YEAR,
    SCENARIOS,
    season,
    season_blocks,
    synthetic_rain_mm,
)

MASS_TOLERANCE_MM = 1e-9
MINUTE_TOLERANCE_MM = 1e-6
MM_PER_INCH = 25.4
PERFECT_FORECASTS = ("dry", "rain")
BLOCK_KEYS = tuple(block.block_id.removeprefix("brook.") for block in season_blocks())
UNLIMITED = ("berry", "loamy-sand", "second-year", "wine", "strawberry")
"""Blocks that nothing but the soil and their ordinary windows holds back."""


@pytest.fixture(params=SCENARIOS)
def any_season(request: pytest.FixtureRequest) -> Hindcast:
    return season(request.param)


@pytest.fixture(params=PERFECT_FORECASTS)
def foreseen_season(request: pytest.FixtureRequest) -> Hindcast:
    return season(request.param)


def _column(block_key: str) -> int:
    return BLOCK_KEYS.index(block_key)


def _between(result: Hindcast, first: date, last: date) -> NDArray[np.bool_]:
    is_inside: NDArray[np.bool_] = (result.days >= np.datetime64(first)) & (
        result.days <= np.datetime64(last)
    )
    return is_inside


def _pulses(result: Hindcast, day: int, block: int) -> tuple[list[int], list[int]]:
    pulses = result.season.pulses[day]
    rows = slice(int(pulses.offset[block]), int(pulses.offset[block + 1]))
    return pulses.start_min[rows].tolist(), pulses.duration_min[rows].tolist()


def test_the_synthetic_rain_is_that_of_a_humid_year_and_always_the_same() -> None:
    rain_mm = synthetic_rain_mm()
    assert rain_mm.sum() == pytest.approx(RAIN_MM_PER_YEAR, abs=1e-9)
    assert 80 <= np.count_nonzero(rain_mm) <= 140
    assert rain_mm.max() < 100.0


def test_season_reference_et_is_that_of_the_station() -> None:
    # Greensboro TMY, April to October, 839 mm: computed with pyet 1.5.0 and refet 0.5.0.
    assert season("dry").et0_mm[:, 0].sum() == pytest.approx(839.0, abs=1.0)


def test_mass_closes_on_every_day_of_every_block(any_season: Hindcast) -> None:
    error_mm = np.abs(mass_balance_error_mm(any_season.season.ledger))
    assert error_mm.max() < MASS_TOLERANCE_MM


def test_mass_closes_over_the_season(any_season: Hindcast) -> None:
    ledger = any_season.season.ledger
    change_mm = ledger.depletion_end_mm[-1] - ledger.depletion_start_mm[0]
    booked_mm = (
        ledger.actual_crop_et_mm
        - ledger.rain_entering_mm
        - ledger.early_net_mm
        - ledger.day_net_mm
        + ledger.rain_drainage_mm
        + ledger.irrigation_drainage_mm
        + ledger.resize_mm
    ).sum(axis=0)
    np.testing.assert_allclose(change_mm, booked_mm, rtol=0.0, atol=MASS_TOLERANCE_MM)


def test_planned_water_is_what_the_ledger_books(any_season: Hindcast) -> None:
    result = any_season.season
    share = {"second-year": 0.46**0.3}  # rooted share of the wetted soil at 2 of 5 years
    for column, key in enumerate(BLOCK_KEYS):
        net_mm = result.ledger.early_net_mm[:, column] + result.ledger.day_net_mm[:, column]
        expected_mm = result.gross_mm[:, column] * 0.90 * share.get(key, 1.0)
        np.testing.assert_allclose(net_mm, expected_mm, rtol=0.0, atol=1e-9, err_msg=key)


def test_no_irrigation_drains_where_the_forecast_was_right(foreseen_season: Hindcast) -> None:
    assert np.all(foreseen_season.season.ledger.irrigation_drainage_mm == 0.0)


def test_forecast_errors_are_the_only_cause_of_irrigation_drainage_and_are_kept_apart() -> None:
    foreseen, surprised = season("rain").season, season("rain with forecast errors").season
    drained_mm = surprised.ledger.irrigation_drainage_mm
    assert drained_mm.sum() > 0.0
    np.testing.assert_array_equal(
        foreseen.ledger.rain_entering_mm, surprised.ledger.rain_entering_mm
    )
    # Each day is forecast as the day two before it, without rain. So water may drain on a day with
    # rain and on the day after (planned before it fell), and where that day or the day before it
    # used less than was expected; at no other time.
    rain_mm, et0_mm = season("rain").rain_mm, season("rain").et0_mm
    used_less = np.zeros(rain_mm.shape, dtype=np.bool_)
    used_less[2:] = et0_mm[2:] < et0_mm[:-2]
    used_less[:2] = True  # forecast from the days before the season
    surprising = used_less | (rain_mm > 0.0)
    surprising[1:] |= surprising[:-1].copy()
    assert not np.any((drained_mm > 0.0) & ~surprising)
    assert np.count_nonzero(~surprising) > 0


@pytest.mark.parametrize("scenario", SCENARIOS)
def test_one_minute_simulation_of_every_day_agrees_with_the_ledger(scenario: str) -> None:
    result = season(scenario)
    run, ledger = result.season, result.season.ledger
    worst_mm = 0.0
    stressed_count = 0
    for day, block in np.ndindex(ledger.stress_ratio.shape):
        is_stressed = bool(ledger.stress_ratio[day, block] < 1.0)
        starts_min, durations_min = _pulses(result, day, block)
        net_mm = ledger.early_net_mm[day, block] + ledger.day_net_mm[day, block]
        total_min = sum(durations_min)
        after_rain_mm = ledger.depletion_start_mm[day, block] - ledger.rain_entering_mm[day, block]
        simulated = simulate_day(
            depletion_after_rain_mm=max(0.0, float(after_rain_mm)),
            crop_et_mm=float(ledger.crop_et_mm[day, block]),
            taw_mm=float(ledger.taw_mm[day, block]),
            raw_mm=float(ledger.raw_mm[day, block]),
            sunrise_min=float(run.sunrise_min[day, block]),
            sunset_min=float(run.sunset_min[day, block]),
            net_rate_mm_per_min=float(net_mm) / total_min if total_min else 0.0,
            starts_min=starts_min,
            durations_min=durations_min,
            # Where rain was not foreseen, water that came before the crop's day drains before it.
            drains_at_min=None
            if scenario in PERFECT_FORECASTS
            else (math.ceil(run.sunrise_min[day, block]) - 1,),
        )
        stressed_count += is_stressed
        end_mm = max(0.0, simulated.depletion_end_mm)
        drained_mm = simulated.drainage_mm + end_mm - simulated.depletion_end_mm
        worst_mm = max(
            worst_mm,
            float(abs(end_mm - ledger.depletion_end_mm[day, block])),
            float(abs(drained_mm - ledger.irrigation_drainage_mm[day, block])),
        )
    assert worst_mm < MINUTE_TOLERANCE_MM
    assert stressed_count > 0
    if scenario in PERFECT_FORECASTS:
        assert not ledger.irrigation_drainage_mm.any()


def test_pulses_lie_within_windows_and_keep_their_distance(any_season: Hindcast) -> None:
    night = {"night-only": ((0, 300), (1320, 1440))}
    spring = {key: ((240, 540),) for key in BLOCK_KEYS if key.startswith("spring")}
    windows = dict.fromkeys(BLOCK_KEYS, ((240, 1260),)) | night | spring
    for column, key in enumerate(BLOCK_KEYS):
        for day in range(any_season.days.size):
            starts, durations = _pulses(any_season, day, column)
            assert sum(durations) == any_season.season.planned_min[day, column]
            for start, duration in zip(starts, durations, strict=True):
                assert any(
                    opens <= start and start + duration <= closes for opens, closes in windows[key]
                ), (key, any_season.days[day])
            for (start, duration), following in pairwise(zip(starts, durations, strict=True)):
                # Off times shrink to one pulse length at the least.
                assert following[0] - (start + duration) >= duration


def test_the_spring_never_gives_more_than_it_has(any_season: Hindcast) -> None:
    # Each of the three blocks takes 11,594 of the spring's 12,000 L/h: one at a time.
    columns = [_column(key) for key in BLOCK_KEYS if key.startswith("spring")]
    for day in range(any_season.days.size):
        runs = sorted(
            (start, start + duration + (1 if BLOCK_KEYS[column] == "spring-two" else 0))
            for column in columns
            for start, duration in zip(*_pulses(any_season, day, column), strict=True)
        )
        assert all(after[0] >= before[1] for before, after in pairwise(runs))


def test_unlimited_blocks_never_run_short_with_a_right_forecast(foreseen_season: Hindcast) -> None:
    columns = [_column(key) for key in UNLIMITED]
    run = foreseen_season.season
    assert np.all(run.shortfall_mm[:, columns] == 0.0)
    assert np.all(run.ledger.stress_ratio[:, columns] == 1.0)
    assert not run.ledger.has_afternoon_stress[:, columns].any()


ALLOWED_CAUSES = {
    "slow-filling": {ShortfallCause.MINIMUM_PULSE},
    "outage": {ShortfallCause.OUTAGE},
    "spring-one": {ShortfallCause.SUPPLY, ShortfallCause.WINDOWS},
    "spring-two": {ShortfallCause.SUPPLY, ShortfallCause.WINDOWS},
    "spring-three": {ShortfallCause.SUPPLY, ShortfallCause.WINDOWS},
}


@pytest.mark.parametrize("block_key", list(ALLOWED_CAUSES))
def test_a_shortfall_names_what_held_the_water_back(block_key: str) -> None:
    column = _column(block_key)
    run = season("dry").season
    is_short = run.shortfall_mm[:, column] > 0.0
    assert is_short.any()
    causes = {ShortfallCause(int(cause)) for cause in run.cause[is_short, column]}
    assert causes <= ALLOWED_CAUSES[block_key]


def test_shortfall_is_the_part_below_the_readily_available_water(any_season: Hindcast) -> None:
    run = any_season.season
    # With a right forecast, and no stress to slow the plants, the day ends that much beyond RAW.
    foreseen = any_season is not season("rain with forecast errors")
    if foreseen:
        beyond_mm = np.maximum(0.0, run.ledger.depletion_end_mm - run.ledger.raw_mm)
        calm = (run.ledger.stress_ratio == 1.0) & (run.ledger.depletion_end_mm < run.ledger.taw_mm)
        np.testing.assert_allclose(run.shortfall_mm[calm], beyond_mm[calm], rtol=0.0, atol=1e-9)
    net_mm = run.ledger.early_net_mm + run.ledger.day_net_mm
    assert np.all(run.shortfall_mm <= run.need_mm - net_mm + 1e-9)
    assert np.all(net_mm <= run.need_mm + 1e-9)


def test_the_outage_gives_no_water_and_the_shortfall_is_on_its_days_only() -> None:
    column = _column("outage")
    for scenario in SCENARIOS:
        result = season(scenario)
        last_day = OUTAGE.ends_local.date()
        is_out = _between(result, OUTAGE.starts_local.date(), last_day) & (
            result.days < np.datetime64(last_day)
        )
        assert is_out.sum() == 4
        assert np.all(result.season.planned_min[is_out, column] == 0)
        is_short = result.season.shortfall_mm[:, column] > 0.0
        assert is_short.any()
        assert not np.any(is_short & ~is_out)


def test_blocks_without_outage_are_watered_as_if_there_were_none() -> None:
    result = season("dry")
    before = result.days < np.datetime64(OUTAGE.starts_local.date())
    run = result.season
    np.testing.assert_array_equal(
        run.planned_min[before, _column("berry")], run.planned_min[before, _column("outage")]
    )


def test_night_pulses_of_a_night_only_block_start_at_night() -> None:
    result = season("dry")
    column = _column("night-only")
    starts = [start for day in range(result.days.size) for start in _pulses(result, day, column)[0]]
    assert starts
    assert all(start < 300 or start >= 1320 for start in starts)


def test_the_shortest_pulse_is_kept_where_it_exceeds_the_depth_limit() -> None:
    # 25 min to fill: 75 min at least, while 0.6 of 0.30 m is wet after about 28 min.
    result = season("dry")
    column = _column("slow-filling")
    lengths = {
        duration for day in range(result.days.size) for duration in _pulses(result, day, column)[1]
    }
    assert lengths == {75}


def test_a_strawberry_on_sand_is_watered_in_many_pulses_every_day() -> None:
    # The zone holds 3.0 mm, less than the crop uses on most summer days.
    result = season("dry")
    column = _column("strawberry")
    summer = _between(result, date(2023, 6, 15), date(2023, 8, 24))
    assert result.season.ledger.taw_mm[0, column] == pytest.approx(3.0)
    assert np.all(result.season.planned_min[summer, column] > 0)
    counts = np.array([pulses.count()[column] for pulses in result.season.pulses])
    assert counts[summer].mean() > 4.0
    assert np.all(result.season.ledger.stress_ratio[:, column] == 1.0)


def test_a_mature_berry_in_a_dry_summer_gets_one_to_two_inches_a_week() -> None:
    # Common practice, no source: 1 to 2 inches of rain or its equivalent a week in a humid summer.
    result = season("dry")
    summer = _between(result, date(2023, 6, 15), date(2023, 8, 24))
    gross_in = result.season.gross_mm[summer, _column("berry")] / MM_PER_INCH
    mean_week_in = gross_in.mean() * 7.0
    assert 1.2 <= mean_week_in <= 1.5
    weeks_in = gross_in[: gross_in.size // 7 * 7].reshape(-1, 7).sum(axis=1)
    assert weeks_in.size == 10
    assert np.all((weeks_in >= 1.0) & (weeks_in <= 2.0))


def test_over_a_dry_season_the_gross_depth_replaces_what_the_crop_used() -> None:
    run = season("dry").season
    for key in UNLIMITED:
        column = _column(key)
        given_mm = (run.ledger.early_net_mm + run.ledger.day_net_mm)[:, column].sum()
        used_mm = run.ledger.actual_crop_et_mm[:, column].sum()
        left_mm = run.ledger.depletion_end_mm[-1, column]
        assert given_mm == pytest.approx(used_mm - left_mm, abs=1e-6), key


def test_rain_saves_water_in_every_block() -> None:
    dry, wet = season("dry").season, season("rain").season
    assert np.all(wet.gross_mm.sum(axis=0) < dry.gross_mm.sum(axis=0))


def test_weekly_figures_add_up_to_the_season(any_season: Hindcast) -> None:
    column = _column("wine")
    weeks = weekly_figures(any_season, column)
    assert weeks[0].first_day == FIRST_DAY
    assert sum(week.day_count for week in weeks) == any_season.days.size
    for name, daily in (
        ("gross_mm", any_season.season.gross_mm),
        ("crop_et_mm", any_season.season.crop.crop_et_mm),
        ("rain_mm", any_season.rain_mm),
        ("et0_mm", any_season.et0_mm),
    ):
        total = sum(getattr(week, name) for week in weeks)
        assert total == pytest.approx(daily[:, column].sum(), abs=1e-6)


RECORD = Path(__file__).with_name("README.md")


def _recorded_rows(scenario: str) -> dict[str, list[str]]:
    """The rows of one season's table in the validation record, by block."""
    text = RECORD.read_text(encoding="utf-8")
    section = text.split(f"### Season: {scenario}\n", 1)[1].split("###", 1)[0]
    cells = [
        [cell.strip() for cell in line.strip("|\n ").split("|")]
        for line in section.splitlines()
        if line.startswith("|")
    ]
    return {row[0]: row[1:] for row in cells[2:]}


@pytest.mark.parametrize("scenario", SCENARIOS)
def test_the_validation_record_shows_what_this_season_gives(scenario: str) -> None:
    run = season(scenario).season
    recorded = _recorded_rows(scenario)
    assert list(recorded) == list(BLOCK_KEYS)
    counts = np.array([pulses.count() for pulses in run.pulses])
    for column, (key, row) in enumerate(recorded.items()):
        is_watered = run.planned_min[:, column] > 0
        pulses_a_day = counts[is_watered, column].mean()
        minutes = run.planned_min[:, column].sum() / counts[:, column].sum()
        short_mm = run.shortfall_mm[:, column]
        assert float(row[0]) == pytest.approx(run.ledger.crop_et_mm[:, column].sum(), abs=1.0), key
        assert float(row[2]) == pytest.approx(run.gross_mm[:, column].sum(), abs=1.0), key
        assert int(row[3]) == pytest.approx(is_watered.sum(), abs=1), key
        told_pulses, told_minutes = map(float, row[4].split(" x "))
        assert told_pulses == pytest.approx(pulses_a_day, abs=0.1), key
        assert told_minutes == pytest.approx(minutes, abs=1.0), key
        drained_mm = run.ledger.irrigation_drainage_mm[:, column].sum()
        assert float(row[7]) == pytest.approx(drained_mm, abs=0.2), key
        assert float(row[9].split(" d, ")[1]) == pytest.approx(short_mm.sum(), abs=0.2), key
