"""Weather of a site day by day: what plans use, where it is from, and whose gauge counts."""

from __future__ import annotations

import csv
from typing import Any

import pytest

from service.bootstrap import Service
from tests.api.callers import Caller, caller_of
from tests.api.invented_farm import BLOCK_ID, FARM_ID, PLAN_DAY, TODAY, bring_weather, load
from tests.api.test_lists import all_of
from tests.api.test_shared_places import MUCH_RAIN, NEIGHBOUR

PATH = "/v1/sites/home/weather-days"


def values_of(day: dict[str, Any]) -> dict[str, float | None]:
    return {each["name"]: each["value"] for each in day["values"]}


def test_days_are_those_that_the_plans_were_made_with(caller: Caller) -> None:
    (day,) = all_of(caller, f"{PATH}?from={PLAN_DAY}&to={PLAN_DAY}")
    why = caller.get(f"/v1/blocks/{BLOCK_ID}/why?date={PLAN_DAY}").json()["weather"]
    planned = next(each for each in why if each["day"] == str(PLAN_DAY))
    for name in ("tmax_c", "tmin_c", "ea_kpa", "rs_mj_m2", "rain_mm", "et0_mm"):
        assert values_of(day)[name] == values_of(planned)[name], name
    assert day["origins"] == planned["origins"]


def test_each_day_says_whether_it_is_measured_forecast_or_a_stand_in(caller: Caller) -> None:
    days = all_of(caller, f"{PATH}?from=2026-07-13&to=2026-07-24&page_size=5")
    assert [each["day"] for each in days] == [f"2026-07-{day}" for day in range(13, 25)]
    rests_on = [each["rests_on"] for each in days]
    assert rests_on[:9] == ["measured"] * 2 + ["forecast"] * 7
    assert set(rests_on[9:]) <= {"stand-in", "unknown"}
    kinds = {each["name"]: each["kind"] for each in days[0]["origins"]}
    assert kinds["tmax_c"] == "observed"
    assert {each["kind"] for each in days[2]["origins"]} == {"forecast"}


def test_without_days_it_is_a_month_back_and_as_far_as_plans_look(caller: Caller) -> None:
    days = all_of(caller, PATH)
    assert (days[0]["day"], days[-1]["day"]) == ("2026-06-14", "2026-07-21")
    assert all_of(caller, f"{PATH}?to=2026-06-20")[-1]["day"] == "2026-06-20"
    assert all_of(caller, f"{PATH}?from=2026-07-20")[-1]["day"] == "2026-07-21"


def test_days_change_when_their_weather_does(own_service: Service) -> None:
    caller = caller_of(own_service, FARM_ID)
    tag = caller.get(PATH).headers["ETag"]
    assert caller.get(PATH, headers={"If-None-Match": tag}).status_code == 304
    bring_weather(own_service, warmer_c=1.0)
    assert caller.get(PATH, headers={"If-None-Match": tag}).status_code == 200


def test_a_table_has_a_row_for_each_day_and_says_where_it_goes_on(caller: Caller) -> None:
    as_csv = {"Accept": "text/csv"}
    span = f"{PATH}?from=2026-07-10&to={TODAY}&page_size=4"
    first = caller.get(span, headers=as_csv)
    rows = list(csv.DictReader(first.text.splitlines()))
    assert [row["day"] for row in rows] == [f"2026-07-{day}" for day in range(10, 14)]
    assert rows[0]["rests_on"] == "measured" and "import observed of" in rows[0]["sources"]
    (last,) = all_of(caller, f"{PATH}?from={TODAY}&to={TODAY}")
    rest = caller.get(first.headers["Link"].split(">")[0].strip("<"), headers=as_csv)
    (row,) = csv.DictReader(rest.text.splitlines())
    assert float(row["et0_mm"]) == values_of(last)["et0_mm"]
    assert "Link" not in rest.headers


def test_a_farms_gauge_is_seen_by_that_farm_and_not_by_its_neighbour(own_service: Service) -> None:
    load(own_service, NEIGHBOUR)
    day = f"{PATH}?from={TODAY}&to={TODAY}"
    caller_of(own_service, FARM_ID).post("/v1/gauges/home/readings", MUCH_RAIN)

    def rain(farm_id: str | None, more: str = "") -> float | None:
        return values_of(all_of(caller_of(own_service, farm_id), day + more)[0])["rain_mm"]

    assert (rain(FARM_ID) or 0.0) > 50.0
    assert rain("neighbour") == rain(None) != rain(FARM_ID)
    assert rain(None, f"&farm={FARM_ID}") == rain(FARM_ID)


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("?from=2026-07-14&to=2026-07-13", 422),
        ("?from=2025-01-01&to=2026-07-13", 422),
        ("?farm=later-farm", 404),
    ],
)
def test_what_cannot_be_read_is_refused(caller: Caller, query: str, status: int) -> None:
    assert caller.get(PATH + query).status_code == status
