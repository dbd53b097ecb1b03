"""Foreseeable mistakes end with words and a code, never with a traceback."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy.engine import URL

from service.demo_farm import FARM_FILE, weather_file
from tests.cli.conftest import Command, call


def test_a_bad_farm_file_lists_every_fault_and_stores_nothing(
    empty: Command, tmp_path: Path
) -> None:
    bad = tmp_path / "bad.toml"
    text = FARM_FILE.read_text(encoding="utf-8")
    bad.write_text(text.replace('"32 gpm"', '"32"').replace('"0.6 ac"', '"0.6 acers"'))
    result = empty("load", str(bad))
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.count("found:") >= 2
    assert "0.6 acers" in result.stderr
    assert empty("run-day").exit_code == 1  # no farm is stored


def test_a_weather_file_in_fahrenheit_is_refused_with_the_reason(
    own_demo: Command, tmp_path: Path
) -> None:
    warm = tmp_path / "warm.csv"
    warm.write_text("date,tmax_c,tmin_c\n2026-07-12,91,70\n2026-07-13,93,71\n")
    result = own_demo("weather-import", "demo-alderway", str(warm))
    assert result.exit_code == 2
    assert "Fahrenheit" in result.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ("plan", "--block", "nowhere"),
        ("plan", "--on", "2020-01-01"),
        ("why", "nowhere"),
        ("run-day", "--farm", "nowhere"),
        ("counties", "--block", "nowhere"),
        ("weather-import", "nowhere", str(weather_file("demo-alderway"))),
        ("report-run", "nowhere", "--start", "2026-07-14T05:00", "--minutes", "30"),
    ],
    ids=" ".join,
)
def test_what_does_not_exist_is_named_with_code_1(
    demo: Command, arguments: tuple[str, ...]
) -> None:
    result = demo(*arguments)
    assert result.exit_code == 1
    assert result.stderr.startswith("error: ")
    assert "Traceback" not in result.output


@pytest.mark.parametrize(
    "arguments",
    [
        ("plan", "--on", "14.07.2026"),
        ("report-run", "creek", "--start", "noon", "--minutes", "30"),
        ("report-run", "creek", "--start", "2026-07-14", "--minutes", "30"),
        ("report-run", "creek", "--start", "2026-07-14T05:00", "--minutes", "-5"),
        ("report-run", "creek", "--start", "2026-07-14T05:00", "--minutes", "5", "--volume", "9"),
        ("et0", str(weather_file("demo-alderway")), "--latitude", "95", "--longitude", "0",
         "--elevation", "0", "--wind-height", "2"),
        ("load", "no-such-file.toml"),
    ],
    ids=lambda arguments: " ".join(arguments[-4:]),
)  # fmt: skip
def test_what_cannot_be_used_is_refused_with_code_2(
    demo: Command, arguments: tuple[str, ...]
) -> None:
    result = demo(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""


def test_a_database_without_schema_is_code_3_and_says_what_to_do(empty_url: URL) -> None:
    result = call(empty_url, "plan")
    assert result.exit_code == 3
    assert "rillwright migrate" in result.stderr


def test_a_setting_that_cannot_be_read_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RILLWRIGHT_PORT", "many")
    result = call("sqlite:///unused.db", "check")
    assert result.exit_code == 2
    assert "RILLWRIGHT_PORT" in result.stderr


def test_help_names_the_exit_codes() -> None:
    result = call("sqlite:///unused.db", "--help")
    assert result.exit_code == 0
    assert "3 the database failed" in " ".join(result.stdout.split())
