"""What an operator does and sees at the office: commands, the database, the mail, Prometheus."""

from __future__ import annotations

import json
import os
import urllib.error
import urllib.parse
import urllib.request
from collections import Counter
from dataclasses import dataclass
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import psycopg
from typer.testing import CliRunner

from service.bootstrap import open_service
from service.cli import app
from service.farm_files.farm_file import parse_farm
from service.operations.farms.manage_farms import load_bundle
from service.settings import Settings
from tests.office.parts import TrialFailed
from tests.office.plan_of_office import Office
from tests.office.region import Place, farm_text, weather_text

LOADED_BY_COMMAND = 5
"""More farms than this are loaded without the command line, which opens the service for each."""


@dataclass(frozen=True, slots=True)
class Plans:
    """The plans of some farms for one day."""

    block_count: int
    in_force: int
    version_count: int
    watering: int
    without_weather: int

    @property
    def is_one_each(self) -> bool:
        """Whether each block has one plan that rests on weather, and never had another."""
        return (
            self.block_count == self.in_force == self.version_count > 0
            and self.without_weather == 0
            and self.watering > 0
        )

    def __str__(self) -> str:
        """In a line."""
        return (
            f"{self.block_count} blocks, {self.in_force} plans in force, {self.version_count}"
            f" versions, {self.watering} with water, {self.without_weather} without weather"
        )


@dataclass(slots=True)
class Desk:
    """The office as seen from an operator's chair."""

    office: Office
    place: Place

    def command(self, *arguments: str) -> str:
        """Run ``rillwright ...`` in this process; its output. Raises TrialFailed if it fails."""
        before = dict(os.environ)
        os.environ.update(self.office.settings)
        try:
            done = CliRunner().invoke(app, list(arguments))
        finally:
            os.environ.clear()
            os.environ.update(before)
        if done.exit_code:
            raise TrialFailed(f"rillwright {' '.join(arguments)}: {done.output} {done.exception!r}")
        return str(done.stdout)

    def add_key(self, name: str, *scope: str) -> str:
        """A new key."""
        return str(json.loads(self.command("keys", "add", name, *scope, "--json"))["key"])

    def load_farms(
        self, prefix: str, count: int, *, block_count: int, mailed_count: int = 0
    ) -> list[str]:
        """Load invented farms; the names. Their evening is due from then on."""
        names = [f"{prefix}-{number:03d}" for number in range(count)]
        texts = [
            farm_text(self.place, name, block_count=block_count, is_mailed=number < mailed_count)
            for number, name in enumerate(names)
        ]
        if count <= LOADED_BY_COMMAND:
            file = self.office.folder / "farm.toml"
            for text in texts:
                file.write_text(text)
                self.command("load", str(file))
            return names
        service = open_service(Settings(database_url=self.office.database_url))
        for name, text in zip(names, texts, strict=True):
            load_bundle(
                parse_farm(text, name=f"{name}.toml"),
                effective_day=self.place.today,
                unit_of_work=service.unit_of_work,
                clock=service.clock,
            )
        service.close()
        return names

    def import_weather(self) -> None:
        """Weather for the site that all farms share."""
        file = self.office.folder / "weather.csv"
        file.write_text(weather_text(self.place))
        self.command(
            "weather-import", "station", str(file), "--forecast-from", str(self.place.today)
        )

    # --- the database ---------------------------------------------------------------------------

    def rows(self, statement: str, *values: Any) -> list[tuple[Any, ...]]:
        """Ask the database behind the office's back."""
        url = self.office.database_url.replace("+psycopg", "")
        with psycopg.connect(url, connect_timeout=5) as line:
            return line.execute(statement, values or None).fetchall()

    def plans(self, prefix: str) -> Plans:
        """The plans of farms whose name begins so."""
        (row,) = self.rows(
            "SELECT count(DISTINCT block_id), count(plan_key) FILTER (WHERE superseded_at IS NULL),"
            " count(plan_key), count(*) FILTER (WHERE status = 'water'),"
            " count(*) FILTER (WHERE status = 'no-weather')"
            " FROM block LEFT JOIN plan USING (block_key)"
            " WHERE block_id LIKE %s AND (day > %s OR day IS NULL)",
            f"{prefix}-%",
            self.place.today,
        )
        return Plans(*row)

    def evenings(self, prefix: str) -> Counter[str]:
        """The evening runs of farms whose name begins so, by state."""
        rows = self.rows(
            "SELECT state, count(*) FROM job_run WHERE run_key LIKE %s GROUP BY state",
            f"evening:{prefix}%",
        )
        return Counter({str(state): int(count) for state, count in rows})

    def owner_pid(self, prefix: str) -> int:
        """The process that holds evenings of these farms now."""
        rows = self.rows(
            "SELECT owner FROM job_run WHERE run_key LIKE %s AND state = 'claimed' LIMIT 1",
            f"evening:{prefix}-%",
        )
        return int(str(rows[0][0]).split(":")[1]) if rows else 0

    # --- mail and Prometheus --------------------------------------------------------------------

    def mails(self) -> list[EmailMessage]:
        """What the relay has taken."""
        folder = self.office.mail_folder / "box" / "new"
        files = sorted(folder.iterdir()) if folder.is_dir() else []
        return [message_from_bytes(file.read_bytes(), policy=policy.default) for file in files]

    def mail_counts(self, prefix: str) -> Counter[str]:
        """Mails by reader, of farms whose name begins so."""
        readers = (str(mail["To"]) for mail in self.mails())
        return Counter(reader for reader in readers if f"{prefix}-" in reader)

    def prometheus(self, path: str, **query: str) -> Any:
        """The data of an answer of Prometheus' own interface."""
        asked = f"{self.office.metrics_site}/api/v1/{path}?{urllib.parse.urlencode(query)}"
        with urllib.request.urlopen(asked, timeout=10.0) as answer:
            return json.load(answer)["data"]

    def console(self) -> tuple[int, str]:
        """Status and text of Prometheus' page of the service."""
        try:
            with urllib.request.urlopen(
                f"{self.office.metrics_site}/consoles/rillwright.html", timeout=10.0
            ) as answer:
                return answer.status, answer.read().decode()
        except urllib.error.HTTPError as refusal:
            return refusal.code, refusal.read().decode()

    def targets_up(self) -> int:
        """Web processes whose last scrape went well."""
        active = self.prometheus("targets")["activeTargets"]
        return sum(target["health"] == "up" for target in active)

    def rule_count(self) -> int:
        """Alert rules that Prometheus works with and could evaluate."""
        groups = self.prometheus("rules")["groups"]
        return sum(rule["health"] == "ok" for group in groups for rule in group["rules"])

    def alerts(self, state: str) -> list[str]:
        """Names of the alerts in a state: pending or firing."""
        found = self.prometheus("alerts")["alerts"]
        return sorted({alert["labels"]["alertname"] for alert in found if alert["state"] == state})


def log_lines(folder: Path, *words: str) -> list[str]:
    """Lines in the logs of the parts that have one of the words."""
    return [
        f"{file.stem}: {line}"
        for file in sorted(folder.glob("*.log"))
        for line in file.read_text(errors="replace").splitlines()
        if any(word in line for word in words)
    ]
