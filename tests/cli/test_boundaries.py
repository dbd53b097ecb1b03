"""The command that imports county boundaries: what it says, and what it refuses."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy.engine import URL

from service.demo_farm import BOUNDARY_FILE
from tests.cli.conftest import call, document


def test_the_demonstration_has_its_boundaries_already(demo_database: URL) -> None:
    found = document(
        call(
            demo_database, "boundaries-import", str(BOUNDARY_FILE), "--json",
            "--source", "Boundaries: invented",
        )
    )  # fmt: skip
    assert found["counties"] == ["XX-01", "XX-02", "XX-03", "XX-04"]
    assert (found["name_property"], found["is_new"]) == ("code", False)
    assert found["without_boundary"] == found["unmatched"] == []


def test_a_refusal_names_the_place_and_a_missing_file_itself(
    demo_database: URL, tmp_path: Path
) -> None:
    wrong = tmp_path / "wrong.geojson"
    wrong.write_text(BOUNDARY_FILE.read_text("utf-8").replace("-82.18", "482180.5", 1), "utf-8")
    refused = call(demo_database, "boundaries-import", str(wrong))
    assert refused.exit_code == 2
    assert "/features/0/geometry/coordinates/0/0" in refused.stderr
    assert "export it unprojected" in " ".join(refused.stderr.split())
    missing = call(demo_database, "boundaries-import", str(tmp_path / "none.geojson"))
    assert missing.exit_code == 2 and "none.geojson" in missing.stderr


@pytest.mark.parametrize(("name", "exit_code"), [("name", 0), ("NAME", 2)])
def test_the_property_may_be_given(own_demo_url: URL, name: str, exit_code: int) -> None:
    found = call(own_demo_url, "boundaries-import", str(BOUNDARY_FILE), "--name-property", name)
    assert found.exit_code == exit_code
    said = " ".join((found.stdout + found.stderr).split())
    if exit_code:
        assert "code such as 'XX-01'" in said
    else:
        assert "4 of 4 counties matched by 'name'; 72 of 72 corners kept" in said
