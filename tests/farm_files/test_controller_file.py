"""Controllers in a farm file: read with every fault named, and written back as they were."""

from __future__ import annotations

import pytest

from service.errors import FarmFileInvalid
from service.farm_files.farm_file import parse_farm, write_farm_file
from service.records.controllers import ChannelDefinition, ControllerDefinition, FallbackRun

FARM = """
[farm]
id = "hill"
zone = "America/New_York"

[[site]]
id = "home"
latitude = 35.9
longitude = -79.2
elevation = "500 ft"

[[supply]]
id = "well"
flow = "400 gpm"

[[block]]
id = "north"
crop = "blueberry"
area = "1 ac"
row_spacing = "10 ft"
emitter_spacing = "18 in"
emitter_flow = "0.5 gph"
soil = { texture = "loam" }
season = { start = "03-20", lengths = [25, 45, 110, 50] }
windows = ["04:00-10:00"]
daily_maximum = "2 h"

[[block]]
id = "south"
crop = "blueberry"
area = "1 ac"
row_spacing = "10 ft"
emitter_spacing = "18 in"
emitter_flow = "0.5 gph"
soil = { texture = "loam" }
season = { start = "03-20", lengths = [25, 45, 110, 50] }
"""
SHED = """
[[controller]]
id = "shed"
name = "Pump shed"
policy = "stop"
channels = [
    { channel = 2, block = "south" },
    { channel = 1, block = "north", fallback = [
        { start = "08:00", duration = "0.5 h" }, { start = "05:30", duration = "40 min" },
    ] },
]
"""


def faults_of(text: str) -> str:
    with pytest.raises(FarmFileInvalid) as refused:
        parse_farm(FARM + text, name="farm.toml")
    return str(refused.value)


def test_a_controller_is_read_with_its_channels_in_order() -> None:
    assert parse_farm(FARM + SHED, name="farm.toml").controllers == (
        ControllerDefinition(
            controller_id="hill.shed",
            farm_id="hill",
            name="Pump shed",
            policy="stop",
            channels=(
                ChannelDefinition(
                    channel=1,
                    block_id="hill.north",
                    fallback=(FallbackRun(330, 40), FallbackRun(480, 30)),
                ),
                ChannelDefinition(channel=2, block_id="hill.south"),
            ),
        ),
    )


def test_name_and_policy_have_defaults() -> None:
    text = '[[controller]]\nid = "shed"\nchannels = [{ channel = 1, block = "north" }]\n'
    (controller,) = parse_farm(FARM + text, name="farm.toml").controllers
    assert (controller.name, controller.policy) == ("shed", "fallback")


def test_what_is_written_back_reads_to_the_same() -> None:
    bundle = parse_farm(FARM + SHED, name="farm.toml")
    assert parse_farm(write_farm_file(bundle), name="again.toml") == bundle


@pytest.mark.parametrize(
    ("before", "after", "fault"),
    [
        ('"south" }', '"west" }', "a [[block]] of this file|north, south"),
        ("channel = 2", "channel = 0", "a whole number from 1 to 64"),
        ("channel = 2", "channel = 1", "a number that no other channel of it has"),
        ('"south" }', '"north" }', "a block of its own"),
        ('"stop"', '"open"', "one of fallback, stop"),
        ('"05:30"', '"03:30"', "a run within one window of the block, 04:00-10:00"),
        ('"05:30"', '"09:40"', "a run within one window of the block"),
        ('"05:30"', '"24:00"', "00:00 to 23:59"),
        ('"40 min"', "40", "a duration"),
        ('"40 min"', '"40.5 min"', "whole minutes"),
        ('"40 min"', '"3 min"', "10 to 720 min"),
        ('"40 min"', '"100 min"', "at most the daily maximum of the block, 120 min"),
        ('"08:00"', '"05:45"', "runs one after the other"),
        ('id = "shed"', 'id = "shed"\nport = 1', "a key of that name"),
    ],
)
def test_a_fault_is_named_with_what_is_allowed(before: str, after: str, fault: str) -> None:
    found = faults_of(SHED.replace(before, after, 1))
    assert any(part in found for part in fault.split("|")), found


def test_a_block_belongs_to_one_channel_of_all_controllers() -> None:
    assert "a block of its own" in faults_of(SHED + SHED.replace('"shed"', '"barn"'))


def test_a_controller_without_channels_or_farm_is_refused() -> None:
    assert "1 to 64 tables" in faults_of('[[controller]]\nid = "shed"\nchannels = []\n')
    with pytest.raises(FarmFileInvalid, match=r"\[\[controller\]\] without a farm"):
        parse_farm(SHED, name="farm.toml")
