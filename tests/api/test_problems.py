"""Every error leaves as a problem document: what, where and how on, but not what was sent."""

from __future__ import annotations

import logging
import re
from collections.abc import Callable
from typing import Annotated, Any, Literal

import httpx
import pytest
from fastapi import FastAPI, HTTPException
from pydantic import BaseModel, ConfigDict, Field, field_validator

from service import errors
from service.api.app import create_app
from service.api.problem_types import PROBLEM_TYPES
from service.api.problems import faults_as_errors, problem_type_of
from service.bootstrap import Service
from tests.api.callers import caller_of
from tests.api.conftest import Client
from tests.api.invented_farm import BLOCK_ID, FARM_ID, YOUNG_BLOCK_ID

SECRET = "hush-hush"
REQUEST_ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
FailingClient = Callable[[Exception], Client]


def problem_of(answer: httpx.Response, status: int, slug: str) -> dict[str, Any]:
    """The problem document, after what holds for each of them was checked."""
    assert answer.status_code == status, answer.text
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.headers["Cache-Control"] == "no-store"
    problem: dict[str, Any] = answer.json()
    assert problem["type"] == f"/problems/{slug}"
    assert problem["status"] == status
    assert problem["title"] and problem["detail"]
    assert REQUEST_ID.fullmatch(problem["request_id"])
    assert problem["request_id"] == answer.headers["X-Request-Id"]
    assert problem["instance"] == f"urn:uuid:{problem['request_id']}"
    return problem


def test_an_address_that_does_not_exist(client: Client) -> None:
    answer = client.get(f"/{SECRET}")
    problem_of(answer, 404, "not-found")
    assert SECRET not in answer.text


def test_a_block_that_does_not_exist(client: Client) -> None:
    for tail in ("", "/plan", "/why", "/balance"):
        answer = client.get(f"/v1/blocks/{SECRET}.{SECRET}{tail}")
        problem_of(answer, 404, "not-found")
        assert SECRET not in answer.text


def test_a_farm_that_does_not_exist(client: Client) -> None:
    problem_of(client.get("/v1/blocks", params={"farm": "nowhere"}), 404, "not-found")


def test_a_block_is_named_in_full_so_that_no_other_farm_can_be_guessed_at(client: Client) -> None:
    problem = problem_of(client.get("/v1/blocks/north"), 422, "invalid-request")
    assert [each["parameter"] for each in problem["errors"]] == ["block_id"]


def test_a_known_block_without_a_plan(client: Client) -> None:
    for tail in ("plan", "why"):
        problem_of(client.get(f"/v1/blocks/{YOUNG_BLOCK_ID}/{tail}"), 404, "plan-not-found")
        answer = client.get(f"/v1/blocks/{BLOCK_ID}/{tail}", params={"date": "2026-07-01"})
        problem_of(answer, 404, "plan-not-found")


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "TRACE"])
@pytest.mark.parametrize("path", ["/v1/blocks", f"/v1/blocks/{BLOCK_ID}/plan", "/docs/assets/x.js"])
def test_a_method_that_is_not_allowed(client: Client, method: str, path: str) -> None:
    answer = client.request(method, path)
    problem_of(answer, 405, "method-not-allowed")
    assert answer.headers["Allow"] == "GET, HEAD"


@pytest.mark.parametrize(
    ("path", "allowed"),
    [
        ("/v1/blocks", "GET, HEAD, OPTIONS"),
        (f"/v1/blocks/{BLOCK_ID}", "DELETE, GET, PUT, HEAD, OPTIONS"),
        ("/v1/observations", "POST, OPTIONS"),
    ],
)
def test_options_names_the_methods_of_an_address(client: Client, path: str, allowed: str) -> None:
    answer = client.request("OPTIONS", path)
    assert (answer.status_code, answer.content) == (204, b"")
    assert set(answer.headers["Allow"].split(", ")) == set(allowed.split(", "))


