"""The record of changes on the command line, and that commands are in it."""

from __future__ import annotations

import getpass
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from sqlalchemy.engine import URL

from tests.cli.conftest import Command, call, document
from tests.databases import lent

FARM_ID = "larkbend"


@pytest.fixture
def command(demo_database: URL, tmp_path: Path) -> Iterator[Command]:
    with lent(demo_database, tmp_path) as url:
        yield partial(call, url)


def test_a_command_is_noted_with_the_user_of_the_machine(
    command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(getpass, "getuser", lambda: "operator")
    assert command("keys", "add", "shed", "--farm", FARM_ID, "--scope", "plan:read").exit_code == 0
    change = document(command("changes", FARM_ID, "--of", "key", "--json"))["items"][0]
    assert change["actor"] == {
        "kind": "command", "id": "", "name": "operator", "entrance": "command-line",
    }  # fmt: skip
    assert change["after"]["name"] == "shed" and "sha256" not in change["after"]
    shown = command("changes", FARM_ID, "--of", "key").output
    assert "added by operator, command-line" in " ".join(shown.split())
    assert 'name: "shed"' in shown


def test_a_user_without_a_name_is_no_obstacle(
    command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unknown() -> str:
        raise KeyError("uid not found")

    monkeypatch.setattr(getpass, "getuser", unknown)
    assert command("calendar-link", FARM_ID).exit_code == 0
    found = document(command("changes", FARM_ID, "--of", "calendar-link", "--json"))
    assert found["items"][0]["actor"]["name"] == ""


def test_none_since_then_says_so(command: Command) -> None:
    result = command("changes", FARM_ID, "--since", "2999-01-01T00:00")
    assert result.exit_code == 0
    assert f"no change of {FARM_ID} is recorded" in result.stderr
