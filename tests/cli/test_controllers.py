"""Controllers and calendar links from the command line."""

from __future__ import annotations

import json

from tests.cli.conftest import Command

FARM = "larkbend"


def test_controllers_are_listed_with_their_channels(demo: Command) -> None:
    result = demo("controllers")
    assert result.exit_code == 0, result.output
    assert f"{FARM}.creek-shed" in result.stdout
    found = json.loads(demo("controllers", "--json", "--farm", FARM).stdout)["items"]
    assert [each["controller_id"] for each in found] == [f"{FARM}.creek-shed"]
    assert {each["block_id"] for each in found[0]["channels"]} == {
        f"{FARM}.creek",
        f"{FARM}.young",
        f"{FARM}.blackberry",
    }


def test_the_program_is_shown_as_people_and_as_devices_read_it(demo: Command) -> None:
    name = f"{FARM}.creek-shed"
    shown = demo("controllers", name)
    assert shown.exit_code == 0, shown.output
    assert f"Program {name}/" in shown.stdout
    program = json.loads(demo("controllers", name, "--json").stdout)["program"]["program"]
    assert program["controller_id"] == name
    table = demo("controllers", name, "--csv").stdout
    assert table.startswith("rillwright,1,")
    assert f"program,{program['program_id']}," in table


def test_an_unknown_controller_or_farm_is_not_found(demo: Command) -> None:
    assert demo("controllers", f"{FARM}.attic").exit_code == 1
    assert demo("controllers", "--farm", "nobody").exit_code == 1


def test_a_calendar_link_is_shown_once_and_alone_on_its_line(demo: Command) -> None:
    first = demo("calendar-link", FARM, "--base-url", "https://water.example/")
    assert first.exit_code == 0, first.output
    (line,) = first.stdout.splitlines()
    assert line.startswith("https://water.example/v1/calendars/")
    assert line.endswith(".ics")
    assert "not shown again" in first.stderr
    second = json.loads(demo("calendar-link", FARM, "--json").stdout)
    assert second["season_link"] == second["link"].removesuffix(".ics") + "/season.ics"
    assert second["link"].rpartition("/")[2] != line.rpartition("/")[2]
    assert demo("calendar-link", "nobody").exit_code == 1
