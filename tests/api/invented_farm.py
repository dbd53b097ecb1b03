"""An invented farm with invented weather, planned once: what tests of API and pages read.

Nothing of it belongs to a real place. The weather rises and falls by simple formulas.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
from sqlalchemy.engine import URL

from service.bootstrap import Service
from service.database.engine import make_engine
from service.database.migrate import upgrade
from service.database.session import unit_of_work_factory
from service.farm_files.farm_file import parse_farm
from service.operations.evening.run_day import run_day
from service.operations.farms.manage_farms import load_bundle
from service.operations.weather.import_weather import import_weather
from service.settings import Settings
from tests.databases import address, copied, new_database

TODAY = date(2026, 7, 14)
PLAN_DAY = TODAY + timedelta(days=1)
FIRST_DAY = TODAY - timedelta(days=40)
RUN_AT = datetime(2026, 7, 14, 23, 0, tzinfo=UTC)
FARM_ID = "test-farm"
BLOCK_ID = "test-farm.north"
BARE_BLOCK_ID = "test-farm.south"
YOUNG_BLOCK_ID = "later-farm.young"

FARM = """
[farm]
id = "test-farm"
name = "Test Farm (invented)"
zone = "America/New_York"

[[site]]
id = "home"
latitude = 35.91
longitude = -79.22
elevation = "510 ft"

[[supply]]
id = "well"
flow = "40 gpm"

[[block]]
id = "north"
name = "North blueberries"
crop = "blueberry"
area = "0.75 ac"
row_spacing = "10 ft"
emitter_spacing = "18 in"
emitter_flow = "0.5 gph"
laterals_per_row = 2
soil = { texture = "sandy loam" }
root_depth = "18 in"
planting_year = 2019
season = { start = "03-20", lengths = [25, 45, 110, 50] }
windows = ["04:00-10:00", "17:00-21:00"]
initial_depletion = "5 mm"
balance_start = 2026-06-10
no_water = [{ from = 2026-08-20, to = 2026-08-22, reason = "harvest" }]

[[block]]
id = "south"
crop = "grape-wine"
area = "0.4 ha"
row_spacing = "2.5 m"
emitter_spacing = "0.6 m"
emitter_flow = "2 L/h"
soil = { texture = "loam" }
balance_start = 2026-06-14
"""
_LATER_FARM = """
[farm]
id = "later-farm"
name = "Later Farm (invented)"
zone = "America/New_York"

[[site]]
id = "hill"
latitude = 35.95
longitude = -79.30
elevation = "640 ft"

[[supply]]
id = "pond"
flow = "20 gpm"

[[block]]
id = "young"
crop = "apple-cover-no-frost"
area = "1 ac"
row_spacing = "4 m"
emitter_spacing = "0.6 m"
emitter_flow = "2 L/h"
soil = { texture = "loam" }
"""


@dataclass(slots=True)
class FixedClock:
    """A clock that is stopped until a test sets it."""

    instant: datetime = field(default=RUN_AT)

    def now(self) -> datetime:
        """The instant set."""
        return self.instant


@contextmanager
def copied_service(template: URL, folder: Path) -> Iterator[Service]:
    """The service on a copy of a database, of the same kind."""
    with copied(template, folder) as url, opened_service(url) as made:
        yield made


@contextmanager
def opened_service(url: URL | str) -> Iterator[Service]:
    """The service on an existing database."""
    engine = make_engine(url)
    try:
        yield Service(
            settings=Settings(database_url=address(engine.url)),
            unit_of_work=unit_of_work_factory(engine),
            clock=FixedClock(),
            close=engine.dispose,
        )
    finally:
        # Also after a failure: a connection left open would be a warning in some later test.
        engine.dispose()


@contextmanager
def invented_service(folder: Path) -> Iterator[Service]:
    """The service on a new SQLite database of a folder, filled as ``planned_database`` is.

    Only for tests that are not about the database, such as those in a browser; all others use
    ``own_service``, or a copy of ``planned_database``, and run on both kinds.
    """
    with new_database("sqlite", folder) as url:
        upgrade(url)
        with opened_service(url) as service:
            fill(service)
            yield service


def fill(service: Service) -> None:
    """Two farms, forty days of weather, one evening's plans.

    The second farm is loaded after the run, so its block has neither plan nor ledger.
    """
    load(service, FARM)
    bring_weather(service)
    failures = plan_evening(service)
    assert not failures, failures
    load(service, _LATER_FARM)


def bring_weather(
    service: Service,
    *,
    warmer_c: float = 0.0,
    site_id: str = "home",
    today: date = TODAY,
    forecast_day_count: int = 7,
) -> None:
    """Store observations up to a day, and a forecast from the next one on."""
    last_day = np.datetime64(today) + forecast_day_count
    days = np.arange(np.datetime64(FIRST_DAY), last_day + 1, dtype="datetime64[D]")
    wave = np.sin(np.arange(days.size) * 0.7)
    import_weather(
        site_id,
        days,
        {
            "tmax_c": 31.0 + 2.0 * wave + warmer_c,
            "tmin_c": 19.0 + wave,
            "rhmax_pct": 92.0 + 3.0 * wave,
            "rhmin_pct": 48.0 + 5.0 * wave,
            "wind_m_s": 1.6 + 0.4 * wave,
            "rs_mj_m2": 22.0 + 3.0 * wave,
            "rain_mm": np.where(np.arange(days.size) % 9 == 0, 8.0, 0.0),
        },
        source="import",
        forecast_from=today + timedelta(days=1),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def load(service: Service, text: str, *, effective_day: date = FIRST_DAY) -> None:
    """Store a farm, in force from before the first day of weather unless a day is given."""
    load_bundle(
        parse_farm(text, name="invented.toml"),
        effective_day=effective_day,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def plan_evening(service: Service, *, on: date = TODAY) -> list[str]:
    """Run the evening of a day; returns what failed."""
    run = run_day(
        on,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    return [failure.reason for failure in run.failures]


def with_timer(service: Service, *, days: str = "weekdays", set_on: str = "wednesday") -> None:
    """Give the north block a timer and run the evening again; PLAN_DAY is a Wednesday."""
    timer = f"""
[block.timer]
starts = 4
days = "{days}"
set_on = "{set_on}"

[[block]]
id = "south"
"""
    load(service, FARM.replace('\n[[block]]\nid = "south"\n', timer))
    plan_evening(service)
