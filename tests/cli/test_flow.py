"""The flow check from the command line, on invented runs of the demonstration farm."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import orjson
import pytest
from sqlalchemy.engine import URL

from service.database.engine import make_engine
from service.database.session import unit_of_work_factory
from service.operations.feedback.compare_meter import block_flow_l_per_h
from tests.cli.conftest import call
from tests.operations.metered_runs import store_runs

BLOCK = "larkbend.creek"
DEMO_DAY = date(2026, 7, 14)


def metered_runs(database_url: URL, *, level_after: float) -> None:
    """An hour a day for thirty days up to the demonstration's, at another level after twenty.

    Invented: the volumes are those that the block is designed for, with the noise of a meter.
    """
    engine = make_engine(database_url)
    unit_of_work = unit_of_work_factory(engine)
    days = [DEMO_DAY - timedelta(days=29 - place) for place in range(30)]
    with unit_of_work(write=False) as unit:
        flow_l_per_h = block_flow_l_per_h(unit.blocks.get_block(BLOCK, day=DEMO_DAY))
    noise = 1.0 + 0.01 * np.sin(7.0 * np.arange(30))
    level = np.where(np.arange(30) < 20, 1.0, level_after)
    store_runs(unit_of_work, BLOCK, days, (flow_l_per_h * noise * level).tolist())
    engine.dispose()


@pytest.mark.parametrize(("level_after", "exit_code"), [(1.0, 0), (0.6, 1)])
def test_a_flow_check_exits_with_1_on_an_alarm_alone(
    own_demo_url: URL, level_after: float, exit_code: int
) -> None:
    metered_runs(own_demo_url, level_after=level_after)
    span = ("--from", "2026-06-01", "--to", DEMO_DAY.isoformat())
    found = call(own_demo_url, "flow-check", BLOCK, *span)
    as_json = call(own_demo_url, "flow-check", BLOCK, *span, "--json")
    assert (found.exit_code, as_json.exit_code) == (exit_code, exit_code), found.output
    assert orjson.loads(as_json.stdout)["is_alarm"] is (exit_code == 1)
    assert ("the flow fell at once" in found.stdout) == (exit_code == 1)
