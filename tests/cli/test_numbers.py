"""Numbers with their sources, in a terminal."""

from __future__ import annotations

import pytest

from service.agronomy.crop_table import CROPS
from service.agronomy.soil import TEXTURE_KEYS
from tests.cli.conftest import Command, document


@pytest.mark.parametrize("units", ["us", "si"])
def test_a_block_has_every_number_with_its_source(demo: Command, units: str) -> None:
    found = document(demo("block", "larkbend.young", "--json"))
    text = demo("block", "larkbend.young", "--units", units).stdout
    assert max(map(len, text.splitlines())) <= 80
    assert {each["kind"] for each in found["derived"]} == {"derived"}
    depth = "0.57 in" if units == "us" else "14.6 mm"
    line = next(line for line in text.splitlines() if line.startswith("Total available water"))
    assert depth in line and "1000 (field capacity" in line
    assert "Emission uniformity" in text and "given" in text
    assert demo("block", "larkbend.none").exit_code == 1


def test_crops_and_soils_are_listed_with_their_sources(demo: Command) -> None:
    listed = demo("crops").stdout
    assert all(key in listed for key in CROPS)
    one = demo("crops", "blueberry", "--units", "si").stdout
    assert "FAO-56 (1998)" in one and "Table 22" in one
    soils = demo("soils").stdout
    assert all(key in soils for key in TEXTURE_KEYS) and "FAO-56 Table 19" in soils
    for text in (listed, one, soils):
        assert max(map(len, text.splitlines())) <= 80
    assert len(document(demo("soils", "--json"))) == len(TEXTURE_KEYS)
    assert document(demo("crops", "blueberry", "--json"))[0]["key"] == "blueberry"
    assert demo("crops", "kelp").exit_code == 2
