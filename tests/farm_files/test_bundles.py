"""Farm files whose bundles are on record: the same file keeps giving the same farm, bit for bit.

After an intended change, rewrite the records and review the difference before committing:

    python -m tests.farm_files.test_bundles
"""

from __future__ import annotations

import dataclasses
import json
from datetime import date, datetime
from pathlib import Path

import pytest

from service.farm_files.farm_file import parse_farm, read_farm_file, write_farm_file
from service.records.farms import FarmBundle

ROOT = Path(__file__).resolve().parents[2]
FILES = {
    "template": ROOT / "examples" / "farm-template.toml",
    "demo": ROOT / "service" / "demo_farm" / "farm.toml",
}


def _record(name: str) -> Path:
    return Path(__file__).with_name("bundles") / f"{name}.json"


def _text(value: object) -> str:
    if isinstance(value, date | datetime):
        return value.isoformat()
    raise TypeError(f"no JSON for {type(value).__name__}")


def as_json(bundle: FarmBundle) -> str:
    """The bundle as JSON, every number with all its digits."""
    return json.dumps(dataclasses.asdict(bundle), indent=1, default=_text) + "\n"


@pytest.mark.parametrize("name", FILES)
def test_a_file_gives_the_bundle_on_record(name: str) -> None:
    assert as_json(read_farm_file(FILES[name])) == _record(name).read_text("utf-8")


@pytest.mark.parametrize("name", FILES)
def test_its_export_reads_back_to_the_same(name: str) -> None:
    written = write_farm_file(read_farm_file(FILES[name]))
    assert as_json(parse_farm(written, name="export.toml")) == _record(name).read_text("utf-8")


if __name__ == "__main__":
    for each, path in FILES.items():
        _record(each).write_text(as_json(read_farm_file(path)), "utf-8")