@pytest.mark.parametrize("path", ["/v1/blocks", f"/v1/blocks/{BLOCK_ID}/plan", "/v1/status"])
@pytest.mark.parametrize("accept", ["text/html", "application/json;q=0", "image/*"])
def test_a_form_that_there_is_not(client: Client, path: str, accept: str) -> None:
    problem_of(client.get(path, headers={"Accept": accept}), 406, "not-acceptable")


def test_a_change_is_not_made_when_its_answer_would_not_be_accepted(own_service: Service) -> None:
    caller = caller_of(own_service, FARM_ID)
    asked = {"Accept": "text/html", "Idempotency-Key": '"one"'}
    run = {"block_id": BLOCK_ID, "started_at": "2026-07-14T05:00:00Z", "duration_min": 40}
    body = {"items": [run]}
    assert caller.request("POST", "/v1/runs", json=body, headers=asked).status_code == 406
    sent = caller.request("POST", "/v1/runs", json=body, headers={**asked, "Accept": "*/*"})
    assert sent.status_code < 300, sent.text


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/v1/blocks", 200),
        ("/v1/nowhere", 404),
        (f"/v1/blocks/{BLOCK_ID}/plan", 200),
        ("/v1/status", 200),
        ("/farms", 200),
        ("/docs", 200),
        ("/pages/icon.svg", 200),
        ("/openapi.json", 200),
        ("/livez", 200),
        ("/metrics", 200),
        ("/problems", 200),
        ("/nowhere", 404),
    ],
)
def test_every_answer_says_who_may_keep_it(client: Client, path: str, status: int) -> None:
    answer = client.get(path)
    assert answer.status_code == status, answer.text
    kept = {each.strip().partition("=")[0] for each in answer.headers["Cache-Control"].split(",")}
    assert kept & {"no-store", "no-cache", "max-age"}
    assert "Accept" in answer.headers["Vary"]


def test_an_address_with_a_slash_too_many_is_not_redirected(client: Client) -> None:
    problem_of(client.get("/v1/blocks/"), 404, "not-found")


@pytest.mark.parametrize(
    ("path", "parameter"),
    [
        (f"/v1/blocks?date={SECRET}", "date"),
        ("/v1/blocks?date=1784102400", "date"),  # seconds since 1970 are no date
        ("/v1/blocks?date=2026-07-15T00:00:00", "date"),
        ("/v1/blocks?date=2026-02-30", "date"),
        ("/v1/blocks?date=", "date"),
        ("/v1/blocks?page_size=0", "page_size"),
        (f"/v1/blocks?cursor={SECRET}=", "cursor"),
        ("/v1/blocks?cursor=%C3%A4", "cursor"),
        (f"/v1/blocks/{BLOCK_ID}?date=15.7.2026", "date"),
        (f"/v1/blocks/{BLOCK_ID}/plan?date=tomorrow", "date"),
        (f"/v1/blocks/{BLOCK_ID}/why?date=tomorrow", "date"),
        (f"/v1/blocks/{BLOCK_ID}/balance?from=July", "from"),
        (f"/v1/blocks/{BLOCK_ID}/balance?from=2026-07-02&to=2026-07-01", "to"),
        (f"/v1/blocks/{BLOCK_ID}/balance?from=2025-06-01&to=2026-07-07", "to"),
    ],
)
def test_a_parameter_that_cannot_be_used(client: Client, path: str, parameter: str) -> None:
    answer = client.get(path)
    problem = problem_of(answer, 422, "invalid-request")
    assert [each["parameter"] for each in problem["errors"]] == [parameter]
    assert problem["errors"][0]["detail"]
    assert SECRET not in answer.text


def test_a_span_of_400_days_is_allowed(client: Client) -> None:
    span = {"from": "2025-06-01", "to": "2026-07-06"}
    assert client.get(f"/v1/blocks/{BLOCK_ID}/balance", params=span).status_code == 200


