"""The program that a controller polls: what it says, when it is sent, and how soon it is news."""

from __future__ import annotations

import subprocess
import sys
import zlib
from collections.abc import Collection
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import ceil
from typing import Any

import numpy as np
import pytest

from service.api.access import Gate
from service.api.app import create_app
from service.api.examples import PROGRAM, PROGRAM_CSV
from service.api.negotiation import CSV, JSON, TABLES, preferred
from service.api.program import Programs
from service.api.schemas.bodies import RunBatchIn
from service.api.schemas.programs import ProgramAnswerOut
from service.bootstrap import Service
from service.database.session import UnitOfWork
from service.errors import StorageFailed
from service.operations.evening.publish_programs import json_body, publish_programs, render_program
from service.operations.evening.run_day import run_day
from service.operations.feedback.report_runs import LONGEST_RUN_MIN, MOST_RUNS, OLDEST_RUN
from service.records.controllers import ChannelDefinition, FallbackRun
from tests.api.callers import Caller, new_key
from tests.api.conftest import Client, Ticker
from tests.api.invented_farm import (
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    FixedClock,
    bring_weather,
    plan_evening,
)
from tests.api.paired_controllers import (
    BARN,
    BARN_CONTROLLER,
    SHED,
    SHED_CONTROLLER,
    checked_program,
    pair,
)
from tests.api.paired_controllers import PROGRAM as PATH
from tests.conftest import ROOT

MIDNIGHT = datetime(2026, 7, 15, 4, 0, tzinfo=UTC)  # in New York, on daylight saving time
AS_CSV = {"Accept": "text/csv"}


@pytest.fixture
def paired(own_service: Service, ticker: Ticker) -> Service:
    """The invented farm with a controller in the shed."""
    pair(own_service, FARM_ID, SHED_CONTROLLER)
    return own_service


@pytest.fixture
def own_client(paired: Service) -> Client:
    return Client(create_app(paired))


# --- what it says --------------------------------------------------------------------------------


def test_the_openings_are_the_pulses_of_the_plans(own_client: Client) -> None:
    program = checked_program(own_client.get(PATH).content)
    for channel, wired in zip(program["channels"], SHED_CONTROLLER.channels, strict=True):
        plan = own_client.json(f"/v1/blocks/{wired.block_id}/plan")
        assert plan["pulses"]
        assert channel["mode"] == "run"
        assert channel["openings"] == [
            [
                pulse["start_epoch_s"],
                datetime.fromisoformat(pulse["start_local"]).strftime("%dT%H:%M"),
                pulse["duration_min"],
            ]
            for pulse in plan["pulses"]
        ]
        planned_min = sum(pulse["duration_min"] for pulse in plan["pulses"])
        agreed_min = sum(run.duration_min for run in wired.fallback)
        assert channel["daily_maximum_min"] == ceil(1.25 * max(planned_min, agreed_min))


def test_it_names_itself_and_says_when_it_is_valid(own_client: Client) -> None:
    answer = own_client.json(PATH)
    program = answer["program"]
    assert program["controller_id"] == SHED
    assert program["program_id"] == f"{SHED}/{program['version']}"
    assert program["issued_epoch_s"] == answer["server_time_epoch_s"] == RUN_AT.timestamp()
    assert program["valid_from_epoch_s"] == (MIDNIGHT - timedelta(days=1)).timestamp()
    assert program["valid_until_epoch_s"] == (MIDNIGHT + timedelta(days=1)).timestamp()
    assert program["fallback"] == {"policy": "fallback", "days": 7, "openings": [[1, "05:30", 40]]}


def test_the_answer_is_what_the_openapi_document_describes(own_client: Client) -> None:
    answer = own_client.json(PATH)
    assert ProgramAnswerOut.model_validate(answer).model_dump(mode="json") == answer
    assert ProgramAnswerOut.model_validate(PROGRAM).model_dump(mode="json") == PROGRAM


