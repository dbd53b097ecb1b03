"""The day in one go on the pages, and the page of what a report changed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy.engine import URL

from service.bootstrap import Service
from service.operations.feedback.report_day import days_to_report
from service.operations.reading.read_plans import get_plan
from tests.api.invented_farm import (
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    TODAY,
    FixedClock,
    load,
    opened_service,
    plan_evening,
)
from tests.databases import copied, lent
from tests.pages.conftest import Reader, farm_of_many, key_for
from tests.pages.well_formed import faults_of

TOMORROW = f"/farms/{FARM_ID}/tomorrow"
PAGE = f"/farms/{FARM_ID}/report"
RAIN = {"amount": "1.5", "unit": "in", "day": TODAY.isoformat(), "time": "18:30", "confirm": "yes"}
DAY = {"days": PLAN_DAY.isoformat()}


@pytest.fixture(scope="module")
def day_after(region_database: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[URL]:
    """The database one evening later, which tests copy."""
    with copied(region_database, tmp_path_factory.mktemp("over")) as url:
        with opened_service(url) as made:
            plan_evening(made, on=PLAN_DAY)
        yield url


@pytest.fixture
def service(
    request: pytest.FixtureRequest, region_database: URL, tmp_path: Path
) -> Iterator[Service]:
    """Two farms, one evening's plans, two counties; one evening more where the day is over."""
    template = region_database
    if "over" in request.fixturenames:
        template = request.getfixturevalue("day_after")
    with lent(template, tmp_path) as url, opened_service(url) as made:
        yield made


@pytest.fixture
def over(service: Service) -> Service:
    """The planned day is over, and the next one planned."""
    assert isinstance(service.clock, FixedClock)
    service.clock.instant = datetime(2026, 7, 16, 1, 0, tzinfo=UTC)
    return service


def main_of(page: str) -> str:
    return page.partition("<main")[2].partition("</main>")[0]


def waiting_days(service: Service) -> list[str]:
    with service.unit_of_work(write=False) as unit:
        days = days_to_report(unit, FARM_ID, now=service.clock.now())
    return [day.day.isoformat() for day in days]


def test_before_the_last_pulse_is_over_nothing_is_asked(looker: Reader) -> None:
    assert "How did" not in looker.text(TOMORROW)
    assert "Every day that is over has been reported" in looker.text(PAGE)


def test_tomorrows_page_asks_how_the_day_went_with_the_planned_minutes(
    over: Service, reader: Reader
) -> None:
    planned = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=over.unit_of_work).plan.planned_min
    page = reader.get(TOMORROW).text
    assert "How did today go?" in page and faults_of(page) == []
    (field,) = re.findall(r'<input id="d2026-07-15-min-north"[^>]*>', page)
    assert f'name="min-north" type="text" inputmode="decimal" value="{planned}"' in field
    assert "How did" not in Reader(reader.app).text(f"{TOMORROW}?date=2030-01-01")


def test_all_as_planned_is_one_button_and_a_reload_or_a_second_sending_changes_nothing(
    over: Service, reader: Reader
) -> None:
    answer = reader.send(TOMORROW, PAGE, **DAY, ran="planned")
    assert answer.status_code == 303
    address = answer.headers["Location"]
    shown = reader.text(address)
    assert "The day is saved." in shown
    assert main_of(reader.text(address)) == main_of(shown)
    assert waiting_days(over) == []
    assert "How did" not in reader.text(TOMORROW)
    again = reader.send(TOMORROW, PAGE, **DAY, ran="some", **{"min-north": "3"})
    shown = reader.text(again.headers["Location"])
    assert "No plan changes." in shown and "Those reports stay" in shown


def test_minutes_that_differed_change_the_plan_and_the_page_says_from_what_to_what(
    over: Service, reader: Reader
) -> None:
    day = PLAN_DAY + timedelta(days=1)
    before = get_plan(BLOCK_ID, day=day, unit_of_work=over.unit_of_work).plan.planned_min
    answer = reader.send(PAGE, **DAY, ran="some", **{"min-north": "0"})
    after = get_plan(BLOCK_ID, day=day, unit_of_work=over.unit_of_work).plan.planned_min
    assert after > before
    page = reader.get(answer.headers["Location"]).text
    assert faults_of(page) == []
    row = page[page.index(f'href="/blocks/{BLOCK_ID}?date={day}"') :]
    assert f"{before} min" in row.replace("\u00a0", " ") and f"{after} min" in row.replace(
        "\u00a0", " "
    )
    assert f"{after - before} min more" in row.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({**DAY, "ran": "some", "min-north": "lots"}, "minutes such as 45"),
        ({**DAY, "ran": "some", "min-north": ""}, "minutes such as 45"),
        ({**DAY, "ran": "some", "min-north": "nan"}, "minutes such as 45"),
        ({**DAY, "ran": "some", "min-north": "1501"}, "0 to 1500 minutes"),
        ({**DAY, "ran": "some", "min-<b>": "5"}, "a block that was planned to run that day"),
        ({**DAY, "ran": "maybe"}, "all as planned, or some differed"),
        ({**DAY}, "all as planned, or some differed"),
        ({"days": "<i>", "ran": "planned"}, "today or a day of the last seven"),
        ({"days": "2030-01-01", "ran": "planned"}, "today or a day of the last seven"),
        ({"days": ",".join(["2026-07-15"] * 500), "ran": "planned"}, "a day of the last seven"),
        ({"days": "2026-07-15,2026-07-14", "ran": "some"}, "one day, where blocks differed"),
    ],
)
def test_what_cannot_be_meant_is_said_and_nothing_is_stored(
    over: Service, reader: Reader, fields: dict[str, str], said: str
) -> None:
    answer = reader.send(PAGE, **fields)
    assert answer.status_code == 422
    assert said in answer.text and "<title>Error:" in answer.text
    assert "test-farm.<b>" not in answer.text and "<i>" not in answer.text
    assert waiting_days(over) == [PLAN_DAY.isoformat()]