@pytest.mark.parametrize("tail", ["", f"/{BLOCK_ID}", *(f"/{BLOCK_ID}/{x}" for x in (
    "plan", "why", "balance"))])  # fmt: skip
def test_a_parameter_that_is_not_known(client: Client, tail: str) -> None:
    answer = client.get(f"/v1/blocks{tail}", params={"colour": SECRET})
    problem = problem_of(answer, 422, "invalid-request")
    assert [each["parameter"] for each in problem["errors"]] == ["colour"]
    assert SECRET not in answer.text


@pytest.mark.parametrize(
    ("error", "status", "slug"),
    [
        (errors.NotFound(SECRET), 404, "not-found"),
        (errors.PlanNotFound(SECRET), 404, "plan-not-found"),
        (errors.Conflict(SECRET), 409, "conflict"),
        (errors.InputInvalid(SECRET), 422, "invalid-request"),
        (errors.FarmFileInvalid(SECRET), 422, "invalid-request"),
        (errors.WeatherInvalid(SECRET), 422, "invalid-request"),
        (errors.SettingsInvalid(SECRET), 500, "internal-error"),
        (errors.WeatherUnavailable(SECRET), 503, "weather-unavailable"),
        (errors.StorageFailed(SECRET), 503, "storage-unavailable"),
        (errors.RillwrightError(SECRET), 500, "internal-error"),
        (RuntimeError(SECRET), 500, "internal-error"),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Exception) else None,
)
def test_an_error_of_the_service(
    failing_client: FailingClient, error: Exception, status: int, slug: str
) -> None:
    answer = failing_client(error).get("/v1/blocks")
    problem_of(answer, status, slug)
    assert SECRET not in answer.text
    assert ("Retry-After" in answer.headers) == (status == 503)


def test_every_error_of_the_tree_has_a_problem_type() -> None:
    def below(kind: type[errors.RillwrightError]) -> list[type[errors.RillwrightError]]:
        return [kind, *(each for child in kind.__subclasses__() for each in below(child))]

    for kind in below(errors.RillwrightError):
        assert problem_type_of(kind.__new__(kind)) in PROBLEM_TYPES


@pytest.mark.parametrize("error", [RuntimeError(SECRET), errors.StorageFailed(SECRET)])
def test_the_log_says_under_the_request_id_what_the_caller_does_not_see(
    failing_client: FailingClient, caplog: pytest.LogCaptureFixture, error: Exception
) -> None:
    with caplog.at_level(logging.ERROR):
        answer = failing_client(error).get("/v1/blocks")
    assert answer.headers["X-Request-Id"] in caplog.text
    assert SECRET in caplog.text


def test_a_fault_names_its_place_and_what_is_allowed_but_not_what_was_found(
    failing_client: FailingClient,
) -> None:
    faults = [
        errors.Fault("/blocks/0/area_m2", SECRET, "more than 0 m²"),
        errors.Fault("to", SECRET, "a day"),
        errors.Fault("farm.toml: block[2].row_spacing", SECRET, "0.5 to 20 m"),
    ]
    answer = failing_client(errors.InputInvalid("wrong", faults)).get("/v1/blocks")
    assert problem_of(answer, 422, "invalid-request")["errors"] == [
        {"pointer": "/blocks/0/area_m2", "detail": "allowed: more than 0 m²"},
        {"parameter": "to", "detail": "allowed: a day"},
        {"detail": "farm.toml: block[2].row_spacing: allowed: 0.5 to 20 m"},
    ]


def test_a_conflict_says_what_would_be_allowed(failing_client: FailingClient) -> None:
    error = errors.Conflict(SECRET, [errors.Fault("day", SECRET, "a day to come")])
    answer = failing_client(error).get("/v1/blocks")
    assert problem_of(answer, 409, "conflict")["errors"] == [
        {"parameter": "day", "detail": "allowed: a day to come"}
    ]


