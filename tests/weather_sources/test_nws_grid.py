"""The grid of the US National Weather Service: layers of intervals into civil days."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from service.agronomy.atmosphere import daylight_hours, extraterrestrial_radiation_mj_m2
from service.weather_sources.answer_shape import AnswerInvalid
from service.weather_sources.http import WeatherHttp
from service.weather_sources.nws_grid import (
    KEEP_POINT_FOR,
    NwsGrid,
    is_covered,
    read_cell,
    read_grid,
    read_interval,
    shortest,
)
from service.weather_sources.request import JsonAnswer
from tests.weather_sources.fake_providers import (
    FakeProviders,
    edited,
    invented_weather,
    layer,
    problem,
    status,
)
from tests.weather_sources.questions import (
    NO_PAUSE,
    NOW,
    assert_no_sentinels,
    fetch,
    make_site,
    notes,
    reasons,
    values,
)

TODAY = date(2026, 7, 7)
CELL = "/gridpoints/JAN/89,33"
# In the documented form of the service; every number is invented.
DOCUMENT: dict[str, Any] = {
    "updateTime": "2026-07-07T07:41:00+00:00",
    "validTimes": "2026-07-07T01:00:00+00:00/P7DT22H",
    "elevation": {"unitCode": "wmoUnit:m", "value": 40.2},
    "maxTemperature": {
        "uom": "wmoUnit:degC",
        "values": [{"validTime": "2026-07-07T12:00:00+00:00/PT13H", "value": 33.3}],
    },
    "minTemperature": {
        "uom": "wmoUnit:degC",
        "values": [{"validTime": "2026-07-07T00:00:00+00:00/PT14H", "value": 21.1}],
    },
    "skyCover": {
        "uom": "wmoUnit:percent",
        "values": [{"validTime": "2026-07-07T06:00:00+00:00/P1DT6H", "value": 35}],
    },
    "quantitativePrecipitation": {
        "uom": "wmoUnit:mm",
        "values": [
            {"validTime": "2026-07-07T05:00:00+00:00/PT22H", "value": 0.0},
            {"validTime": "2026-07-08T03:00:00+00:00/PT6H", "value": 6.0},
            {"validTime": "2026-07-08T09:00:00+00:00/PT20H", "value": 0.0},
        ],
    },
    "ceilingHeight": {"uom": None, "values": []},
}


@pytest.fixture
def source(providers: FakeProviders, http: WeatherHttp) -> NwsGrid:
    return NwsGrid(http, base_url=providers.base_url, pause=NO_PAUSE)


def read(**changes: Any) -> tuple[Any, set[str]]:
    """Fields of 7 and 8 July in Chicago out of the document above with other layers."""
    content = {"properties": {**DOCUMENT, **changes}}
    part, faults = read_grid(
        JsonAnswer(content, NOW), 0, make_site(), days=[TODAY, date(2026, 7, 8)], now=NOW
    )
    return part.fields, {fault.message.partition(":")[0] for fault in faults}


def test_an_amount_across_midnight_is_split_by_the_hours_on_either_side() -> None:
    # 6 mm in six hours from 22:00 to 04:00 in Chicago: 2 mm to the 7th, 4 mm to the 8th.
    fields, _ = read()
    assert fields["rain_mm"].values.tolist() == pytest.approx([2.0, 4.0])
    assert fields["rain_mm"].notes[0] == {"hours_present": 24}


def test_a_state_across_midnight_counts_for_both_days_by_its_hours() -> None:
    wind = [
        {"validTime": "2026-07-07T05:00:00+00:00/PT18H", "value": 0.0},
        {"validTime": "2026-07-07T23:00:00+00:00/PT12H", "value": 36.0},
        {"validTime": "2026-07-08T11:00:00+00:00/PT18H", "value": 0.0},
    ]
    fields, _ = read(windSpeed={"uom": "wmoUnit:km_h-1", "values": wind})
    # 36 km/h are 10 m/s: six hours of them on each day.
    assert fields["wind_m_s"].values.tolist() == pytest.approx([2.5, 2.5])


def test_the_extremes_of_the_day_are_used_where_there_are_no_hours() -> None:
    fields, _ = read()
    assert fields["tmax_c"].values[0] == 33.3
    assert fields["tmin_c"].values[0] == 21.1
    assert np.isnan(fields["tmax_c"].values[1])
    assert fields["tmax_c"].notes[0] == {"hours_present": None, "from": "maxTemperature"}


def test_radiation_is_estimated_from_the_sky_between_sunrise_and_sunset() -> None:
    fields, _ = read()
    day = np.array([TODAY], dtype="datetime64[D]")
    above_air = extraterrestrial_radiation_mj_m2(day, 33.0)[0, 0]
    # FAO-56 Eq. 35 with n/N = 1 - 0.35.
    assert fields["rs_mj_m2"].values[0] == pytest.approx((0.25 + 0.5 * 0.65) * above_air)
    note = fields["rs_mj_m2"].notes[0]
    assert note["estimated_from"] == "sky cover"
    assert note["hours_present"] == pytest.approx(daylight_hours(day, 33.0)[0, 0], abs=0.01)
    # Of the 8th the sky is known until noon only.
    assert np.isnan(fields["rs_mj_m2"].values[1])


def test_clouds_of_the_night_do_not_dim_the_day() -> None:
    sky = [
        {"validTime": "2026-07-07T05:00:00+00:00/PT5H", "value": 100},
        {"validTime": "2026-07-07T10:00:00+00:00/PT16H", "value": 0},
        {"validTime": "2026-07-08T02:00:00+00:00/PT3H", "value": 100},
    ]
    fields, _ = read(skyCover={"uom": "wmoUnit:percent", "values": sky})
    above_air = extraterrestrial_radiation_mj_m2(np.array([TODAY], dtype="datetime64[D]"), 33.0)
    assert fields["rs_mj_m2"].values[0] == pytest.approx(0.75 * above_air[0, 0])


@pytest.mark.parametrize(
    ("unit", "value", "celsius"),
    [
        ("wmoUnit:degC", 20.0, 20.0),
        ("unit:degC", 20.0, 20.0),
        ("wmoUnit:degF", 68.0, 20.0),
        ("wmoUnit:K", 293.15, 20.0),
    ],
)
def test_temperatures_are_read_in_the_unit_given_with_them(
    unit: str, value: float, celsius: float
) -> None:
    span = [{"validTime": "2026-07-07T05:00:00+00:00/P2D", "value": value}]
    fields, _ = read(dewpoint={"uom": unit, "values": span})
    assert fields["tdew_c"].values.tolist() == pytest.approx([celsius, celsius])


@pytest.mark.parametrize(
    "broken",
    [
        {"uom": None, "values": [{"validTime": "2026-07-07T05:00:00+00:00/P2D", "value": 20}]},
        {
            "uom": "wmoUnit:Pa",
            "values": [{"validTime": "2026-07-07T05:00:00+00:00/P2D", "value": 1}],
        },
        {"uom": None, "values": []},
        {"uom": "wmoUnit:degC", "values": [{"validTime": "yesterday", "value": 20}]},
        {"uom": "wmoUnit:degC", "values": [None]},
        {
            "uom": "wmoUnit:degC",
            "values": [
                {"validTime": "2026-07-07T05:00:00+00:00/PT6H", "value": 20},
                {"validTime": "2026-07-07T10:00:00+00:00/PT6H", "value": 20},
            ],
        },
        None,
        [],
    ],
)
def test_a_layer_that_cannot_be_read_costs_only_its_fields(broken: object) -> None:
    fields, faults = read(dewpoint=broken)
    assert "tdew_c" not in fields
    assert fields["tmax_c"].values[0] == 33.3
    assert faults & {"dewpoint", "dewpoint.values", "'yesterday' is not an interval of time"}


def test_layers_that_an_office_does_not_fill_are_named() -> None:
    _, faults = read()
    assert faults == {"dewpoint", "relativeHumidity", "windSpeed", "probabilityOfPrecipitation"}


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("2026-07-07T06:00:00+00:00/PT6H", 6),
        ("2026-07-07T06:00:00Z/P1DT6H", 30),
        ("2026-07-07T01:00:00-05:00/P7DT22H", 190),
        ("2026-07-07T06:00:00+00:00/2026-07-07T09:00:00+00:00", 3),
        ("PT2H/2026-07-07T09:00:00+00:00", 2),
        ("NOW/PT90M", 1.5),
        ("P1W/NOW", 168),
    ],
)
def test_intervals_come_in_every_form_of_the_standard(text: str, hours: float) -> None:
    start, end = read_interval(text, now=NOW)
    assert end - start == timedelta(hours=hours)
    assert start.utcoffset() == timedelta(0)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "2026-07-07T06:00:00+00:00",
        "2026-07-07T06:00:00/PT6H",
        "2026-07-07T06:00:00+00:00/PT0H",
        "2026-07-07T06:00:00+00:00/P",
        "2026-07-07T06:00:00+00:00/P1M",
        "2026-07-07T06:00:00+00:00/2026-07-06T06:00:00+00:00",
        "9999-12-31T23:00:00+00:00/P900D",
        "9999-12-31T23:00:00-05:00/PT1H",
        "PT900H/0001-01-02T00:00:00+00:00",
        "PT6H/PT6H",
        None,
        7,
    ],
)
def test_a_malformed_interval_is_refused(text: object) -> None:
    with pytest.raises(AnswerInvalid):
        read_interval(text, now=NOW)


@pytest.mark.parametrize(
    ("degrees", "text"),
    [(33.0, "33"), (-90.2, "-90.2"), (39.74561, "39.7456"), (-0.00001, "0"), (100.0, "100")],
)
def test_a_coordinate_has_at_most_four_decimals_and_no_zeros_at_its_end(
    degrees: float, text: str
) -> None:
    assert shortest(degrees) == text


@pytest.mark.parametrize(
    "grid",
    [
        {"gridId": "JAN/../x", "gridX": 1, "gridY": 1},
        {"gridId": "JAN", "gridX": "1?x", "gridY": 1},
        {"gridId": "JAN", "gridX": -1, "gridY": 1},
        {"gridX": 1, "gridY": 1},
    ],
)
def test_an_invalid_cell_is_not_used(grid: dict[str, object]) -> None:
    with pytest.raises(AnswerInvalid):
        read_cell({"properties": grid})


# --- over the wire ---------------------------------------------------------------------------


def test_the_grid_gives_the_days_from_today_on(source: NwsGrid) -> None:
    answer = fetch(source)
    assert answer.problems == ()
    assert answer.rows.days.tolist() == [TODAY + timedelta(days=step) for step in range(4)]
    assert set(answer.rows.kinds) == {"forecast"}
    assert set(answer.rows.wind_height_m) == {10.0}
    assert set(answer.rows.issued_at) == {datetime(2026, 7, 7, 8, 0, tzinfo=UTC)}
    hours = round(datetime(2026, 7, 8, 5, tzinfo=UTC).timestamp()) + 3600 * np.arange(24)
    truth = invented_weather(33.5, -90.5, hours)
    day = date(2026, 7, 8)
    assert values(answer, "tmax_c")[day] == truth["temperature_2m"].max()
    assert values(answer, "wind_m_s")[day] == pytest.approx(truth["wind_speed_10m"].mean())
    assert notes(answer, "tmax_c", day) == {"hours_present": 24}
    assert notes(answer, "rs_mj_m2", day)["estimated_from"] == "sky cover"


def test_the_url_that_the_service_names_is_never_fetched(
    source: NwsGrid, providers: FakeProviders
) -> None:
    fetch(source)
    assert [request.path for request in providers.requests] == ["/points/33,-90.2", CELL]
    assert all(not request.query for request in providers.requests)


def test_a_point_is_remembered_for_a_month(source: NwsGrid, providers: FakeProviders) -> None:
    fetch(source)
    for later in (timedelta(hours=1), KEEP_POINT_FOR - timedelta(hours=1)):
        providers.now = NOW + later
        fetch(source, now=NOW + later, last_day=date(2026, 8, 9))
    assert providers.count("/points") == 1
    fetch(source, now=NOW + KEEP_POINT_FOR + timedelta(hours=1), last_day=date(2026, 8, 9))
    assert providers.count("/points") == 2


def test_sites_in_one_cell_share_its_grid(source: NwsGrid, providers: FakeProviders) -> None:
    answer = fetch(source, [make_site("a"), make_site("b", latitude_deg=33.2)])
    assert providers.count("/points") == 2
    assert providers.count(CELL) == 1
    assert set(answer.rows.site_keys.tolist()) == {0, 1}


def test_a_place_outside_the_country_is_not_requested(
    source: NwsGrid, providers: FakeProviders
) -> None:
    site = make_site("ufer", latitude_deg=48.0, longitude_deg=11.0, zone="Europe/Berlin")
    answer = fetch(source, [site, make_site()])
    assert [(p.site_id, p.reason) for p in answer.problems] == [("ufer", "no-cover")]
    assert set(answer.rows.site_keys.tolist()) == {1}
    assert providers.count("/points") == 1


def test_a_place_that_the_service_does_not_know_has_no_cover(
    source: NwsGrid, providers: FakeProviders
) -> None:
    providers.order("/points", status(404))
    assert reasons(fetch(source)) == {"no-cover"}


@pytest.mark.parametrize(
    ("latitude", "longitude", "is_in"),
    [
        (21.3, -157.8, True),
        (61.2, -149.9, True),
        (18.4, -66.1, True),
        (13.4, 144.8, True),
        (-14.3, -170.7, True),
        (51.5, 0.0, False),
        (-33.9, 151.2, False),
        (35.7, 139.7, False),
    ],
)
def test_states_and_territories_are_covered(latitude: float, longitude: float, is_in: bool) -> None:
    site = make_site(latitude_deg=latitude, longitude_deg=longitude)
    assert is_covered(site) is is_in


def test_a_cell_that_moved_is_found_again(source: NwsGrid, providers: FakeProviders) -> None:
    fetch(source)
    later = NOW + timedelta(days=2)
    providers.now = later
    providers.order(CELL, status(404))

    def move(content: Any) -> None:
        content["properties"]["gridX"] = 90

    providers.order("/points", edited(move))
    answer = fetch(source, now=later, first_day=date(2026, 7, 9), last_day=date(2026, 7, 11))
    assert answer.problems == ()
    assert providers.count("/gridpoints/JAN/90,33") == 1
    assert len(answer.rows) == 3


def test_a_point_that_was_just_looked_up_is_not_looked_up_again(
    source: NwsGrid, providers: FakeProviders
) -> None:
    providers.order(CELL, status(404))
    assert reasons(fetch(source)) == {"http-404"}
    assert providers.count("/points") == 1


def test_one_cell_that_fails_for_a_week_costs_one_probe_at_a_time_and_no_neighbour(
    source: NwsGrid, providers: FakeProviders
) -> None:
    sites = [make_site("bad"), make_site("good", latitude_deg=35.0)]
    providers.order(CELL, problem(500, "Unexpected Problem"))
    refreshes = [*range(0, 120, 15), *range(360, 7 * 24 * 60, 360)]
    for minutes in refreshes:
        now = providers.now = NOW + timedelta(minutes=minutes)
        first, last = (now.date() + timedelta(days=step) for step in (1, 3))
        answer = fetch(source, sites, now=now, first_day=first, last_day=last)
        assert set(answer.rows.site_keys.tolist()) == {1}
        assert len(answer.rows) == 3
        assert {p.site_id for p in answer.problems} == {"bad"}
        assert reasons(answer) <= {"http-500", "breaker-open"}
    # Two whole rounds of four attempts open the breaker, then each refresh sends one probe.
    assert providers.count(CELL) == 4 + 4 + len(refreshes) - 2
    providers.clear()
    now = providers.now = NOW + timedelta(days=7, hours=1)
    first, last = (now.date() + timedelta(days=step) for step in (1, 3))
    answer = fetch(source, sites, now=now, first_day=first, last_day=last)
    assert set(answer.rows.site_keys.tolist()) == {0, 1}


def test_a_forecast_that_is_not_updated_is_stale(source: NwsGrid, providers: FakeProviders) -> None:
    def age(content: Any) -> None:
        content["properties"]["updateTime"] = "2026-07-05T08:00:00+00:00"

    providers.order("/gridpoints", edited(age))
    answer = fetch(source)
    assert len(answer.rows) == 0
    assert reasons(answer) == {"stale"}
    assert "2026-07-05T08:00" in answer.problems[0].message


@pytest.mark.parametrize("stamp", [None, 7, "soon", "2026-07-07T08:00:00"])
def test_a_forecast_without_a_time_is_not_used(
    stamp: object, source: NwsGrid, providers: FakeProviders
) -> None:
    def restamp(content: Any) -> None:
        content["properties"]["updateTime"] = stamp

    providers.order("/gridpoints", edited(restamp))
    assert reasons(fetch(source)) == {"wrong-shape"}


def hours_of(change: Callable[[list[Any]], None], name: str) -> Callable[[Any], None]:
    return lambda content: change(content["properties"][name]["values"])


def test_absurd_values_count_as_missing_hours(source: NwsGrid, providers: FakeProviders) -> None:
    def spoil(entries: list[Any]) -> None:
        entries[30]["value"] = -9999
        entries[31]["value"] = 1e30

    providers.order("/gridpoints", edited(hours_of(spoil, "temperature")))
    answer = fetch(source)
    assert_no_sentinels(answer)
    assert notes(answer, "tmax_c", date(2026, 7, 8)) == {"hours_present": 22}


@pytest.mark.parametrize(("today", "hours"), [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25)])
def test_a_day_with_a_clock_change_has_its_own_hours(
    today: date, hours: int, source: NwsGrid, providers: FakeProviders
) -> None:
    # 06:00 UTC is midnight (or 01:00) in Chicago; the grid begins some hours earlier.
    now = providers.now = datetime(today.year, today.month, today.day, 6, tzinfo=UTC)
    answer = fetch(source, now=now, first_day=today, last_day=today + timedelta(days=2))
    assert notes(answer, "tmax_c", today) == {"hours_present": hours}
    assert notes(answer, "rain_mm", today) == {"hours_present": hours}
    assert answer.problems == ()


def test_a_merged_interval_is_as_good_as_its_hours(
    source: NwsGrid, providers: FakeProviders
) -> None:
    def merge(content: Any) -> None:
        start = np.array([round(datetime(2026, 7, 7, 2, tzinfo=UTC).timestamp())])
        content["properties"]["windSpeed"] = layer("km_h-1", start, [18.0], length=170)

    providers.order("/gridpoints", edited(merge))
    wind = values(fetch(source), "wind_m_s")
    assert all(math.isclose(value, 5.0) for value in wind.values())
    assert len(wind) == 4