def test_a_fault_is_at_its_field_and_what_was_typed_stays(over: Service, reader: Reader) -> None:
    answer = reader.send(PAGE, **DAY, ran="some", **{"min-north": "lots"})
    assert 'id="d2026-07-15-min-north-fault"' in answer.text and 'value="lots"' in answer.text
    assert 'value="some" class="some" checked' in answer.text
    assert faults_of(answer.text) == []


def test_another_farms_day_and_a_reader_without_the_right_are_refused(
    over: Service, reader: Reader
) -> None:
    stranger = Reader(reader.app)
    assert stranger.sign_in(key_for(over, "plan:read", farm_id=FARM_ID)).status_code == 303
    assert "How did" not in stranger.text(TOMORROW)
    assert stranger.get(PAGE).status_code == 403
    assert stranger.get("/farms/later-farm/report").status_code == 404
    assert stranger.get("/farms/later-farm/what-changed").status_code == 404


@pytest.mark.parametrize(
    "query",
    [
        "",
        "day=2026-07-15&before=1&after=x",
        "day=2026-07-15&before=-1&after=1",
        "day=2026-07-15&before=1&after=99999999999999999999",
        "day=2026-07-15&before=%C2%B2&after=1",
        "day=0001-01-01&before=1&after=1",
        "day=<b>&before=1&after=1",
    ],
)
def test_an_address_that_this_service_did_not_write_is_not_found(
    looker: Reader, query: str
) -> None:
    assert looker.get(f"/farms/{FARM_ID}/what-changed?{query}").status_code == 404


def test_a_hostile_block_or_word_in_the_address_is_not_repeated(looker: Reader) -> None:
    query = "day=2026-07-15&before=1&after=1&done=<b>x&block=test-farm.<b>x"
    answer = looker.get(f"/farms/{FARM_ID}/what-changed?{query}")
    assert answer.status_code == 200 and "<b>x" not in answer.text


def test_a_large_farm_is_asked_on_a_page_of_its_own(service: Service, reader: Reader) -> None:
    load(service, farm_of_many(40, depletion_mm=90.0))
    plan_evening(service)
    plan_evening(service, on=PLAN_DAY)
    assert isinstance(service.clock, FixedClock)
    service.clock.instant = datetime(2026, 7, 16, 3, 59, tzinfo=UTC)
    page = reader.text("/farms/many/tomorrow")
    assert "How did today go?" in page and 'name="min-' not in page
    own = reader.text("/farms/many/report")
    assert own.count('name="min-') > 14


# --- rain ----------------------------------------------------------------------------------------


def test_rain_that_would_rest_another_block_is_asked_about_first(
    service: Service, reader: Reader
) -> None:
    load(service, farm_of_many(2, depletion_mm=90.0))
    plan_evening(service)
    page, other_id = "/blocks/many.b0", "many.b1"
    other = get_plan(other_id, day=PLAN_DAY, unit_of_work=service.unit_of_work).plan
    assert other.planned_min > 0
    amount = {**RAIN, "amount": "12"}
    answer = reader.send(page, f"{page}/rain", **amount)
    assert answer.status_code == 200 and faults_of(answer.text) == []
    assert "Nothing is saved yet" in answer.text and f"/blocks/{other_id}?" in answer.text
    after = get_plan(other_id, day=PLAN_DAY, unit_of_work=service.unit_of_work).plan
    assert after.version == other.version
    sent = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', answer.text))
    for own_to_the_footer in ("token", "back"):
        sent.pop(own_to_the_footer)
    assert sent == {**amount, "rest": "yes"}
    answer = reader.send(page, f"{page}/rain", **sent)
    assert answer.status_code == 303
    shown = reader.text(answer.headers["Location"])
    assert "The rain is saved." in shown and "2 of 2 blocks have another plan" in shown


def test_the_form_says_which_place_and_blocks_the_gauge_counts_for(looker: Reader) -> None:
    shown = looker.text(f"/blocks/{BLOCK_ID}")
    assert re.search(r"The gauge at \w+ counts for North blueberries and ", shown)
