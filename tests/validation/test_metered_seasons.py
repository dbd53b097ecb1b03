"""Three metered seasons: the ledger books what the meter counted, not what the design says.

All runs and all weather are invented. Their sums are those reported of three seasons of a metered
drip system: 567 mm by the meter where its minutes at the design flow are 492 mm.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from service.bootstrap import Service
from service.farm_files.farm_file import parse_farm
from service.operations.evening.run_day import run_day
from service.operations.farms.manage_farms import load_bundle
from service.operations.feedback.report_runs import RunReport, report_runs
from service.operations.waterworks.learn_rate import get_rate_offer
from service.operations.weather.import_weather import import_weather
from service.records.ledger import IrrigationOrigin
from service.waterworks.records import Floats
from tests.api.invented_farm import FixedClock

METERED_MM, BY_MINUTES_MM = 567.0, 492.0
SEASONS = (2024, 2025, 2026)
RUNS_PER_SEASON = 82
MM_PER_RUN = BY_MINUTES_MM / len(SEASONS) / RUNS_PER_SEASON
SPREAD = 0.14  # from run to run; real healthy systems differ by 10 to 17 %
LAST_DAY = date(2026, 9, 30)
BLOCK_ID = "metered-farm.vines"
FARM = """
[farm]
id = "metered-farm"
name = "Metered Farm (invented)"
zone = "America/Los_Angeles"

[[site]]
id = "valley"
latitude = 38.3
longitude = -122.3
elevation = "30 m"

[[supply]]
id = "well"
flow = "30 m3/h"

[[block]]
id = "vines"
crop = "grape-wine"
area = "0.5 ha"
row_spacing = "2.5 m"
emitter_spacing = "1 m"
emitter_flow = "2 L/h"
soil = { texture = "loam" }
season = { start = "04-01", lengths = [30, 60, 75, 50] }
initial_depletion = "0 mm"
balance_start = 2024-05-01
"""


def metered_ratio() -> Floats:
    """Metered over expected volume of each run; their mean is that of the sums."""
    count = len(SEASONS) * RUNS_PER_SEASON
    noise = 1.0 + SPREAD * np.random.default_rng(20).normal(size=count)
    ratio: Floats = noise / noise.mean() * METERED_MM / BY_MINUTES_MM
    return ratio


@pytest.fixture
def metered(own_service: Service) -> Service:
    """The farm with three summers of weather."""
    load_bundle(
        parse_farm(FARM, name="invented.toml"),
        effective_day=date(2024, 4, 30),
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    days = np.arange(np.datetime64("2024-04-30"), np.datetime64(LAST_DAY) + 1)
    wave = np.sin(np.arange(days.size) * 0.7)
    import_weather(
        "valley",
        days.astype("datetime64[D]"),
        {
            "tmax_c": 29.0 + 3.0 * wave,
            "tmin_c": 12.0 + wave,
            "rhmax_pct": 88.0 + 3.0 * wave,
            "rhmin_pct": 38.0 + 5.0 * wave,
            "wind_m_s": 2.0 + 0.4 * wave,
            "rs_mj_m2": 23.0 + 3.0 * wave,
            "rain_mm": np.zeros(days.size),
        },
        source="import",
        forecast_from=LAST_DAY + timedelta(days=1),
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    return own_service


def report_season(service: Service, year: int, ratio: Floats) -> int:
    """Report a run on each day from 20 May on at the season's end; how many are questioned.

    They are confirmed, as a grower does who has read the meter again.
    """
    assert isinstance(service.clock, FixedClock)
    service.clock.instant = datetime(year, 10, 1, 4, tzinfo=UTC)
    with service.unit_of_work(write=True) as unit:
        block = unit.blocks.get_block(BLOCK_ID, day=date(year, 6, 1))
        flow_l_per_h = block.flow_l_per_h
        minutes = 60.0 * MM_PER_RUN * block.area_m2 / flow_l_per_h
        runs = [
            RunReport(
                BLOCK_ID,
                datetime(year, 5, 20, 12, tzinfo=UTC) + timedelta(days=place),
                minutes,
                flow_l_per_h * minutes / 60.0 * each,
            )
            for place, each in enumerate(ratio.tolist())
        ]
        first, confirmed = (
            report_runs(
                unit,
                [replace(run, is_volume_confirmed=is_sure) for run in runs],
                farm_id=None,
                reporter="meter",
                replanning=service.replanning,
            )
            for is_sure in (False, True)
        )
    assert confirmed.outcome.changed_count == first.questioned_count
    assert confirmed.questioned_count == 0
    return first.questioned_count


def test_three_metered_seasons_are_booked_with_what_the_meter_counted(metered: Service) -> None:
    ratio = metered_ratio().reshape(len(SEASONS), RUNS_PER_SEASON)
    questioned = [
        report_season(metered, year, row) for year, row in zip(SEASONS, ratio, strict=True)
    ]
    # Beyond 1.5 times the design, which is 2.2 spreads above the mean: 1.5 % of normal values.
    assert sum(questioned) <= 0.03 * ratio.size
    run = run_day(
        LAST_DAY,
        unit_of_work=metered.unit_of_work,
        clock=metered.clock,
        source_order=metered.source_order,
    )
    assert not run.failures
    with metered.unit_of_work(write=False) as unit:
        rows = unit.ledger.read_rows(
            unit.blocks.get_block_key(BLOCK_ID), first_day=date(2024, 5, 1), last_day=LAST_DAY
        )
    gross_mm = rows.numbers["irrigation_gross_mm"]
    assert (rows.irrigation_origin == IrrigationOrigin.METERED).sum() == ratio.size
    assert gross_mm.sum() == pytest.approx(METERED_MM, abs=1e-6)
    years = rows.days.astype("datetime64[Y]").astype(int) + 1970
    for year, row in zip(SEASONS, ratio, strict=True):
        assert gross_mm[years == year].sum() == pytest.approx(MM_PER_RUN * row.sum(), abs=1e-6)


def test_after_those_seasons_their_rate_is_offered(metered: Service) -> None:
    ratio = metered_ratio().reshape(len(SEASONS), RUNS_PER_SEASON)
    report_season(metered, SEASONS[-1], ratio[-1])
    found = get_rate_offer(BLOCK_ID, unit_of_work=metered.unit_of_work, clock=metered.clock)
    assert found.rate.run_count == 20
    assert found.rate.rate_ratio == pytest.approx(METERED_MM / BY_MINUTES_MM, abs=0.12)
    assert found.rate.error_fraction == pytest.approx(SPREAD * 0.28, rel=0.8)
