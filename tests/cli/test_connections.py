"""A command gives its connections back, so that a program may call many of them."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy.engine import URL

from tests.cli.conftest import call
from tests.databases import copied


@pytest.mark.parametrize(
    ("arguments", "exit_code"),
    [(("keys", "list"), 0), (("check",), 1), (("plan", "--block", "nowhere"), 1)],
)
def test_no_connection_is_left_when_a_command_has_ended(
    own_url: URL, tmp_path: Path, arguments: tuple[str, ...], exit_code: int
) -> None:
    assert call(own_url, *arguments).exit_code == exit_code
    with copied(own_url, tmp_path):
        pass  # which fails while anybody is connected


def test_no_connection_is_left_to_a_database_that_is_not_ready(
    empty_url: URL, tmp_path: Path
) -> None:
    assert call(empty_url, "plan").exit_code == 3
    with copied(empty_url, tmp_path):
        pass
