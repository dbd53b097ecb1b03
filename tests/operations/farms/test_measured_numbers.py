"""What was measured in the field and a farm file that is loaded again."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from service.database.session import UnitOfWorkFactory
from service.farm_files.farm_file import parse_farm, write_farm_file
from service.operations.farms.manage_farms import load_bundle
from service.operations.waterworks.catch_tests import record_catch_test
from service.records.farms import FarmBundle

DAY = date(2026, 7, 1)
CAUGHT = [205.0, 198, 192, 210, 180, 200, 195, 188, 202, 170, 196, 208, 190, 204, 185, 199]
FARM = """
[farm]
id = "invented"
zone = "UTC"

[[site]]
id = "home"
latitude = 40.0
longitude = 0.0
elevation = "100 m"

[[supply]]
id = "well"
flow = "6 m3/h"

[[block]]
id = "one"
crop = "grape-wine"
area = "0.2 ha"
row_spacing = "2.5 m"
emitter_spacing = "0.5 m"
emitter_flow = "2 L/h"
soil = { texture = "loam" }
"""


class Noon:
    """A clock stopped at noon."""

    def now(self) -> datetime:
        """That noon."""
        return datetime(2026, 7, 1, 12, tzinfo=UTC)


def load(open_unit: UnitOfWorkFactory, text: str) -> FarmBundle:
    bundle = parse_farm(text, name="farm.toml")
    load_bundle(bundle, effective_day=DAY, unit_of_work=open_unit, clock=Noon())
    with open_unit(write=False) as unit:
        return unit.blocks.get_bundle("invented", day=DAY)


def measure(open_unit: UnitOfWorkFactory) -> None:
    record_catch_test(
        "invented.one",
        DAY,
        CAUGHT,
        is_used=True,
        effective_day=DAY,
        unit_of_work=open_unit,
        clock=Noon(),
    )


def test_a_measured_uniformity_outlives_a_file_that_does_not_state_one(
    open_unit: UnitOfWorkFactory,
) -> None:
    load(open_unit, FARM)
    measure(open_unit)
    block = load(open_unit, FARM + 'name = "renamed"\n').blocks[0]
    assert block.name == "renamed"
    assert block.emission_uniformity_pct == pytest.approx(92.63, abs=0.01)
    assert block.origins["emission_uniformity_pct"].startswith("catch test of 2026-07-01")


def test_a_uniformity_stated_in_the_file_overrides_the_test(
    open_unit: UnitOfWorkFactory,
) -> None:
    load(open_unit, FARM)
    measure(open_unit)
    block = load(open_unit, FARM + 'emission_uniformity = "80 %"\n').blocks[0]
    assert block.emission_uniformity_pct == 80.0


def test_a_measured_number_leaves_a_block_that_begins_later_in_use(
    open_unit: UnitOfWorkFactory,
) -> None:
    load(open_unit, FARM)
    other = FARM[FARM.index("[[block]]") :].replace('id = "one"', 'id = "two"')
    later = date(2026, 8, 1)
    coming = parse_farm(FARM + other, name="farm.toml")
    load_bundle(coming, effective_day=later, unit_of_work=open_unit, clock=Noon())
    measure(open_unit)
    with open_unit(write=False) as unit:
        blocks = unit.blocks.list_blocks(farm_id="invented", day=later)
    assert [block.block_id for block in blocks] == ["invented.one", "invented.two"]


def test_an_exported_farm_brings_its_measured_number_along(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, FARM)
    measure(open_unit)
    with open_unit(write=False) as unit:
        stored = unit.blocks.get_bundle("invented", day=DAY)
    again = parse_farm(write_farm_file(stored), name="export.toml").blocks[0]
    assert again.emission_uniformity_pct == stored.blocks[0].emission_uniformity_pct
    assert again.origins == stored.blocks[0].origins
