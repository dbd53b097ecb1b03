"""Imported by the fork server alone: an evening of one farm, so that what it forks is warm.

Loading the compiled kernels and building the statements takes most of a second, which tests that
start dozens of processes would spend again and again. Nothing is left open that a fork could share.
"""

from __future__ import annotations

import tempfile
from datetime import UTC, date, datetime
from pathlib import Path

from service.database.engine import make_engine
from service.database.migrate import upgrade
from service.database.session import unit_of_work_factory
from service.operations.schedule.duties import Duties
from service.operations.schedule.run_due import run_due
from tests.scheduled_farms import SOURCE, FixedClock, MadeUpService, store_farms

with tempfile.TemporaryDirectory() as folder:
    engine = make_engine(f"sqlite:///{Path(folder) / 'warm.db'}")
    upgrade(engine)
    open_unit = unit_of_work_factory(engine)
    store_farms(open_unit, farm_count=1, zones=["Etc/UTC"], today=date(2026, 7, 1))
    run_due(
        Duties(
            owner="warm",
            unit_of_work=open_unit,
            clock=FixedClock(datetime(2026, 7, 1, 18, 15, tzinfo=UTC)),
            source_order={SOURCE: 1},
            refreshers={SOURCE: MadeUpService(open_unit)},
        )
    )
    engine.dispose()
