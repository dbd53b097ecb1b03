"""Laboratory reports as people type them: names as printed, nitrate by its nitrogen."""

from __future__ import annotations

from pathlib import Path

import pytest

from service.errors import InputInvalid
from service.farm_files.sample_file import parse_reading, read_sample_file
from service.waterworks.water_analysis import analysis_from_readings


@pytest.mark.parametrize(
    "text", ["10 mg/L as N", "10 mg/L N", "10 mg/L NO3-N", "10 ppm (NO3-N)", "10 mg/L (as N)"]
)
def test_nitrate_by_its_nitrogen_is_nitrate_nitrogen(text: str) -> None:
    reading = parse_reading("nitrate", text)
    assert reading.quantity == "nitrate-nitrogen"
    found = analysis_from_readings([reading])
    assert found.nitrate_nitrogen_mg_per_l == pytest.approx(10.0)


def test_nitrate_itself_stays_nitrate() -> None:
    reading = parse_reading("nitrate", "44.3 mg/L")
    assert reading.quantity == "nitrate"
    found = analysis_from_readings([reading]).nitrate_nitrogen_mg_per_l
    assert found == pytest.approx(10.0, abs=0.01)


def test_ph_and_ec_may_be_written_as_everybody_writes_them(tmp_path: Path) -> None:
    file = tmp_path / "water.toml"
    file.write_text('[readings]\npH = "7.6"\nEC = "0.7 dS/m"\n', encoding="utf-8")
    found = read_sample_file(file).readings
    assert [(each.quantity, each.value) for each in found] == [("ph", 7.6), ("ec", 0.7)]
    file.write_text('[readings]\npH = "7.6"\nph = "7.8"\n', encoding="utf-8")
    with pytest.raises(InputInvalid):
        analysis_from_readings(read_sample_file(file).readings)
