"""Ensembles of Open-Meteo: members by their names, whole days, several models, the quota.

The payloads have the shape that the service documents; all values are invented.
"""

from __future__ import annotations

import asyncio
import math
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from service.agronomy.atmosphere import saturation_vapour_pressure_kpa
from service.agronomy.civil_day import midnight_utc
from service.records.forecast_members import Allowance, MembersAnswer, ModelMembers
from service.weather_sources.answer_shape import AnswerInvalid
from service.weather_sources.http import WeatherHttp
from service.weather_sources.open_meteo_members import (
    OpenMeteoMembers,
    columns_by_model,
    sites_per_request,
    variable_count,
)
from tests.weather_sources.fake_ensemble import ENSEMBLE_PATH, spread_out
from tests.weather_sources.fake_providers import (
    FakeProviders,
    broken_json,
    edited,
    invented_weather,
    status,
)
from tests.weather_sources.fakes import StoresInMemory
from tests.weather_sources.questions import NOW, make_site

FIRST_DAY, LAST_DAY = date(2026, 7, 8), date(2026, 7, 12)
GEFS, GEPS, CH1 = "ncep_gefs_seamless", "cmc_gem_geps", "meteoswiss_icon_ch1_ensemble"
PLENTY = Allowance(1e9, NOW + timedelta(hours=1))


def make_source(http: WeatherHttp, providers: FakeProviders, *models: str) -> OpenMeteoMembers:
    return OpenMeteoMembers(
        http, models=models or (CH1,), base_url=providers.base_url, weights_per_minute=math.inf
    )


def fetch(source: OpenMeteoMembers, count: int = 1, **options: Any) -> MembersAnswer:
    wanted: dict[str, Any] = {
        "first_day": FIRST_DAY,
        "last_day": LAST_DAY,
        "now": NOW,
        "allowance": PLENTY,
        **options,
    }
    sites = [make_site(f"site-{number}", latitude_deg=30.0 + number) for number in range(count)]
    return asyncio.run(source.fetch(sites, **wanted))


@pytest.fixture
def source(providers: FakeProviders, http: WeatherHttp) -> OpenMeteoMembers:
    return make_source(http, providers)


def only(answer: MembersAnswer) -> ModelMembers:
    (part,) = answer.parts
    return part


def hours_of(day: date, *, ending: bool = False) -> Any:
    begin, end = (
        round(midnight_utc(each, "America/Chicago").timestamp())
        for each in (day, day + timedelta(days=1))
    )
    return np.arange(begin, end, 3600) + (3600 if ending else 0)


def test_a_members_day_is_the_hours_of_the_sites_own_civil_day(source: OpenMeteoMembers) -> None:
    answer = fetch(source)
    part = only(answer)
    assert answer.problems == ()
    assert part.numbers.tolist() == list(range(11))
    day, member = 2, 7
    at, ending = (
        spread_out(invented_weather(30.0, -90.2, hours_of(date(2026, 7, 10), ending=each)), member)
        for each in (False, True)
    )
    vapour = saturation_vapour_pressure_kpa(at["temperature_2m"]) * at["relative_humidity_2m"] / 100
    expected = {
        "tmax_c": at["temperature_2m"].max(),
        "tmin_c": at["temperature_2m"].min(),
        "ea_kpa": vapour.mean(),
        "wind_m_s": at["wind_speed_10m"].mean(),
        "rs_mj_m2": ending["shortwave_radiation"].sum() * 0.0036,
        "rain_mm": ending["precipitation"].sum(),
    }
    assert {name: part.fields[name][day, member] for name in expected} == pytest.approx(expected)


def test_members_are_found_by_name_whatever_their_order(
    source: OpenMeteoMembers, providers: FakeProviders
) -> None:
    expected = only(fetch(source)).fields["rain_mm"]
    providers.order(
        ENSEMBLE_PATH,
        edited(lambda entry: entry.update(hourly=dict(reversed(entry["hourly"].items())))),
    )
    assert np.array_equal(only(fetch(source)).fields["rain_mm"], expected)


