"""The season calendar from the command line, on the invented demonstration farm."""

from __future__ import annotations

from collections.abc import Callable

from typer.testing import Result

from tests.cli.conftest import document

Command = Callable[..., Result]
FARM = "larkbend"


def test_the_year_is_listed_by_month_with_how_and_source(demo: Command) -> None:
    found = demo("season", FARM, "--from", "2026-07-14")
    assert found.exit_code == 0, found.output
    text = " ".join(found.output.split())
    for words in (
        "July 2026",
        "Leaf sample (Rabbiteye blueberry)",
        "Petiole sample, veraison",
        "The stage decides, not the date",
        "Spring start-up: flush, test, walk",
        "Source: common practice, no source",
        "! Never mix acid with chlorine products",
    ):
        assert words in text
    months = [
        line for line in found.output.splitlines() if line and not line.startswith((" ", "!"))
    ]
    assert months[0] == "July 2026" and len(months) == len(set(months))


def test_the_same_is_there_as_json(demo: Command) -> None:
    found = document(demo("season", FARM, "--from", "2026-07-14", "--json"))
    assert found["first_day"] == "2026-07-14"
    assert {"leaf-sample", "soil-sample", "nitrogen"} <= {each["kind"] for each in found["tasks"]}
    assert demo("season", "nowhere").exit_code == 1
