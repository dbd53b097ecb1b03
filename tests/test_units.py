"""The units of systemd: without a mistake, and with as few rights as the service can live with."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from typer.main import get_command

from service.cli import app
from service.settings import Settings

ROOT = Path(__file__).resolve().parent.parent
UNITS = sorted((ROOT / "deploy" / "systemd").glob("*.service"))
INSTALLED = "/opt/rillwright/current/bin/rillwright"
WORST_EXPOSURE = 15
"""In tenths, of 100; systemd calls less than 20 "OK" and no more than that good."""


@pytest.fixture(params=UNITS, ids=lambda path: path.name)
def unit(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A unit as if what it starts were installed here; tests/run.sh installs systemd-analyze."""
    original: Path = request.param
    text = original.read_text("utf-8")
    assert INSTALLED in text
    copy = tmp_path / original.name
    copy.write_text(text.replace(INSTALLED, "/bin/true"), "utf-8")
    return copy


def analyze(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["systemd-analyze", *arguments], capture_output=True, text=True, check=False
    )


def test_systemd_finds_no_mistake(unit: Path) -> None:
    found = analyze("verify", str(unit))
    assert (found.returncode, found.stdout, found.stderr) == (0, "", "")


def test_it_is_hardened(unit: Path) -> None:
    found = analyze("security", "--offline=true", f"--threshold={WORST_EXPOSURE}", str(unit))
    assert found.returncode == 0, found.stdout


def test_it_starts_commands_and_names_settings_that_there_are(unit: Path) -> None:
    text = (ROOT / "deploy" / "systemd" / unit.name).read_text("utf-8")
    commands = set(re.findall(rf"^Exec\w+={re.escape(INSTALLED)} (\S+)", text, re.MULTILINE))
    if "%i" in commands:  # a unit for several commands, which its first lines name
        commands |= set(re.findall(rf"{unit.stem}(\w+)", text))
        assert len(commands) > 1
    assert commands and commands - {"%i"} <= set(getattr(get_command(app), "commands", {}))
    settings = set(re.findall(r"^Environment=RILLWRIGHT_(\w+)=", text, re.MULTILINE))
    assert settings and {each.lower() for each in settings} <= set(Settings.model_fields)


CONTAINER = ROOT / "deploy" / "container"


def test_containers_run_commands_and_name_settings_that_there_are() -> None:
    """No image can be fetched where this runs, so what they are made of is read."""
    known = set(getattr(get_command(app), "commands", {}))
    compose = (CONTAINER / "compose.yaml").read_text("utf-8")
    containerfile = (CONTAINER / "Containerfile").read_text("utf-8")
    commands = set(re.findall(r"command: \[(\w+)", compose))
    commands |= set(re.findall(r'^CMD \["(\w+)"', containerfile, re.MULTILINE))
    commands -= {"postgres"}  # the database's own
    assert commands == {"migrate", "prepare", "serve", "schedule"} and commands <= known
    settings = set(re.findall(r"RILLWRIGHT_(\w+)[:=]", compose + containerfile, re.ASCII))
    assert {each.lower() for each in settings} - {"secrets"} <= set(Settings.model_fields)
    files = set(re.findall(r"secrets/rillwright_(\w+)", compose))
    assert files and files <= set(Settings.model_fields)


def test_what_the_containers_copy_is_in_the_project() -> None:
    text = (CONTAINER / "Containerfile").read_text("utf-8")
    for source in re.findall(r"^COPY (?!--from)(\S+) ", text, re.MULTILINE):
        assert (ROOT / source).exists()
    compose = (CONTAINER / "compose.yaml").read_text("utf-8")
    for source in re.findall(r"- (\.\S*?):/", compose):
        assert (CONTAINER / source).exists()
