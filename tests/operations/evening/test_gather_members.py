"""Courses of the coming weather at the sites of a run."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from service.agronomy.weather_members import MemberOrigin
from service.bootstrap import Service
from service.operations.evening.gather_members import made_members
from service.operations.evening.gather_weather import gather_weather
from service.operations.evening.run_day import run_day
from service.operations.reading.read_plans import get_plan
from service.operations.weather.import_weather import import_weather
from tests.api.invented_farm import RUN_AT, TODAY, FixedClock
from tests.operations.evening.test_gather_weather import FIRST_DAY, bring, column_of, gather

TOMORROW = TODAY + timedelta(days=1)


def bring_rain(service: Service, chance: float, amount_mm: float, *, source: str) -> None:
    """The same rain and chance on each of the coming seven days."""
    days = np.arange(np.datetime64(TOMORROW), np.datetime64(TOMORROW) + 7)
    fields = {"rain_mm": amount_mm, "rain_probability_fraction": chance, "tmax_c": 30, "tmin_c": 18}
    import_weather(
        "home",
        days,
        {name: np.full(7, float(value)) for name, value in fields.items()},
        source=source,
        forecast_from=TOMORROW,
        unit_of_work=service.unit_of_work,
        clock=FixedClock(RUN_AT),
    )


def test_members_follow_the_chance_and_the_amount_of_the_forecast(own_service: Service) -> None:
    bring_rain(own_service, 0.6, 5.0, source="station")
    found = gather(own_service)
    members = made_members(found, first_day=TOMORROW)
    home = column_of(found)
    assert members.days[0] == np.datetime64(TOMORROW)
    assert members.origin[home] == MemberOrigin.PROBABILITY
    assert (members.rain_mm[home] > 0.0).sum(axis=0).tolist() == [19] * 7  # 0.6 of 31
    first = (np.datetime64(TOMORROW) - np.datetime64(FIRST_DAY)).astype(int)
    et0_mm = found.weather.days.et0_mm[first:, home]
    assert np.allclose(members.et0_mm[home].mean(axis=0), et0_mm, rtol=0.01)


@pytest.mark.parametrize(("source", "mean_mm"), [("station", 0.4 * 3.0), ("nws-grid", 3.0)])
def test_a_forecast_office_gives_chance_times_amount_and_a_model_the_amount(
    source: str, mean_mm: float, own_service: Service
) -> None:
    bring_rain(own_service, 0.4, 3.0, source=source)
    with own_service.unit_of_work(write=False) as unit:
        found = gather_weather(
            unit,
            unit.blocks.read_site_table(),
            on=TODAY,
            now=RUN_AT,
            first_day=FIRST_DAY,
            last_day=TODAY + timedelta(days=7),
            source_order={"import": 1, source: 2},
        )
    members = made_members(found, first_day=TOMORROW)
    assert members.rain_mm[column_of(found), :, 0].mean() == pytest.approx(mean_mm, rel=0.15)


def test_a_site_without_a_forecast_has_no_members(own_service: Service) -> None:
    bring(own_service, TOMORROW, 30.0, source="station", is_forecast=True)
    found = gather(own_service)
    members = made_members(found, first_day=TOMORROW)
    assert members.origin[column_of(found, "hill")] == MemberOrigin.NONE
    assert members.count()[column_of(found, "hill")] == 0


def test_a_plan_keeps_the_spread_of_the_rain_that_it_was_made_with(own_service: Service) -> None:
    bring_rain(own_service, 0.6, 5.0, source="station")
    run_day(
        TODAY,
        unit_of_work=own_service.unit_of_work,
        clock=FixedClock(RUN_AT),
        source_order={"import": 1, "station": 2},
    )
    with own_service.unit_of_work(write=False) as unit:
        blocks = unit.blocks.list_blocks(farm_id=None, day=TOMORROW)
        block_id = next(block.block_id for block in blocks if block.site_id == "home")
    weather = get_plan(block_id, day=TOMORROW, unit_of_work=own_service.unit_of_work).plan.weather
    spread = weather.rain_spread
    assert spread is not None
    assert (spread.member_count, spread.models, spread.flags) == (31, "", 0)
    assert spread.days[0] == TOMORROW
    assert spread.wet_fraction[0] == pytest.approx(0.6, abs=0.05)
    for low, middle, high in zip(
        spread.rain_p10_mm, spread.rain_p50_mm, spread.rain_p90_mm, strict=True
    ):
        assert low is not None
        assert middle is not None
        assert high is not None
        assert 0.0 == low <= middle <= high
