"""Probes, status and metrics: what is well, what is late, and that polling them is cheap."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, NoReturn

import pytest
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy.engine import URL

from service import metrics
from service.api.app import create_app
from service.api.routes import status as routes
from service.bootstrap import Service, open_service
from service.database.migrate import downgrade
from service.errors import StorageFailed
from service.operations.schedule.duties import Duties
from service.operations.schedule.read_status import JOBS, SiteAge, read_status
from service.operations.schedule.run_due import run_due
from service.records.weather import BreakerState
from service.settings import Settings
from tests.api.callers import caller_of
from tests.api.conftest import Client
from tests.api.invented_farm import BLOCK_ID, FARM_ID, RUN_AT, FixedClock
from tests.api.test_problems import problem_of
from tests.databases import address

ROOT = Path(__file__).resolve().parents[2]
Series = dict[tuple[str, frozenset[tuple[str, str]]], float]
FailingClient = Callable[[Exception], Client]
# Test Farm issues its plans at 19:00 New York, 23:00 UTC; the scheduler begins 45 minutes before.
DUE_AT = datetime.fromisoformat("2026-07-14T22:15:00Z")


def series_of(text: str) -> Series:
    """Every sample of an exposition by its name and labels."""
    return {
        (sample.name.removeprefix("rillwright_"), frozenset(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def scrape(client: Client) -> Series:
    answer = client.get("/metrics")
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "text/plain; version=0.0.4; charset=utf-8"
    return series_of(answer.text)


def value(series: Series, name: str, **labels: str) -> float:
    return series[name, frozenset(labels.items())]


def labels_of(series: Series, name: str) -> list[dict[str, str]]:
    return [dict(labels) for found, labels in series if found == name]


def tick(service: Service, now: datetime = RUN_AT) -> None:
    with service.unit_of_work(write=True) as unit:
        unit.runs.note_tick(owner="a-scheduler", now=now)


def run_scheduler_once(service: Service) -> None:
    run_due(
        Duties(
            owner="a-scheduler",
            unit_of_work=service.unit_of_work,
            clock=service.clock,
            source_order=service.source_order,
        )
    )


def status_of(service: Service, **query: str) -> Any:
    return Client(create_app(service)).json("/v1/status", params=query)


def is_sqlite(service: Service) -> bool:
    return service.settings.database_url.startswith("sqlite")


def at(service: Service, now: datetime) -> Service:
    return replace(service, clock=FixedClock(now))


# --- probes --------------------------------------------------------------------------------------


def test_a_process_lives_whatever_its_database_does(failing_client: FailingClient) -> None:
    answer = failing_client(StorageFailed("gone")).get("/livez")
    assert (answer.status_code, answer.json()) == (200, {"status": "pass"})
    assert answer.headers["Cache-Control"] == "no-store"


def test_a_service_on_its_database_is_ready(service: Service) -> None:
    own = open_service(service.settings)
    answer = Client(create_app(own)).get("/readyz")
    own.close()
    limits = "each-process" if is_sqlite(service) else "all-processes"
    assert (answer.status_code, answer.json()) == (200, {"status": "pass", "limits": limits})


def test_a_service_whose_database_is_away_is_not_ready(failing_client: FailingClient) -> None:
    answer = failing_client(StorageFailed("hush-hush")).get("/readyz")
    problem_of(answer, 503, "storage-unavailable")
    assert "hush-hush" not in answer.text
    assert int(answer.headers["Retry-After"]) > 0


def test_a_service_on_another_schema_is_not_ready(own_url: URL) -> None:
    opened = open_service(Settings(database_url=address(own_url)))
    client = Client(create_app(opened))
    assert client.get("/readyz").status_code == 200
    downgrade(own_url, revision="-1")
    problem_of(client.get("/readyz"), 503, "storage-unavailable")
    assert client.get("/livez").status_code == 200
    opened.close()


@pytest.mark.parametrize("path", ["/livez", "/readyz", "/v1/status"])
def test_head_answers_as_get_does(client: Client, path: str) -> None:
    head = client.request("HEAD", path)
    assert (head.status_code, head.content) == (200, b"")


# --- the watchdog --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("silent_s", "words"),
    [(240, "no scheduler has looked at what is due for 4 minutes"),
     (-60, "the clock of a scheduler is 60 s ahead of this one")],
)  # fmt: skip
def test_the_status_says_what_is_wrong_with_the_scheduler(
    own_service: Service, silent_s: float, words: str
) -> None:
    tick(own_service, RUN_AT - timedelta(seconds=silent_s))
    found = status_of(own_service)
    assert found["scheduler"]["verdict"] == found["status"] == "warn"
    assert words in found["findings"]


# --- farms, queues, weather, breakers ------------------------------------------------------------


def test_before_any_run_the_evenings_are_due(own_service: Service) -> None:
    found = status_of(own_service)
    assert {each["job"]: each["due_count"] for each in found["queues"]} == {
        "evening": 2,
        "repair": 0,
        "weather": 0,
        "prune": 1,
    }
    (farm,) = [each for each in found["farms"] if each["farm_id"] == FARM_ID]
    assert datetime.fromisoformat(farm["next_due_at"]) == DUE_AT
    assert farm["last_run"] is None and farm["is_overdue"] is False


def test_after_a_run_nothing_is_due_until_the_next_evening(own_service: Service) -> None:
    run_scheduler_once(own_service)
    found = status_of(own_service, farm=FARM_ID)
    assert found["status"] == "pass" and found["findings"] == []
    assert [each["due_count"] for each in found["queues"]] == [0, 0, 0, 0]
    (farm,) = found["farms"]
    assert datetime.fromisoformat(farm["next_due_at"]) == DUE_AT + timedelta(days=1)
    assert farm["last_run"]["run_key"] == f"evening:{FARM_ID}:2026-07-14"
    assert (farm["last_run"]["state"], farm["last_run"]["outcome"]) == ("done", "planned")
    assert datetime.fromisoformat(farm["last_run"]["due_at"]) == DUE_AT


def test_plans_are_overdue_when_the_issue_time_has_passed_without_them(
    own_service: Service,
) -> None:
    late = at(own_service, RUN_AT + timedelta(seconds=1))
    assert [farm["is_overdue"] for farm in status_of(late)["farms"]] == [True, True]
    assert "plans are overdue: later-farm, test-farm" in status_of(late)["findings"]
    run_scheduler_once(late)
    assert [farm["is_overdue"] for farm in status_of(late)["farms"]] == [False, False]


def test_the_latest_of_several_evenings_is_shown(own_service: Service) -> None:
    run_scheduler_once(own_service)
    tomorrow = at(own_service, RUN_AT + timedelta(days=1))
    run_scheduler_once(tomorrow)
    (farm,) = status_of(tomorrow, farm=FARM_ID)["farms"]
    assert farm["last_run"]["run_key"] == f"evening:{FARM_ID}:2026-07-15"


def test_the_age_of_weather_is_shown_per_site(own_service: Service) -> None:
    later = at(own_service, RUN_AT + timedelta(hours=30))  # 01:00 on the 16th in New York
    sites = {each["site_id"]: each for each in status_of(later)["sites"]}
    assert sites["home"] == {
        "site_id": "home",
        "is_stale": True,  # the forecast is older than a day
        "last_observed_day": "2026-07-14",
        "measured_until": dict.fromkeys(
            ("temperature", "humidity", "wind", "radiation", "rain"), "2026-07-14"
        ),
        "observed_age_h": 25.0,
        "forecast_issued_at": "2026-07-14T23:00:00Z",
        "forecast_age_h": 30.0,
        "forecast_until_day": "2026-07-21",
    }
    assert sites["hill"]["last_observed_day"] is None and sites["hill"]["is_stale"]
    assert status_of(own_service, farm=FARM_ID)["sites"][0]["is_stale"] is False


def test_breakers_are_open_until_their_time_is_over(own_service: Service) -> None:
    until = RUN_AT + timedelta(minutes=10)
    with own_service.unit_of_work(write=True) as unit:
        unit.breakers.write(BreakerState("nearby|weather.example", 5, RUN_AT, until, "timeout"))
    found = status_of(own_service)
    assert found["breakers"] == [
        {
            "key": "nearby|weather.example",
            "state": "open",
            "open_until": "2026-07-14T23:10:00Z",
            "failure_count": 5,
            "last_reason": "timeout",
        }
    ]
    assert "not asked for now, after failures: nearby|weather.example" in found["findings"]
    assert status_of(at(own_service, until))["breakers"][0]["state"] == "closed"


def test_one_farm_shows_its_own_farm_and_sites_only(client: Client) -> None:
    found = client.json("/v1/status", params={"farm": FARM_ID})
    assert [farm["farm_id"] for farm in found["farms"]] == [FARM_ID]
    assert [site["site_id"] for site in found["sites"]] == ["home"]
    assert "hill" not in str(found)


def test_a_farm_that_does_not_exist(client: Client) -> None:
    problem_of(client.get("/v1/status", params={"farm": "nowhere"}), 404, "not-found")


def test_the_status_is_never_kept(client: Client) -> None:
    assert client.get("/v1/status").headers["Cache-Control"] == "no-store"


# --- metrics -------------------------------------------------------------------------------------


@pytest.fixture
def own_client(service: Service) -> Client:
    """An application that has counted nothing yet."""
    return Client(create_app(service))


def test_requests_are_counted_by_route_and_not_by_address(own_client: Client) -> None:
    own_client.get(f"/v1/blocks/{BLOCK_ID}/plan")
    own_client.get(f"/v1/blocks/{BLOCK_ID}/plan")
    own_client.get("/v1/blocks/no.where/plan")
    own_client.request("HEAD", "/v1/blocks")
    for number in range(5):
        own_client.get(f"/nowhere/{number}")
        own_client.request(f"BREW{number}", "/v1/blocks")
    series = scrape(own_client)
    plan = "/v1/blocks/{block_id}/plan"
    count = "http_requests_total"
    assert value(series, count, method="GET", route=plan, status="200") == 2.0
    assert value(series, count, method="GET", route=plan, status="404") == 1.0
    assert value(series, count, method="HEAD", route="/v1/blocks", status="200") == 1.0
    assert value(series, count, method="GET", route="unmatched", status="404") == 5.0
    assert {each["method"] for each in labels_of(series, count)} == {"GET", "HEAD", "other"}
    assert {each["route"] for each in labels_of(series, count)} <= {
        plan,
        "/v1/blocks",
        "unmatched",
    }


def test_the_time_of_requests_falls_into_buckets(own_client: Client) -> None:
    for _ in range(3):
        own_client.get("/livez")
    series = scrape(own_client)
    name = "http_request_duration_seconds"
    assert value(series, f"{name}_count", route="/livez") == 3.0
    assert value(series, f"{name}_bucket", route="/livez", le="+Inf") == 3.0
    assert 0.0 < value(series, f"{name}_sum", route="/livez") < 30.0


def failing_to_read(error: Exception) -> Callable[..., NoReturn]:
    def fail(**_parts: object) -> NoReturn:
        raise error

    return fail


def test_a_crash_is_counted_as_500(own_client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(routes, "read_status", failing_to_read(RuntimeError("boom")))
    problem_of(own_client.get("/v1/status"), 500, "internal-error")
    counted = series_of(own_client.app.state.metrics.exposition().decode())
    labels = {"method": "GET", "route": "/v1/status", "status": "500"}
    assert value(counted, "http_requests_total", **labels) == 1.0


def test_a_scrape_reports_a_lost_database(
    own_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(routes, "read_status", failing_to_read(StorageFailed("gone")))
    series = scrape(own_client)
    assert value(series, "database_up") == 0.0
    assert labels_of(series, "due_runs") == []


def test_a_scrape_shows_what_the_scheduler_did(own_service: Service) -> None:
    run_scheduler_once(own_service)
    with own_service.unit_of_work(write=True) as unit:
        until = RUN_AT + timedelta(minutes=10)
        unit.breakers.write(BreakerState("nearby|weather.example", 0, None, None))
        for cell in ("1,1", "1,2", "1,3"):
            key = f"nearby|weather.example|{cell}"
            unit.breakers.write(
                BreakerState(key, 5, RUN_AT, until if cell != "1,3" else None, "http-500")
            )
    series = scrape(Client(create_app(own_service)))
    assert value(series, "database_up") == 1.0
    assert value(series, "scheduler_last_tick_timestamp_seconds") == RUN_AT.timestamp()
    assert value(series, "scheduler_watchdog", verdict="pass") == 1.0
    assert value(series, "scheduler_watchdog", verdict="fail") == 0.0
    assert {each["job"] for each in labels_of(series, "due_runs")} == set(JOBS)
    assert value(series, "due_runs", job="evening") == 0.0
    assert value(series, "runs_last_day", job="evening", state="done") == 2.0
    assert value(series, "weather_forecast_age_seconds", site="home") == 0.0
    assert value(series, "stale_weather_sites") == 1.0
    nearby = {"source": "nearby", "host": "weather.example"}
    assert value(series, "breaker_open", **nearby) == 0.0
    assert value(series, "cell_breakers_open", **nearby) == 2.0


def test_rain_of_ones_own_gauge_is_current_and_the_weather_is_not(own_service: Service) -> None:
    caller = caller_of(at(own_service, RUN_AT + timedelta(days=4)), FARM_ID)
    answer = caller.post("/v1/gauges/home/readings", {"rain_mm": 3.0})
    assert answer.status_code == 200, answer.text
    (site,) = caller.get("/v1/status").json()["sites"]
    assert site["is_stale"] and site["last_observed_day"] == "2026-07-14"
    assert site["measured_until"]["rain"] == "2026-07-18"
    other = caller_of(at(own_service, RUN_AT + timedelta(days=4)), "later-farm")
    assert other.get("/v1/status").json()["sites"][0]["measured_until"]["rain"] is None


def test_the_labels_of_sites_are_bounded_and_the_oldest_is_always_shown(
    service: Service,
) -> None:
    status = read_status(
        unit_of_work=service.unit_of_work, clock=service.clock, sources=(), evening_lead_min=45
    )
    many = tuple(
        SiteAge(
            site_id=f"site-{number:04}",
            last_observed_day=None,
            measured_until={},
            observed_age=None,
            forecast_issued_at=RUN_AT,
            forecast_age=timedelta(hours=number),
            forecast_until_day=None,
            is_stale=False,
        )
        for number in range(1000)
    )
    shown = metrics.status_exposition(replace(status, sites=many), None, schema_revision="a")
    series = series_of(shown.decode())
    assert len(labels_of(series, "weather_forecast_age_seconds")) == metrics.LABELLED_SITES
    assert value(series, "weather_forecast_oldest_age_seconds") == 999 * 3600.0
    assert value(series, "sites") == 1000.0


def test_every_sample_is_a_finite_number(own_client: Client) -> None:
    assert all(math.isfinite(sample) for sample in scrape(own_client).values())


def test_status_and_metrics_load_nothing_that_only_runs_need(service: Service) -> None:
    program = f"""
import asyncio, sys
import httpx
from service.api.app import create_app
from service.bootstrap import open_service
from service.settings import Settings

app = create_app(open_service(Settings(database_url={service.settings.database_url!r})))


async def ask():
    transport = httpx.ASGITransport(app=app)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        for path in ("/livez", "/readyz", "/metrics", "/v1/status"):
            assert (await client.get(path)).status_code == 200, path


asyncio.run(ask())
print(sorted(sys.modules.keys() & {{"pandas", "xarray", "pyet", "numba", "scipy"}}))
"""
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]"