def test_a_name_refers_to_a_field_of_the_body_a_header_or_the_address() -> None:
    faults = [errors.Fault(where, SECRET, "x") for where in ("", "note", "day", "Idempotency-Key")]
    assert faults_as_errors(faults, outside_body={"day"}) == [
        {"pointer": "", "detail": "allowed: x"},
        {"pointer": "/note", "detail": "allowed: x"},
        {"parameter": "day", "detail": "allowed: x"},
        {"parameter": "Idempotency-Key", "detail": "allowed: x"},
    ]


class _Meter(BaseModel):
    kind: Literal["meter"]


class _Guess(BaseModel):
    kind: Literal["guess"]


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid")
    runs: list[int]
    evidence: Annotated[_Meter | _Guess, Field(discriminator="kind")]
    note: str

    @field_validator("note")
    @classmethod
    def refuse_secrets(cls, note: str) -> str:
        if note == SECRET:
            raise ValueError("Allowed: a note that is no secret")
        return note


@pytest.fixture
def writing_client(service: Service) -> Client:
    """A client of the application with a route more, one that takes a body."""
    app: FastAPI = create_app(service)

    @app.post("/v1/echo")
    async def echo(body: _Body) -> dict[str, str]:
        return {"note": body.note}

    @app.get("/v1/teapot")
    async def teapot() -> None:
        raise HTTPException(418, SECRET)

    return Client(app)


def test_places_in_a_body_are_json_pointers(writing_client: Client) -> None:
    body = {
        "runs": [1, SECRET],
        "evidence": {"kind": SECRET},
        "note": SECRET,
        "a/b~c": SECRET,
    }
    answer = writing_client.request("POST", "/v1/echo", json=body)
    problem = problem_of(answer, 422, "invalid-request")
    # RFC 6901, section 3: "~" and "/" in a key are written "~0" and "~1".
    assert {each["pointer"] for each in problem["errors"]} == {
        "/runs/1",
        "/evidence",
        "/note",
        "/a~1b~0c",
    }
    assert SECRET not in answer.text


def test_a_body_that_is_not_json(writing_client: Client) -> None:
    answer = writing_client.request(
        "POST", "/v1/echo", content=f"{{{SECRET}", headers={"Content-Type": "application/json"}
    )
    problem_of(answer, 400, "malformed-json")
    assert SECRET not in answer.text


def test_a_status_without_a_type_of_its_own_is_a_blank_problem(writing_client: Client) -> None:
    answer = writing_client.get("/v1/teapot")
    assert answer.status_code == 418
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.json()["type"] == "about:blank"
    assert SECRET not in answer.text


def test_the_request_id_is_never_the_callers(client: Client) -> None:
    answer = client.get("/v1/blocks", headers={"X-Request-Id": SECRET})
    assert REQUEST_ID.fullmatch(answer.headers["X-Request-Id"])


def test_a_problem_type_that_does_not_exist(client: Client) -> None:
    problem_of(client.get(f"/problems/{SECRET}"), 404, "not-found")


def test_every_problem_type_is_explained_on_its_page(client: Client) -> None:
    index = client.get("/problems").text
    for kind in PROBLEM_TYPES:
        assert f'href="problems/{kind.slug}"' in index
        page = client.get(kind.uri)
        assert page.headers["Content-Type"].startswith("text/html")
        assert f"<h1>{kind.title}</h1>" in page.text


def test_a_parameter_that_is_repeated_is_refused_and_a_list_is_not(client: Client) -> None:
    answer = client.get("/v1/blocks?page_size=1&farm=a&page_size=2")
    assert answer.status_code == 422
    assert answer.json()["errors"] == [{"parameter": "page_size", "detail": "allowed: one value"}]
    for lists in (
        "counties/water-need?county=99001&county=99003",
        f"blocks/{BLOCK_ID}/fertiliser-split?product=urea&product=potassium-sulfate&day=2026-05-01",
        f"blocks/{BLOCK_ID}/acid-estimate?material=concrete&material=pvc",
    ):
        assert "one value" not in client.get(f"/v1/{lists}").text
