"""The coming week if something were otherwise, in a terminal."""

from __future__ import annotations

from tests.cli.conftest import Command, document


def test_the_week_now_and_with_the_change_fits_a_terminal(demo: Command) -> None:
    asked = ("what-if", "larkbend", "--pump-down", "2")
    found = document(demo(*asked, "--json"))
    text = demo(*asked).stdout
    assert max(map(len, text.splitlines())) <= 80
    for block in found["blocks"]:
        assert [day["expected_min"] for day in block["changed"]["days"][:2]] == [0.0, 0.0]
        line = next(line for line in text.splitlines() if line.startswith(block["name"][:12]))
        for week in ("now", "changed"):
            assert f"{block[week]['expected_min']:,.0f}" in line
    assert "minutes, changed" in text and "Nothing of this was stored" in text


def test_a_block_that_could_not_run_is_named(demo: Command) -> None:
    text = demo("what-if", "larkbend", "--flow", "20 %", "--units", "si").stdout
    assert "could not run at all" in text and max(map(len, text.splitlines())) <= 80


def test_a_change_is_asked_for_and_bad_ones_say_what_is_allowed(demo: Command) -> None:
    for options in ((), ("--flow", "half"), ("--pump-down", "9"), ("--block", "larkbend.none")):
        assert demo("what-if", "larkbend", *options).exit_code == 2
    assert demo("what-if", "nowhere", "--skip-tomorrow").exit_code == 1
