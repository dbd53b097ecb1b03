"""The help of every command fits a terminal of 80 columns."""

from __future__ import annotations

from typer.main import get_command

from service.cli import app
from tests.cli.conftest import call


def test_every_help_fits_a_terminal() -> None:
    commands: dict[str, object] = vars(get_command(app))["commands"]
    wide = [
        f"{name}: {line}"
        for name in commands
        for line in call("sqlite://", name, "--help").stdout.splitlines()
        if len(line) > 80
    ]
    assert wide == []
