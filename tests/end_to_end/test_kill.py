"""kill -9 at named points: nothing is lost or done twice, and all is done within a minute.

The minute is that of the clocks on the wall: the lease of the dead process ends after 30 s, and the
next tick comes 20 s later at the latest.
"""

from __future__ import annotations

import signal
from datetime import UTC, date, datetime, timedelta
from itertools import cycle, islice

import pytest
from sqlalchemy import Engine
from sqlalchemy.engine import URL

from service.database.session import UnitOfWorkFactory
from service.operations.schedule.duties import HEARTBEAT_S, LEASE_S
from service.scheduler import TICK_SECONDS
from tests.end_to_end.scheduler_processes import scheduler_processes
from tests.scheduled_farms import plan_versions, store_farms

ROUNDS = 20
POINTS = (
    "weather claimed",
    "weather fetched",
    "evening claimed",
    "evening planned",
    "evening settled",
)
DAY = date(2026, 7, 1)
DUE = datetime(2026, 7, 1, 22, 15, tzinfo=UTC)  # 18:15 EDT
FARM_COUNT = 5
MINUTE = timedelta(seconds=60)
TICK_S = int(TICK_SECONDS.removeprefix("*/"))


def test_a_dead_process_is_replaced_within_a_minute() -> None:
    assert MINUTE.total_seconds() > LEASE_S + TICK_S
    assert 3 * HEARTBEAT_S < LEASE_S


@pytest.mark.timeout(3600)  # forty processes, each of which loads the service
def test_nothing_is_lost_and_nothing_double_after_kills(
    database_url: URL, open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    store_farms(open_unit, farm_count=FARM_COUNT, zones=["America/New_York"], today=DAY)
    url = database_url.render_as_string(hide_password=False)
    killed = 0
    with scheduler_processes(url) as start:
        for number, point in enumerate(islice(cycle(POINTS), ROUNDS)):
            now = DUE + timedelta(days=number)
            victim = start()
            assert victim.work(now, die_at=point) is None
            assert victim.died_of == signal.SIGKILL
            killed += 1

            heir = start()
            ticks = [now + timedelta(seconds=TICK_S * count) for count in range(1, 4)]
            assert ticks[-1] <= now + MINUTE
            for tick in ticks:
                heir.work(tick)
            heir.kill()

            with open_unit(write=False) as unit:
                due = unit.runs.list_runs(first_due_at=now - timedelta(hours=12))
                evenings = {run.run_key for run in due if run.job == "evening"}
            day = DAY + timedelta(days=number)
            assert evenings == {f"evening:farm-{each:05d}:{day}" for each in range(FARM_COUNT)}
            assert [run for run in due if run.state != "done"] == []
            planned = [found for found in plan_versions(engine) if found[1] > day]
            blocks = [f"farm-{each:05d}.block-0" for each in range(FARM_COUNT)]
            once = [(block, day + timedelta(days=1), 1) for block in blocks]
            if point == "weather claimed":
                # The evening did not wait for the dead process's weather; the news came after it
                # and may have replaced what was planned without them.
                twice = [(block, day + timedelta(days=1), 2) for block in blocks]
                assert set(once) <= set(planned) <= {*once, *twice}
            else:
                assert planned == once
            with open_unit(write=False) as unit:
                in_force = unit.plans.list_plans(day=day + timedelta(days=1))
            assert [plan.block_id for plan in in_force] == blocks
            assert "no-weather" not in {plan.status for plan in in_force}
    assert killed == ROUNDS


@pytest.mark.parametrize(
    ("point", "held"),
    [
        ("weather claimed", ["weather:made-up:2026-07-01T18"]),
        ("weather fetched", ["weather:made-up:2026-07-01T18"]),
        ("evening claimed", ["evening:farm-00000:2026-07-01"]),
        ("evening planned", ["evening:farm-00000:2026-07-01"]),
        ("evening settled", []),
    ],
)
def test_what_a_victim_holds_is_not_touched_before_its_lease_ends(
    database_url: URL, open_unit: UnitOfWorkFactory, point: str, held: list[str]
) -> None:
    store_farms(open_unit, farm_count=1, zones=["America/New_York"], today=DAY)
    url = database_url.render_as_string(hide_password=False)
    with scheduler_processes(url) as start:
        start().work(DUE, die_at=point)
        outcome = start().work(DUE + timedelta(seconds=LEASE_S - 1))
        assert outcome is not None
        assert outcome.passed_by == held
