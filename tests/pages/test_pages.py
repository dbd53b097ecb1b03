"""Every page: that it is there, safe, small, and says what the plan says; and what forms do."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace

import pytest
from pydantic import SecretStr
from sqlalchemy import event
from sqlalchemy.engine import Engine

from service.api.app import create_app
from service.bootstrap import Service
from service.errors import SettingsInvalid
from service.operations.manage_keys import list_keys, revoke_key
from service.operations.read_plans import get_plan
from service.pages.mount import PAGES as ADDRESSES
from service.pages.sessions import LASTS, Seals
from service.pages.visit import POLICY
from service.settings import Settings
from tests.api.invented_farm import BLOCK_ID, PLAN_DAY, RUN_AT, TODAY, load, plan_evening
from tests.pages.conftest import Reader, farm_of_many, key_for

PAGES = (
    "/sign-in",
    "/farms?all=1",
    "/farms/new",
    "/farms/test-farm/tomorrow",
    "/farms/test-farm/sheet",
    "/farms/test-farm/weather",
    "/farms/test-farm/setup",
    "/farms/test-farm/supplies/new",
    "/farms/test-farm/blocks/new",
    f"/blocks/{BLOCK_ID}",
    "/blocks/later-farm.young",
    "/farms/later-farm/tomorrow",
    "/counties",
)
LARGEST_PAGE_BYTES = 150_000
RAIN = {"amount": "1.5", "unit": "in", "day": TODAY.isoformat(), "time": "18:30"}


def planned_min(service: Service) -> tuple[int, int]:
    """Version and minutes of the plan in force."""
    plan = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=service.unit_of_work).plan
    return plan.version, plan.planned_min


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize("language", ["en", "es"])
def test_every_page_is_there_safe_and_small(looker: Reader, path: str, language: str) -> None:
    looker.headers["Accept-Language"] = language
    answer = looker.get(path)
    assert answer.status_code == 200
    assert answer.headers["Content-Security-Policy"] == POLICY
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Cache-Control"] == "no-store"
    page = answer.text
    assert f'<html lang="{language}">' in page
    assert "<script" not in page and " style=" not in page and "<style" not in page
    assert not re.search(r'\son\w+="', page)
    # Nothing comes from elsewhere: sources of weather are named as text, not fetched.
    assert not re.search(r'(?:src|href|action)="(?:https?:)?//', page)
    (sheet,) = re.findall(r'rel="stylesheet" href="([^"]+)"', page)
    style = looker.get(sheet)
    assert style.status_code == 200 and "immutable" in style.headers["Cache-Control"]
    assert "url(" not in style.text and "@import" not in style.text
    assert len(answer.content) + len(style.content) < LARGEST_PAGE_BYTES
    assert page.count("<h1") == 1


def test_a_browser_at_the_door_is_sent_to_the_pages_and_a_program_is_not(looker: Reader) -> None:
    assert looker.get("/", headers={"Accept": "text/html,*/*"}).headers["Location"] == "/farms"
    assert looker.get("/").json()["service"] == "rillwright"


def test_tomorrow_says_the_minutes_and_starts_of_the_plan(service: Service, reader: Reader) -> None:
    page = reader.text("/farms/test-farm/tomorrow")
    _, minutes = planned_min(service)
    assert f'<p class="big">{minutes} min</p>' in page
    assert "North blueberries" in page and "walk the lines" in page
    assert '<svg class="chart"' in page and 'role="img"' in page
    assert "<title id=" in page and "<desc id=" in page
    plan = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=service.unit_of_work).plan
    sheet = reader.text("/farms/test-farm/sheet")
    assert sheet.count('class="box"') >= len(plan.pulses) + 2


def test_the_page_of_a_block_leads_to_the_minutes_step_by_step(
    service: Service, reader: Reader
) -> None:
    page = reader.text(f"/blocks/{BLOCK_ID}")
    assert "Minutes planned" in page and "Kc x ET0" in page
    assert "plants suffer below" in page and 'class="line stress"' in page
    assert "missing" in reader.text(f"/blocks/{BLOCK_ID}?date={TODAY}")


def test_spanish_and_metric_stay_chosen(looker: Reader) -> None:
    assert looker.send("/farms?all=1", "/reading", language="es").status_code == 303
    assert looker.send("/farms?all=1", "/reading", units="si").status_code == 303
    page = looker.text("/farms/test-farm/tomorrow")
    assert "Antes de abrir una válvula" in page and " mm" in page
    assert not re.search(r"[0-9] (?:gal|pulg)", page)


def test_a_choice_never_leads_to_another_host(looker: Reader) -> None:
    for back in ("https://evil.test/", "//evil.test", "/\\evil.test", "evil"):
        answer = looker.send("/farms?all=1", "/reading", language="es", back=back)
        assert answer.headers["Location"] == "/farms"


# --- reports -------------------------------------------------------------------------------------


def test_rain_in_the_gauge_changes_the_plan(service: Service, reader: Reader) -> None:
    before = planned_min(service)
    page = f"/blocks/{BLOCK_ID}"
    answer = reader.send(page, f"{page}/rain", **RAIN, confirm="yes")
    assert answer.status_code == 303
    assert answer.headers["Location"] == f"{page}?done=rain-changed"
    after = planned_min(service)
    assert after[0] == before[0] + 1 and after[1] < before[1]
    assert "The plan has changed" in reader.text(answer.headers["Location"])


def test_an_unlikely_rain_is_asked_about_beside_its_field(service: Service, reader: Reader) -> None:
    before = planned_min(service)
    page = f"/blocks/{BLOCK_ID}"
    answer = reader.send(page, f"{page}/rain", **{**RAIN, "amount": "9"})
    assert answer.status_code == 422
    assert (
        'aria-describedby="rain-amount-fault"' in answer.text or "rain-amount-fault" in answer.text
    )
    assert 'name="confirm"' in answer.text and 'value="9"' in answer.text
    assert planned_min(service) == before


@pytest.mark.parametrize(
    ("form", "fields", "wrong"),
    [
        ("rain", {**RAIN, "amount": "much"}, "rain-amount"),
        ("rain", {**RAIN, "day": "someday"}, "rain-day"),
        ("runs", {"day": TODAY.isoformat(), "time": "04:00", "minutes": "5000"}, "run-minutes"),
        ("runs", {"day": "2030-01-01", "time": "04:00", "minutes": "50"}, "run-time"),
        (
            "pauses",
            {
                "day": "2026-07-16",
                "time": "10:00",
                "end_day": "2026-07-15",
                "end_time": "10:00",
                "reason": "spraying",
            },
            "pause-end-time",
        ),
    ],
)
def test_a_fault_stands_beside_its_field_and_nothing_is_stored(
    service: Service, reader: Reader, form: str, fields: dict[str, str], wrong: str
) -> None:
    before = planned_min(service)
    answer = reader.send(f"/blocks/{BLOCK_ID}", f"/blocks/{BLOCK_ID}/{form}", **fields)
    assert answer.status_code == 422
    assert f'id="{wrong}-fault"' in answer.text
    assert "<details open>" in answer.text
    assert planned_min(service) == before


def test_a_run_that_is_told_takes_the_place_of_the_plan(service: Service, reader: Reader) -> None:
    before = planned_min(service)
    answer = reader.send(
        f"/blocks/{BLOCK_ID}",
        f"/blocks/{BLOCK_ID}/runs",
        day=TODAY.isoformat(),
        time="04:00",
        minutes="300",
        volume="1000",
        unit="gal",
    )
    assert answer.headers["Location"].endswith("done=runs-changed")
    assert planned_min(service)[1] < before[1]
    assert "a report" in reader.text(f"/blocks/{BLOCK_ID}")


def test_a_pause_stops_tomorrow_and_can_be_taken_back(service: Service, reader: Reader) -> None:
    before = planned_min(service)[1]
    page = f"/blocks/{BLOCK_ID}"
    answer = reader.send(
        page,
        f"{page}/pauses",
        day=PLAN_DAY.isoformat(),
        time="00:00",
        end_day=PLAN_DAY.isoformat(),
        end_time="23:59",
        reason="<i>spraying</i>",
    )
    assert answer.headers["Location"].endswith("done=pauses-changed")
    assert planned_min(service)[1] == 0
    shown = reader.get(page).text
    assert "&lt;i&gt;spraying" in shown and "<i>spraying" not in shown
    (cancel,) = re.findall(r'action="([^"]+/cancel)"', shown)
    assert reader.send(page, cancel).headers["Location"].endswith("done=pause-ended")
    assert planned_min(service)[1] == before


@pytest.mark.parametrize("origin", ["http://evil.test", "http://127.0.0.1.evil.test"])
def test_an_open_service_is_not_read_under_a_name_from_elsewhere(
    looker: Reader, origin: str
) -> None:
    stranger = Reader(looker.app, origin=origin)
    assert stranger.get("/farms/test-farm/tomorrow").headers["Location"].startswith("/sign-in")
    assert Reader(looker.app, origin="http://localhost").get("/farms").status_code == 200


# --- who may -------------------------------------------------------------------------------------


def test_once_a_key_is_stored_the_pages_ask_for_it(service: Service, reader: Reader) -> None:
    key = key_for(service, "plan:read")
    fresh = Reader(create_app(service))
    answer = fresh.get("/farms/test-farm/tomorrow")
    assert answer.status_code == 303
    assert answer.headers["Location"] == "/sign-in?next=%2Ffarms%2Ftest-farm%2Ftomorrow"
    assert fresh.sign_in("rw_wrong").status_code == 403
    answer = fresh.sign_in(key)
    assert answer.status_code == 303
    cookie = next(
        each for each in answer.headers.get_list("set-cookie") if "session" in each.split("=")[0]
    )
    assert "HttpOnly" in cookie and "samesite=lax" in cookie.lower() and "Max-Age" in cookie
    assert key not in cookie and key.split("_")[2] not in cookie
    assert "Ana &lt;b&gt;" in fresh.get("/farms/test-farm/tomorrow").text


def test_over_https_the_cookies_are_bound_to_the_host(service: Service) -> None:
    key = key_for(service, "plan:read")
    reader = Reader(create_app(service), origin="https://rillwright.test")
    answer = reader.sign_in(key)
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("__Host-rillwright-session=")
    assert "Secure" in cookie and "Path=/" in cookie and "Domain" not in cookie


@pytest.mark.parametrize(
    "path", ["/farms/later-farm/tomorrow", "/blocks/later-farm.young", "/farms/later-farm/setup"]
)
def test_another_farm_looks_as_if_it_were_not_there(service: Service, path: str) -> None:
    reader = Reader(create_app(service))
    reader.sign_in(key_for(service, "plan:read", "farm:write", "water:write"))
    assert reader.get(path).status_code == 404
    assert reader.get(path.replace("later-farm", "no-farm")).status_code == 404
    assert "Later Farm" not in reader.get(path).text


@pytest.mark.parametrize(
    ("method", "path"),
    [(method, path) for method, path, _ in ADDRESSES if "{" in path],
)
def test_no_page_or_form_of_another_farm_can_be_reached(
    service: Service, method: str, path: str
) -> None:
    reader = Reader(create_app(service))
    reader.sign_in(key_for(service, "plan:read", "farm:write", "water:write", "adviser"))
    address = path.format(farm_id="later-farm", block_id="later-farm.young", pause_id="0" * 16)
    if method == "GET":
        assert reader.get(address).status_code == 404
    else:
        sent = reader.send("/farms/test-farm/tomorrow", address, **RAIN, **BLOCK, do="store")
        assert sent.status_code == 404


def test_a_farm_without_a_plan_of_the_day_points_to_its_latest_one(looker: Reader) -> None:
    page = looker.text("/farms/test-farm/tomorrow?date=2027-01-05")
    assert f'href="?date={PLAN_DAY}"' in page
    assert "No plan for" in looker.text("/farms/later-farm/tomorrow")


def test_a_key_that_only_reads_stores_nothing(service: Service) -> None:
    reader = Reader(create_app(service))
    reader.sign_in(key_for(service, "plan:read"))
    page = f"/blocks/{BLOCK_ID}"
    before = planned_min(service)
    assert 'action="/blocks/test-farm.north/rain"' not in reader.text(page)
    assert reader.send(page, f"{page}/rain", **RAIN, confirm="yes").status_code == 403
    assert reader.send(page, "/farms/test-farm/blocks/new", name="x").status_code == 403
    assert reader.get("/farms/new").status_code == 403
    assert reader.get("/counties").status_code == 403
    assert planned_min(service) == before


def test_a_revoked_key_ends_its_sessions_at_once(service: Service) -> None:
    reader = Reader(create_app(service))
    reader.sign_in(key_for(service, "plan:read"))
    assert reader.get("/farms/test-farm/tomorrow").status_code == 200
    (key,) = list_keys(unit_of_work=service.unit_of_work)
    revoke_key(key.key_id, unit_of_work=service.unit_of_work, clock=service.clock)
    assert reader.get("/farms/test-farm/tomorrow").status_code == 303


def test_signing_out_ends_the_session_in_this_browser(service: Service) -> None:
    reader = Reader(create_app(service))
    reader.sign_in(key_for(service, "plan:read"))
    reader.send("/farms/test-farm/tomorrow", "/sign-out")
    assert reader.get("/farms/test-farm/tomorrow").status_code == 303


def test_a_session_ends_by_itself_and_cannot_be_made_up() -> None:
    seals, other = Seals("x" * 40), Seals("y" * 40)
    cookie = seals.session_cookie("abcd1234", now=RUN_AT)
    assert seals.read_session(cookie, now=RUN_AT) is not None
    assert seals.read_session(cookie, now=RUN_AT + LASTS) is None
    assert other.read_session(cookie, now=RUN_AT) is None
    for forged in ("", ".", "a.b.c.d", cookie.replace("abcd", "dcba"), cookie[:-1], f"{cookie}0"):
        assert seals.read_session(forged, now=RUN_AT) is None


@pytest.mark.parametrize("token", ["", "0" * 64, "é"])
def test_a_form_that_this_reader_was_not_shown_is_refused(
    service: Service, reader: Reader, token: str
) -> None:
    page = f"/blocks/{BLOCK_ID}"
    reader.get(page)
    before = planned_min(service)
    answer = reader.request("POST", f"{page}/rain", data={**RAIN, "token": token, "confirm": "yes"})
    assert answer.status_code == 403
    assert answer.headers["Content-Security-Policy"] == POLICY
    stranger = Reader(reader.app)
    found = re.search(r'name="token" value="([^"]*)"', stranger.get(page).text)
    assert found is not None
    answer = reader.request("POST", f"{page}/rain", data={**RAIN, "token": found[1]})
    assert answer.status_code == 403
    assert planned_min(service) == before


def test_a_body_that_is_no_form_or_too_large_is_refused(looker: Reader) -> None:
    path = f"/blocks/{BLOCK_ID}/rain"
    assert looker.request("POST", path, json={}).status_code == 415
    assert looker.request("POST", path, data={"token": "x" * 200_000}).status_code == 413


def test_a_secret_that_is_too_short_stops_the_start(service: Service) -> None:
    settings = Settings(database_url=service.settings.database_url, page_secret=SecretStr("short"))
    with pytest.raises(SettingsInvalid, match="PAGE_SECRET"):
        create_app(replace(service, settings=settings))


def test_hostile_names_are_shown_as_text(service: Service) -> None:
    farm = """