def test_two_models_are_told_apart_by_the_ending_of_their_columns(
    providers: FakeProviders, http: WeatherHttp
) -> None:
    answer = fetch(make_source(http, providers, CH1, GEPS))
    assert {part.model: part.numbers.size for part in answer.parts} == {CH1: 11, GEPS: 21}
    assert providers.requests[0].query["models"] == f"{CH1},{GEPS}"
    alone = only(fetch(make_source(http, providers, GEPS)))
    both = next(part for part in answer.parts if part.model == GEPS)
    assert np.array_equal(alone.fields["tmax_c"], both.fields["tmax_c"])


def test_a_column_that_may_be_of_either_model_is_refused() -> None:
    """The model's name comes last and is left out only where one model was asked for."""
    named = columns_by_model({f"precipitation_member03_{GEFS}": []}, [GEFS, GEPS])
    assert named == {GEFS: {("precipitation", 3): f"precipitation_member03_{GEFS}"}}
    with pytest.raises(AnswerInvalid, match="of no variable and model"):
        columns_by_model({"precipitation_member03": []}, [GEFS, GEPS])
    with pytest.raises(AnswerInvalid, match="of no variable and model"):
        columns_by_model({"rain_member03": []}, [GEFS])
    with pytest.raises(AnswerInvalid, match="comes twice"):
        columns_by_model({"precipitation": [], f"precipitation_{GEFS}": []}, [GEFS])


def test_an_answer_with_the_control_run_only_has_one_member(
    source: OpenMeteoMembers, providers: FakeProviders
) -> None:
    def control_only(entry: Any) -> None:
        entry["hourly"] = {k: v for k, v in entry["hourly"].items() if "member" not in k}

    providers.order(ENSEMBLE_PATH, edited(control_only))
    assert only(fetch(source)).numbers.tolist() == [0]


def test_a_member_without_one_of_the_variables_is_left_out(
    source: OpenMeteoMembers, providers: FakeProviders
) -> None:
    def without(entry: Any) -> None:
        del entry["hourly"]["wind_speed_10m_member05"]

    providers.order(ENSEMBLE_PATH, edited(without))
    assert 5 not in only(fetch(source)).numbers


def test_hours_beyond_the_end_of_a_model_are_not_known(
    source: OpenMeteoMembers, providers: FakeProviders
) -> None:
    def tail(entry: Any) -> None:
        hourly = entry["hourly"]
        for name in hourly:
            if name != "time":
                hourly[name][-40:] = [None] * 40

    providers.order(ENSEMBLE_PATH, edited(tail))
    known = np.isfinite(only(fetch(source)).fields["rain_mm"])
    assert known.all(axis=1).tolist() == [True, True, True, True, False]


@pytest.mark.parametrize(("missing", "is_known"), [(2, True), (3, False)])
def test_a_day_may_lack_two_hours_of_a_member_and_no_more(
    missing: int, is_known: bool, source: OpenMeteoMembers, providers: FakeProviders
) -> None:
    def hole(entry: Any) -> None:
        noon = hours_of(date(2026, 7, 9))[12]
        place = entry["hourly"]["time"].index(noon)
        for name, column in entry["hourly"].items():
            if name.endswith("_member02"):
                column[place : place + missing] = [None] * missing

    whole = only(fetch(source))
    providers.order(ENSEMBLE_PATH, edited(hole))
    part = only(fetch(source))
    for name, values in part.fields.items():
        assert bool(np.isfinite(values[1, 2])) is is_known, name
        others = np.delete(values, 2, axis=1)
        assert np.array_equal(others, np.delete(whole.fields[name], 2, axis=1)), name
    if is_known:  # sunlight is drawn over the gap, not left out
        sun = [each.fields["rs_mj_m2"][1, 2] for each in (part, whole)]
        assert sun[0] == pytest.approx(sun[1], rel=0.02)  # two hours at noon are an eighth


