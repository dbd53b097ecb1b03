"""A farm on its way to its first plan: numbered steps, few clicks, and what each step asks."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from html import unescape

import pytest

from service.agronomy.records import Ints
from service.api.app import create_app
from service.bootstrap import Service
from service.operations.farms.change_farms import get_farm_now
from service.operations.reading.read_plans import get_plan
from service.records.weather import SourceProblem
from tests.api.invented_farm import BLOCK_ID, FARM_ID, PLAN_DAY, TODAY, bring_weather
from tests.pages.conftest import Reader, key_for

MOST_CLICKS = 12
FARM = {
    "name": "New Bend", "zone": "America/New_York", "unit_system": "us",
    "coordinates": "35°54'36\"N 79°13'12\"W", "elevation": "500", "elevation_unit": "ft",
}  # fmt: skip
WATER = {
    "supply_name": "Well", "flow": "40", "flow_unit": "gpm", "opens_1": "04:00",
    "closes_1": "21:00",
}  # fmt: skip
BLOCK = {
    "name": "First", "crop": "grape-wine", "area": "1", "area_unit": "ac", "row_spacing": "8",
    "row_spacing_unit": "ft", "laterals_per_row": "1", "emitter_spacing": "24",
    "emitter_spacing_unit": "in", "emitter_flow": "0.5", "emitter_flow_unit": "gph",
    "texture": "clay-loam", "do": "store",
}  # fmt: skip
PLACE = "/farms/new-bend"
STEP = re.compile(r'<li class="(here|done|to-come)">(.*?)</li>', re.DOTALL)


@dataclass
class Clicker:
    """A reader who counts what they click: links, buttons, and choices out of a list."""

    reader: Reader
    page: str
    clicks: int = 0
    seen: list[str] = field(default_factory=list)

    def follow(self, name: str) -> None:
        """Click on a link or a link that looks like a button."""
        found = re.search(rf'href="([^"]*)"[^>]*>{re.escape(name)}<', self.reader.text(self.page))
        assert found is not None, (self.page, name)
        self._go(unescape(found[1]).replace("?first", f"{self.page.partition('?')[0]}?first"))

    def press(self, name: str, fields: dict[str, str], *, choices: int = 0) -> None:
        """Fill in the form of the page, choosing from so many of its lists, and press a button."""
        text = self.reader.text(self.page)
        found = re.search(rf"<button[^>]*>{re.escape(name)}</button>", text)
        assert found is not None, (self.page, name)
        action = re.search(r'<form method="post" action="(/farms/[^"]*)"', text)
        self.clicks += choices
        answer = self.reader.send(self.page, action[1] if action else None, **fields)
        assert answer.status_code == 303, (self.page, answer.text)
        self._go(answer.headers["Location"])

    def _go(self, page: str) -> None:
        self.clicks += 1
        self.page = page
        self.seen.append(page.partition("?")[0])


def states(page: str) -> list[str]:
    return [state for state, _ in STEP.findall(page)]


def make_farm(reader: Reader, **changed: str) -> None:
    """The first three steps."""
    reader.send("/farms/new", **FARM)
    reader.send(f"{PLACE}/supplies/new", **WATER)
    assert reader.send(f"{PLACE}/blocks/new", **{**BLOCK, **changed}).status_code == 303


def test_a_farm_gets_its_first_plan_in_twelve_clicks(service: Service) -> None:
    def bring(site_keys: Ints, *, now: datetime) -> Sequence[SourceProblem]:
        bring_weather(service, site_id="new-bend-home")
        return ()

    reader = Reader(create_app(replace(service, refreshers={"invented": bring})))
    clicker = Clicker(reader, "/farms?all=1")
    clicker.follow("Set up a farm")
    clicker.press("Save and go on to Water", FARM)
    clicker.press("Save and go on to Block", WATER)
    clicker.press("Save and go on to Soil now", BLOCK, choices=2)  # the crop and the soil
    clicker.press("Save and go on to Weather", {"wetness-first": "just-watered"}, choices=1)
    clicker.follow("Go on to First plan")
    clicker.press("Make the plan for tomorrow now", {})
    clicker.follow("Look again") if "Look again" in reader.text(clicker.page) else None
    assert clicker.clicks <= MOST_CLICKS, clicker.seen
    plan = get_plan("new-bend.first", day=PLAN_DAY, unit_of_work=service.unit_of_work).plan
    assert plan.reasoning.taken_full_day is None  # somebody said how wet the soil is
    page = reader.text(f"{PLACE}/tomorrow")
    assert "First" in page and not states(page)


def test_each_step_says_where_one_stands_and_what_is_done(reader: Reader) -> None:
    def shown(page: str) -> list[str]:
        return states(reader.text(page))

    page = reader.text("/farms/new")
    assert states(page) == ["here", *["to-come"] * 5]
    assert "<title>Step 1 of 6: Farm" in page and "Step 1 of 6: Farm · kept as you go" in page
    assert not re.search(r'<li class="to-come"><a', page)
    reader.send("/farms/new", **FARM)
    assert shown(f"{PLACE}/supplies/new") == ["done", "here", *["to-come"] * 4]
    reader.send(f"{PLACE}/supplies/new", **WATER)
    page = reader.text(f"{PLACE}/blocks/new")
    assert states(page) == ["done", "done", "here", *["to-come"] * 3]
    # Done steps lead back to what was stored.
    assert f'href="{PLACE}/edit"' in page and f'href="{PLACE}/supplies/well/edit"' in page
    assert shown(f"{PLACE}/setup") == ["done", "done", *["to-come"] * 4]
    assert f'<a class="button" href="{PLACE}/blocks/new">Go on to Block' in reader.text(
        f"{PLACE}/setup"
    )
    reader.send(f"{PLACE}/blocks/new", **BLOCK)
    page = reader.text(f"{PLACE}/soil-now")
    assert states(page) == ["done", "done", "done", "here", "to-come", "to-come"]
    assert ">Back to Block<" in page and 'href="/blocks/new-bend.first/edit"' in page
    answer = reader.send(f"{PLACE}/soil-now", **{"available-first": "60 %"})
    assert answer.headers["Location"] == f"{PLACE}/first-weather?done=stored"
    assert shown(f"{PLACE}/first-weather")[3:] == ["done", "here", "to-come"]
    assert shown(f"{PLACE}/tomorrow") == ["done"] * 4 + ["to-come", "here"]


def test_a_farm_with_a_plan_shows_no_steps_and_goes_back_to_its_page(reader: Reader) -> None:
    for page in ("setup", "edit", "supplies/new", "blocks/new", "soil-now", "first-weather"):
        assert not states(reader.text(f"/farms/{FARM_ID}/{page}")), page
    answer = reader.send(f"/farms/{FARM_ID}/blocks/new", **BLOCK)
    assert answer.headers["Location"] == f"/farms/{FARM_ID}/setup?done=stored"


# --- the place -----------------------------------------------------------------------------------


def test_a_county_gives_the_place_of_a_farm(service: Service, reader: Reader) -> None:
    page = reader.text("/farms/new")
    assert '<option value="X01">Alder <County> (invented)</option>' in page
    fields = {**FARM, "county": "X02", "coordinates": "", "elevation": ""}
    assert reader.send("/farms/new", **fields).status_code == 303
    bundle = get_farm_now("new-bend", unit_of_work=service.unit_of_work, clock=service.clock)
    (site,) = bundle.sites
    # The county's site of the test's counties: 35.2, -80.1 at 510 ft.
    assert (site.latitude_deg, site.longitude_deg) == (35.2, -80.1)
    assert site.elevation_m == pytest.approx(510 * 0.3048, abs=0.01)
    assert "35.200° N, 80.100° W" in reader.text(f"{PLACE}/setup")


def test_only_who_may_compare_counties_sees_their_list(service: Service) -> None:
    reader = Reader(create_app(service))
    reader.sign_in(key_for(service, "plan:read", "farm:write", farm_id=None))
    assert "Alder" not in reader.text("/farms/new")


def test_what_is_wrong_with_coordinates_is_said_with_what_is_allowed(looker: Reader) -> None:
    answer = looker.send("/farms/new", **{**FARM, "coordinates": "35.91"})
    assert answer.status_code == 422
    fault = re.search(r'<p class="fault" id="coordinates-fault">.*?</p>', answer.text, re.DOTALL)
    assert fault is not None and "such as 35.91, -79.22" in unescape(fault[0])


# --- numbers in the units of the form ------------------------------------------------------------


@pytest.mark.parametrize(
    ("page", "fields", "name", "said"),
    [
        # 0.05 m to 15 m are 1.969 in to 590.5 in, by hand.
        ("blocks/new", {**BLOCK, "emitter_spacing": "900"}, "emitter_spacing", "1.969 to 590.5 in"),
        ("blocks/new", {**BLOCK, "row_spacing": "x", "row_spacing_unit": "m"}, "row_spacing",
         "0.2 to 30 m"),
        ("blocks/new", {**BLOCK, "longest_pulse": "90", "longest_pulse_unit": "h"},
         "longest_pulse", "to 24 h"),
        ("supplies/new", {**WATER, "flow": "x"}, "flow", "gal/min"),
        ("supplies/new", {**WATER, "flow": "0", "flow_unit": "m3/h"}, "flow", "0.01 to 2,000 m³/h"),
    ],
)  # fmt: skip
def test_a_number_out_of_bounds_is_told_them_in_the_unit_beside_it(
    looker: Reader, page: str, fields: dict[str, str], name: str, said: str
) -> None:
    answer = looker.send(f"/farms/{FARM_ID}/{page}", **fields)
    assert answer.status_code == 422
    fault = re.search(rf'<p class="fault" id="{name}-fault">.*?</p>', answer.text, re.DOTALL)
    assert fault is not None and said in fault[0]
    assert "gpm" not in fault[0] and "'" not in unescape(fault[0])


# --- the block -----------------------------------------------------------------------------------


def test_crops_are_listed_in_groups(looker: Reader) -> None:
    page = looker.text(f"/farms/{FARM_ID}/blocks/new")
    groups = re.findall(r'<optgroup label="([^"]*)">(.*?)</optgroup>', page, re.DOTALL)
    named = {group: re.findall(r'value="([^"]*)"', options) for group, options in groups}
    assert "blueberry" in named["Berries"] and "pecan-bare-frost" in named["Nuts"]
    listed = [key for keys in named.values() for key in keys]
    assert len(listed) == len(set(listed))


def test_a_crop_without_published_stages_is_offered_an_estimate_that_says_so(
    reader: Reader, service: Service
) -> None:
    page = f"/farms/{FARM_ID}/blocks/new"
    fields = {**BLOCK, "name": "Berries", "crop": "blueberry"}
    answer = reader.send(page, **fields)
    assert answer.status_code == 422
    offered = dict(
        re.findall(r'name="(season_start|stage_\d)" type="text" value="([^"]+)"', answer.text)
    )
    assert len(offered) == 5 and "are an estimate. Change them" in answer.text
    assert reader.send(page, **fields, **offered).status_code == 303
    bundle = get_farm_now(FARM_ID, unit_of_work=service.unit_of_work, clock=service.clock)
    block = next(each for each in bundle.blocks if each.name == "Berries")
    assert "{:02}-{:02}".format(*block.curve.season_start) == offered["season_start"]


def test_a_copy_has_everything_of_its_source_but_what_was_changed(
    service: Service, reader: Reader
) -> None:
    plain = reader.text(f"/farms/{FARM_ID}/blocks/new")
    assert f'<option value="{BLOCK_ID}"' in plain and ">Start from a copy<" in plain
    page = f"/farms/{FARM_ID}/blocks/new?copy={BLOCK_ID}"
    text = reader.text(page)
    fields = dict(re.findall(r'<input id="[^"]*" name="([^"]*)"[^>]*? value="([^"]*)"', text))
    for name, options in re.findall(r'<select [^>]*name="(\w+)"[^>]*>(.*?)</select>', text, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options)
        fields[name] = chosen[1] if chosen else ""
    assert fields["name"] == "" and fields["crop"] == "blueberry"
    fields |= {"name": "North copy", "area": "0.5", "do": "store"}
    answer = reader.send(page, **fields)
    assert answer.status_code == 303, answer.text
    bundle = get_farm_now(FARM_ID, unit_of_work=service.unit_of_work, clock=service.clock)
    by_name = {block.name: block for block in bundle.blocks}
    source, copy = by_name["North blueberries"], by_name["North copy"]
    assert copy.block_id == f"{FARM_ID}.north-copy"
    assert copy.area_m2 == pytest.approx(0.5 * 4046.86, rel=1e-4)
    same = replace(copy, block_id=source.block_id, name=source.name, area_m2=source.area_m2)
    assert same == source
    assert reader.get(f"/farms/{FARM_ID}/blocks/new?copy=later-farm.young").status_code == 404


# --- how wet the soil is -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "missing_share"),
    [
        ({"wetness-first": "just-watered"}, 0.0),
        ({"wetness-first": "half"}, 0.5),
        ({"available-first": "60"}, 0.4),
        ({"available-first": "60 %", "wetness-first": "dry"}, 0.4),
    ],
)
def test_the_first_plan_starts_from_how_wet_the_soil_is_said_to_be(
    service: Service, reader: Reader, fields: dict[str, str], missing_share: float
) -> None:
    make_farm(reader)
    reader.send(f"{PLACE}/soil-now", **fields)
    bring_weather(service, site_id="new-bend-home")
    reader.send(f"{PLACE}/tomorrow", f"{PLACE}/first-plan")
    reasoning = get_plan(
        "new-bend.first", day=PLAN_DAY, unit_of_work=service.unit_of_work
    ).plan.reasoning
    assert reasoning.taw_mm is not None
    assert reasoning.depletion_midnight_mm == pytest.approx(
        missing_share * reasoning.taw_mm, abs=0.01
    )


@pytest.mark.parametrize(
    ("fields", "wrong"),
    [
        ({"available-first": "140"}, "available-first"),
        ({"available-first": "wet"}, "available-first"),
        ({"wetness-first": "swamp"}, "wetness-first"),
    ],
)
def test_an_impossible_wetness_is_said_beside_its_field(
    reader: Reader, fields: dict[str, str], wrong: str
) -> None:
    make_farm(reader)
    answer = reader.send(f"{PLACE}/soil-now", **fields)
    assert answer.status_code == 422 and f'id="{wrong}-fault"' in answer.text
    assert states(reader.text(f"{PLACE}/soil-now"))[3] == "here"


# --- the weather ---------------------------------------------------------------------------------


def test_the_step_of_the_weather_says_which_services_are_on(service: Service) -> None:
    def bring(site_keys: Ints, *, now: datetime) -> Sequence[SourceProblem]:
        raise AssertionError("nobody asked for weather")

    page = "/farms/later-farm/first-weather"
    without = Reader(create_app(service)).text(page)
    assert "RILLWRIGHT_WEATHER_SERVICES" in without and states(without)[4] == "here"
    reader = Reader(create_app(replace(service, refreshers={"nws-grid": bring})))
    assert "US National Weather Service" in reader.text(page)
    assert states(reader.text("/farms/later-farm/tomorrow"))[4] == "done"


def send_file(reader: Reader, content: str, site: str = "new-bend-home") -> tuple[int, str]:
    """Upload a weather file; the status and the page or address of the answer."""
    page = f"{PLACE}/first-weather"
    found = re.search(r'name="token" value="([^"]*)"', reader.get(page).text)
    assert found is not None
    answer = reader.request(
        "POST",
        page,
        data={"token": found[1], "site": site},
        files={"weather_file": ("own.csv", content.encode(), "text/csv")} if content else {},
    )
    return answer.status_code, unescape(answer.headers.get("Location") or answer.text)


def weather_csv() -> str:
    days = [TODAY + timedelta(days=shift) for shift in range(-20, 5)]
    rows = [f"{day},31,19,90,45,1.5,22,0" for day in days]
    return "date,tmax_c,tmin_c,rhmax_pct,rhmin_pct,wind_m_s,rs_mj_m2,rain_mm\n" + "\n".join(rows)


def test_a_farm_gets_its_first_plan_from_a_file_of_its_own(
    service: Service, reader: Reader
) -> None:
    make_farm(reader)
    assert send_file(reader, weather_csv()) == (303, f"{PLACE}/first-weather?done=stored")
    assert "The weather file is stored." in reader.text(f"{PLACE}/first-weather?done=stored")
    assert states(reader.text(f"{PLACE}/tomorrow"))[4:] == ["done", "here"]
    reader.send(f"{PLACE}/tomorrow", f"{PLACE}/first-plan")
    plan = get_plan("new-bend.first", day=PLAN_DAY, unit_of_work=service.unit_of_work).plan
    assert plan.status in {"water", "rest"}


def test_a_file_that_cannot_be_used_is_said_line_by_line_and_nothing_is_stored(
    service: Service, reader: Reader
) -> None:
    make_farm(reader)
    status, text = send_file(reader, weather_csv().replace(f"{TODAY},31", f"{TODAY},warm"))
    assert status == 422 and "own.csv" in text and "warm" in text
    assert "One entry cannot be used" in text
    assert states(reader.text(f"{PLACE}/tomorrow"))[4] == "to-come"
    assert send_file(reader, "")[0] == 422
    assert send_file(reader, weather_csv(), site="home")[0] == 422  # counties draw on it


def test_a_file_is_taken_only_where_a_form_asks_for_one(reader: Reader) -> None:
    found = re.search(r'name="token" value="([^"]*)"', reader.get("/farms/new").text)
    assert found is not None
    answer = reader.request(
        "POST",
        "/farms/new",
        data={"token": found[1]},
        files={"name": ("a.txt", b"x", "text/plain")},
    )
    assert answer.status_code == 400