def test_csv_says_the_same_as_json(own_client: Client) -> None:
    program = checked_program(own_client.get(PATH).content)
    answer = own_client.get(PATH, headers=AS_CSV)
    assert answer.headers["Content-Type"] == "text/csv; charset=us-ascii"
    head, _, rest = answer.text.partition("\n")
    assert head == f"rillwright,1,{RUN_AT.timestamp():.0f},{zlib.crc32(rest.encode()):08x}"
    rows = [line.split(",") for line in rest.splitlines()]
    assert rows[0] == [
        "program",
        program["program_id"],
        str(program["version"]),
        str(program["issued_epoch_s"]),
        str(program["valid_from_epoch_s"]),
        str(program["valid_until_epoch_s"]),
    ]
    assert [row[1:] for row in rows if row[0] == "channel"] == [
        [str(each["channel"]), each["mode"], str(each["daily_maximum_min"])]
        for each in program["channels"]
    ]
    assert [[row[1], row[2], row[3][8:], row[4]] for row in rows if row[0] == "open"] == [
        [str(each["channel"]), str(start), local, str(minutes)]
        for each in program["channels"]
        for start, local, minutes in each["openings"]
    ]
    assert [row[1:] for row in rows if row[0] == "base"] == [["1", "05:30", "40"]]


def test_no_line_of_csv_can_be_a_formula_or_needs_quotes(own_client: Client) -> None:
    text = own_client.get(PATH, headers=AS_CSV).text
    assert text.isascii()
    assert not set(text) & set('"=@+\t\r ')


def test_eight_channels_of_four_openings_fit_into_2_kb() -> None:
    channels = tuple(
        ChannelDefinition(
            channel=number, block_id=f"{FARM_ID}.b{number}", fallback=(FallbackRun(330, 120),)
        )
        for number in range(1, 9)
    )
    openings = [(1_784_106_000 + 3600 * n, f"2026-07-15T{5 + n:02d}:00", 120) for n in range(4)]
    json_text, _ = render_program(
        replace(SHED_CONTROLLER, channels=channels),
        [(number, "run", 1440, openings) for number in range(1, 9)],
        version=1234,
        issued_epoch_s=1_784_070_000,
        valid_epoch_s=(1_784_001_600, 1_784_174_400),
        zone="America/Los_Angeles",
    )
    assert len(json_body(json_text, 1_784_070_000)) <= 2048


def test_the_contract_shows_a_program_as_it_is_sent() -> None:
    contract = (ROOT / "deploy" / "controller-contract.md").read_text()
    json_text, csv_text = (
        each.partition("\n```")[0]
        for each in (contract.split("```json\n")[1], contract.split("### CSV")[1].split("```\n")[1])
    )
    assert csv_text.rstrip("\n") + "\n" == PROGRAM_CSV
    squeezed = "".join(line.strip() for line in json_text.splitlines())
    assert checked_program(squeezed.encode())["version"] == 42
    assert ProgramAnswerOut.model_validate_json(squeezed) == ProgramAnswerOut.model_validate(
        PROGRAM
    )


def test_the_contract_shows_a_report_as_it_is_taken() -> None:
    contract = (ROOT / "deploy" / "controller-contract.md").read_text()
    body = contract.split("POST /v1/runs HTTP/1.1")[1].split("\n\n")[1].partition("\n```")[0]
    (run,) = RunBatchIn.model_validate_json(body).items
    assert (run.duration_min, run.volume_l) == (40, 5120)
    assert f"1 to {MOST_RUNS:,} runs" in contract
    assert f"0 to {LONGEST_RUN_MIN:.0f} minutes" in contract
    assert f"at most {OLDEST_RUN.days} days old" in contract


def test_openings_that_were_over_at_issue_are_left_out(paired: Service) -> None:
    clock = paired.clock
    assert isinstance(clock, FixedClock)
    before = checked_program(Client(create_app(paired)).get(PATH).content)
    first, *others = before["channels"][0]["openings"]
    clock.instant = datetime.fromtimestamp(first[0] + 60 * first[2], UTC)
    pair(paired, FARM_ID, replace(SHED_CONTROLLER, name="Renamed"))
    after = checked_program(Client(create_app(paired)).get(PATH).content)
    assert after["channels"][0]["openings"] == others
    assert after["version"] == before["version"] + 1


