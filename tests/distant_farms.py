"""Farms where it is another day than at Greenwich, with a block that begins today and a later one.

Nothing of them belongs to a real place.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from sqlalchemy.engine import URL

from service.bootstrap import Service
from service.farm_files.farm_file import parse_farm
from service.operations.farms.manage_farms import load_bundle
from tests.api.invented_farm import FixedClock, opened_service
from tests.databases import copied, lent

BEFORE = date(2026, 6, 1)
_FARM = """
[farm]
id = "far"
name = "Far Farm (invented)"
zone = "{zone}"

[[site]]
id = "there"
latitude = {latitude}
longitude = {longitude}
elevation = "200 m"
zone = "{zone}"

[[county]]
code = "XX-001"
name = "Invented"
site = "there"

[[supply]]
id = "well"
flow = "60 gpm"
"""
_BLOCK = """
[[block]]
id = "{name}"
crop = "grape-wine"
area = "0.276 ha"
row_spacing = "3 m"
emitter_spacing = "0.46 m"
emitter_flow = "2 L/h"
soil = {{ texture = "loam" }}
daily_maximum = "600 min"

[block.hydraulics]
lateral_diameter = "16 mm"
emitter_count = 100
inlet_pressure = "30 psi"
manufacturer_variation = 0.03
manifold = {{ diameter = "63 mm", rows = 20 }}
"""


@dataclass(frozen=True, slots=True)
class Distant:
    """A farm, an instant at which its day is not that of Greenwich, and its day."""

    zone: str
    latitude_deg: float
    longitude_deg: float
    now: datetime
    today: date

    def __str__(self) -> str:
        """Where it is."""
        return self.zone


AHEAD = Distant(
    "Pacific/Auckland", -41.3, 174.8, datetime(2026, 7, 14, 23, tzinfo=UTC), date(2026, 7, 15)
)
BEHIND = Distant(
    "America/Los_Angeles", 36.5, -119.75, datetime(2026, 7, 15, 3, tzinfo=UTC), date(2026, 7, 14)
)
DISTANT = (AHEAD, BEHIND)


def fill(service: Service, place: Distant) -> None:
    """Store the farm: ``far.old`` for long, ``far.fresh`` from today on, ``far.later`` from
    tomorrow on."""
    names: list[str] = []
    for name, day in (
        ("old", BEFORE),
        ("fresh", place.today),
        ("later", place.today + timedelta(days=1)),
    ):
        names.append(name)
        text = _FARM.format(
            zone=place.zone, latitude=place.latitude_deg, longitude=place.longitude_deg
        )
        load_bundle(
            parse_farm(text + "".join(_BLOCK.format(name=each) for each in names), name="far.toml"),
            effective_day=day,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )


@contextmanager
def filled_databases(migrated: URL, folder: Path) -> Iterator[dict[Distant, URL]]:
    """A database with the farm for each place, to be copied by tests: storing it takes its time."""
    with ExitStack() as stack:
        found = {place: stack.enter_context(copied(migrated, folder)) for place in DISTANT}
        for place, url in found.items():
            with opened_service(url) as service:
                _set_clock(service, place)
                fill(service, place)
        yield found


@contextmanager
def lent_service(templates: dict[Distant, URL], place: Distant, folder: Path) -> Iterator[Service]:
    """The service at a place, on a copy of its database."""
    with lent(templates[place], folder) as url, opened_service(url) as made:
        _set_clock(made, place)
        yield made


def _set_clock(service: Service, place: Distant) -> None:
    assert isinstance(service.clock, FixedClock)
    service.clock.instant = place.now


def uniformity_of(service: Service, block_id: str, day: date) -> float:
    """The emission uniformity that plans of a day use for a block."""
    with service.unit_of_work(write=False) as unit:
        return unit.blocks.get_block(block_id, day=day).emission_uniformity_pct
