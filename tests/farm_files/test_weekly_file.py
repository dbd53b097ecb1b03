"""Hours of every week without water: read from a farm file, written back, refused by name."""

from __future__ import annotations

import pytest

from service.agronomy.records import WeeklyNoWater
from service.farm_files.farm_document import JsonFarmFormat
from service.farm_files.farm_file import write_farm_file
from tests.farm_files.test_farm_file import faults_of, parse

FARM = """
[farm]
id = "brook"
zone = "America/New_York"

[[site]]
id = "hill"
latitude = 36.1
longitude = -79.95
elevation = "273 m"

[[supply]]
id = "well"
flow = "40 gpm"
weekly_no_water = [
    {hours},
]

[[block]]
id = "north"
crop = "blueberry"
area = "1 ac"
row_spacing = "10 ft"
emitter_spacing = "18 in"
emitter_flow = "0.5 gph"
soil = {{ texture = "sandy-loam" }}
season = {{ start = "03-20", lengths = [20, 50, 100, 40] }}
"""


def farm(*hours: str) -> str:
    return FARM.format(hours=",\n    ".join(hours))


def test_hours_are_read_written_back_and_the_same_as_a_document() -> None:
    text = farm(
        '{ days = ["friday", "monday"], from = "16:00", to = "20:00", reason = "say \\"peak\\"" }',
        '{ days = ["sunday"], from = "22:00", to = "06:00" }',
        '{ from = "00:00", to = "24:00", days = ["tuesday"] }',
        '{ from = "12:00", to = "13:00" }',
    )
    bundle = parse(text)
    assert bundle.supplies[0].weekly_no_water == (
        WeeklyNoWater((1, 5), 960, 1200, 'say "peak"'),
        WeeklyNoWater((7,), 1320, 360, "not given"),
        WeeklyNoWater((2,), 0, 1440, "not given"),
        WeeklyNoWater((1, 2, 3, 4, 5, 6, 7), 720, 780, "not given"),
    )
    assert parse(write_farm_file(bundle)) == bundle
    document = JsonFarmFormat().document(bundle)
    assert JsonFarmFormat().parse(document) == bundle


@pytest.mark.parametrize(
    ("hours", "where", "allowed"),
    [
        ('{ days = [], from = "16:00", to = "20:00" }', "days", "at least one weekday"),
        ('{ days = ["mon"], from = "16:00", to = "20:00" }', "days", "'monday'"),
        ('{ from = "16:00", to = "16:00" }', "to", "the whole day is from 00:00 to 24:00"),
        ('{ from = "16:00", to = "00:00" }', "to", "24:00 for midnight"),
        ('{ from = "24:00", to = "06:00" }', "from", "00:00 to 23:59"),
        ('{ from = "16:00", to = "25:00" }', "to", "up to 24:00"),
        ('{ from = "16:00" }', "to", "up to 24:00"),
    ],
)
def test_hours_that_cannot_be_are_refused_where_they_stand(
    hours: str, where: str, allowed: str
) -> None:
    (fault,) = faults_of(farm(hours))
    assert fault.where.endswith(f"weekly_no_water[1] {where}")
    assert allowed in fault.allowed


def test_a_block_that_could_never_run_is_refused() -> None:
    (fault,) = faults_of(farm('{ from = "00:00", to = "20:55" }'))
    assert "leaves the block no" in fault.found and "any weekday" in fault.found
