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
        "Open now",
        "July 2026",
        "Leaf sample Creek blueberries",
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
    assert months[:2] == ["Open now", "July 2026"] and len(months) == len(set(months))
    brief = demo("season", FARM, "--from", "2026-07-14", "--brief").output
    assert "Petiole sample, veraison" in brief and "Source:" not in brief
    assert "! Never mix acid" in " ".join(brief.split())  # what can hurt is never left out


def test_the_same_is_there_as_json(demo: Command) -> None:
    found = document(demo("season", FARM, "--from", "2026-07-14", "--json"))
    assert found["first_day"] == "2026-07-14"
    assert {"leaf-sample", "soil-sample", "nitrogen"} <= {each["kind"] for each in found["tasks"]}
    assert demo("season", "nowhere").exit_code == 1


def test_the_demonstration_shows_two_invented_visits(demo: Command) -> None:
    found = document(demo("notes", FARM, "--json"))
    assert [each["block_id"] for each in found] == ["larkbend.young", "larkbend.creek"]
    assert {each["visitor"] for each in found} == {"invented adviser"}


def test_notes_are_kept_corrected_and_shown_on_the_visit_checklist(own_demo: Command) -> None:
    demo, block = own_demo, "larkbend.peaches"
    assert "no note is stored" in demo("notes", block).output
    kept = document(demo("note", block, "Row 12 dry.", "--by", "Ana", "--json"))
    assert (kept["block_id"], kept["visitor"]) == (block, "Ana")
    again = demo("note", block, "Row 13 dry.", "--by", "Ana", "--corrects", kept["note_id"])
    assert again.exit_code == 0, again.output
    assert demo("note", FARM, "Pump loud.").exit_code == 0
    listed = " ".join(demo("notes", block).output.split())
    assert "Row 12 dry. ! Corrected by" in listed and "whole farm, command line" in listed
    found = document(demo("notes", FARM, "--json"))
    assert [each["text"] for each in found[:3]] == ["Pump loud.", "Row 13 dry.", "Row 12 dry."]
    visited = document(demo("parts", block, "--json"))["last_visit"]
    assert [each["text"] for each in visited] == ["Row 13 dry.", "Pump loud."]
    checks = " ".join(demo("parts", block).output.split())
    assert "by Ana: Row 13 dry." in checks and "Row 12 dry." not in checks
    assert demo("note", block, " ").exit_code == 2
    assert demo("note", "nowhere", "Nobody.").exit_code == 1
