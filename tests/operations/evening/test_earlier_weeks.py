"""Days without a forecast: the season's normal from the site's own years, and their rain."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from service.agronomy.civil_day import ONE_DAY
from service.bootstrap import Service
from service.operations.evening.earlier_weeks import UsualWeek, usual_week
from service.operations.timers.set_timer import list_timers
from service.operations.weather.import_weather import import_weather
from service.records.timers import OfferedProgram
from tests.api.invented_farm import (
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    FixedClock,
    bring_weather,
    plan_evening,
    with_timer,
)

WEEK = np.datetime64(PLAN_DAY) + np.arange(7)


def bring_years(
    service: Service, rain_mm: list[float], *, warmer_c: float = 0.0, of: date = PLAN_DAY
) -> None:
    """Earlier years around a week; each year has its rain on the week's fifth day."""
    for back, depth_mm in enumerate(rain_mm):
        first = np.datetime64(of - timedelta(days=round((back + 1) * 365.25)))
        days = first + np.arange(-17, 14)
        shape = np.ones(days.size)
        import_weather(
            "home",
            days,
            {
                "tmax_c": (28.0 + warmer_c) * shape, "tmin_c": 18.0 * shape,
                "rhmax_pct": 90.0 * shape, "rhmin_pct": 50.0 * shape, "wind_m_s": 1.5 * shape,
                "rs_mj_m2": 20.0 * shape, "rain_mm": np.where(days == first + 4, depth_mm, 0.0),
            },
            source="import",
            forecast_from=TODAY + ONE_DAY,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )  # fmt: skip


def usual(service: Service, wanted: list[bool]) -> UsualWeek:
    with service.unit_of_work(write=False) as unit:
        sites = unit.blocks.read_site_table(
            np.array([unit.blocks.get_site_key("home")], dtype=np.int64)
        )
        return usual_week(
            unit, sites, WEEK, np.array(wanted)[:, np.newaxis], source_order=service.source_order
        )


def test_the_rain_is_that_of_the_middle_year_of_those_with_rain(own_service: Service) -> None:
    bring_years(own_service, [0.0, 30.0, 5.0, 12.0])
    found = usual(own_service, [False] * 3 + [True] * 4)
    assert found.year_count.tolist() == [4]
    assert found.wet_share.tolist() == [0.75]
    assert found.rain_mm[:, 0].tolist() == [0.0, 0.0, 0.0, 0.0, 12.0, 0.0, 0.0]
    assert np.ptp(found.et0_mm) < 0.05 and 4.0 < found.et0_mm[0, 0] < 5.5


def test_rain_on_days_that_have_a_forecast_is_not_taken_from_earlier_years(
    own_service: Service,
) -> None:
    bring_years(own_service, [9.0, 9.0, 9.0])
    found = usual(own_service, [True] * 4 + [False] * 3)
    assert (found.rain_mm == 0.0).all() and found.wet_share.tolist() == [0.0]


def test_two_years_are_too_few_to_say_what_is_usual(own_service: Service) -> None:
    bring_years(own_service, [9.0, 9.0])
    found = usual(own_service, [True] * 7)
    assert found.year_count.tolist() == [0]
    assert np.isnan(found.et0_mm).all() and (found.rain_mm == 0.0).all()


def test_nothing_is_read_where_every_day_has_a_forecast(own_service: Service) -> None:
    bring_years(own_service, [9.0, 9.0, 9.0])
    assert usual(own_service, [False] * 7).year_count.tolist() == [0]


def offered(service: Service) -> OfferedProgram:
    (state,) = list_timers(FARM_ID, unit_of_work=service.unit_of_work, now=service.clock.now())
    assert state.to_set is not None
    return state.to_set


@pytest.fixture
def half_known(own_service: Service) -> Service:
    """An evening a week later, with a timer, and a forecast of three days."""
    with_timer(own_service)
    clock = own_service.clock
    assert isinstance(clock, FixedClock)
    clock.instant = RUN_AT + 7 * ONE_DAY
    bring_weather(own_service, today=TODAY + 7 * ONE_DAY, forecast_day_count=3)
    return own_service


def test_a_program_rests_on_the_years_of_its_site(half_known: Service) -> None:
    evening = TODAY + 7 * ONE_DAY
    assert not plan_evening(half_known, on=evening)
    before = offered(half_known)
    assert (before.normal_day_count, before.earlier_year_count) == (4, 0)
    bring_years(half_known, [0.0, 0.0, 0.0], warmer_c=-8.0, of=PLAN_DAY + 7 * ONE_DAY)
    assert not plan_evening(half_known, on=evening)
    cooler = offered(half_known)
    assert (cooler.normal_day_count, cooler.earlier_year_count) == (4, 3)
    assert cooler.depletion_end_mm is not None and before.depletion_end_mm is not None
    # Days eight degrees cooler use less.
    assert cooler.depletion_end_mm < before.depletion_end_mm - 1.0


def test_the_crop_has_to_do_without_the_rain_of_earlier_years(half_known: Service) -> None:
    evening = TODAY + 7 * ONE_DAY
    bring_years(half_known, [60.0, 60.0, 60.0], of=PLAN_DAY + 7 * ONE_DAY)
    assert not plan_evening(half_known, on=evening)
    wet = offered(half_known)
    bring_years(half_known, [0.0, 0.0, 0.0], of=PLAN_DAY + 7 * ONE_DAY)
    assert not plan_evening(half_known, on=evening)
    dry = offered(half_known)
    # The soil is so dry that both run all they can: the rain leaves it wetter, not the crop safer.
    assert wet.program == dry.program
    assert wet.excess_mm == pytest.approx(dry.excess_mm, abs=1e-9)
    assert wet.depletion_end_mm is not None and dry.depletion_end_mm is not None
    assert wet.depletion_end_mm < dry.depletion_end_mm
