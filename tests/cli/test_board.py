"""A farm at a glance in a terminal."""

from __future__ import annotations

from tests.cli.conftest import Command, document


def test_one_line_a_block_in_the_order_of_the_board(demo: Command) -> None:
    blocks = document(demo("farm", "larkbend", "--json"))["blocks"]
    text = demo("farm", "larkbend").stdout
    assert max(map(len, text.splitlines())) <= 80
    lines = text.splitlines()[2 : 2 + len(blocks)]
    assert len(blocks) == 6
    for block, line in zip(blocks, lines, strict=True):
        assert line.startswith(block["name"][:12])
        assert f"{block['available_fraction']:.0%}" in line
        if block["due_in_days"] == 1:
            assert "tomorrow" in line


def test_an_unknown_farm_is_not_found(demo: Command) -> None:
    assert demo("farm", "nowhere").exit_code == 1
