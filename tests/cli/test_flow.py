"""The flow check from the command line, on invented runs of the demonstration farm."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import orjson
import pytest
import time_machine
from sqlalchemy.engine import URL

from service.database.engine import make_engine
from service.database.session import unit_of_work_factory
from tests.cli.conftest import call, document
from tests.operations.metered_runs import store_runs

BLOCK = "larkbend.creek"
BARE_BLOCK = "larkbend.young"
"""The demonstration has no runs of it, and does not describe its pipes."""
DEMO_DAY = date(2026, 7, 14)


def metered_runs(
    database_url: URL, *, level_after: float, level: float = 1.0, block_id: str = BLOCK
) -> None:
    """An hour a day for thirty days up to the demonstration's, at another level after twenty.

    Invented: the volumes are those that the block is designed for, with the noise of a meter.
    """
    engine = make_engine(database_url)
    unit_of_work = unit_of_work_factory(engine)
    days = [DEMO_DAY - timedelta(days=29 - place) for place in range(30)]
    with unit_of_work(write=False) as unit:
        flow_l_per_h = unit.blocks.get_block(block_id, day=DEMO_DAY).flow_l_per_h
    noise = 1.0 + 0.01 * np.sin(7.0 * np.arange(30))
    levels = level * np.where(np.arange(30) < 20, 1.0, level_after)
    store_runs(unit_of_work, block_id, days, (flow_l_per_h * noise * levels).tolist())
    engine.dispose()


@pytest.mark.parametrize(("level_after", "exit_code"), [(1.0, 0), (0.6, 1)])
def test_a_flow_check_exits_with_1_on_an_alarm_alone(
    own_demo_url: URL, level_after: float, exit_code: int
) -> None:
    metered_runs(own_demo_url, level_after=level_after, block_id=BARE_BLOCK)
    span = ("--from", "2026-06-01", "--to", DEMO_DAY.isoformat())
    found = call(own_demo_url, "flow-check", BARE_BLOCK, *span)
    as_json = call(own_demo_url, "flow-check", BARE_BLOCK, *span, "--json")
    assert (found.exit_code, as_json.exit_code) == (exit_code, exit_code), found.output
    assert orjson.loads(as_json.stdout)["is_alarm"] is (exit_code == 1)
    assert ("the flow fell at once" in found.stdout) == (exit_code == 1)


def test_a_rate_is_offered_in_words_used_and_given_back(own_demo_url: URL) -> None:
    metered_runs(own_demo_url, level_after=1.0, level=0.9, block_id=BARE_BLOCK)
    check = ("flow-check", BARE_BLOCK, "--from", "2026-06-01", "--to", DEMO_DAY.isoformat())
    with time_machine.travel("2026-07-14T23:00:00+00:00", tick=False):
        offered = call(own_demo_url, *check)
        before = document(call(own_demo_url, *check, "--json"))["emitter_flow"]
        used = document(call(own_demo_url, *check, "--use-metered-flow", "--json"))["emitter_flow"]
        none = call(own_demo_url, *check, "--use-metered-flow")
        back = document(call(own_demo_url, *check, "--use-stated-flow", "--json"))["emitter_flow"]
        both = call(own_demo_url, *check, "--use-stated-flow", "--use-metered-flow")
    words = " ".join(offered.stdout.split())
    assert "The meter shows another rate" in words and "--use-metered-flow" in words
    assert used["emitter_flow_l_per_h"] == before["offered_l_per_h"]
    assert (used["offered_l_per_h"], used["stated_l_per_h"]) == (None, before["stated_l_per_h"])
    assert none.exit_code == 1 and "not offered" in none.stderr
    assert back["emitter_flow_l_per_h"] == before["stated_l_per_h"]
    assert both.exit_code == 2


def test_the_reasons_for_a_plan_say_what_was_metered(own_demo_url: URL) -> None:
    run = ("report-run", "creek", "--start", "2026-07-14T05:20", "--minutes", "60")
    with time_machine.travel("2026-07-14T23:00:00+00:00", tick=False):
        done = call(own_demo_url, *run, "--volume", "1740 gal", "--confirm-volume")
        assert done.exit_code == 0, done.output
        why = call(own_demo_url, "why", BLOCK, "--units", "us")
        (metered,) = document(call(own_demo_url, "why", BLOCK, "--json"))["metered"]
    words = " ".join(why.stdout.split())
    assert "1,740 gal (6.6 m3) by the meter; the day is booked as 0.11 in gross" in words
    assert " end by " in words and " meter Tue 14 Jul: 1,740 gal" in words
    assert metered["booked_l"] == pytest.approx(1740 * 3.785411784)
    assert metered["irrigation_gross_mm"] > 0.0
