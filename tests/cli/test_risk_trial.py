"""Days on paper from the command line; the demonstration's evenings keep a week of them."""

from __future__ import annotations

from tests.cli.conftest import Command, document


def test_the_demonstration_shows_what_weighing_the_forecast_would_have_done(demo: Command) -> None:
    found = document(demo("risk-trial", "larkbend.vines", "--json"))
    assert found["is_kept"] and found["day_count"] >= 6
    assert found["rule"]["net_mm"] >= 0.0
    shown = demo("risk-trial", "larkbend.vines")
    assert shown.exit_code == 0 and "evening rule" in shown.stdout
    for command in ("why", "balance"):
        assert "On paper" in demo(command, "larkbend.vines").stdout


def test_a_block_on_a_timer_keeps_none_and_says_why(demo: Command) -> None:
    shown = demo("risk-trial", "larkbend.peaches")
    assert shown.exit_code == 0
    assert "nothing is kept on paper" in shown.output


def test_a_choice_is_made_by_one_command(own_demo: Command) -> None:
    made = document(own_demo("risk-attitude", "larkbend.vines", "classic", "--json"))
    assert made["risk_attitude"] == "classic"
    found = document(own_demo("risk-trial", "larkbend.vines", "--json"))
    assert found["is_stated"] and not found["is_kept"]
    assert own_demo("risk-attitude", "larkbend.vines", "bold").exit_code == 2
