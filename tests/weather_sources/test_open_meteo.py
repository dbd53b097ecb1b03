"""Open-Meteo: hours into civil days, whatever shape the answer has."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from service.agronomy.atmosphere import saturation_vapour_pressure_kpa
from service.agronomy.civil_day import midnight_utc
from service.records.weather import SUN_NOTE
from service.weather_sources.http import WeatherHttp
from service.weather_sources.open_meteo import (
    HOURLY_UNITS,
    OpenMeteo,
    sites_per_request,
)
from service.weather_sources.open_meteo_answers import quota_wait, request_weight
from tests.weather_sources.fake_providers import (
    FakeProviders,
    broken_json,
    edited,
    invented_weather,
    status,
)
from tests.weather_sources.fakes import StoresInMemory
from tests.weather_sources.questions import (
    FIRST_DAY,
    LAST_DAY,
    NOW,
    assert_no_sentinels,
    fetch,
    make_site,
    notes,
    reasons,
    values,
)

TODAY = date(2026, 7, 7)
OTHERS = [make_site(f"site-{number}", latitude_deg=30.0 + number) for number in range(3)]


@pytest.fixture
def source(providers: FakeProviders, http: WeatherHttp) -> OpenMeteo:
    return OpenMeteo(http, base_url=providers.base_url, weights_per_minute=math.inf)


def utc_hours(day: date, zone: str, *, ending: bool = False) -> Any:
    begin = round(midnight_utc(day, zone).timestamp())
    end = round(midnight_utc(day + timedelta(days=1), zone).timestamp())
    return np.arange(begin, end, 3600) + (3600 if ending else 0)


def test_a_day_is_the_hours_of_the_sites_own_civil_day(source: OpenMeteo) -> None:
    answer = fetch(source)
    assert answer.problems == ()
    day = date(2026, 7, 9)
    stamps, ends = (utc_hours(day, "America/Chicago", ending=each) for each in (False, True))
    at, ending = invented_weather(33.0, -90.2, stamps), invented_weather(33.0, -90.2, ends)
    dew = at["dew_point_2m"]
    expected = {
        "tmax_c": at["temperature_2m"].max(),
        "tmin_c": at["temperature_2m"].min(),
        "tdew_c": dew.mean(),
        "ea_kpa": saturation_vapour_pressure_kpa(dew).mean(),
        "rhmax_pct": at["relative_humidity_2m"].max(),
        "rhmin_pct": at["relative_humidity_2m"].min(),
        "rhmean_pct": at["relative_humidity_2m"].mean(),
        "wind_m_s": at["wind_speed_10m"].mean(),
        # Both are those of the hour before the stamp.
        "rs_mj_m2": ending["shortwave_radiation"].sum() * 0.0036,
        "rain_mm": ending["precipitation"].sum(),
        "rain_probability_fraction": ending["precipitation_probability"].max() / 100,
    }
    for field, value in expected.items():
        assert values(answer, field)[day] == pytest.approx(value), field
        assert notes(answer, field, day)["hours_present"] == 24


@pytest.mark.parametrize(
    ("stamp", "day"),
    [
        ("2026-07-08T05:00", date(2026, 7, 7)),  # the hour that ends with the day in Chicago
        ("2026-07-08T06:00", date(2026, 7, 8)),
    ],
)
def test_rain_and_radiation_are_those_of_the_hour_before_the_stamp(
    stamp: str, day: date, source: OpenMeteo, providers: FakeProviders
) -> None:
    second = round(datetime.fromisoformat(f"{stamp}+00:00").timestamp())
    providers.weather = lambda latitude, longitude, at: {
        **invented_weather(latitude, longitude, at),
        "precipitation": np.where(at == second, 3.0, 0.0),
        "shortwave_radiation": np.where(at == second, 1000.0, 0.0),
    }
    answer = fetch(source)
    assert [d for d, rain in values(answer, "rain_mm").items() if rain == 3.0] == [day]
    # 1000 W/m2 for an hour are 3.6 MJ/m2.
    assert [d for d, rs in values(answer, "rs_mj_m2").items() if rs == 3.6] == [day]


def test_hours_that_do_not_follow_the_sun_are_noted(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    day = date(2026, 7, 9)
    assert SUN_NOTE not in notes(fetch(source), "rs_mj_m2", day)
    # All hours six hours late, as if another zone's clock had been taken for UTC.
    providers.weather = lambda latitude, longitude, at: invented_weather(
        latitude, longitude, at - 6 * 3600
    )
    # Later, since an answer is kept for an hour: at the same instant it depended on which of the
    # two fetches took longer whether the second one was sent at all.
    later = fetch(source, now=NOW + timedelta(hours=2))
    assert notes(later, "rs_mj_m2", day)[SUN_NOTE] == pytest.approx(6.0, abs=0.2)


def test_days_that_are_over_are_analysis_and_the_rest_forecast(source: OpenMeteo) -> None:
    rows = fetch(source).rows
    kinds = dict(zip(rows.days.tolist(), rows.kinds, strict=True))
    assert [kinds[TODAY + timedelta(days=step)] for step in (-2, -1, 0, 1)] == [
        "analysis",
        "analysis",
        "forecast",
        "forecast",
    ]
    assert set(rows.sources) == {"open-meteo"}
    assert set(rows.wind_height_m) == {10.0}
    assert all(abs(issued - NOW) < timedelta(seconds=5) for issued in rows.issued_at)


def test_today_is_the_sites_today(source: OpenMeteo, providers: FakeProviders) -> None:
    # 02:00 UTC on the 8th is still the evening of the 7th in Chicago, and the 8th in Auckland.
    providers.now = now = datetime(2026, 7, 8, 2, 0, tzinfo=UTC)
    sites = [
        make_site(),
        make_site("kea", latitude_deg=-37, longitude_deg=175, zone="Pacific/Auckland"),
    ]
    rows = fetch(source, sites, now=now).rows
    kinds = {
        (int(site), day): kind
        for site, day, kind in zip(rows.site_keys, rows.days.tolist(), rows.kinds, strict=True)
    }
    assert kinds[0, date(2026, 7, 7)] == "forecast"
    assert kinds[1, date(2026, 7, 7)] == "analysis"


def test_past_days_have_no_chance_of_rain(source: OpenMeteo) -> None:
    chance = values(fetch(source), "rain_probability_fraction")
    assert math.isnan(chance[date(2026, 7, 6)])
    assert chance[date(2026, 7, 10)] == pytest.approx(0.7)


@pytest.mark.parametrize(
    ("today", "change", "hours"),
    [(date(2026, 3, 7), date(2026, 3, 8), 23), (date(2026, 10, 31), date(2026, 11, 1), 25)],
)
def test_days_around_a_clock_change_have_their_own_hours(
    today: date, change: date, hours: int, source: OpenMeteo, providers: FakeProviders
) -> None:
    providers.now = now = datetime(today.year, today.month, today.day, 12, tzinfo=UTC)
    # One millimetre in every hour: the rain of a day is the number of its hours.
    providers.weather = lambda latitude, longitude, at: {
        **invented_weather(latitude, longitude, at),
        "precipitation": np.ones(at.size),
    }
    answer = fetch(
        source, first_day=today - timedelta(days=1), last_day=today + timedelta(days=3), now=now
    )
    assert answer.problems == ()
    rain = values(answer, "rain_mm")
    assert rain == {
        today - timedelta(days=1): 24,
        today: 24,
        change: hours,
        change + timedelta(days=1): 24,
        change + timedelta(days=2): 24,
    }
    assert notes(answer, "tmax_c", change) == {"hours_present": hours}


def test_the_question_names_units_and_place(source: OpenMeteo, providers: FakeProviders) -> None:
    fetch(source, OTHERS)
    (request,) = providers.requests
    assert request.query["latitude"] == "30.0000,31.0000,32.0000"
    assert request.query["elevation"] == "40,40,40"
    assert request.query["timezone"] == "GMT"
    assert request.query["timeformat"] == "unixtime"
    assert request.query["wind_speed_unit"] == "ms"
    assert request.query["past_days"] == "2"
    assert request.query["forecast_days"] == "5"
    assert "apikey" not in request.query


def test_answers_are_matched_by_position(source: OpenMeteo) -> None:
    answer = fetch(source, OTHERS)
    for index, site in enumerate(OTHERS):
        alone = fetch(source, [site])
        assert values(answer, "tmax_c", site=index) == values(alone, "tmax_c")


def test_more_than_a_hundred_sites_are_asked_for_in_batches(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    sites = [make_site(f"s{number}", latitude_deg=25 + number / 10) for number in range(201)]
    answer = fetch(source, sites)
    assert answer.request_count == 3
    counts = [len(request.query["latitude"].split(",")) for request in providers.requests]
    assert counts == [100, 100, 1]
    assert sorted(set(answer.rows.site_keys.tolist())) == list(range(201))


def test_a_batch_is_small_enough_for_its_answer_to_be_read() -> None:
    assert sites_per_request(date(2026, 7, 5), date(2026, 7, 14)) == 92
    assert sites_per_request(FIRST_DAY, LAST_DAY) == 100
    assert sites_per_request(date(2026, 4, 1), date(2026, 7, 20)) == 9
    assert sites_per_request(date(2006, 4, 1), date(2026, 7, 20)) == 1


def test_no_sites_cost_no_request(source: OpenMeteo) -> None:
    answer = fetch(source, [])
    assert (len(answer.rows), answer.request_count) == (0, 0)


def test_no_days_cost_no_request(source: OpenMeteo) -> None:
    answer = fetch(source, first_day=LAST_DAY, last_day=FIRST_DAY)
    assert (len(answer.rows), answer.problems, answer.request_count) == (0, (), 0)


def test_a_request_weighs_one_per_site_until_it_asks_for_much() -> None:
    # Weights of the service's own source code: see the notes on limits in its documentation.
    assert request_weight(100, 7, 9) == 100.0
    assert request_weight(1, 7, 17) == 1.0
    assert request_weight(1, 20, 28) == 4.0


@pytest.mark.parametrize(
    ("words", "wait"),
    [
        (
            "Minutely API request limit exceeded. Please try again in one minute.",
            timedelta(minutes=1),
        ),
        (
            "Hourly API request limit exceeded. Please try again in the next hour.",
            timedelta(minutes=30),
        ),
        (
            "Daily API request limit exceeded. Please try again tomorrow.",
            timedelta(hours=15, minutes=30),
        ),
        ("Too many concurrent requests", None),
        ("", None),
    ],
)
def test_the_wording_of_a_quota_gives_the_wait(words: str, wait: timedelta | None) -> None:
    assert quota_wait(words, NOW) == wait


def test_a_used_up_quota_is_a_gap_until_it_is_renewed(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    words = "Hourly API request limit exceeded. Please try again in the next hour."
    providers.order("/v1", status(429, remark=words), times=1)
    answer = fetch(source, OTHERS)
    assert len(answer.rows) == 0
    assert [problem.reason for problem in answer.problems] == ["quota"] * 3
    for problem in answer.problems:
        assert problem.retry_at is not None
        assert abs(problem.retry_at - datetime(2026, 7, 7, 9, tzinfo=UTC)) < timedelta(seconds=5)
    assert answer.request_count == 1
    early = fetch(source, OTHERS, now=NOW + timedelta(minutes=20))
    assert (early.request_count, reasons(early)) == (0, {"breaker-open"})
    assert fetch(source, OTHERS, now=NOW + timedelta(minutes=31)).problems == ()


def test_one_request_at_a_time_is_all_that_too_many_at_once_needs(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    providers.order("/v1", status(429, remark="Too many concurrent requests"), times=1)
    assert fetch(source).problems == ()


# --- shapes ----------------------------------------------------------------------------------


def hourly(change: Callable[[dict[str, Any], dict[str, Any]], None]) -> Callable[[Any], None]:
    """A change in the hours and units of the first place of an hourly answer."""

    def apply(content: Any) -> None:
        entry = content[0] if isinstance(content, list) else content
        if "hourly" in entry:
            change(entry["hourly"], entry["hourly_units"])

    return apply


def test_an_array_of_one_is_as_good_as_an_object(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    expected = values(fetch(source), "tmax_c")
    providers.order("/v1", edited(lambda content: [content]))
    later = fetch(source, now=NOW + timedelta(hours=2))
    assert values(later, "tmax_c") == expected


@pytest.mark.parametrize(
    "change",
    [
        lambda content: content[0],
        lambda content: content[:2],
        lambda content: [*content, content[0]],
        lambda content: [],
        lambda content: "weather",
    ],
)
def test_an_answer_for_another_number_of_places_is_not_used(
    change: Callable[[Any], Any], source: OpenMeteo, providers: FakeProviders
) -> None:
    providers.order("/v1", edited(change))
    answer = fetch(source, OTHERS)
    assert len(answer.rows) == 0
    assert reasons(answer) == {"wrong-shape"}
    assert {problem.site_id for problem in answer.problems} == {site.site_id for site in OTHERS}


def test_a_place_that_is_not_an_object_affects_only_itself(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    providers.order("/v1", edited(lambda content: [content[0], None, content[2]]), times=1)
    providers.order("/v1", edited(lambda content: {"nothing": 1}))
    answer = fetch(source, OTHERS)
    assert set(answer.rows.site_keys.tolist()) == {0, 2}
    assert {problem.site_id for problem in answer.problems} == {"site-1"}


def test_places_in_another_order_than_asked_are_not_used(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    in_another_order = edited(lambda content: [content[2], content[1], content[0]])
    providers.order("/v1", in_another_order, times=1)
    answer = fetch(source, OTHERS)
    assert {(p.site_id, p.reason) for p in answer.problems} == {
        ("site-0", "wrong-place"),
        ("site-2", "wrong-place"),
    }
    assert providers.requests[1].query["latitude"] == "30.0000,32.0000"
    assert "from" not in notes(answer, "tmax_c", TODAY, site=1)


def test_null_tails_leave_the_last_days_out_and_say_so(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    def cut_off(columns: dict[str, Any], _: dict[str, Any]) -> None:
        for name in HOURLY_UNITS:
            columns[name][-50:] = [None] * 50

    providers.order("/v1", edited(hourly(cut_off)))
    answer = fetch(source)
    assert max(answer.rows.days.tolist()) == date(2026, 7, 8)
    (problem,) = answer.problems
    assert problem.reason == "no-cover"
    assert "2026-07-09, 2026-07-10" in problem.message


def test_sentinels_count_as_missing_hours(source: OpenMeteo, providers: FakeProviders) -> None:
    def spoil(columns: dict[str, Any], _: dict[str, Any]) -> None:
        for name in HOURLY_UNITS:
            columns[name][60] = -999

    providers.order("/v1", edited(hourly(spoil)))
    answer = fetch(source)
    assert_no_sentinels(answer)
    day = date(2026, 7, 7)
    assert notes(answer, "tmin_c", day) == {"hours_present": 23}
    assert notes(answer, "rain_mm", day)["partial"] is True
    assert math.isfinite(values(answer, "rs_mj_m2")[day])


@pytest.mark.parametrize(
    ("name", "unit", "lost"),
    [
        ("temperature_2m", "°F", "tmax_c"),
        ("wind_speed_10m", "km/h", "wind_m_s"),
        ("shortwave_radiation", "MJ/m²", "rs_mj_m2"),
        ("precipitation", "inch", "rain_mm"),
    ],
)
def test_a_field_in_another_unit_is_not_used(
    name: str, unit: str, lost: str, source: OpenMeteo, providers: FakeProviders
) -> None:
    def relabel(_: dict[str, Any], units: dict[str, Any]) -> None:
        units[name] = unit

    providers.order("/v1", edited(hourly(relabel)))
    answer = fetch(source)
    assert np.isnan(answer.rows.fields[lost]).all()
    assert np.isfinite(answer.rows.fields["rhmean_pct"]).all()
    assert "wrong-unit" in reasons(answer)


def test_a_field_of_another_length_is_not_used(source: OpenMeteo, providers: FakeProviders) -> None:
    def shorten(columns: dict[str, Any], _: dict[str, Any]) -> None:
        columns["precipitation"].pop()

    providers.order("/v1", edited(hourly(shorten)))
    answer = fetch(source)
    assert np.isnan(answer.rows.fields["rain_mm"]).all()
    assert np.isfinite(answer.rows.fields["tmax_c"]).all()
    assert reasons(answer) == {"wrong-shape"}


def repeat_an_hour(columns: dict[str, Any], _: dict[str, Any]) -> None:
    for column in columns.values():
        column.insert(50, column[50])


def turn_around(columns: dict[str, Any], _: dict[str, Any]) -> None:
    for column in columns.values():
        column.reverse()


def drop_an_hour(columns: dict[str, Any], _: dict[str, Any]) -> None:
    for column in columns.values():
        del column[60]


@pytest.mark.parametrize("change", [repeat_an_hour, turn_around])
def test_an_hour_counts_once_wherever_it_appears(
    change: Callable[[dict[str, Any], dict[str, Any]], None],
    source: OpenMeteo,
    providers: FakeProviders,
) -> None:
    expected = fetch(source)
    providers.order("/v1", edited(hourly(change)))
    answer = fetch(source, now=NOW + timedelta(hours=2))
    assert providers.count("/v1") == 2
    for name, column in expected.rows.fields.items():
        np.testing.assert_array_equal(answer.rows.fields[name], column)


def test_an_hour_that_comes_twice_with_two_values_counts_as_missing(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    def contradict(columns: dict[str, Any], units: dict[str, Any]) -> None:
        repeat_an_hour(columns, units)
        columns["temperature_2m"][50] += 5

    providers.order("/v1", edited(hourly(contradict)))
    answer = fetch(source)
    day = date(2026, 7, 6)
    assert notes(answer, "tmax_c", day) == {"hours_present": 23}
    assert notes(answer, "rhmax_pct", day) == {"hours_present": 24}


def test_an_hour_that_is_left_out_counts_as_missing(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    providers.order("/v1", edited(hourly(drop_an_hour)))
    answer = fetch(source)
    day = date(2026, 7, 7)
    assert notes(answer, "rs_mj_m2", day)["hours_present"] == 23
    assert math.isfinite(values(answer, "rs_mj_m2")[day])
    assert notes(answer, "rain_mm", day)["partial"] is True


def test_hours_that_end_before_now_are_called_stale(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    providers.now = NOW - timedelta(days=10)
    answer = fetch(source)
    assert {"stale", "no-cover"} <= reasons(answer)
    assert date(2026, 7, 7) not in values(answer, "tmax_c")


def test_an_answer_is_not_taken_from_the_store_across_midnight(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    providers.now = datetime(2026, 7, 7, 23, 50, tzinfo=UTC)
    fetch(source, now=datetime(2026, 7, 7, 23, 50, tzinfo=UTC))
    fetch(source, now=datetime(2026, 7, 7, 23, 55, tzinfo=UTC))
    assert providers.count("/v1") == 1
    # The next day's days are as far from the next day: the question reads the same.
    providers.now = after = datetime(2026, 7, 8, 0, 1, tzinfo=UTC)
    day = timedelta(days=1)
    answer = fetch(source, first_day=FIRST_DAY + day, last_day=LAST_DAY + day, now=after)
    assert [request.query for request in providers.requests] == [providers.requests[0].query] * 2
    assert answer.problems == ()


def test_days_beyond_what_the_service_offers_are_named(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    answer = fetch(source, first_day=date(2026, 7, 20), last_day=date(2026, 7, 26))
    assert providers.requests[0].query["forecast_days"] == "16"
    assert max(values(answer, "tmax_c")) == date(2026, 7, 21)
    assert reasons(answer) == {"no-cover"}


# --- the service's own days ------------------------------------------------------------------


def fail_hours(content: Any) -> Any:
    return {"nothing": 1} if "hourly" in content else content


def test_days_of_the_service_replace_hours_and_say_so(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    expected = fetch(source)
    providers.order("/v1", edited(fail_hours))
    answer = fetch(source, now=NOW + timedelta(hours=2))
    for field in ("tmax_c", "tmin_c", "wind_m_s", "rhmin_pct"):
        for day, value in values(expected, field).items():
            assert values(answer, field)[day] == pytest.approx(value, abs=0.01)
    assert notes(answer, "tmax_c", TODAY) == {"hours_present": None, "from": "daily values"}
    # Each hour of rain is the one before its stamp: the day of rain is 23:00 to 23:00.
    assert notes(answer, "rain_mm", TODAY)["day_offset_min"] == -60
    assert reasons(answer) == {"wrong-shape"}


def test_days_that_the_service_cuts_with_the_wrong_offset_are_marked(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    # On the day before the change the service cuts all days with the offset of standard time.
    providers.now = now = datetime(2026, 3, 7, 12, tzinfo=UTC)
    providers.order("/v1", edited(fail_hours))
    answer = fetch(source, first_day=date(2026, 3, 6), last_day=date(2026, 3, 10), now=now)
    offsets = {
        day: notes(answer, "tmax_c", day).get("day_offset_min", 0)
        for day in values(answer, "tmax_c")
    }
    assert offsets == {
        date(2026, 3, 6): 0,
        date(2026, 3, 7): 0,
        date(2026, 3, 8): 0,
        date(2026, 3, 9): 60,
        date(2026, 3, 10): 60,
    }


def test_days_are_asked_for_only_where_hours_are_missing(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    providers.order("/v1", edited(lambda content: [content[0], None, content[2]]), times=1)
    answer = fetch(source, OTHERS)
    assert providers.requests[1].query["latitude"] == "31.0000"
    assert set(answer.rows.site_keys.tolist()) == {0, 1, 2}
    assert "from" in notes(answer, "tmax_c", TODAY, site=1)
    assert "from" not in notes(answer, "tmax_c", TODAY, site=2)
    assert [problem.site_id for problem in answer.problems] == ["site-1"]


def test_a_useless_answer_is_not_kept(
    source: OpenMeteo, providers: FakeProviders, stores: StoresInMemory
) -> None:
    providers.order("/v1", edited(lambda content: content[0]))
    fetch(source, OTHERS)
    assert stores.payloads.kept == []


def test_each_site_gets_days_of_its_own_zone_from_the_service(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    providers.order("/v1", broken_json, times=4)
    sites = [make_site(), make_site("elm", longitude_deg=-80.0, zone="America/New_York")]
    answer = fetch(source, sites)
    assert providers.requests[-1].query["timezone"] == "America/Chicago,America/New_York"
    assert set(answer.rows.site_keys.tolist()) == {0, 1}
    assert reasons(answer) == {"bad-json"}


def test_no_days_are_asked_for_when_the_host_itself_fails(
    source: OpenMeteo, providers: FakeProviders
) -> None:
    providers.order("/v1", status(503))
    answer = fetch(source)
    assert providers.count("/v1") == 4
    assert reasons(answer) == {"http-503"}
