"""Pipes in a farm file: read, written back, and refused with their cause."""

from __future__ import annotations

import pytest

from service.errors import FarmFileInvalid
from service.farm_files.farm_file import parse_farm, write_farm_file
from service.waterworks.block_layout import BlockLayout

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

[block.hydraulics]
lateral_diameter = "16 mm"
"""
WHOLE = """
lateral_length = "46 m"
inlet_pressure = "30 psi"
compensates = ["5 m", "0.4 bar"]
manufacturer_variation = "4 %"
first_emitter = "1 ft"
row_profile = [["0 m", "10 m"], ["20 m", "9.5 m"], ["46 m", "9.7 m"]]
manifold = { diameter = "2 in", rows = 12, sides = 2, slope = "-1 %" }
submain = { diameter = "63 mm", length = "40 m", rise = "1 m" }
regulator = { set = "15 psi", loss = "3 m", lowest_flow = "2 gpm", highest_flow = "30 gpm" }
"""


def layout_of(text: str) -> BlockLayout:
    layout = parse_farm(FARM + text, name="farm.toml").blocks[0].layout
    assert layout is not None
    return layout


def test_pipes_are_read_in_units_of_the_field() -> None:
    text = WHOLE.replace('"0.4 bar"', '"4 bar"')
    layout = layout_of(text)
    assert layout.emitter_count == 92  # 46 m at 0.5 m
    assert layout.supply_head_m == pytest.approx(21.092, abs=0.001)  # 30 psi, by hand
    assert layout.compensates_to_head_m == pytest.approx(40.789, abs=0.001)  # 4 bar
    assert layout.manifold_diameter_mm == pytest.approx(50.8)
    assert layout.takeoff_spacing_m == 2.5  # the rows' own spacing
    assert layout.manifold_profile == ((0.0, 0.0), (100.0, -1.0))
    assert layout.regulator_highest_flow_l_per_h == pytest.approx(6813.7, abs=0.1)


def test_exported_pipes_read_back_equal() -> None:
    bundle = parse_farm(FARM + WHOLE.replace('"0.4 bar"', '"4 bar"'), name="farm.toml")
    assert parse_farm(write_farm_file(bundle), name="export.toml") == bundle


def test_a_block_without_pipes_has_none() -> None:
    text = FARM.partition("[block.hydraulics]")[0]
    assert parse_farm(text, name="farm.toml").blocks[0].layout is None


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ('inlet_pressure = "10 m"', "emitter_count"),
        ("emitter_count = 100", "inlet_pressure"),
        ('emitter_count = 100\ninlet_pressure = "10 s"', "inlet_pressure"),
        ('emitter_count = 100\ninlet_pressure = "900 m"', "inlet_pressure"),
        ('emitter_count = 9.5\ninlet_pressure = "9 m"', "emitter_count"),
        ('emitter_count = 9\nlateral_length = "9 m"\ninlet_pressure = "9 m"', "lateral_length"),
        ('emitter_count = 9\ninlet_pressure = "9 m"\nrow_profile = [["1 m", "0 m"]]', "row_prof"),
        ('emitter_count = 9\ninlet_pressure = "9 m"\nemitter_exponent = 2', "emitter_exponent"),
        ('emitter_count = 9\ninlet_pressure = "9 m"\nfriction = "none"', "friction"),
        ('emitter_count = 9\ninlet_pressure = "9 m"\ncompensates = ["9 m", "5 m"]', "compensates"),
        ('emitter_count = 9\ninlet_pressure = "9 m"\npump = 1', "pump"),
        # What the solvers would not take later on, when a plan or a page asks for the pipes.
        ('emitter_count = 9\ninlet_pressure = "9 m"\nemitters_per_plant = 0.5', "per_plant"),
        ('emitter_count = 9\ninlet_pressure = "9 m"\nnominal_pressure = "0 m"', "nominal_pres"),
        ('emitter_count = 9\ninlet_pressure = "9 m"\nregulator = { set = "0 psi" }', "set"),
        (
            'emitter_count = 9\ninlet_pressure = "9 m"\n'
            'regulator = { set = "20 m", highest_pressure = "10 m" }',
            "highest_pressure",
        ),
    ],
)
def test_impossible_pipes_are_refused_at_their_key(text: str, where: str) -> None:
    with pytest.raises(FarmFileInvalid) as caught:
        parse_farm(FARM + text, name="farm.toml")
    assert any(where in fault.where for fault in caught.value.faults)