@pytest.mark.parametrize(("change", "hours"), [("2026-03-08", 23), ("2026-11-01", 25)])
def test_three_hours_of_equal_rain_are_conserved_over_a_clock_change(
    change: str, hours: int, source: OpenMeteoMembers, providers: FakeProviders
) -> None:
    """Steps of three hours come as three equal hours; a civil day has its own number of them."""
    day = date.fromisoformat(change)
    providers.now = now = datetime(day.year, day.month, day.day, 12, tzinfo=UTC) - timedelta(days=1)
    providers.weather = lambda latitude, longitude, at: {
        **invented_weather(latitude, longitude, at),
        "precipitation": np.ones(at.size),
    }
    answer = fetch(source, first_day=day, last_day=day + timedelta(days=1), now=now)
    wetness = 0.4  # of the control run
    assert only(answer).fields["rain_mm"][:, 0] == pytest.approx([hours * wetness, 24 * wetness])


def test_a_variable_in_another_unit_costs_the_model_and_is_named(
    source: OpenMeteoMembers, providers: FakeProviders
) -> None:
    providers.order(
        ENSEMBLE_PATH,
        edited(lambda entry: entry["hourly_units"].update(precipitation_member04="inch")),
    )
    answer = fetch(source)
    assert answer.parts == ()
    (problem,) = answer.problems
    assert (problem.reason, problem.site_id) == ("wrong-unit", "site-0")
    assert "precipitation_member04" in problem.message


def test_a_model_that_does_not_reach_a_place_is_no_cover(
    source: OpenMeteoMembers, providers: FakeProviders
) -> None:
    def nulls(entry: Any) -> None:
        hourly = entry["hourly"]
        for name in hourly:
            if name != "time":
                hourly[name] = [None] * len(hourly[name])

    providers.order(ENSEMBLE_PATH, edited(nulls))
    answer = fetch(source)
    assert (answer.parts, [problem.reason for problem in answer.problems]) == ((), ["no-cover"])


def test_what_a_question_weighs_is_counted_and_never_more_than_is_left(
    providers: FakeProviders, http: WeatherHttp
) -> None:
    """Five variables of 31 members are 155, so 15.5 for a site; from the service's source code."""
    assert variable_count([GEFS]) == 155
    source = make_source(http, providers, GEFS)
    assert sites_per_request([GEFS], 5) == 7
    until = NOW + timedelta(minutes=30)
    answer = fetch(source, 10, allowance=Allowance(110.0, until))
    assert answer.spent_weight == pytest.approx(7 * 15.5)
    assert {part.site_index for part in answer.parts} == set(range(7))
    assert [(p.site_id, p.reason, p.retry_at) for p in answer.problems] == [
        (f"site-{number}", "quota", until) for number in (7, 8, 9)
    ]
    assert len(providers.requests) == 1


def test_a_refused_question_counts_one_and_leaves_the_other_batches(
    providers: FakeProviders, http: WeatherHttp
) -> None:
    source = make_source(http, providers, GEFS)
    providers.order(ENSEMBLE_PATH, status(400, remark="invented"), times=1)
    answer = fetch(source, 10)
    assert answer.spent_weight == pytest.approx(1 + 3 * 15.5)
    assert {problem.reason for problem in answer.problems} == {"http-400"}
    assert sorted({part.site_index for part in answer.parts}) == [7, 8, 9]


def test_large_answers_are_not_kept(
    source: OpenMeteoMembers, providers: FakeProviders, stores: StoresInMemory
) -> None:
    fetch(source)
    assert stores.payloads.kept == []
    providers.order(ENSEMBLE_PATH, broken_json)
    assert {problem.reason for problem in fetch(source).problems} == {"bad-json"}