def test_a_program_also_holds_the_rest_of_the_day_under_way(paired: Service) -> None:
    clock = paired.clock
    assert isinstance(clock, FixedClock)
    today = checked_program(Client(create_app(paired)).get(PATH).content)
    last_start = max(each[0] for row in today["channels"] for each in row["openings"])
    clock.instant = datetime.fromtimestamp(last_start - 60, UTC)
    run_day(
        PLAN_DAY,
        unit_of_work=paired.unit_of_work,
        clock=clock,
        source_order=paired.source_order,
        farm_ids=[FARM_ID],
    )
    program = checked_program(Client(create_app(paired)).get(PATH).content)
    starts = [each[0] for row in program["channels"] for each in row["openings"]]
    assert last_start in starts
    assert program["valid_from_epoch_s"] == MIDNIGHT.timestamp()
    assert program["valid_until_epoch_s"] == (MIDNIGHT + timedelta(days=2)).timestamp()


def barn_program(service: Service) -> dict[str, Any]:
    plan_evening(service)
    client = Client(create_app(service))
    return checked_program(client.get(f"/v1/controllers/{BARN}/program").content)


def test_a_day_without_weather_gets_the_fallback_as_agreed(own_service: Service) -> None:
    pair(own_service, "later-farm", BARN_CONTROLLER)
    channel = barn_program(own_service)["channels"][0]
    assert channel["mode"] == "run"
    assert [each[1:] for each in channel["openings"]] == [["15T05:00", 30], ["15T18:00", 20]]


def test_a_day_without_weather_gets_no_water_where_that_was_agreed(own_service: Service) -> None:
    pair(own_service, "later-farm", replace(BARN_CONTROLLER, policy="stop"))
    channel = barn_program(own_service)["channels"][0]
    assert (channel["mode"], channel["openings"]) == ("hold", [])


def test_a_controller_without_plans_must_hold(own_service: Service, ticker: Ticker) -> None:
    pair(own_service, "later-farm", BARN_CONTROLLER)
    client = Client(create_app(own_service))
    program = checked_program(client.get(f"/v1/controllers/{BARN}/program").content)
    assert program["channels"] == [
        {"channel": 7, "mode": "hold", "daily_maximum_min": 63, "openings": []}
    ]
    assert program["fallback"]["openings"] == [[7, "05:00", 30], [7, "18:00", 20]]
    assert program["valid_until_epoch_s"] == MIDNIGHT.timestamp()


def test_the_same_plans_again_make_no_new_version(paired: Service) -> None:
    before = checked_program(Client(create_app(paired)).get(PATH).content)
    plan_evening(paired)
    pair(paired, FARM_ID, SHED_CONTROLLER)
    assert checked_program(Client(create_app(paired)).get(PATH).content) == before


# --- how it is sent ------------------------------------------------------------------------------


def test_a_controller_that_has_the_program_gets_no_body(own_client: Client) -> None:
    first = own_client.get(PATH)
    tag = first.headers["ETag"]
    assert tag.startswith('"') and not tag.startswith("W/")
    again = own_client.get(PATH, headers={"If-None-Match": tag})
    assert (again.status_code, again.content) == (304, b"")
    for name in ("ETag", "Cache-Control", "Vary"):
        assert again.headers[name] == first.headers[name]
    assert own_client.get(PATH, headers={"If-None-Match": f'"other", W/{tag}'}).status_code == 304
    assert own_client.get(PATH, headers={"If-None-Match": tag[:-2] + 'x"'}).status_code == 200
    assert own_client.get(PATH, headers={**AS_CSV, "If-None-Match": tag}).status_code == 200


def test_the_tag_is_stable_while_the_servers_time_moves(paired: Service) -> None:
    client = Client(create_app(paired))
    first = client.get(PATH)
    assert isinstance(paired.clock, FixedClock)
    paired.clock.instant += timedelta(minutes=5)
    later = client.get(PATH)
    assert later.headers["ETag"] == first.headers["ETag"]
    assert later.headers["Content-Length"] == first.headers["Content-Length"]
    moved = later.json()["server_time_epoch_s"] - first.json()["server_time_epoch_s"]
    assert moved == 300
    assert later.json()["program"] == first.json()["program"]


