"""Fallback runs of a supply's blocks: together they may take what it gives, and no more."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from service.database.session import UnitOfWorkFactory
from service.errors import InputInvalid
from service.farm_files.farm_file import parse_farm
from service.operations.farms.manage_controllers import list_controllers
from service.operations.farms.manage_farms import load_bundle
from service.records.farms import LoadOutcome
from tests.scheduled_farms import FixedClock

DAY = date(2026, 7, 14)
# 0.4 ha in rows of 2.5 m with an emitter of 2 L/h every 0.5 m: 3,200 emitters, 6,400 L/h; by hand.
FARM = """
[farm]
id = "invented"
zone = "America/New_York"

[[site]]
id = "home"
latitude = 35.91
longitude = -79.22
elevation = "510 ft"

[[supply]]
id = "well"
flow = "{well}"

[[supply]]
id = "pond"
flow = "7 m3/h"
"""
BLOCK = """
[[block]]
id = "{id}"
crop = "grape-wine"
supply = "{supply}"
area = "0.4 ha"
row_spacing = "2.5 m"
emitter_spacing = "0.5 m"
emitter_flow = "2 L/h"
soil = {{ texture = "loam" }}
windows = ["04:00-12:00"]
"""
Run = tuple[str, str, str]
"""Block, start and duration."""


def farm(*controllers: tuple[str, list[Run]], well: str = "12.7 m3/h") -> str:
    """A file: two blocks on the well, one on the pond; controllers by policy and runs."""
    text = FARM.format(well=well)
    for block, supply in (("north", "well"), ("south", "well"), ("west", "pond")):
        text += BLOCK.format(id=block, supply=supply)
    for number, (policy, runs) in enumerate(controllers, 1):
        channels = ", ".join(
            f'{{ channel = {channel}, block = "{block}",'
            f' fallback = [{{ start = "{start}", duration = "{duration}" }}] }}'
            for channel, (block, start, duration) in enumerate(runs, 1)
        )
        text += (
            f'[[controller]]\nid = "shed-{number}"\npolicy = "{policy}"\nchannels = [{channels}]\n'
        )
    return text


def load(open_unit: UnitOfWorkFactory, text: str) -> LoadOutcome:
    return load_bundle(
        parse_farm(text, name="invented.toml"),
        effective_day=DAY,
        unit_of_work=open_unit,
        clock=FixedClock(datetime(2026, 7, 14, 12, tzinfo=UTC)),
    )


NORTH, SOUTH = ("north", "05:00", "60 min"), ("south", "05:30", "60 min")


def test_blocks_that_take_more_than_their_supply_at_the_same_time_are_refused(
    open_unit: UnitOfWorkFactory,
) -> None:
    with pytest.raises(InputInvalid) as refused:
        load(open_unit, farm(("fallback", [NORTH, SOUTH, ("west", "05:00", "60 min")])))
    (fault,) = refused.value.faults
    assert fault.where == "fallback at 05:30 of controller invented.shed-1 (channel 1, 2)"
    assert fault.found == "12,800 L/h at the same time"
    assert fault.allowed.startswith("at most the flow of supply 'well', 12,700 L/h;")
    with open_unit(write=False) as unit:
        assert unit.blocks.list_farms() == []


def test_controllers_of_one_farm_fall_back_together(open_unit: UnitOfWorkFactory) -> None:
    with pytest.raises(InputInvalid) as refused:
        load(open_unit, farm(("fallback", [NORTH]), ("fallback", [SOUTH])))
    assert refused.value.faults[0].where == (
        "fallback at 05:30 of controller invented.shed-1 (channel 1)"
        " and controller invented.shed-2 (channel 1)"
    )


@pytest.mark.parametrize(
    "text",
    [
        farm(("fallback", [NORTH, ("south", "06:00", "60 min")])),
        farm(("fallback", [NORTH, ("west", "05:00", "60 min")])),
        farm(("fallback", [NORTH]), ("stop", [SOUTH])),
        farm(("fallback", [NORTH, SOUTH]), well="12.8 m3/h"),
    ],
    ids=["one after the other", "of two supplies", "that stops instead", "all of the supply"],
)
def test_blocks_that_their_supply_can_feed_are_taken(
    open_unit: UnitOfWorkFactory, text: str
) -> None:
    load(open_unit, text)
    assert list_controllers("invented", unit_of_work=open_unit)
    assert load(open_unit, text).changed_count == 0


def test_a_supply_cannot_be_made_smaller_than_its_fallback(open_unit: UnitOfWorkFactory) -> None:
    runs = ("fallback", [NORTH, SOUTH])
    load(open_unit, farm(runs, well="13 m3/h"))
    with pytest.raises(InputInvalid, match="12,800 L/h"):
        load(open_unit, farm(runs))
    with open_unit(write=False) as unit:
        supplies = unit.blocks.get_bundle("invented", day=DAY).supplies
    assert [round(each.flow_l_per_h) for each in supplies] == [7_000, 13_000]
