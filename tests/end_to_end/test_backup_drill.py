"""The drill: a backup under writes, the loss of everything, a restoration, and the next evening.

The farms and their weather are invented.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy.engine import URL

from service.database.backup import check_backup, make_backup
from service.database.engine import make_engine
from service.database.restore import restore_backup
from service.database.session import UnitOfWorkFactory, unit_of_work_factory
from service.errors import StorageFailed
from service.operations.access.manage_keys import list_keys, make_key
from service.operations.schedule.duties import Duties
from service.operations.schedule.run_due import run_due
from tests.databases import address, copied
from tests.scheduled_farms import SOURCE, FixedClock, MadeUpService, plan_versions, store_farms

ROOT = Path(__file__).resolve().parent.parent.parent
DAY = date(2026, 7, 14)
DUE = datetime(2026, 7, 14, 22, 15, tzinfo=UTC)  # 18:15 EDT
ONE_DAY = timedelta(days=1)
BLOCKS = [f"farm-{number:05d}.block-0" for number in range(3)]

WRITES = """
import sys
from itertools import count
from service.bootstrap import open_service
from service.operations.access.manage_keys import make_key
service = open_service()
for number in count():
    make_key(f"written {number}", farm_id=None, scopes=["plan:read"], expires_at=None,
             unit_of_work=service.unit_of_work, clock=service.clock)
    print(number, flush=True)
"""


@contextmanager
def unit_on(url: URL) -> Iterator[UnitOfWorkFactory]:
    """Units of work on a database that nobody has open afterwards."""
    engine = make_engine(url)
    try:
        yield unit_of_work_factory(engine)
    finally:
        engine.dispose()


def plans_of(url: URL) -> list[tuple[str, date, int]]:
    engine = make_engine(url)
    found = plan_versions(engine)
    engine.dispose()
    return found


def evening(open_unit: UnitOfWorkFactory, now: datetime) -> None:
    outcome = run_due(
        Duties(
            owner=f"scheduler of {now}",
            unit_of_work=open_unit,
            clock=FixedClock(now),
            source_order={SOURCE: 1},
            refreshers={SOURCE: MadeUpService(open_unit)},
        )
    )
    assert outcome.given_back == {}


@pytest.mark.timeout(600)  # a process of its own loads the service
def test_after_a_loss_every_plan_and_key_is_there_and_evenings_go_on(
    migrated: URL, tmp_path: Path
) -> None:
    with copied(migrated, tmp_path) as url:
        with unit_on(url) as open_unit:
            store_farms(open_unit, farm_count=3, zones=["America/New_York"], today=DAY)
            make_key(
                "pump house",
                farm_id="farm-00000",
                scopes=["plan:read"],
                expires_at=None,
                unit_of_work=open_unit,
                clock=FixedClock(DUE),
            )
            (pump_house,) = list_keys(unit_of_work=open_unit)
            evening(open_unit, DUE)
        plans = plans_of(url)
        assert plans == [(block, DAY + ONE_DAY, 1) for block in BLOCKS]

        writer = subprocess.Popen(
            [sys.executable, "-c", WRITES],
            cwd=ROOT,
            env={**os.environ, "RILLWRIGHT_DATABASE_URL": address(url)},
            stdout=subprocess.PIPE,
            text=True,
        )
        with writer:
            assert writer.stdout is not None
            before = int(writer.stdout.readline())
            manifest = make_backup(address(url), tmp_path / "backup", now=DUE)
            # What was written meanwhile is in the pipe; what comes after it shows that it goes on.
            assert int(writer.stdout.readline()) > before
            with pytest.raises(StorageFailed, match="stop the service first"):
                restore_backup(tmp_path / "backup", address(url), now=DUE, replaces=True)
            assert writer.poll() is None
            writer.kill()
        assert check_backup(tmp_path / "backup") == manifest

        restored = restore_backup(tmp_path / "backup", address(url), now=DUE, replaces=True)

        assert plans_of(url) == plans
        with unit_on(url) as open_unit:
            keys = {key.name: key for key in list_keys(unit_of_work=open_unit)}
            assert keys["pump house"] == pump_house
            assert {f"written {each}" for each in range(before + 1)} <= set(keys)
            assert len(keys) == manifest.contents.row_counts["api_key"]
            evening(open_unit, DUE + ONE_DAY)
        assert plans_of(url) == sorted(
            [*plans, *((block, DAY + 2 * ONE_DAY, 1) for block in BLOCKS)]
        )
        assert restored.kept_aside is not None
        lost = url.set(database=restored.kept_aside.removeprefix("database "))
        assert plans_of(lost) == plans
