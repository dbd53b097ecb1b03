"""Timers from the command line."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
import time_machine
from sqlalchemy.engine import URL

from service.demo_farm import FARM_FILE
from tests.cli.conftest import Command, call, document
from tests.databases import copied, lent

EVENING = "2026-07-14T23:00:00+00:00"
BLOCK_ID = "larkbend.vines"
TIMER = """
[block.timer]
starts = 2
days = "weekdays"
set_on = "wednesday"

[[block]]
id = "peaches"
"""


@pytest.fixture(scope="module")
def timed(demo_database: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[URL]:
    """The demonstration's farm, whose vines have got a timer; only to be copied."""
    folder = tmp_path_factory.mktemp("timed")
    farm = folder / "farm.toml"
    text = FARM_FILE.read_text("utf-8")
    farm.write_text(text.replace('\n[[block]]\nid = "peaches"\n', TIMER))
    with copied(demo_database, folder) as url:
        with time_machine.travel(EVENING, tick=False):
            loaded = call(url, "load", str(farm))
            assert loaded.exit_code == 0, loaded.output
            call(url, "run-day")
        yield url


@pytest.fixture
def timers(timed: URL, tmp_path: Path) -> Iterator[Command]:
    """Commands on a copy of it, on the evening on which it was planned."""
    with lent(timed, tmp_path) as url, time_machine.travel(EVENING, tick=False):
        yield partial(call, url)


def test_another_program_is_counted_as_it_was_entered(timers: Command) -> None:
    result = timers("timer-set", BLOCK_ID, "--starts", "05:00,17:00", "--minutes", "45", "--on",
                    "mon,thu", "--json")  # fmt: skip
    program = document(result)["set_program"]
    assert (program["weekdays"], program["starts"]) == ([1, 4], ["05:00", "17:00"])
    assert program["minutes_a_week"] == 4 * 45
    shown = timers("timers", "larkbend").output
    assert "Mon, Thu at 05:00, 17:00, 45 min each (180 min a week)" in " ".join(shown.split())


def test_the_timer_can_be_off(timers: Command) -> None:
    assert timers("timer-set", BLOCK_ID, "--off").exit_code == 0
    assert "runs     off" in timers("timers", "larkbend").output


@pytest.mark.parametrize(
    ("options", "where"),
    [
        (("--starts", "25:00", "--minutes", "45"), "--starts"),
        (("--starts", "05:00,06:00,09:00", "--minutes", "45"), "--starts"),
        (("--starts", "05:00"), "--minutes"),
        (("--starts", "05:00", "--minutes", "45", "--on", "someday"), "--on"),
    ],
)
def test_a_program_that_cannot_be_read_is_refused_at_its_option(
    timers: Command, options: tuple[str, ...], where: str
) -> None:
    result = timers("timer-set", BLOCK_ID, *options)
    assert result.exit_code == 2
    assert where in result.output
    assert "nothing is known to be set" in timers("timers", "larkbend").output


def test_the_demonstration_shows_a_timer_that_was_set(demo: Command) -> None:
    shown = " ".join(demo("timers", "larkbend").output.split())
    assert "larkbend.peaches South peaches runs every day at 00:00, 151 min each" in shown


def test_a_farm_without_timers_says_so(own_demo: Command, tmp_path: Path) -> None:
    farm = tmp_path / "farm.toml"
    text = FARM_FILE.read_text("utf-8")
    farm.write_text(text.partition("[block.timer]")[0] + text.partition('"wednesday"\n')[2])
    assert own_demo("load", str(farm)).exit_code == 0
    assert "no block of larkbend has a timer" in own_demo("timers", "larkbend").output
