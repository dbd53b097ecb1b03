"""Reports on leaves and soil as files."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from service.errors import InputInvalid
from service.farm_files.nutrient_file import read_nutrient_file

LEAF = """
kind = "leaf"
taken = 2026-08-01
crop = "highbush-blueberry"
leaves = 60
recommendation = "50 lb/ac of nitrogen"
[readings]
N = "1.60 %"
zinc = "<5 ppm"
[ranges]
N = "1.7 to 2.1 %"
"""


def test_a_toml_report_is_read_with_its_own_ranges(tmp_path: Path) -> None:
    path = tmp_path / "leaf.toml"
    path.write_text(LEAF, encoding="utf-8")
    found = read_nutrient_file(path)
    assert (found.kind, found.day, found.leaf_count) == ("leaf", date(2026, 8, 1), 60)
    assert [(each.nutrient, each.value) for each in found.readings] == [("N", 1.6), ("Zn", 5.0)]
    assert found.readings[1].is_below_detection
    assert found.own_ranges == {"N": (1.7, 2.1)}


def test_a_csv_report_is_read(tmp_path: Path) -> None:
    path = tmp_path / "leaf.csv"
    path.write_text(
        "Nutrient,Value,Unit,Low,High\nNitrogen,1.60,%,1.7,2.1\nBoron,22,ppm,,\n", encoding="utf-8"
    )
    found = read_nutrient_file(path)
    assert [each.nutrient for each in found.readings] == ["N", "B"]
    assert found.own_ranges == {"N": (1.7, 2.1)}


def test_faults_are_listed_all_at_once(tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(
        LEAF.replace('"leaf"', '"fruit"').replace("zinc", "unobtainium") + "colour = 1\n",
        encoding="utf-8",
    )
    with pytest.raises(InputInvalid) as refused:
        read_nutrient_file(path)
    said = " ".join(f"{each.where} {each.allowed}" for each in refused.value.faults)
    assert "kind" in said and "unobtainium" in said and "colour" in said


def test_a_csv_without_its_columns_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bad.csv"
    path.write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(InputInvalid, match="columns nutrient, value, unit"):
        read_nutrient_file(path)
