"""How a block is controlled in a farm file: its own word, its supply's timer, a controller."""

from __future__ import annotations

import pytest

from service.agronomy.week_ahead import DayRule
from service.errors import FarmFileInvalid
from service.farm_files.farm_file import parse_farm, write_farm_file
from service.records.farms import BlockDefinition, FarmBundle
from service.records.timers import TimerSettings

SUPPLY_TIMER = """
[supply.timer]
starts = 3
step = "30 s"
days = "interval"
set_on = "friday"
"""
OF_SUPPLY = TimerSettings(start_count=3, run_step_min=0.5, day_rule=DayRule.INTERVAL, set_weekday=5)
OWN = '[block.timer]\nstarts = 2\nset_on = "{day}"\n'
HAND = '[block.hand]\nvisits = ["07:00-07:30"]\n'
CHANNEL = '\n[[controller]]\nid = "shed"\nchannels = [{ channel = 1, block = "north" }]\n'


def farm(
    north: str = "", south: str = "", *, supply: str = SUPPLY_TIMER, flow: str = "99 gpm",
    after: str = "",
) -> str:  # fmt: skip
    block = """
[[block]]
id = "{id}"
crop = "blueberry"
area = "1 ac"
row_spacing = "10 ft"
emitter_spacing = "18 in"
emitter_flow = "0.5 gph"
soil = {{ texture = "sandy-loam" }}
season = {{ start = "03-20", lengths = [20, 60, 120, 50] }}
{control}"""
    return (
        '[farm]\nid = "home"\nname = "Home"\nzone = "America/New_York"\n'
        '[[site]]\nid = "yard"\nlatitude = 35.9\nlongitude = -79.2\nelevation = "500 ft"\n'
        f'[[supply]]\nid = "well"\nflow = "{flow}"\n{supply}'
        + block.format(id="north", control=north)
        + block.format(id="south", control=south)
        + after
    )


def parsed(text: str) -> FarmBundle:
    bundle = parse_farm(text, name="farm.toml")
    assert parse_farm(write_farm_file(bundle), name="again.toml") == bundle
    return bundle


def blocks_of(text: str) -> dict[str, BlockDefinition]:
    return {each.block_id.partition(".")[2]: each for each in parsed(text).blocks}


def test_blocks_that_say_nothing_have_the_timer_of_their_supply() -> None:
    bundle = parsed(farm())
    assert bundle.supplies[0].timer == OF_SUPPLY
    assert [each.timer for each in bundle.blocks] == [OF_SUPPLY, OF_SUPPLY]
    assert write_farm_file(bundle).count(".timer]") == 1


def test_a_block_overrides_the_timer_of_its_supply() -> None:
    found = blocks_of(farm(OWN.format(day="friday"), HAND))
    assert found["north"].timer is not None
    assert found["north"].timer.start_count == 2
    assert (found["south"].timer, len(found["south"].visits)) == (None, 1)
    polled = blocks_of(farm('control = "controller"\n', 'control = "timer"\n'))
    assert (polled["north"].timer, polled["south"].timer) == (None, OF_SUPPLY)


def test_a_block_on_a_channel_is_not_on_its_supplys_timer() -> None:
    found = blocks_of(farm(after=CHANNEL))
    assert (found["north"].timer, found["south"].timer) == (None, OF_SUPPLY)


def faults_of(text: str) -> list[tuple[str, str]]:
    with pytest.raises(FarmFileInvalid) as refused:
        parse_farm(text, name="farm.toml")
    return [(fault.where.rpartition(": ")[2], fault.found) for fault in refused.value.faults]


@pytest.mark.parametrize(
    ("control", "what"),
    [(HAND, "which is opened by hand"), (OWN.format(day="friday"), "which is on a timer")],
)
def test_a_channel_opens_no_valve_that_something_else_opens(control: str, what: str) -> None:
    ((where, found),) = faults_of(farm(control, after=CHANNEL))
    assert where == "controller[1] 'shed' channels[1] block"
    assert found == f"'north', {what}"


@pytest.mark.parametrize(
    "control",
    [
        f'control = "controller"\n{HAND}',
        f'control = "controller"\n{OWN.format(day="friday")}',
        f'control = "timer"\n{HAND}',
        f'control = "hand"\n{OWN.format(day="friday")}',
        'control = "hand"\n',
        'control = "tap"\n',
    ],
)
def test_a_control_that_the_tables_contradict_is_refused(control: str) -> None:
    assert "block[1] 'north' control" in {where for where, _ in faults_of(farm(control))}


def test_a_timer_that_nobody_describes_is_refused() -> None:
    ((where, _),) = faults_of(farm('control = "timer"\n', supply=""))
    assert where == "block[1] 'north' control"


def test_timers_that_take_turns_are_set_on_one_weekday() -> None:
    split = (OWN.format(day="monday"), OWN.format(day="friday"))
    assert len(blocks_of(farm(*split))) == 2
    ((where, found),) = faults_of(farm(*split, flow="30 gpm"))
    assert where == "supply[1] 'well' id"
    assert found == "timers that are set on monday and friday"
