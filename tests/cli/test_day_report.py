"""The command that reports a day: it lists what waits, stores it once, and names its options."""

from __future__ import annotations

import pytest
import time_machine

from tests.cli.conftest import Command, document

NIGHT = "2026-07-16T03:59:00+00:00"
"""A minute before the end of the demonstration's planned day, at the farm."""
DAY = "2026-07-15"
FARM = "larkbend"


def test_what_waits_is_listed_then_reported_once(own_demo: Command) -> None:
    with time_machine.travel(NIGHT, tick=False):
        waiting, *earlier = document(own_demo("report-day", FARM, "--json"))
        assert waiting["day"] == DAY and waiting["reported"] == []
        listed = own_demo("report-day", FARM)
        block, *_ = waiting["planned_min"]
        name = block.partition(".")[2]
        done = document(own_demo("report-day", FARM, "--date", DAY, "--ran", f"{name}=0", "--json"))
        again = own_demo("report-day", FARM, "--date", DAY)
        left = document(own_demo("report-day", FARM, "--json"))
    assert f"{DAY}: " in listed.stdout and f"{block} " in listed.stdout
    assert done["run_count"] >= len(waiting["planned_min"]) and done["kept"] == []
    assert "no plan changes" in again.stdout and "reported before" in again.stdout
    assert left == earlier


def test_all_days_that_wait_are_reported_as_planned(own_demo: Command) -> None:
    with time_machine.travel(NIGHT, tick=False):
        done = document(own_demo("report-day", FARM, "--all", "--json"))
        left = own_demo("report-day", FARM)
    assert done["days"][0] == DAY and len(done["days"]) > 1
    assert "every day that is over has been reported" in left.stdout


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--date", "2026-07-16"), "--date"),
        (("--date", DAY, "--ran", "nowhere=5"), "--ran"),
        (("--date", DAY, "--ran", "creek=1501"), "--ran"),
        (("--date", DAY, "--ran", "creek"), "north=45"),
        (("--date", "someday"), "2026-07-14"),
        (("--ran", "creek=5"), "--date"),
        (("--all", "--date", DAY), "--all"),
    ],
    ids=lambda each: " ".join(each) if isinstance(each, tuple) else "",
)
def test_what_cannot_be_used_is_refused_by_the_name_of_its_option(
    own_demo: Command, options: tuple[str, ...], said: str
) -> None:
    with time_machine.travel(NIGHT, tick=False):
        result = own_demo("report-day", FARM, *options)
    assert result.exit_code == 2
    assert said in result.stderr and "/days" not in result.output