[farm]
id = "bad-farm"
name = "<script>alert(1)</script>"
zone = "America/New_York"
[[site]]
id = "bad-site"
latitude = 35.95
longitude = -79.30
elevation = "640 ft"
[[supply]]
id = "pond"
name = "\\"><img src=x>"
flow = "20 gpm"
[[block]]
id = "young"
name = "<svg onload=alert(2)>"
crop = "apple-cover-no-frost"
area = "1 ac"
row_spacing = "4 m"
emitter_spacing = "0.6 m"
emitter_flow = "2 L/h"
soil = { texture = "loam" }
"""
    load(service, farm)
    reader = Reader(create_app(service))
    for path in (
        "/farms?all=1",
        "/farms/bad-farm/tomorrow",
        "/farms/bad-farm/setup",
        "/farms/bad-farm/weather",
        "/blocks/bad-farm.young",
        "/counties",
        "/sign-in?next=%22%3E%3Cscript%3E",
        "/farms/%3Cscript%3E/tomorrow",
    ):
        page = reader.get(path).text
        assert "<script" not in page and "<img" not in page and "<svg onload" not in page, path


# --- counties ------------------------------------------------------------------------------------


def test_the_counties_say_the_same_on_the_page_in_the_file_and_over_the_api(
    looker: Reader,
) -> None:
    looker.send("/farms?all=1", "/reading", units="si")
    page = looker.get("/counties?crop=grape-wine&texture=loam").text
    answer = looker.get("/counties.csv?crop=grape-wine&texture=loam")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert answer.headers["Content-Type"].startswith("text/csv")
    assert [row["name"] for row in rows] == ["Alder <County> (invented)", "'=Birch (invented)"]
    told = looker.get(
        "/v1/counties/water-need",
        params={
            "week": rows[0]["week"],
            "crop": "grape-wine",
            "texture": "loam",
            "row_spacing": "10 ft",
            "emitter_spacing": "18 in",
            "emitter_flow": "0.5 gph",
        },
    ).json()["items"]
    for row, item in zip(rows, told, strict=True):
        net = item["net_need"]["depth_mm"]
        assert (row["net_need_mm"] or None) == (None if net is None else str(net))
    shown = f"{float(rows[0]['net_need_mm']):.1f}"
    assert f'<td class="n">{shown}</td>' in page
    assert "Alder &lt;County&gt;" in page and page.count("<svg class=") == 2


def test_counties_are_open_to_all_only_where_the_operator_says_so(service: Service) -> None:
    key_for(service, "adviser", farm_id=None)
    assert Reader(create_app(service)).get("/counties").status_code == 303
    public = service.settings.model_copy(update={"public_counties": True})
    reader = Reader(create_app(replace(service, settings=public)))
    assert reader.get("/counties").status_code == 200
    assert reader.get("/counties.csv").status_code == 200
    assert reader.get(f"/counties?block={BLOCK_ID}").status_code == 303
    assert "North blueberries" not in reader.get("/counties").text


# --- first steps ---------------------------------------------------------------------------------

FARM = {
    "name": "Río Bend",
    "zone": "America/New_York",
    "unit_system": "us",
    "latitude": "35.9",
    "longitude": "-79.2",
    "elevation": "500",
    "elevation_unit": "ft",
    "supply_name": "Well",
    "flow": "40",
    "flow_unit": "gpm",
    "opens": "04:00",
    "closes": "21:00",
}
BLOCK = {
    "name": "West apples",
    "crop": "apple-cover-no-frost",
    "area": "1",
    "area_unit": "ac",
    "row_spacing": "16",
    "row_spacing_unit": "ft",
    "laterals_per_row": "1",
    "emitter_spacing": "24",
    "emitter_spacing_unit": "in",
    "emitter_flow": "0.5",
    "emitter_flow_unit": "gph",
    "texture": "loam",
}


def test_a_farm_is_set_up_wholly_through_pages(service: Service, reader: Reader) -> None:
    answer = reader.send("/farms/new", **FARM)
    assert answer.headers["Location"] == "/farms/rio-bend/setup"
    assert "Add the first block" in reader.text("/farms/rio-bend/setup")
    page = "/farms/rio-bend/blocks/new"
    preview = reader.send(page, **BLOCK, do="preview")
    assert preview.status_code == 200
    # 0.5 gph each 16 ft x 2 ft: one inch is 16 x 2 x 144 / 231 gal = 19.95 gal an emitter.
    assert f'<p class="big">{16 * 2 * 144 / 231 / 0.5:.1f} h</p>' in preview.text
    assert "ASABE EP405" in preview.text and 'value="West apples"' in preview.text
    assert "West apples" not in reader.text("/farms/rio-bend/setup")
    answer = reader.send(page, **BLOCK, do="store")
    assert answer.headers["Location"] == "/farms/rio-bend/setup"
    assert "West apples" in reader.text("/farms/rio-bend/setup")
    answer = reader.send(
        "/farms/rio-bend/supplies/new", supply_name="Pond", flow="9", flow_unit="m3/h"
    )
    assert answer.status_code == 303
    assert "Pond" in reader.text("/farms/rio-bend/setup")


@pytest.mark.parametrize(
    ("changed", "wrong"),
    [
        ({"area": "1", "area_unit": "ft"}, "area"),
        ({"row_spacing": "many"}, "row_spacing"),
        ({"emitter_flow": ""}, "emitter_flow"),
        ({"crop": "weeds"}, "crop"),
        ({"crop": "blueberry"}, "season_start"),
        ({"name": "!!"}, "name"),
    ],
)
def test_what_does_not_fit_a_block_is_said_beside_its_field(
    looker: Reader, changed: dict[str, str], wrong: str
) -> None:
    for do in ("preview", "store"):
        answer = looker.send("/farms/test-farm/blocks/new", **{**BLOCK, **changed}, do=do)
        assert answer.status_code == 422
        assert f'id="{wrong}-fault"' in answer.text


@pytest.mark.parametrize(
    ("changed", "wrong"),
    [
        ({"latitude": "91"}, "latitude"),
        ({"longitude": "far"}, "longitude"),
        ({"flow": "40", "flow_unit": "ft"}, "flow"),
        ({"elevation": ""}, "elevation"),
        ({"opens": "22:00"}, "opens"),
    ],
)
def test_what_does_not_fit_a_farm_is_said_beside_its_field(
    looker: Reader, changed: dict[str, str], wrong: str
) -> None:
    answer = looker.send("/farms/new", **{**FARM, **changed})
    assert answer.status_code == 422
    assert f'id="{wrong}-fault"' in answer.text


def test_a_name_that_is_taken_is_said_beside_it(looker: Reader) -> None:
    assert 'id="name-fault"' in looker.send("/farms/new", **{**FARM, "name": "Test farm"}).text


# --- cost ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    ["/farms/many/tomorrow", "/farms/many/sheet", "/farms/many/weather", "/farms/many/setup"],
)
def test_no_page_asks_the_database_more_for_more_blocks(service: Service, path: str) -> None:
    counts = []
    for block_count in (2, 12):
        load(service, farm_of_many(block_count))
        assert plan_evening(service) == []
        reader = Reader(create_app(service))
        reader.get(path)
        asked: list[str] = []

        def note(*arguments: object, into: list[str] = asked) -> None:
            into.append(str(arguments[2]))

        event.listen(Engine, "before_cursor_execute", note)
        try:
            assert reader.get(path).status_code == 200
        finally:
            event.remove(Engine, "before_cursor_execute", note)
        counts.append(len(asked))
    assert counts[0] == counts[1] > 0
