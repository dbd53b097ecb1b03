"""Counties: the same numbers as the operation's, in every unit, as JSON and as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import openpyxl
import pytest
from sqlalchemy.engine import URL

from service.agronomy.crop_table import CROPS
from service.bootstrap import Service
from service.delivery.table_file import XLSX_TYPE, csv_bytes, safe_cell
from service.operations.access.manage_keys import Right
from service.operations.review.compare_counties import compare_counties
from tests.api.callers import Caller, caller_of
from tests.api.invented_farm import (
    BLOCK_ID,
    RUN_AT,
    TODAY,
    FixedClock,
    bring_weather,
    copied_service,
    load,
)

NEED = "/v1/counties/water-need"
_COUNTIES = """
[[site]]
id = "home"
latitude = 35.91
longitude = -79.22
elevation = "510 ft"
zone = "America/New_York"
[site.normals]
et0_mm = [1.2, 1.8, 2.9, 4.1, 4.8, 5.3, 5.4, 4.9, 3.9, 2.7, 1.7, 1.2]

[[county]]
code = "99001"
name = "=cmd|' /C calc'!A0"
site = "home"

[[county]]
code = "99003"
name = "Dry (invented)"
site = "home"
"""


@pytest.fixture(scope="module")
def region(planned_database: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """The invented farm with two counties, one of them with a name that is a formula."""
    with copied_service(planned_database, tmp_path_factory.mktemp("counties")) as made:
        load(made, _COUNTIES)
        yield made


@pytest.fixture(scope="module")
def adviser(region: Service) -> Caller:
    return caller_of(region, None, Right.ADVISER, Right.PLAN_READ)


def rows(adviser: Caller, **query: Any) -> list[dict[str, Any]]:
    """The rows of an answer."""
    answer = adviser.get(NEED, params={"week": "2026-W27", "block": BLOCK_ID, **query})
    assert answer.status_code == 200, answer.text
    items: list[dict[str, Any]] = answer.json()["items"]
    return items


def test_the_numbers_are_those_of_the_comparison_in_every_unit(
    adviser: Caller, region: Service
) -> None:
    found = rows(adviser)
    comparison = compare_counties(
        BLOCK_ID,
        first_day=date(2026, 6, 29),
        last_day=date(2026, 7, 5),
        on=TODAY,
        unit_of_work=region.unit_of_work,
        clock=region.clock,
        source_order=region.source_order,
    )
    assert [row["county_code"] for row in found] == ["99001", "99003"]
    for place, row in enumerate(found):
        gross = float(comparison.need.gross_need_mm[place])
        assert row["gross_need"]["depth_mm"] == pytest.approx(gross, abs=1e-3)
        assert row["gross_need"]["inches"] == pytest.approx(gross / 25.4, abs=1e-4)
        # 1 acre-inch is 27,154.29 gal and 1 mm on 1 ha is 10 m3: NIST Handbook 44, Appendix C.
        assert row["gross_need"]["gallons_per_acre"] == pytest.approx(
            gross / 25.4 * 27154.29, abs=0.1
        )
        assert row["gross_need"]["cubic_metres_per_hectare"] == pytest.approx(10 * gross, abs=0.01)
        assert row["running_h"] == pytest.approx(float(comparison.need.running_h[place]), abs=1e-5)
        assert row["rank"] == 1
        assert 50 < row["percent_of_normal"] < 200
    assert (found[0]["first_day"], found[0]["last_day"]) == ("2026-06-29", "2026-07-05")
    assert (found[0]["observed_until"], found[0]["data_age_days"]) == ("2026-07-14", 0)


def test_several_weeks_come_in_one_call(adviser: Caller) -> None:
    found = rows(adviser, week="2026-W26", weeks=3)
    assert [row["week"] for row in found] == [
        *["2026-W26"] * 2, *["2026-W27"] * 2, *["2026-W28"] * 2,
    ]  # fmt: skip
    assert rows(adviser, week="2026-W27") == found[2:4]


def test_a_crop_can_be_given_instead_of_a_block(adviser: Caller) -> None:
    season = {"season_start": "03-20", "stage_days": "25,45,110,50"}
    query = {"week": "2026-W27", "crop": "blueberry", **season}
    answer = adviser.get(NEED, params=query)
    assert answer.status_code == 200, answer.text
    reference = answer.json()["reference"]
    assert reference["block_id"] is None
    assert reference["row_spacing_m"] == pytest.approx(3.048)
    one_line = answer.json()["items"][0]
    two_lines = adviser.get(NEED, params={**query, "laterals_per_row": 2}).json()["items"][0]
    assert one_line["net_need"] == pytest.approx(two_lines["net_need"], rel=0.2)
    assert one_line["running_h"] > 1.5 * two_lines["running_h"]


def test_a_week_that_nothing_is_known_of_has_no_rain_either(adviser: Caller) -> None:
    for row in rows(adviser, week="2027-W27"):
        assert row["rain_mm"] is row["reference_et_mm"] is row["rank"] is None
        assert (row["rests_on"], row["days_unknown"]) == ("unknown", 7)
        reasons = {each["field"]: each["reason"] for each in row["why_null"]}
        assert reasons["rank"] == reasons["net_need"] == "nothing is known of 7 of the days"


def test_the_advisers_question_needs_no_other_argument(adviser: Caller) -> None:
    answer = adviser.get(f"{NEED}?week=next&crop=blueberry")
    assert answer.status_code == 200, answer.text
    content = answer.json()
    assert content["issued_at"] == "2026-07-14T23:00:00Z"
    reference = content["reference"]
    assert (reference["season_start"], reference["season_is_estimate"]) == ("03-20", True)
    assert reference["stage_lengths_day"] == [25.0, 45.0, 110.0, 50.0]
    assert reference["season_origin"].startswith("estimate: common practice")
    for row in content["items"]:
        assert row["week"] == "2026-W30"
        assert row["rank"] == 1 and row["running_h"] > 0 and row["net_need"]["depth_mm"] > 0
        assert row["normal_net_need_mm"] > 0 and row["sources"] and row["rests_on"] == "stand-in"
        assert row["net_need_p50_mm"] is None  # the forecast ends before that week does
    table = adviser.get(f"{NEED}?week=next&crop=blueberry", headers={"Accept": "text/csv"})
    assert [row["week"] for row in csv.DictReader(io.StringIO(table.text))] == ["2026-W30"] * 2


@pytest.mark.parametrize("crop", sorted(CROPS))
def test_every_crop_has_a_season(adviser: Caller, crop: str) -> None:
    answer = adviser.get(NEED, params={"week": "2026-W27", "crop": crop})
    assert answer.status_code == 200, answer.text
    reference = answer.json()["reference"]
    assert reference["season_is_estimate"] and reference["season_origin"]
    assert answer.json()["items"][0]["net_need"]["depth_mm"] > 0


@pytest.mark.parametrize(
    ("week", "found"),
    [
        (None, "2026-W29"),
        ("this", "2026-W29"),
        ("next", "2026-W30"),
        ("2026-W27", "2026-W27"),
        ("2026-07-01", "2026-W27"),
        ("2026-07-05", "2026-W27"),
    ],
)
def test_a_week_has_several_names(adviser: Caller, week: str | None, found: str) -> None:
    query = {"crop": "blueberry"} | ({} if week is None else {"week": week})
    items = adviser.get(NEED, params=query).json()["items"]
    assert {row["week"] for row in items} == {found}


def test_some_counties_can_be_picked_and_keep_their_rank(adviser: Caller) -> None:
    query = {"crop": "blueberry", "week": "2026-W27"}
    every = adviser.get(NEED, params=query).json()["items"]
    one = adviser.get(NEED, params={**query, "county": "99003"}).json()["items"]
    assert one == [row for row in every if row["county_code"] == "99003"]
    both = adviser.get(f"{NEED}?crop=blueberry&week=2026-W27&county=99001&county=99003")
    assert both.json()["items"] == every
    answer = adviser.get(NEED, params={**query, "county": "12345"})
    (error,) = answer.json()["errors"]
    assert (answer.status_code, error["parameter"]) == (422, "county")
    assert "99001" in error["detail"]


@pytest.mark.parametrize(
    ("query", "parameter"),
    [
        ({"crop": "plastic"}, "crop"),
        ({}, "crop"),
        ({"crop": "blueberry", "block": BLOCK_ID}, "crop"),
        ({"crop": "blueberry", "season_start": "03-20", "stage_days": "25,400,9,9"}, "stage_days"),
        ({"crop": "apple-cover-no-frost", "row_spacing": "12"}, "row_spacing"),
        ({"crop": "apple-cover-no-frost", "emitter_flow": "fast"}, "emitter_flow"),
        ({"crop": "apple-cover-no-frost", "texture": "cheese"}, "texture"),
        ({"crop": "apple-cover-no-frost", "week": "2026-W54"}, "week"),
        ({"crop": "apple-cover-no-frost", "week": "27"}, "week"),
        ({"crop": "apple-cover-no-frost", "week": "2026-02-30"}, "week"),
        ({"crop": "apple-cover-no-frost", "week": "last"}, "week"),
        ({"crop": "apple-cover-no-frost", "weeks": 13}, "weeks"),
    ],
)
def test_a_request_that_cannot_be_answered_is_reported_by_parameter(
    adviser: Caller, query: dict[str, Any], parameter: str
) -> None:
    answer = adviser.get(NEED, params={"week": "2026-W27", **query})
    assert answer.status_code == 422, answer.text
    assert parameter in [each.get("parameter") for each in answer.json()["errors"]]


def test_a_row_says_what_it_rests_on_and_why_a_figure_is_missing(adviser: Caller) -> None:
    measured, *_ = rows(adviser)
    assert (measured["rests_on"], measured["site_id"]) == ("measured", "home")
    assert [measured[f"days_{name}"] for name in ("measured", "forecast", "stand_in")] == [7, 0, 0]
    assert [(each["source"], each["days"]) for each in measured["sources"]] == [("import", 7)]
    assert measured["normal_reference_et_mm"] == pytest.approx(7 * 5.36, rel=0.01)  # 5.3 to 5.4
    assert measured["normal_net_need_mm"] == pytest.approx(
        measured["crop_et_mm"] * measured["normal_reference_et_mm"] / measured["reference_et_mm"],
        rel=0.02,
    )
    reasons = {each["field"]: each["reason"] for each in measured["why_null"]}
    assert reasons["net_need_p50_mm"] == "every day is measured"
    nulls = {name for name, value in measured.items() if value is None}
    assert set(reasons) == nulls


def test_a_week_of_forecast_and_normals_is_marked_as_such(adviser: Caller) -> None:
    # Observed up to Tuesday the 14th, forecast from the 15th to the 21st.
    this, *_ = rows(adviser, week="2026-W29")
    following, *_ = rows(adviser, week="2026-W30")
    assert (this["rests_on"], this["days_measured"], this["days_forecast"]) == ("forecast", 2, 5)
    assert this["forecast_issued_at"] == "2026-07-14T23:00:00Z"
    assert following["rests_on"] == "stand-in"
    assert (following["days_forecast"], following["days_stand_in"]) == (2, 5)
    assert following["rank"] == 1 and following["rain_mm"] is None
    reasons = {each["field"]: each["reason"] for each in following["why_null"]}
    assert reasons["rain_mm"] == "rain of a day is not known"
    assert "for all coming days" in reasons["net_need_p90_mm"]
    band_mm = [this[f"net_need_p{share}_mm"] for share in (10, 50, 90)]
    assert band_mm == sorted(band_mm) and band_mm[0] < band_mm[2]
    assert band_mm[0] <= this["net_need"]["depth_mm"] <= band_mm[2]


def test_a_spreadsheet_has_every_week_that_was_asked_for(adviser: Caller) -> None:
    asked = {"week": "2026-W27", "weeks": 2, "block": BLOCK_ID}
    answer = adviser.get(NEED, params=asked, headers={"Accept": XLSX_TYPE})
    assert answer.headers["Content-Type"] == XLSX_TYPE
    lines = (
        openpyxl.load_workbook(io.BytesIO(answer.content)).worksheets[0].iter_rows(values_only=True)
    )
    table = [tuple(each) for each in lines]
    (start,) = (place for place, line in enumerate(table) if line[:1] == ("Monday",))
    need = table[start].index("Net need, mm")
    found = [
        (str(line[0])[:10], line[2], round(float(str(line[need])), 3))
        for line in table[start + 1 :]
        if line[2]
    ]
    items = adviser.get(NEED, params=asked).json()["items"]
    days = {"2026-W27": "2026-06-29", "2026-W28": "2026-07-06"}
    assert found == [
        (days[item["week"]], item["county_code"], item["net_need"]["depth_mm"]) for item in items
    ]


def test_csv_says_the_same_and_no_cell_is_a_formula(adviser: Caller) -> None:
    answer = adviser.get(
        NEED,
        params={"week": "2026-W27", "block": BLOCK_ID},
        headers={"Accept": "text/csv"},
    )
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    table = list(csv.DictReader(io.StringIO(answer.text)))
    found = rows(adviser)
    assert [row["county_code"] for row in table] == ["99001", "99003"]
    assert table[0]["name"] == "'=cmd|' /C calc'!A0"
    for row, item in zip(table, found, strict=True):
        assert float(row["gross_need_depth_mm"]) == item["gross_need"]["depth_mm"]
        assert float(row["reference_et_mm"]) == item["reference_et_mm"]
        assert row["rests_on"] == item["rests_on"] == "measured"
        assert row["sources"].startswith("import observed 7 d of 2026-07-14T23:00Z")
        assert "net_need_p50_mm: every day is measured" in row["why_null"]


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "\0", "\uff1d"])
def test_text_that_a_spreadsheet_would_run_is_quoted(start: str) -> None:
    assert safe_cell(f"{start}1+1") == f"'{start}1+1"
    assert b"'" in csv_bytes(["a"], [[f"{start}x"]])


def test_plain_numbers_stay_numbers() -> None:
    assert [safe_cell(value) for value in (-3.2, "+4", 0, None, "a-b")] == [
        "-3.2", "+4", "0", "", "a-b",
    ]  # fmt: skip


# --- what a process keeps ------------------------------------------------------------------------


@pytest.fixture
def own_region(own_service: Service) -> Service:
    """The same counties in a database that a test may change."""
    load(own_service, _COUNTIES)
    return own_service


QUESTION = f"{NEED}?week=2026-W28&crop=grape-wine"


def test_an_answer_is_kept_until_the_weather_or_the_counties_change(own_region: Service) -> None:
    clock = FixedClock(RUN_AT)
    caller = caller_of(replace(own_region, clock=clock), None, Right.ADVISER)
    first = caller.get(QUESTION).json()
    clock.instant += timedelta(minutes=5)
    assert caller.get(QUESTION).json() == first  # also the time at which it was worked out
    bring_weather(own_region, warmer_c=4.0)
    warmer = caller.get(QUESTION).json()
    assert warmer["issued_at"] > first["issued_at"]
    assert warmer["items"][0]["reference_et_mm"] > first["items"][0]["reference_et_mm"]
    load(own_region, _COUNTIES.replace("Dry (invented)", "Wet (invented)"))
    assert caller.get(QUESTION).json()["items"][1]["name"] == "Wet (invented)"


def test_an_answer_is_kept_for_ten_minutes_at_most(own_region: Service) -> None:
    clock = FixedClock(RUN_AT)
    caller = caller_of(replace(own_region, clock=clock), None, Right.ADVISER)
    first = caller.get(QUESTION).json()
    clock.instant += timedelta(minutes=10)
    again = caller.get(QUESTION).json()
    assert again["issued_at"] > first["issued_at"] and again["items"] == first["items"]


def test_other_parameters_are_another_question(own_region: Service) -> None:
    caller = caller_of(own_region, None, Right.ADVISER)
    one = caller.get(QUESTION).json()["items"][0]
    two = caller.get(f"{QUESTION}&laterals_per_row=2").json()["items"][0]
    assert one["running_h"] > 1.5 * two["running_h"]
