"""Alert rules by the rule tester of Prometheus: each fires at its fault and at no other.

The page that Prometheus shows of the service asks for what is exposed, and misses no alert.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy.engine import URL

from service.bootstrap import Service, open_service
from service.metrics import RequestMetrics, status_exposition
from service.operations.schedule.read_status import read_status
from service.records.events import Backlog
from service.records.mail import MailBacklog
from service.settings import Settings
from tests.api.invented_farm import RUN_AT
from tests.databases import address
from tests.operations.schedule.test_read_signals import signals_of

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"
RULES = DEPLOY / "prometheus" / "alerts.yml"
CONSOLE = DEPLOY / "prometheus" / "consoles" / "rillwright.html"
NAME = re.compile(r"\brillwright_[a-z_]+\b")
SERIES = re.compile(r"\b(?:rillwright|process)_[a-z_]+\b")

HEALTHY = {
    'up{job="rillwright",instance="a"}': "1x200",
    "rillwright_database_up": "1x200",
    'rillwright_scheduler_watchdog{verdict="fail"}': "0x200",
    'rillwright_scheduler_watchdog{verdict="pass"}': "1x200",
    "rillwright_overdue_farms": "0x200",
    "rillwright_evening_margin_seconds": "2400x200",
    "rillwright_plans_without_weather": "0x200",
    "rillwright_stale_weather_sites": "0x200",
    "rillwright_weather_forecast_oldest_age_seconds": "21600x200",
    "rillwright_weather_refreshes_failing": "0x200",
    # Queued at each scrape, as time goes by: mail that is sent soon.
    "rillwright_mails_oldest_queued_timestamp_seconds": "0+60x200",
    "rillwright_mails_given_up": "0x200",
    "rillwright_silent_controllers": "0x200",
    "rillwright_storage_free_bytes": "50000000000x200",
    "rillwright_backup_age_seconds": "80000x200",
    "rillwright_events_oldest_waiting_age_seconds": "20x200",
    'rillwright_schema_info{revision="b",instance="a"}': "1x200",
    'rillwright_schema_info{revision="b",instance="b"}': "1x200",
    'rillwright_http_requests_total{status="200",instance="a"}': "0+600x200",
    'rillwright_http_requests_total{status="503",instance="a"}': "0x200",
}
FAULTS: Mapping[str, Mapping[str, str]] = {
    "RillwrightUnreachable": {'up{job="rillwright",instance="a"}': "0x200"},
    "RillwrightDatabaseAway": {"rillwright_database_up": "0x200"},
    "RillwrightSchedulerSilent": {'rillwright_scheduler_watchdog{verdict="fail"}': "1x200"},
    "RillwrightPlansOverdue": {"rillwright_overdue_farms": "3x200"},
    "RillwrightEveningCloseToItsHour": {"rillwright_evening_margin_seconds": "-60x200"},
    "RillwrightPlansWithoutWeather": {"rillwright_plans_without_weather": "2x200"},
    "RillwrightWeatherOld": {"rillwright_stale_weather_sites": "1x200"},
    "RillwrightForecastOld": {"rillwright_weather_forecast_oldest_age_seconds": "90000x200"},
    "RillwrightRefreshFailing": {"rillwright_weather_refreshes_failing": "1x200"},
    "RillwrightMailWaiting": {"rillwright_mails_oldest_queued_timestamp_seconds": "0x200"},
    "RillwrightMailGivenUp": {"rillwright_mails_given_up": "1x200"},
    "RillwrightControllerSilent": {"rillwright_silent_controllers": "1x200"},
    "RillwrightDiskFilling": {"rillwright_storage_free_bytes": "900000000x200"},
    "RillwrightBackupOld": {"rillwright_backup_age_seconds": "140000x200"},
    "RillwrightEventsWaiting": {"rillwright_events_oldest_waiting_age_seconds": "4000x200"},
    "RillwrightVersionsDiffer": {'rillwright_schema_info{revision="c",instance="b"}': "1x200"},
    "RillwrightRequestsFail": {
        'rillwright_http_requests_total{status="503",instance="a"}': "0+6x200"
    },
}
AT = "3h"


def rules() -> dict[str, str]:
    """The expression of each alert."""
    found = re.findall(r"- alert: (\w+)\n\s+expr: (.+)\n", RULES.read_text())
    assert len(found) == RULES.read_text().count("alert:")
    return dict(found)


def test_every_alert_fires_at_its_fault_alone_and_none_in_health(tmp_path: Path) -> None:
    assert sorted(rules()) == sorted(FAULTS)
    cases = [("in health", HEALTHY, "")] + [
        (name, {**HEALTHY, **fault}, name) for name, fault in FAULTS.items()
    ]
    document = {
        "rule_files": [str(RULES)],
        "tests": [
            {
                "name": name,
                "interval": "1m",
                "input_series": [
                    {"series": series, "values": values} for series, values in given.items()
                ],
                # ALERTS holds one series for each alert that fires, whatever its other labels.
                "promql_expr_test": [
                    {
                        "expr": 'count by (alertname) (ALERTS{alertstate="firing"})',
                        "eval_time": AT,
                        "exp_samples": [
                            {"labels": f'{{alertname="{fires}"}}', "value": 1}
                        ] if fires else [],
                    }
                ],
            }
            for name, given, fires in cases
        ],
    }  # fmt: skip
    tester = shutil.which("promtool")
    assert tester, "promtool, Prometheus' rule tester, is missing; tests/run.sh says how to get it"
    file = tmp_path / "alerts_test.yml"
    file.write_text(json.dumps(document))  # JSON is YAML too
    run = subprocess.run(
        [tester, "test", "rules", str(file)], capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stdout + run.stderr


def test_every_alert_has_its_page_of_what_to_do() -> None:
    handbook = (DEPLOY / "alerts.md").read_text()
    for name in rules():
        assert f"### {name}\n" in handbook


def console_queries() -> list[str]:
    """The expressions on the page that Prometheus shows of the service."""
    page = CONSOLE.read_text()
    rows = re.findall(r'template "signal" \(args "[^"]+" "((?:[^"\\]|\\.)+)"', page)
    others = re.findall(r'query (?:\(printf )?"((?:[^"\\]|\\.)+)"', page)
    worst = "%s_over_time((%s)[1d:5m])"
    assert page.count("query ") == len(others) + 1  # one takes a row's own expression
    assert page.count('template "signal"') == len(rows)
    found = [*rows, *(text for text in others if text != worst)]
    found += [worst.replace("(%s)", f"({text})").replace("%s", "max") for text in rows]
    # The names that are put in are quoted.
    return [text.replace('\\"', '"').replace("%q", '"a"') for text in found]


def test_the_page_of_the_service_asks_in_the_language_of_prometheus(tmp_path: Path) -> None:
    file = tmp_path / "console.yml"
    named = [
        {"record": f"console:row:n{number}", "expr": text}
        for number, text in enumerate(console_queries())
    ]
    assert len(named) > 40
    file.write_text(json.dumps({"groups": [{"name": "console", "rules": named}]}))
    tester = shutil.which("promtool")
    assert tester, "promtool, Prometheus' rule tester, is missing; tests/run.sh says how to get it"
    run = subprocess.run(
        [tester, "check", "rules", str(file)], capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stdout + run.stderr


def test_the_page_of_the_service_has_every_alert_and_every_signal_of_one() -> None:
    page = CONSOLE.read_text()
    for name, expression in rules().items():
        assert name in page
        assert set(NAME.findall(expression)) <= set(NAME.findall(page)), name


def test_every_series_that_is_asked_for_is_exposed(own_service: Service) -> None:
    status = read_status(
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
        sources=(),
        evening_lead_min=45,
    )
    full = replace(
        status,
        last_tick_at=RUN_AT,
        last_backup_at=RUN_AT,
        events=Backlog(1, RUN_AT, 0, 0),
    )
    signals = replace(
        signals_of(own_service),
        mails=MailBacklog(1, RUN_AT, 0),
        evening_margin=timedelta(minutes=30),
        free_bytes=1,
    )
    counted = RequestMetrics()
    counted.note("GET", "/", 200, duration_s=0.1)
    text = (
        status_exposition(full, signals, schema_revision=own_service.schema_revision)
        + counted.exposition()
    ).decode()
    families = list(text_string_to_metric_families(text))
    # A family may have no sample now, such as the hosts of weather services that are not asked.
    exposed = {family.name for family in families} | {
        sample.name for family in families for sample in family.samples
    }
    expressions = [*rules().values(), *console_queries()]
    asked = {name for text in expressions for name in SERIES.findall(text)}
    assert asked and asked <= exposed


def test_the_room_on_the_disk_is_known_where_the_database_is_a_file(own_url: URL) -> None:
    service = open_service(Settings(database_url=address(own_url)))
    is_file = own_url.get_backend_name() == "sqlite"
    free = signals_of(service).free_bytes
    service.close()
    assert (free is not None and free > 0) == is_file
