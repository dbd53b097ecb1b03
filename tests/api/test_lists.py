"""Lists of what there is: complete over their pages, tagged, and each caller's own."""

from __future__ import annotations

import json
from typing import Any

import pytest
from pydantic import BaseModel

from service.agronomy.crop_table import CROPS
from service.api import list_examples
from service.api.schemas.lists import (
    ControllerPageOut,
    CountyPageOut,
    CropPageOut,
    FarmPageOut,
    SitePageOut,
)
from service.api.schemas.site_weather import SiteWeatherPageOut
from service.bootstrap import Service
from tests.api.callers import Caller, caller_of
from tests.api.invented_farm import FARM, FARM_ID, load
from tests.api.paired_controllers import (
    BARN,
    BARN_CONTROLLER,
    SHED,
    SHED_CONTROLLER,
    pair,
)
from tests.pages.conftest import COUNTIES

OTHER = "later-farm"


def all_of(caller: Caller, path: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    at: str | None = path
    while at is not None:
        answer = caller.get(at)
        assert answer.status_code == 200, answer.text
        found += answer.json()["items"]
        at = answer.json()["next"]
    return found


def test_every_crop_is_on_one_of_the_pages_with_its_sources(caller: Caller) -> None:
    crops = all_of(caller, "/v1/crops?page_size=20")
    assert [each["crop_key"] for each in crops] == sorted(CROPS)
    apple = next(each for each in crops if each["crop_key"] == "apple-bare-frost")
    # FAO-56 (1998), Table 12: apples, no ground cover, killing frost.
    assert (apple["kc_mid"], apple["is_season_estimated"]) == (0.95, False)
    assert "Table 12" in apple["kc_source"] and apple["season_source"]
    blueberry = next(each for each in crops if each["crop_key"] == "blueberry")
    assert blueberry["is_season_estimated"] and "no source" in blueberry["season_source"]


def test_a_caller_lists_its_own_farm_and_the_region_all(own_service: Service) -> None:
    ids = [each["farm_id"] for each in all_of(caller_of(own_service, FARM_ID), "/v1/farms")]
    assert ids == [FARM_ID]
    region = caller_of(own_service, None)
    assert [each["farm_id"] for each in all_of(region, "/v1/farms?page_size=1")] == [OTHER, FARM_ID]


def test_sites_say_from_when_to_when_there_is_weather(own_service: Service) -> None:
    (home,) = all_of(caller_of(own_service, FARM_ID), "/v1/sites")
    assert home["site_id"] == "home"
    assert home["coverage"] == [
        {"kind": "forecast", "first_day": "2026-07-15", "last_day": "2026-07-21"},
        {"kind": "observed", "first_day": "2026-06-04", "last_day": "2026-07-14"},
    ]
    assert (home["observed_until"], home["forecast_until"]) == ("2026-07-14", "2026-07-21")
    assert home["measured_until"]["rain"] == "2026-07-14"
    (hill,) = all_of(caller_of(own_service, OTHER), "/v1/sites")
    assert (hill["site_id"], hill["coverage"]) == ("hill", [])
    assert len(all_of(caller_of(own_service, None), "/v1/sites?page_size=1")) == 2


def test_counties_are_listed_for_advisers(own_service: Service) -> None:
    load(own_service, COUNTIES)
    region = caller_of(own_service, None)
    first, second = all_of(region, "/v1/counties?page_size=1")
    assert (first["county_code"], first["site_id"]) == ("X01", "home")
    assert (second["county_code"], second["site_id"]) == ("X02", "far")
    assert caller_of(own_service, None, "plan:read").get("/v1/counties").status_code == 403


def test_controllers_say_which_blocks_they_open_and_when_they_were_retired(
    own_service: Service,
) -> None:
    pair(own_service, FARM_ID, SHED_CONTROLLER)
    pair(own_service, OTHER, BARN_CONTROLLER)
    pair(own_service, OTHER)
    (shed,) = all_of(caller_of(own_service, FARM_ID), "/v1/controllers")
    assert (shed["controller_id"], shed["farm_id"], shed["policy"]) == (SHED, FARM_ID, "fallback")
    assert [(each["channel"], each["block_id"]) for each in shed["channels"]] == [
        (1, f"{FARM_ID}.north"),
        (2, f"{FARM_ID}.south"),
    ]
    assert shed["channels"][0]["fallback"] == [{"start_local": "05:30", "duration_min": 40}]
    assert shed["retired_at"] is None
    region = caller_of(own_service, None)
    barn, _ = all_of(region, "/v1/controllers?page_size=1")
    assert (barn["controller_id"], barn["retired_at"]) == (BARN, "2026-07-14T23:00:00Z")
    assert all_of(region, f"/v1/controllers?farm={FARM_ID}") == [shed]
    assert region.get("/v1/controllers?farm=nowhere").status_code == 404


def test_what_is_added_between_two_pages_neither_repeats_nor_hides_anything(
    own_service: Service,
) -> None:
    caller = caller_of(own_service, None)
    first = caller.get("/v1/farms?page_size=1").json()
    assert [each["farm_id"] for each in first["items"]] == [OTHER]
    for new in ("a-farm", "new-farm"):  # before and after the place where the caller is
        load(own_service, FARM.replace(FARM_ID, new).replace("home", new))
    rest = [each["farm_id"] for each in all_of(caller, first["next"])]
    assert rest == ["new-farm", FARM_ID]


@pytest.mark.parametrize(
    "path", ["/v1/farms", "/v1/sites", "/v1/counties", "/v1/crops", "/v1/controllers"]
)
def test_a_list_that_has_not_changed_is_not_sent_again(caller: Caller, path: str) -> None:
    tag = caller.get(path).headers["ETag"]
    assert caller.get(path, headers={"If-None-Match": tag}).status_code == 304


@pytest.mark.parametrize(
    ("model", "example"),
    [
        (FarmPageOut, list_examples.FARM_PAGE),
        (SitePageOut, list_examples.SITE_PAGE),
        (CountyPageOut, list_examples.COUNTY_PAGE),
        (CropPageOut, list_examples.CROP_PAGE),
        (ControllerPageOut, list_examples.CONTROLLER_PAGE),
        (SiteWeatherPageOut, list_examples.WEATHER_PAGE),
    ],
)
def test_an_example_says_all_that_its_answer_says(
    model: type[BaseModel], example: dict[str, Any]
) -> None:
    assert json.loads(model.model_validate(example).model_dump_json()) == example
