"""The web server listens where it was asked to, and by default on this machine only."""

from __future__ import annotations

import socket
from typing import Any

import pytest
import uvicorn
from fastapi import FastAPI
from sqlalchemy.engine import URL

from service import several_workers
from service.bootstrap import open_service
from service.cli.demo_clock import in_its_own_time
from service.demo_farm import FIRST_EVENING
from service.operations.farms.manage_farms import load_bundle
from service.records.farms import FarmBundle, FarmDefinition
from service.settings import Settings
from tests.cli.conftest import Command, call
from tests.databases import address
from tests.pages.conftest import Reader


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """The addresses that a server was started on; none is really started."""
    calls: list[dict[str, Any]] = []
    monkeypatch.setattr(uvicorn, "run", lambda _app, **options: calls.append(options))
    return calls


def test_the_default_is_loopback(demo: Command, started: list[dict[str, Any]]) -> None:
    result = demo("serve")
    assert result.exit_code == 0, result.output
    assert (started[0]["host"], started[0]["port"]) == ("127.0.0.1", 8040)
    assert "other machines" not in result.stderr


def test_no_line_is_logged_per_request(demo: Command, started: list[dict[str, Any]]) -> None:
    demo("serve")
    assert started[0]["access_log"] is False


def test_an_address_for_others_is_refused_while_there_is_no_key(
    empty: Command, started: list[dict[str, Any]]
) -> None:
    result = empty("serve", "--host", "0.0.0.0")
    assert result.exit_code == 2
    assert "keys add" in result.stderr
    assert started == []


def test_an_address_for_others_is_taken_with_a_caution_once_there_is_a_key(
    empty: Command, started: list[dict[str, Any]]
) -> None:
    assert empty("keys", "add", "Ann", "--farm", "any", "--scope", "plan:read").exit_code == 0
    result = empty("serve", "--host", "0.0.0.0", "--port", "9000")
    assert (started[0]["host"], started[0]["port"]) == ("0.0.0.0", 9000)
    assert "Other machines can reach it" in result.stderr


def test_a_database_that_is_not_ready_stops_the_start(
    started: list[dict[str, Any]], empty_url: URL
) -> None:
    assert call(empty_url, "serve").exit_code == 3
    assert started == []


def test_nobody_is_believed_about_where_a_request_comes_from(
    demo: Command, started: list[dict[str, Any]]
) -> None:
    demo("serve")
    assert (started[0]["proxy_headers"], started[0]["forwarded_allow_ips"]) == (False, [])


def test_the_proxies_that_are_named_are_believed(
    demo: Command, started: list[dict[str, Any]]
) -> None:
    result = demo("serve", RILLWRIGHT_TRUSTED_PROXIES='["192.0.2.7", "10.0.0.0/8"]')
    assert result.exit_code == 0, result.output
    assert started[0]["proxy_headers"] is True
    assert started[0]["forwarded_allow_ips"] == ["192.0.2.7/32", "10.0.0.0/8"]


def test_what_is_no_address_of_a_proxy_stops_the_start(
    demo: Command, started: list[dict[str, Any]]
) -> None:
    result = demo("serve", RILLWRIGHT_TRUSTED_PROXIES='["*"]')
    assert result.exit_code == 2
    assert "RILLWRIGHT_TRUSTED_PROXIES" in result.stderr
    assert started == []


def test_the_demonstration_keeps_its_own_clock_and_every_page_says_so(
    demo: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    apps: list[FastAPI] = []
    monkeypatch.setattr(uvicorn, "run", lambda app, **_options: apps.append(app))
    assert "always the evening of 2026-07-14" in demo("serve").stderr
    reader = Reader(apps[0])
    page = reader.text("/farms/larkbend/tomorrow")
    assert "Wednesday, July 15: open first" in page  # whatever day the machine's clock says
    for path in ("/farms/larkbend/tomorrow", "/farms/larkbend/sheet", "/farms?all=1", "/counties"):
        assert "Invented farm and weather, evening of Tue, Jul 14" in reader.text(path), path
    apps[0].state.service.close()


def test_a_service_with_a_farm_of_somebody_s_own_keeps_the_machine_s_clock(
    own_demo_url: URL,
) -> None:
    service = open_service(Settings(database_url=address(own_demo_url)))
    assert in_its_own_time(service).is_demonstration
    load_bundle(
        FarmBundle(
            farm=FarmDefinition(farm_id="own", name="Own", zone="America/New_York"),
            sites=(),
            counties=(),
        ),
        effective_day=FIRST_EVENING,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    kept = in_its_own_time(service)
    assert kept is service and not kept.is_demonstration
    service.close()


@pytest.mark.parametrize("count", ["0", "-1", "10000", "many"])
def test_a_number_of_processes_that_makes_no_sense_is_refused_with_what_is_allowed(
    demo: Command, started: list[dict[str, Any]], count: str
) -> None:
    result = demo("serve", "--workers", count)
    assert result.exit_code == 2
    assert "--workers" in result.stderr
    assert "1<=x<=64" in result.stderr or "not a valid int" in result.stderr
    assert demo("serve", RILLWRIGHT_WORKERS=count).exit_code == 2
    assert started == []


def test_processes_at_a_port_that_is_taken_are_not_started(demo: Command) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        result = demo("serve", "--workers", "2", "--port", port)
    assert result.exit_code == 2
    assert f"127.0.0.1, {port}: Address already in use" in result.stderr


def test_who_starts_several_processes_is_told_how_they_count(
    demo: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[int] = []
    monkeypatch.setattr(
        several_workers, "run_workers", lambda count, _listener, **_more: calls.append(count)
    )
    result = demo("serve", "--workers", "3", "--port", str(free_port()))
    assert calls == [3]
    apart = "each counts requests for itself, so that a caller gets up to 3 times the limits"
    told = " ".join(result.stderr.split())
    assert (apart in told) != ("3 processes, which count requests together" in told)


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])
