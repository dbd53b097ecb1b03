"""Keys: shown once, kept as hashes, bound, ended, and seen by every process within a second."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from service.api.app import create_app
from service.api.own_machine import is_from_this_machine
from service.bootstrap import Service
from service.operations.access.manage_keys import list_keys, revoke_key
from tests.api.callers import Caller, caller_of, new_key, see_news
from tests.api.invented_farm import BLOCK_ID, FARM_ID, FixedClock

PLAN = f"/v1/blocks/{BLOCK_ID}/plan"


def test_without_any_key_this_machine_is_served(own_service: Service) -> None:
    assert Caller(create_app(own_service)).get(PLAN).status_code == 200


def test_the_first_key_closes_what_was_open(own_service: Service) -> None:
    app = create_app(own_service)
    assert Caller(app).get(PLAN).status_code == 200
    token = new_key(own_service, FARM_ID)[1]
    answer = Caller(app).get(PLAN)
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"].startswith("Bearer")
    assert answer.json()["type"] == "/problems/key-required"
    assert Caller(app, token).get(PLAN).status_code == 200


def test_a_key_that_has_ended_does_not_open_again_what_it_closed(own_service: Service) -> None:
    key, _ = new_key(own_service, FARM_ID)
    revoke_key(key.key_id, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    assert Caller(create_app(own_service)).get(PLAN).status_code == 401


def test_a_server_for_others_is_never_open(own_service: Service) -> None:
    for host in ("0.0.0.0", "::", "192.0.2.7", "farm.example"):
        assert Caller(create_app(own_service, host=host)).get(PLAN).status_code == 401


@pytest.mark.parametrize(
    "header",
    [
        "X-Forwarded-For",
        "X-Forwarded-Host",
        "X-Forwarded-Proto",
        "Forwarded",
        "X-Real-IP",
        "Via",
        "CF-Connecting-IP",
        "CF-Ray",
        "True-Client-IP",
    ],
)
def test_what_a_proxy_passes_on_is_never_taken_for_this_machine(
    own_service: Service, header: str
) -> None:
    answer = Caller(create_app(own_service)).get(PLAN, headers={header: "192.0.2.7"})
    assert answer.status_code == 401


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", PLAN),
        ("GET", "/metrics"),
        ("POST", f"/v1/blocks/{BLOCK_ID}/runs"),
        ("DELETE", f"/v1/farms/{FARM_ID}"),
    ],
)
@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example:8040", "192.0.2.7"]
)
def test_a_name_made_to_point_here_opens_nothing(
    own_service: Service, method: str, path: str, host: str
) -> None:
    answer = Caller(create_app(own_service)).request(method, path, headers={"Host": host})
    assert answer.status_code == 401


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:8040", "127.0.0.1:8040", "[::1]:8040"])
def test_this_machine_may_be_called_by_any_name_of_its_own(own_service: Service, host: str) -> None:
    answer = Caller(create_app(own_service)).get(PLAN, headers={"Host": host})
    assert answer.status_code == 200


def head_of(*fields: tuple[bytes, bytes], client: tuple[str, int] | None) -> dict[str, Any]:
    """The part of a request that says where it comes from."""
    return {"type": "http", "headers": list(fields), "client": client}


OWN_HOST = (b"host", b"127.0.0.1:8040")
OWN_PEER = ("127.0.0.1", 50_000)


@pytest.mark.parametrize(
    ("scope", "is_own"),
    [
        (head_of(OWN_HOST, client=OWN_PEER), True),
        (head_of(OWN_HOST, client=("::1", 50_000)), True),
        (head_of(OWN_HOST, client=("192.0.2.7", 50_000)), False),
        (head_of(OWN_HOST, client=None), False),
        (head_of(client=OWN_PEER), False),
        (head_of(OWN_HOST, OWN_HOST, client=OWN_PEER), False),
        (head_of((b"host", b"localhost:port"), client=OWN_PEER), False),
        (head_of((b"host", b"[::1"), client=OWN_PEER), False),
        (head_of((b"host", b""), client=OWN_PEER), False),
    ],
)
def test_peer_and_host_must_both_be_this_machine(scope: dict[str, Any], is_own: bool) -> None:
    assert is_from_this_machine(scope) is is_own


@pytest.mark.parametrize(
    "authorization",
    ["Bearer", "Bearer ", "Bearer rw_aaaaaaaa_" + "b" * 32, "Basic dTpw", "rw_x", "bearer \xff"],
)
def test_an_invalid_key_is_refused(own_service: Service, authorization: str) -> None:
    new_key(own_service, FARM_ID)
    caller = Caller(create_app(own_service))
    answer = caller.request("GET", PLAN, headers={"Authorization": authorization.encode("latin-1")})
    assert answer.status_code == 401
    assert "invalid_token" in answer.headers["WWW-Authenticate"]


def test_a_device_may_send_its_key_as_x_api_key(own_service: Service) -> None:
    token = new_key(own_service, FARM_ID)[1]
    caller = Caller(create_app(own_service))
    assert caller.get(PLAN, headers={"X-API-Key": token}).status_code == 200
    assert caller.get(PLAN, headers={"X-API-Key": token[:-1]}).status_code == 401


def test_a_revoked_key_is_refused_by_a_process_that_knew_it(own_service: Service) -> None:
    app = create_app(own_service)
    key, token = new_key(own_service, FARM_ID)
    assert Caller(app, token).get(PLAN).status_code == 200
    assert revoke_key(key.key_id, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    see_news(app)
    assert Caller(app, token).get(PLAN).status_code == 401
    again = revoke_key(key.key_id, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    assert again is False


def test_a_key_ends_at_its_time(own_service: Service) -> None:
    clock = own_service.clock
    assert isinstance(clock, FixedClock)
    token = new_key(own_service, FARM_ID, expires_at=clock.now() + timedelta(hours=1))[1]
    caller = Caller(create_app(own_service), token)
    assert caller.get(PLAN).status_code == 200
    clock.instant += timedelta(hours=1)
    assert caller.get(PLAN).status_code == 401


def test_the_last_use_is_written_once_a_minute(own_service: Service) -> None:
    clock = own_service.clock
    assert isinstance(clock, FixedClock)
    caller = caller_of(own_service, FARM_ID)

    def last_use() -> object:
        return list_keys(unit_of_work=own_service.unit_of_work)[0].last_used_at

    began = clock.now()
    caller.get(PLAN)
    assert last_use() == began
    clock.instant = began + timedelta(seconds=59)
    caller.get(PLAN)
    assert last_use() == began
    clock.instant = began + timedelta(seconds=61)
    caller.get(PLAN)
    assert last_use() == clock.instant


def test_pages_and_probes_need_no_key(own_service: Service) -> None:
    new_key(own_service, FARM_ID)
    caller = Caller(create_app(own_service))
    for path in ("/", "/docs", "/openapi.json", "/problems", "/livez", "/readyz"):
        assert caller.get(path).status_code == 200, path
    assert caller.get("/metrics").status_code == 401
    assert caller.get("/v1/nowhere").status_code == 401
