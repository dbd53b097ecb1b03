"""Alert rules by the rule tester of Prometheus: each fires at its fault and at no other."""

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
NAME = re.compile(r"\brillwright_[a-z_]+\b")

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


def test_every_series_that_an_alert_asks_for_is_exposed(own_service: Service) -> None:
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
    exposed = {
        sample.name for family in text_string_to_metric_families(text) for sample in family.samples
    }
    asked = {name for expression in rules().values() for name in NAME.findall(expression)}
    assert asked and asked <= exposed


def test_the_room_on_the_disk_is_known_where_the_database_is_a_file(own_url: URL) -> None:
    service = open_service(Settings(database_url=address(own_url)))
    is_file = own_url.get_backend_name() == "sqlite"
    free = signals_of(service).free_bytes
    service.close()
    assert (free is not None and free > 0) == is_file