@pytest.mark.parametrize("accept", ["application/json", "text/csv"])
def test_head_gives_the_headers_of_get(own_client: Client, accept: str) -> None:
    got = own_client.get(PATH, headers={"Accept": accept})
    head = own_client.request("HEAD", PATH, headers={"Accept": accept})
    assert head.content == b""
    assert int(head.headers["Content-Length"]) == len(got.content)
    kept = {name: value for name, value in got.headers.items() if name != "x-request-id"}
    assert kept == {name: value for name, value in head.headers.items() if name != "x-request-id"}
    assert got.headers["Cache-Control"] == "private, max-age=300"


def test_the_quick_way_and_the_route_answer_alike(
    paired: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    def answers() -> list[tuple[int, bytes, dict[str, str]]]:
        client = Client(create_app(paired))
        tag = client.get(PATH).headers["ETag"]
        asked = [
            client.request(method, PATH, headers=headers)
            for method in ("GET", "HEAD")
            for headers in ({}, AS_CSV, {"If-None-Match": tag})
        ]
        return [
            (each.status_code, each.content, {**each.headers, "x-request-id": ""}) for each in asked
        ]

    quick = answers()
    monkeypatch.setattr(Gate, "admits", lambda *_, **__: False)
    assert answers() == quick


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        (None, JSON),
        (b"", JSON),
        (b"*/*", JSON),
        (b"text/csv", CSV),
        (b"TEXT/CSV; q=0.5, application/json; q=0.4", CSV),
        (b"text/csv;q=0.2, */*;q=0.9", JSON),
        (b"text/*;q=0.9, text/csv;q=0, application/json;q=0.1", JSON),
        (b"text/csv; q=x", None),
        (b"text/html", None),
        (b"*/*;q=0", None),
    ],
)
def test_the_form_is_chosen_by_accept(accept: bytes | None, kind: str | None) -> None:
    assert preferred(accept, TABLES) == kind


@pytest.mark.parametrize("name", ["shed", "attic"])
@pytest.mark.parametrize("key", [None, "rw_guessed1_" + "a" * 32, "theirs"])
def test_nothing_about_a_controller_is_read_for_who_may_not_see_it(
    paired: Service, monkeypatch: pytest.MonkeyPatch, name: str, key: str | None
) -> None:
    new_key(paired, FARM_ID)
    if key == "theirs":
        key = new_key(paired, "later-farm")[1]
    caller = Caller(create_app(paired), key)
    caller.get("/v1/blocks")
    read: list[str] = []

    async def load(_self: Programs, controller_id: str) -> None:
        read.append(controller_id)

    monkeypatch.setattr(Programs, "load", load)
    answer = caller.get(f"/v1/controllers/{FARM_ID}.{name}/program")
    assert (answer.status_code, read) == (404 if key and "guessed" not in key else 401, [])


def test_an_unknown_controller_is_not_found(own_client: Client) -> None:
    answer = own_client.get(f"/v1/controllers/{FARM_ID}.attic/program")
    assert (answer.status_code, answer.json()["type"]) == (404, "/problems/not-found")


def test_a_controller_that_was_taken_out_is_gone(paired: Service, ticker: Ticker) -> None:
    client = Client(create_app(paired))
    assert client.get(PATH).status_code == 200
    pair(paired, FARM_ID)
    ticker.seconds += 1.0
    answer = client.get(PATH)
    assert (answer.status_code, answer.json()["type"]) == (410, "/problems/retired")
    pair(paired, FARM_ID, SHED_CONTROLLER)
    ticker.seconds += 1.0
    assert client.get(PATH).status_code == 200


# --- news ----------------------------------------------------------------------------------------


def warmer(service: Service) -> None:
    """Publish other plans for the same day."""
    bring_weather(service, warmer_c=8.0)
    assert plan_evening(service) is not None


def test_new_plans_are_news_within_a_second_in_every_process(
    paired: Service, ticker: Ticker
) -> None:
    clients = [Client(create_app(paired)) for _ in range(2)]
    tags = {client.get(PATH).headers["ETag"] for client in clients}
    assert len(tags) == 1
    warmer(paired)
    ticker.seconds += 0.99
    assert {client.get(PATH).headers["ETag"] for client in clients} == tags
    ticker.seconds += 0.01
    later = {client.get(PATH).headers["ETag"] for client in clients}
    assert len(later) == 1
    assert later != tags


