"""Every page: it exists, is safe and small, and agrees with the plan; and what forms do."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from html import unescape

import httpx
import pytest
from pydantic import SecretStr
from sqlalchemy import event
from sqlalchemy.engine import URL, Engine

from service.agronomy.crop_table import CROPS
from service.agronomy.records import Ints, WallWindow
from service.api.app import create_app
from service.bootstrap import Service
from service.errors import SettingsInvalid
from service.operations.access.manage_keys import list_keys, revoke_key
from service.operations.access.people import list_people
from service.operations.farms.change_farms import get_farm_now
from service.operations.reading.read_plans import get_plan
from service.pages.look import font_path
from service.pages.mount import FILE_PAGES
from service.pages.mount import PAGES as ADDRESSES
from service.pages.sessions import LASTS, Seals
from service.pages.visit import POLICY
from service.records.farms import FarmBundle
from service.records.weather import SourceProblem
from service.settings import Settings
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    FixedClock,
    bring_weather,
    copied_service,
    load,
    plan_evening,
)
from tests.operations.waterworks.test_learn_rate import LEVEL, store_season
from tests.pages.conftest import Reader, farm_of_many, key_for
from tests.pages.well_formed import faults_of

PAGES = (
    "/sign-in",
    "/farms?all=1",
    "/farms/new",
    "/farms/test-farm/tomorrow",
    "/farms/test-farm/sheet",
    "/farms/test-farm/report",
    f"/farms/test-farm/what-changed?day={PLAN_DAY}&before=1&after=9",
    "/farms/test-farm/what-if",
    "/farms/test-farm/what-if?pump_down=2",
    "/farms/test-farm/weather",
    "/farms/test-farm/forecast-quality",
    "/farms/test-farm/setup",
    "/farms/test-farm/supplies/new",
    "/farms/test-farm/blocks/new",
    "/farms/test-farm/edit",
    "/farms/test-farm/supplies/well/edit",
    "/farms/test-farm/supplies/well/retire",
    "/farms/test-farm/people",
    "/farms/test-farm/soil-now",
    "/farms/later-farm/soil-now",
    "/farms/later-farm/first-weather",
    f"/blocks/{BLOCK_ID}",
    f"/blocks/{BLOCK_ID}/pipes-and-water",
    f"/blocks/{BLOCK_ID}/parts",
    f"/blocks/{BLOCK_ID}/leaf-and-soil-tests",
    f"/blocks/{BLOCK_ID}/edit",
    f"/blocks/{BLOCK_ID}/retire",
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
    (font,) = re.findall(r"url\(\"([^\"]+)\"\)", style.text)
    assert font == font_path() and "@import" not in style.text
    assert len(answer.content) + len(style.content) < LARGEST_PAGE_BYTES
    assert page.count("<h1") == 1
    assert faults_of(page) == []


def test_a_browser_at_the_door_is_sent_to_the_pages_and_a_program_is_not(looker: Reader) -> None:
    assert looker.get("/", headers={"Accept": "text/html,*/*"}).headers["Location"] == "/farms"
    assert looker.get("/").json()["service"] == "rillwright"


def test_tomorrow_says_the_minutes_and_starts_of_the_plan(service: Service, reader: Reader) -> None:
    page = reader.text("/farms/test-farm/tomorrow")
    _, minutes = planned_min(service)
    assert f'<span class="amount">{minutes} min</span>' in page
    assert '<section class="hero" aria-labelledby="next">' in page and "open first" in page
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
    assert re.search(r"[0-9] °F \([0-9.]+ °C\)", page)
    assert re.search(r"[0-9,]+ gal \([0-9,]+ L\)", page)
    other = reader.text(f"/blocks/{BLOCK_ID}?date={TODAY}")
    assert "There is no plan on file for that day" in other and 'id="season"' in other


def test_a_block_begins_with_its_minutes_and_why_in_the_units_of_the_reader(
    service: Service, reader: Reader
) -> None:
    _, minutes = planned_min(service)
    for units, unit in (("us", "in"), ("si", "mm")):
        reader.send("/farms?all=1", "/reading", units=units)
        page = reader.text(f"/blocks/{BLOCK_ID}")
        assert f'<p class="time">{minutes} <small>min</small>' in page
        five = re.findall(r"<dt>([^<]+)</dt><dd>[0-9.]+ (\w+)</dd>", page)
        assert [name for name, _ in five] == [
            "Crop uses", "Missing by evening", "Water from", "Suffers from", "Plan puts back",
        ]  # fmt: skip
        assert {each for _, each in five} == {unit}
        why = page.partition('id="why">Why</h2>')[2].partition("<dl")[0]
        assert re.search(rf"By the evening [0-9.]+ {unit} would be missing", why)
        assert re.search(rf"So [0-9.]+ {unit} go back in", why)


def test_the_season_is_drawn_wide_and_narrow_with_its_lines_named(reader: Reader) -> None:
    page = reader.text(f"/blocks/{BLOCK_ID}")
    for css in ("only-wide", "only-narrow"):
        chart = page.partition(f'<svg class="chart {css}"')[2].partition("</svg>")[0]
        assert "water from " in chart and "suffers from " in chart and " now</text>" in chart
        assert "full</text>" in chart and "forecast</text>" in chart


def test_spanish_and_metric_stay_chosen(looker: Reader) -> None:
    assert looker.send("/farms?all=1", "/reading", language="es").status_code == 303
    assert looker.send("/farms?all=1", "/reading", units="si").status_code == 303
    page = looker.text("/farms/test-farm/tomorrow")
    assert "recorrer las líneas" in page and " mm" in page
    assert not re.search(r"[0-9] (?:gal|pulg)", page)


def test_a_choice_never_leads_to_another_host(looker: Reader) -> None:
    for back in ("https://evil.test/", "//evil.test", "/\\evil.test", "evil"):
        answer = looker.send("/farms?all=1", "/reading", language="es", back=back)
        assert answer.headers["Location"] == "/farms"


def test_choosing_language_or_units_returns_to_the_same_page(looker: Reader) -> None:
    def back(page: str) -> str:
        return unescape(page.partition('name="back" value="')[2].partition('"')[0])

    plan = f"/farms/test-farm/tomorrow?date={PLAN_DAY}"
    assert back(looker.text(plan)) == plan
    answer = looker.send(plan, "/reading", language="es", back=back(looker.text(plan)))
    assert answer.headers["Location"] == plan
    # The notice of what has just happened is not shown again.
    assert back(looker.text(f"/blocks/{BLOCK_ID}?done=rain")) == f"/blocks/{BLOCK_ID}"


def test_behind_a_refused_form_the_page_of_the_form_is_come_back_to(reader: Reader) -> None:
    page = f"/blocks/{BLOCK_ID}"
    for origin, expected in (
        (reader.origin, page),
        ("https://evil.test", "/farms"),
        ("", "/farms"),
    ):
        reader.headers["Referer"] = f"{origin}{page}" if origin else ""
        answer = reader.send(page, f"{page}/rain", **{**RAIN, "amount": "much"})
        assert answer.status_code == 422
        assert f'name="back" value="{expected}"' in answer.text


@pytest.mark.parametrize(("units", "clock"), [("us", "7:00 PM"), ("si", "19:00")])
def test_where_no_plan_is_made_yet_the_latest_one_is_a_button_away(
    service: Service, reader: Reader, units: str, clock: str
) -> None:
    reader.send("/farms?all=1", "/reading", units=units)
    page = reader.text(f"/farms/test-farm/tomorrow?date={PLAN_DAY + timedelta(days=30)}")
    assert f'<a class="button" href="?date={PLAN_DAY}">' in page
    assert clock in page


# --- reports -------------------------------------------------------------------------------------


def test_rain_in_the_gauge_changes_the_plan(service: Service, reader: Reader) -> None:
    before = planned_min(service)
    page = f"/blocks/{BLOCK_ID}"
    answer = reader.send(page, f"{page}/rain", **RAIN, confirm="yes", rest="yes")
    assert answer.status_code == 303
    assert answer.headers["Location"].endswith("done=rain-changed")
    after = planned_min(service)
    assert after[0] == before[0] + 1 and after[1] < before[1]
    assert "The rain is saved." in reader.text(answer.headers["Location"])


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
def test_a_fault_is_shown_beside_its_field_and_nothing_is_stored(
    service: Service, reader: Reader, form: str, fields: dict[str, str], wrong: str
) -> None:
    before = planned_min(service)
    answer = reader.send(f"/blocks/{BLOCK_ID}", f"/blocks/{BLOCK_ID}/{form}", **fields)
    assert answer.status_code == 422
    assert f'id="{wrong}-fault"' in answer.text
    assert "<details open>" in answer.text
    assert planned_min(service) == before


def test_a_reported_run_replaces_the_plan(service: Service, reader: Reader) -> None:
    before = planned_min(service)
    answer = reader.send(
        f"/blocks/{BLOCK_ID}",
        f"/blocks/{BLOCK_ID}/runs",
        day=TODAY.isoformat(),
        time="04:00",
        minutes="300",
        volume="10000",
        unit="gal",
    )
    assert answer.headers["Location"].endswith("done=runs-changed")
    assert planned_min(service)[1] < before[1]
    assert "the meter</td>" in reader.text(f"/blocks/{BLOCK_ID}")


def test_a_volume_that_is_questioned_can_be_confirmed(reader: Reader) -> None:
    """1,000 gal in 300 min are a tenth of what the emitters give (2,178 gal/h; by hand)."""
    page = f"/blocks/{BLOCK_ID}"
    run = {"day": TODAY.isoformat(), "time": "04:00", "minutes": "300", "volume": "1000",
           "unit": "gal"}  # fmt: skip
    answer = reader.send(page, f"{page}/runs", **run)
    assert answer.headers["Location"].endswith("done=runs-questioned-emitters")
    shown = reader.text(f"{page}?done=runs-questioned-emitters")
    assert "what the emitters give" in shown
    assert "tick the box" in shown and "a report" in shown
    answer = reader.send(page, f"{page}/runs", **run, confirm="yes")
    assert answer.headers["Location"].endswith("done=runs-changed")
    assert "the meter</td>" in reader.text(page)


def test_the_flow_that_the_meter_shows_is_used_with_one_button(
    service: Service, reader: Reader
) -> None:
    store_season(service, LEVEL)
    page = f"/blocks/{BLOCK_ID}"
    shown = reader.text(page)
    assert "What the meter shows" in shown and "another rate" in shown
    assert "gal/h an emitter that plans count with" in shown
    (offered,) = re.findall(r'name="flow" value="([0-9.]+)"', shown)
    answer = reader.send(page, f"{page}/emitter-flow", flow=offered)
    assert answer.headers["Location"].endswith("done=flow-changed")
    shown = reader.text(page)
    assert "agrees with the emitter flow" in shown
    (stated,) = re.findall(r'name="flow" value="([0-9.]+)"', shown)
    gone = reader.send(page, f"{page}/emitter-flow", flow="9.5")
    assert gone.headers["Location"].endswith("done=flow-gone")
    answer = reader.send(page, f"{page}/emitter-flow", flow=stated)
    assert answer.headers["Location"].endswith("done=flow-changed")


def test_the_page_of_a_block_asks_how_wet_the_soil_is_until_somebody_says_it(
    reader: Reader,
) -> None:
    page = f"/blocks/{BARE_BLOCK_ID}"
    asked = reader.text(page)
    assert "the root zone was taken as full then" in asked and "Sunday, June 14" in asked
    said = {"wetness": "half", "day": TODAY.isoformat(), "time": "18:30"}
    refused = reader.send(page, f"{page}/soil", **{**said, "wetness": ""})
    assert refused.status_code == 422
    assert 'id="soil-wetness-fault"' in refused.text
    answer = reader.send(page, f"{page}/soil", **said)
    assert answer.headers["Location"].endswith("done=soil-changed")
    assert "the root zone was taken as full then" not in reader.text(page)


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


@pytest.fixture(scope="module")
def stranger(
    region_database: URL, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Reader, str]]:
    """Somebody with all rights on one farm alone, and the token of a page of it."""
    with copied_service(region_database, tmp_path_factory.mktemp("stranger")) as made:
        reader = Reader(create_app(made))
        reader.sign_in(key_for(made, "plan:read", "farm:write", "water:write", "adviser"))
        yield reader, reader.token_of("/farms/test-farm/tomorrow")


@pytest.mark.parametrize(
    ("method", "path"),
    [
        *((method, path) for method, path, _ in ADDRESSES if "{" in path),
        *(("POST", path) for path, _ in FILE_PAGES),
    ],
)
def test_no_page_or_form_of_another_farm_can_be_reached(
    stranger: tuple[Reader, str], method: str, path: str
) -> None:
    reader, token = stranger
    address = path.format(
        farm_id="later-farm",
        block_id="later-farm.young",
        supply_id="pond",
        pause_id="0" * 16,
        finding_id="1",
        ending="csv",
        start="2026-07-13T09:10:00Z",
    )
    if method == "GET":
        assert reader.get(address).status_code == 404
    else:
        sent = reader.send_again(token, address, **RAIN, **BLOCK, do="store")
        assert sent.status_code == 404


def test_a_farm_without_a_plan_of_the_day_points_to_its_latest_one(looker: Reader) -> None:
    page = looker.text("/farms/test-farm/tomorrow?date=2027-01-05")
    assert f'href="?date={PLAN_DAY}"' in page
    assert "No plan yet" in looker.text("/farms/later-farm/tomorrow")


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


def test_signing_out_ends_the_session_wherever_its_cookie_is(service: Service) -> None:
    app = create_app(service)
    reader, other = Reader(app), Reader(app)
    reader.sign_in(key_for(service, "plan:read"))
    copy = Reader(app, cookies=httpx.Cookies(reader.cookies))
    other.sign_in(key_for(service, "plan:read"))
    assert copy.get("/farms/test-farm/tomorrow").status_code == 200
    reader.send("/farms/test-farm/tomorrow", "/sign-out")
    assert reader.get("/farms/test-farm/tomorrow").status_code == 303
    assert copy.get("/farms/test-farm/tomorrow").status_code == 303
    assert other.get("/farms/test-farm/tomorrow").status_code == 200


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
    people = "/farms/bad-farm/people"
    for name in ("<script>x</script>", '"><img src=x>'):
        sent = {"name": name, "mail": f"a{len(name)}@example.org", "language": "en"}
        assert reader.send(people, **sent).status_code == 303
    for path in (
        people,
        "/farms/bad-farm/edit",
        "/farms/bad-farm/supplies/pond/edit",
        "/farms/bad-farm/supplies/pond/retire",
        "/farms/bad-farm/blocks/new",
        "/blocks/bad-farm.young/edit",
        "/blocks/bad-farm.young/retire",
        "/blocks/bad-farm.young/pipes-and-water",
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
    items = looker.get(
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
    for row, item in zip(rows, items, strict=True):
        net = item["net_need"]["depth_mm"]
        assert (row["net_need_mm"] or None) == (None if net is None else str(net))
    shown = f"{float(rows[0]['net_need_mm']):.1f}"
    assert f'<td class="n"><b>{shown}</b><' in page  # a band may follow
    # The ranking, the map, and the weeks of either county.
    assert "Alder &lt;County&gt;" in page and page.count('<svg class="chart') == 4


def test_long_after_the_last_weather_the_last_known_week_is_shown(service: Service) -> None:
    later = replace(service, clock=FixedClock(RUN_AT + timedelta(days=90)))
    reader = Reader(create_app(later))
    last = (TODAY - timedelta(days=7)).isocalendar()
    known = f'<option value="{last.year}-W{last.week:02d}" selected'
    page = reader.text("/counties")
    assert known in page
    assert "Too little weather is known" not in page
    this_week = (RUN_AT + timedelta(days=90)).date().isocalendar()
    asked = reader.text(f"/counties?week={this_week.year}-W{this_week.week:02d}")
    assert known not in asked
    assert "Too little weather is known" in asked


def test_a_week_of_which_nothing_is_measured_yet_is_still_this_week(service: Service) -> None:
    sunday = TODAY + timedelta(days=6 - TODAY.weekday())
    monday = sunday + timedelta(days=1)
    later = replace(service, clock=FixedClock(RUN_AT + (monday - TODAY)))
    bring_weather(later, today=sunday)
    page = Reader(create_app(later)).text("/counties")
    year, week, _ = monday.isocalendar()
    assert f'<option value="{year}-W{week:02d}" selected' in page
    assert "Too little weather is known" not in page


def test_counties_are_open_to_all_only_where_the_operator_says_so(service: Service) -> None:
    key_for(service, "adviser", farm_id=None)
    assert Reader(create_app(service)).get("/counties").status_code == 303
    public = service.settings.model_copy(update={"public_counties": True})
    reader = Reader(create_app(replace(service, settings=public)))
    assert reader.get("/counties").status_code == 200
    assert reader.get("/counties.csv").status_code == 200
    assert reader.get(f"/counties?block={BLOCK_ID}").status_code == 303
    assert "North blueberries" not in reader.get("/counties").text


@pytest.mark.parametrize("crop", CROPS)
def test_every_crop_is_compared_and_says_where_its_season_is_from(
    looker: Reader, crop: str
) -> None:
    page = looker.text(f"/counties?crop={crop}")
    assert f'value="{crop}" selected' in page
    assert "The season is an estimate for all counties" in page
    own = looker.text(f"/counties?crop={crop}&season_start=03-20&stage_days=25,+45,+110,+50")
    assert "stage_days=25" in own and "The season is an estimate" not in own
    assert page.count("<figure") == own.count("<figure") == 4


def test_an_impossible_season_is_reported_beside_its_field(looker: Reader) -> None:
    answer = looker.get("/counties?crop=blueberry&season_start=03-20&stage_days=25,45,many")
    assert answer.status_code == 422 and 'id="stage_days-fault"' in answer.text


# --- first steps ---------------------------------------------------------------------------------

FARM = {
    "name": "Río Bend",
    "zone": "America/New_York",
    "unit_system": "us",
    "coordinates": "35.9, -79.2",
    "elevation": "500",
    "elevation_unit": "ft",
}
WATER = {
    "supply_name": "Well",
    "flow": "40",
    "flow_unit": "gpm",
    "opens_1": "04:00",
    "closes_1": "21:00",
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


def make_farm(reader: Reader) -> None:
    """A farm with its water, and no block yet."""
    reader.send("/farms/new", **FARM)
    reader.send("/farms/rio-bend/supplies/new", **WATER)


def test_a_farm_is_set_up_wholly_through_pages(service: Service, reader: Reader) -> None:
    answer = reader.send("/farms/new", **FARM)
    assert answer.headers["Location"] == "/farms/rio-bend/supplies/new"
    answer = reader.send("/farms/rio-bend/supplies/new", **WATER)
    assert answer.headers["Location"] == "/farms/rio-bend/blocks/new?done=stored"
    assert "Add the first block" in reader.text("/farms/rio-bend/setup")
    page = "/farms/rio-bend/blocks/new"
    preview = reader.send(page, **BLOCK, do="preview")
    assert preview.status_code == 200
    # 0.5 gph each 16 ft x 2 ft: one inch is 16 x 2 x 144 / 231 gal = 19.95 gal an emitter.
    assert f'<p class="big">{16 * 2 * 144 / 231 / 0.5:.1f} h</p>' in preview.text
    assert "ASABE EP405" in preview.text and 'value="West apples"' in preview.text
    assert "West apples" not in reader.text("/farms/rio-bend/setup")
    answer = reader.send(page, **BLOCK, do="store")
    assert answer.headers["Location"] == "/farms/rio-bend/soil-now?done=stored"
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
def test_what_does_not_fit_a_block_is_shown_beside_its_field(
    looker: Reader, changed: dict[str, str], wrong: str
) -> None:
    for do in ("preview", "store"):
        answer = looker.send("/farms/test-farm/blocks/new", **{**BLOCK, **changed}, do=do)
        assert answer.status_code == 422
        assert f'id="{wrong}-fault"' in answer.text


@pytest.mark.parametrize(
    ("changed", "wrong"),
    [
        ({"coordinates": "91 N, 79 W"}, "coordinates"),
        ({"coordinates": "far"}, "coordinates"),
        ({"coordinates": "35.9, 79.2"}, "coordinates"),
        ({"elevation": ""}, "elevation"),
    ],
)
def test_what_does_not_fit_a_farm_is_shown_beside_its_field(
    looker: Reader, changed: dict[str, str], wrong: str
) -> None:
    answer = looker.send("/farms/new", **{**FARM, **changed})
    assert answer.status_code == 422
    assert f'id="{wrong}-fault"' in answer.text


@pytest.mark.parametrize(
    ("changed", "wrong"),
    [
        ({"flow": "40", "flow_unit": "ft"}, "flow"),
        ({"opens_1": "22:00"}, "opens_1"),
    ],
)
def test_what_does_not_fit_a_supply_is_shown_beside_its_field(
    looker: Reader, changed: dict[str, str], wrong: str
) -> None:
    answer = looker.send("/farms/test-farm/supplies/new", **{**WATER, **changed})
    assert answer.status_code == 422
    assert f'id="{wrong}-fault"' in answer.text


def test_a_name_that_is_taken_is_shown_beside_it(looker: Reader) -> None:
    assert 'id="name-fault"' in looker.send("/farms/new", **{**FARM, "name": "Test farm"}).text


# --- changing what is there ----------------------------------------------------------------------

_FIELD = re.compile(r'<input id="[^"]*" name="([^"]*)"[^>]*? value="([^"]*)"')
_CHOICE = re.compile(r'<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>', re.DOTALL)


def entered(reader: Reader, page: str) -> dict[str, str]:
    """What the form of a page is filled in with."""
    text = reader.get(page).text
    form = {name: unescape(value) for name, value in _FIELD.findall(text)}
    for name, options in _CHOICE.findall(text):
        chosen = re.search(r'value="([^"]*)" selected', options) or re.search(
            r'value="([^"]*)"', options
        )
        assert chosen is not None
        form[name] = unescape(chosen[1])
    (version,) = re.findall(r'name="version" value="([^"]*)"', text)
    return {**form, "version": version}


def stored(service: Service, farm_id: str = "test-farm") -> FarmBundle:
    """The current farm."""
    return get_farm_now(farm_id, unit_of_work=service.unit_of_work, clock=service.clock)


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize(
    "page",
    [
        "/farms/test-farm/edit",
        "/farms/test-farm/supplies/well/edit",
        f"/blocks/{BLOCK_ID}/edit",
        "/blocks/test-farm.south/edit",
    ],
)
def test_a_form_sent_back_as_it_was_shown_changes_nothing(
    service: Service, reader: Reader, page: str, units: str
) -> None:
    reader.send("/farms?all=1", "/reading", units=units)
    before = stored(service)
    answer = reader.send(page, **entered(reader, page), do="store")
    assert answer.status_code == 303, answer.text
    assert stored(service) == before


def test_a_block_is_changed_by_page_and_its_plan_follows(service: Service, reader: Reader) -> None:
    page = f"/blocks/{BLOCK_ID}/edit"
    form = entered(reader, page)
    assert (form["area"], form["area_unit"]) == ("0.75", "ac")
    assert (form["emitter_flow"], form["emitter_flow_unit"]) == ("0.5", "gph")
    assert form["emission_uniformity"] == ""
    assert "empty: 90 %, from: design class of ASABE EP405" in reader.text(page)
    before = planned_min(service)
    too_much = reader.send(page, **{**form, "emitter_flow": "2"}, do="store")
    assert too_much.status_code == 422 and "at most the flow of supply" in too_much.text
    form |= {"emitter_flow": "0.25", "name": "North, new lines"}
    preview = reader.send(page, **form, do="preview")
    # 0.25 gph each 10 ft / 2 x 1.5 ft: one inch is 7.5 x 144 / 231 gal = 4.68 gal an emitter.
    assert f'<p class="big">{7.5 * 144 / 231 / 0.25:.1f} h</p>' in preview.text
    assert planned_min(service) == before
    answer = reader.send(page, **form, do="store")
    assert answer.headers["Location"] == "/farms/test-farm/setup?done=stored"
    version, minutes = planned_min(service)
    assert version == before[0] + 1 and minutes > before[1]
    block = next(each for each in stored(service).blocks if each.block_id == BLOCK_ID)
    assert block.name == "North, new lines"
    assert block.emitter_flow_l_per_h == pytest.approx(3.785411784 / 4)  # NIST Handbook 44
    assert block.no_water and block.root_depth_m == pytest.approx(18 * 0.0254)


def test_another_crop_brings_its_own_numbers_and_keeps_those_that_were_given(
    service: Service, reader: Reader
) -> None:
    page = "/blocks/test-farm.south/edit"
    form = {**entered(reader, page), "crop": "apple-cover-frost", "root_depth": "31"}
    assert reader.send(page, **form, do="store").status_code == 303
    block = next(each for each in stored(service).blocks if each.block_id == "test-farm.south")
    assert (block.crop_key, block.kc_mid) == ("apple-cover-frost", 1.2)  # FAO-56 Table 12
    assert block.root_depth_m == pytest.approx(31 * 0.0254)
    assert block.emitter_flow_l_per_h == 2.0
    form = {**entered(reader, page), "crop": "blueberry"}
    answer = reader.send(page, **form, do="store")
    assert answer.status_code == 422 and 'id="season_start-fault"' in answer.text


def test_blocks_follow_the_times_of_their_supply_unless_they_have_their_own(
    service: Service, reader: Reader
) -> None:
    page = "/farms/test-farm/supplies/well/edit"
    form = entered(reader, page)
    assert (form["opens_1"], form["closes_1"]) == ("04:00", "21:00")
    form |= {"closes_1": "09:00", "opens_2": "18:00", "closes_2": "00:00", "flow": "50"}
    assert reader.send(page, **form).status_code == 303
    bundle = stored(service)
    windows = (WallWindow(4 * 60, 9 * 60), WallWindow(18 * 60, 24 * 60))
    assert bundle.supplies[0].windows == windows
    assert bundle.supplies[0].flow_l_per_h == pytest.approx(50 * 227.125, rel=1e-5)
    north, south = bundle.blocks
    assert north.windows == (WallWindow(4 * 60, 10 * 60), WallWindow(17 * 60, 21 * 60))
    assert south.windows == windows
    assert "00:00" in entered(reader, page).values()


def test_what_somebody_else_changed_is_shown_beside_the_form_and_what_was_typed_stays(
    service: Service, reader: Reader
) -> None:
    page = f"/blocks/{BLOCK_ID}/edit"
    opened = entered(reader, page)
    assert reader.send(page, **{**opened, "area": "0.8"}, do="store").status_code == 303
    before = stored(service)
    answer = reader.send(page, **{**opened, "row_spacing": "11"}, do="preview")
    assert answer.status_code == 409 and 'id="preview"' not in answer.text
    answer = reader.send(page, **{**opened, "row_spacing": "11"}, do="store")
    assert answer.status_code == 409
    assert stored(service) == before
    assert 'id="stale"' in answer.text
    assert "Saved value now: 0.8 ac" in answer.text and "Saved value now: 10 ft" in answer.text
    assert 'name="row_spacing" type="text" value="11"' in answer.text
    (version,) = re.findall(r'name="version" value="([^"]*)"', answer.text)
    again = {**opened, "row_spacing": "11", "version": version}
    assert reader.send(page, **again, do="store").status_code == 303
    block = next(each for each in stored(service).blocks if each.block_id == BLOCK_ID)
    assert block.row_spacing_m == pytest.approx(11 * 0.3048)


def test_retiring_a_block_asks_first_and_only_for_what_was_shown(
    service: Service, reader: Reader
) -> None:
    page = f"/blocks/{BLOCK_ID}/retire"
    assert "gets no plan and no water" in reader.text(page)
    (version,) = re.findall(r'name="version" value="([^"]*)"', reader.get(page).text)
    assert reader.send(page, version="another").status_code == 409
    assert len(stored(service).blocks) == 2
    answer = reader.send(page, version=version)
    assert answer.headers["Location"] == "/farms/test-farm/setup?done=retired"
    assert [block.block_id for block in stored(service).blocks] == ["test-farm.south"]
    assert reader.get(page).status_code == 404
    assert "North blueberries" not in reader.text("/farms/test-farm/setup")


def test_a_farm_whose_last_block_went_still_has_its_place(service: Service, reader: Reader) -> None:
    for block in ("north", "south"):
        page = f"/blocks/test-farm.{block}/retire"
        (version,) = re.findall(r'name="version" value="([^"]*)"', reader.get(page).text)
        assert reader.send(page, version=version).status_code == 303
    answer = reader.send("/farms/test-farm/blocks/new", **BLOCK, do="store")
    assert answer.status_code == 303, answer.text
    assert stored(service).blocks[0].site_id == "home"


def test_a_supply_goes_only_when_no_block_draws_on_it(service: Service, reader: Reader) -> None:
    page = "/farms/test-farm/supplies/well/retire"
    assert "while blocks draw on it" in reader.text(page)
    assert reader.send(page, version="x").status_code == 409
    reader.send("/farms/test-farm/supplies/new", supply_name="Pond", flow="9", flow_unit="m3/h")
    page = "/farms/test-farm/supplies/pond/retire"
    (version,) = re.findall(r'name="version" value="([^"]*)"', reader.get(page).text)
    assert reader.send(page, version=version).status_code == 303
    assert [supply.supply_id for supply in stored(service).supplies] == ["well"]


def test_people_who_get_mail_are_added_and_taken_off_by_page(
    service: Service, reader: Reader
) -> None:
    page = "/farms/test-farm/people"
    answer = reader.send(page, name="Ana <b>", mail="ana at example")
    assert answer.status_code == 422 and 'id="mail-fault"' in answer.text
    ana = {"mail": "ana@example.org", "language": "es", "unit_system": "si"}
    assert reader.send(page, name="Ana <b>", gets_evening="yes", **ana).status_code == 303
    (known,) = list_people(farm_id="test-farm", unit_of_work=service.unit_of_work)
    assert (known.person.language, known.person.receives) == ("es", ("evening",))
    assert "Ana &lt;b&gt;" in reader.get(page).text
    assert "Ana" in reader.text("/farms/test-farm/setup")
    assert reader.send(page, f"{page}/remove", mail="ana@example.org").status_code == 303
    assert list_people(farm_id="test-farm", unit_of_work=service.unit_of_work) == []


def test_a_farm_set_up_by_page_gets_its_first_plan_by_page(
    service: Service, reader: Reader
) -> None:
    make_farm(reader)
    reader.send("/farms/rio-bend/blocks/new", **BLOCK, do="store")
    page = "/farms/rio-bend/tomorrow"
    assert "Make the plan for tomorrow now" in reader.text(page)
    answer = reader.send(page, "/farms/rio-bend/first-plan")
    assert "no weather for this place" in reader.text(answer.headers["Location"])
    asked = []

    def bring(site_keys: Ints, *, now: datetime) -> Sequence[SourceProblem]:
        asked.append(site_keys.tolist())
        bring_weather(service, site_id="rio-bend-home")
        return ()

    fetching = replace(service, refreshers={"invented": bring, "not needed": bring})
    reader = Reader(create_app(fetching))
    answer = reader.send(page, "/farms/rio-bend/first-plan")
    assert answer.headers["Location"] == f"{page}?first=making"
    assert len(asked) == 1
    plan = get_plan("rio-bend.west-apples", day=PLAN_DAY, unit_of_work=service.unit_of_work).plan
    assert plan.status in {"water", "rest"}
    assert "West apples" in reader.text(page)
    assert plan.reasoning.taken_full_day == TODAY
    assert "Nobody has said how wet the soil was on" in reader.text(page)


def test_a_new_block_says_how_wet_it_is_and_its_first_plan_starts_from_it(
    service: Service, reader: Reader
) -> None:
    make_farm(reader)
    reader.send("/farms/rio-bend/blocks/new", **BLOCK, wetness="dry", do="store")
    bring_weather(service, site_id="rio-bend-home")
    reader.send("/farms/rio-bend/tomorrow", "/farms/rio-bend/first-plan")
    plan = get_plan("rio-bend.west-apples", day=PLAN_DAY, unit_of_work=service.unit_of_work).plan
    assert plan.reasoning.taken_full_day is None
    assert plan.reasoning.depletion_midnight_mm == pytest.approx(plan.reasoning.taw_mm, abs=1e-3)


@pytest.mark.parametrize("path", [f"/blocks/{BLOCK_ID}/edit", "/farms/test-farm/people"])
def test_a_reader_who_may_not_change_a_farm_sees_no_form_for_it(
    service: Service, path: str
) -> None:
    reader = Reader(create_app(service))
    reader.sign_in(key_for(service, "plan:read"))
    assert reader.get(path).status_code == 403
    assert "/edit" not in reader.text("/farms/test-farm/setup")


# --- cost ----------------------------------------------------------------------------------------


MANY = (
    "/farms/many/tomorrow",
    "/farms/many/sheet",
    "/farms/many/weather",
    "/farms/many/forecast-quality",
    "/farms/many/setup",
    "/farms/many/edit",
    "/farms/many/blocks/new",
    "/blocks/many.b0",
    "/blocks/many.b0/pipes-and-water",
    "/blocks/many.b0/parts",
    "/blocks/many.b0/edit",
    "/counties",
    "/farms?all=1",
    "/sign-in",
)


def statements_of(reader: Reader, path: str) -> int:
    """How often a page asks the database, but for the look at what has changed elsewhere."""
    reader.get(path)
    asked: list[str] = []

    def note(*arguments: object) -> None:
        asked.append(str(arguments[2]))

    event.listen(Engine, "before_cursor_execute", note)
    try:
        assert reader.get(path).status_code == 200
    finally:
        event.remove(Engine, "before_cursor_execute", note)
    return sum("change_mark" not in statement for statement in asked)


def test_no_page_asks_the_database_more_for_more_blocks(service: Service) -> None:
    counts = []
    for block_count in (5, 25):
        load(service, farm_of_many(block_count))
        assert plan_evening(service) == []
        reader = Reader(create_app(service))
        counts.append({path: statements_of(reader, path) for path in MANY})
    assert counts[0] == counts[1]
    assert counts[0]["/farms/many/tomorrow"] > 0


def test_every_page_of_a_hundred_blocks_is_small(service: Service) -> None:
    load(service, farm_of_many(100))
    assert plan_evening(service) == []
    reader = Reader(create_app(service))
    heavy = {path: len(reader.get(path).content) for path in MANY}
    assert {path: size for path, size in heavy.items() if size > LARGEST_PAGE_BYTES} == {}
