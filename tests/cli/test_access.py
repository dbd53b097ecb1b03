"""Keys on the command line: shown once, listed without themselves, revoked."""

from __future__ import annotations

import json

from tests.cli.conftest import Command


def test_a_key_is_made_shown_once_listed_and_revoked(empty: Command) -> None:
    made = empty("keys", "add", "Ann", "--farm", "hill", "--scope", "plan:read")
    assert made.exit_code == 0, made.output
    token = made.stdout.strip()
    assert token.startswith("rw_") and len(token) == 44
    listed = empty("keys", "list", "--json")
    (key,) = json.loads(listed.stdout)
    assert token not in listed.stdout
    assert "revoked" not in empty("keys", "list").stdout
    assert (key["name"], key["farm_id"], key["scopes"]) == ("Ann", "hill", ["plan:read"])
    assert key["key_id"] == token.split("_")[1]
    assert empty("keys", "revoke", key["key_id"]).exit_code == 0
    assert json.loads(empty("keys", "list", "--json").stdout) == []
    assert json.loads(empty("keys", "list", "--all", "--json").stdout)[0]["revoked_at"]


def test_a_key_is_bound_to_a_farm_or_to_the_region(empty: Command) -> None:
    neither = empty("keys", "add", "Ann", "--scope", "adviser")
    both = empty("keys", "add", "Ann", "--scope", "adviser", "--farm", "hill", "--region")
    assert neither.exit_code == both.exit_code == 2
    assert empty("keys", "add", "Ann", "--scope", "adviser", "--region").exit_code == 0


def test_a_key_without_a_known_scope_is_not_made(empty: Command) -> None:
    assert empty("keys", "add", "Ann", "--farm", "hill").exit_code == 2
    assert empty("keys", "add", "Ann", "--farm", "hill", "--scope", "root").exit_code == 2