def test_a_change_of_one_farm_leaves_the_other_farms_programs_kept(
    paired: Service, ticker: Ticker
) -> None:
    pair(paired, "later-farm", BARN_CONTROLLER)
    app = create_app(paired)
    client = Client(app)
    client.get(PATH)
    client.get(f"/v1/controllers/{BARN}/program")
    warmer(paired)
    pair(paired, FARM_ID, replace(SHED_CONTROLLER, name="Renamed"))
    ticker.seconds += 1.0
    client.get(f"/v1/controllers/{BARN}/program")
    assert app.state.programs.find(SHED) is None


def counted(service: Service) -> tuple[Service, list[bool]]:
    """The service, and the units of work that were opened on it."""
    opened: list[bool] = []

    def open_unit(*, write: bool, farm_keys: Collection[int] | None = None) -> UnitOfWork:
        opened.append(write)
        return service.unit_of_work(write=write, farm_keys=farm_keys)

    return replace(service, unit_of_work=open_unit), opened


def test_the_database_is_asked_for_news_at_most_once_a_second(
    paired: Service, ticker: Ticker
) -> None:
    service, opened = counted(paired)
    client = Client(create_app(service))
    for _ in range(5):
        client.get(PATH)
    assert opened.count(False) == 2  # the marks, and the program
    ticker.seconds += 1.0
    for _ in range(5):
        client.get(PATH)
    assert opened.count(False) == 3
    assert opened.count(True) <= 1  # that the controller polled


def test_a_caller_sees_its_own_write_in_that_process_at_once(
    paired: Service, ticker: Ticker
) -> None:
    client = Client(create_app(paired))
    tag = client.get(PATH).headers["ETag"]
    warmer(paired)
    assert client.get(PATH).headers["ETag"] == tag
    client.request("POST", "/v1/runs")  # whatever the answer
    assert client.get(PATH).headers["ETag"] != tag


def test_without_a_database_nothing_old_is_passed_off_as_current(
    paired: Service, ticker: Ticker
) -> None:
    is_away = False

    def open_unit(*, write: bool, farm_keys: Collection[int] | None = None) -> UnitOfWork:
        if is_away:
            raise StorageFailed("the database is away")
        return paired.unit_of_work(write=write, farm_keys=farm_keys)

    client = Client(create_app(replace(paired, unit_of_work=open_unit)))
    assert client.get(PATH).status_code == 200
    is_away = True
    assert client.get(PATH).status_code == 200
    ticker.seconds += 1.0
    answer = client.get(PATH)
    assert answer.status_code == 503
    assert int(answer.headers["Retry-After"]) > 0
    is_away = False
    assert client.get(PATH).status_code == 200


def test_a_failed_load_is_reported_and_retried(paired: Service) -> None:
    fails = [False, True, False]

    def open_unit(*, write: bool, farm_keys: Collection[int] | None = None) -> UnitOfWork:
        if fails and fails.pop(0):
            raise StorageFailed("the database is away")
        return paired.unit_of_work(write=write, farm_keys=farm_keys)

    client = Client(create_app(replace(paired, unit_of_work=open_unit)))
    assert client.get(PATH).status_code == 200


# --- what it costs -------------------------------------------------------------------------------


def test_the_web_server_starts_without_the_numerical_libraries() -> None:
    code = (
        "import sys; from tests.api.openapi_snapshot import app_without_database as make; make();"
        "print(sorted({'pandas', 'xarray', 'pyet', 'numba', 'PIL', 'resvg_py'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert done.stdout.strip() == "[]"


def test_a_farm_without_controllers_costs_a_run_one_question(own_service: Service) -> None:
    with own_service.unit_of_work(write=True) as unit:
        keys = unit.blocks.farm_keys([FARM_ID])
        assert publish_programs(unit, np.array(list(keys.values())), now=RUN_AT) == 0
        assert "programs" not in unit.marks.read_all()
