"""Boundaries of counties: imported as a whole, in place of those before, or not at all."""

from __future__ import annotations

from typing import Any

import orjson
import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.audit.read_audit import follow_audit
from service.operations.review import import_boundaries as operation
from service.operations.review.import_boundaries import (
    BoundaryImport,
    find_boundaries,
    import_boundaries,
)
from service.records.audit import Subject

HOME, FAR = (-79.5, 35.7), (-80.5, 34.9)
"""West and south of squares around the sites of X01 and X02."""


def feature(name: str, corner: tuple[float, float], size: float = 0.5) -> dict[str, Any]:
    """A square in half degrees, so that neighbors share corners."""
    west, south = corner
    ring = [
        [west, south], [west + size, south], [west + size, south + size], [west, south + size],
        [west, south],
    ]  # fmt: skip
    return {
        "type": "Feature",
        "properties": {"code": name},
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }


def file_of(*features: dict[str, Any]) -> bytes:
    return orjson.dumps({"type": "FeatureCollection", "features": list(features)})


def bring(service: Service, content: bytes, **options: Any) -> BoundaryImport:
    return import_boundaries(
        content, unit_of_work=service.unit_of_work, clock=service.clock, **options
    )


def changes(service: Service) -> list[Any]:
    page = follow_audit(None, after=0, count=500, unit_of_work=service.unit_of_work)
    return [each for each in page.entries if each.subject is Subject.BOUNDARIES]


def test_counties_are_matched_and_what_is_left_over_on_either_side_is_told(
    region: Service,
) -> None:
    nowhere = {"type": "Feature", "properties": {"code": "X09"}, "geometry": None}
    content = file_of(feature("X01", HOME), feature("X03", FAR), nowhere)
    found = bring(region, content, source="Invented Survey")
    assert [each.county_code for each in found.counties] == ["X01"]
    assert [each.county_code for each in found.without_boundary] == ["X02"]
    assert (found.unmatched, found.unplaced_count) == (("X03",), 1)
    assert (found.corner_count, found.kept_corner_count, found.is_new) == (4, 4, True)
    stored = find_boundaries(unit_of_work=region.unit_of_work)
    assert stored is not None and stored.source == "Invented Survey"
    assert stored.recorded_at == region.clock.now()
    placed = stored.outlines["X01"]
    assert placed.outline[0][0][0] == HOME
    assert (placed.label_longitude_deg, placed.label_latitude_deg) == pytest.approx(
        (-79.25, 35.95), abs=0.02
    )


def test_a_file_replaces_the_set_before_it_and_the_change_is_noted_once(region: Service) -> None:
    both = file_of(feature("X01", HOME), feature("X02", FAR))
    assert bring(region, both).is_new
    assert not bring(region, both).is_new
    assert bring(region, file_of(feature("X02", FAR))).is_new
    stored = find_boundaries(unit_of_work=region.unit_of_work)
    assert stored is not None and list(stored.outlines) == ["X02"]
    first, second = changes(region)
    assert first.farm_id is None and first.before is None
    assert first.after["county_count"] == 2 and first.after["corner_count"] == 8
    assert (second.before["county_count"], second.after["county_count"]) == (2, 1)
    assert "source" not in second.after  # it has not changed


def test_islands_of_a_county_may_be_features_of_their_own_and_a_copy_counts_once(
    region: Service,
) -> None:
    island = feature("X01", (-78.9, 35.7), 0.2)
    bring(region, file_of(feature("X01", HOME), island, feature("X01", HOME)))
    stored = find_boundaries(unit_of_work=region.unit_of_work)
    assert stored is not None and len(stored.outlines["X01"].outline) == 2


def test_nothing_is_stored_of_a_file_with_a_fault(region: Service) -> None:
    bring(region, file_of(feature("X01", HOME)))
    projected = feature("X02", (400_000.0, 3_900_000.0), 5_000.0)
    with pytest.raises(InputInvalid, match="export it unprojected"):
        bring(region, file_of(feature("X01", FAR), projected))
    with pytest.raises(InputInvalid, match="not where the counties are"):
        bring(region, file_of(feature("X01", (10.0, 50.0))))
    stored = find_boundaries(unit_of_work=region.unit_of_work)
    assert stored is not None and stored.outlines["X01"].outline[0][0][0] == HOME
    assert len(changes(region)) == 1


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "line 1"),
        (b'{"type": "Feature",\n "x": NaN}', "line 2"),
        (b"[" * 100_000, "JSON in UTF-8"),
        ('{"type": "Fé"}'.encode("latin-1"), "JSON in UTF-8"),
        (b"PK\x03\x04 a shapefile", "JSON in UTF-8"),
    ],
)
def test_what_is_no_json_is_refused_with_its_line(
    region: Service, content: bytes, words: str
) -> None:
    with pytest.raises(InputInvalid, match="the boundaries cannot be read") as refused:
        bring(region, content)
    assert words in str(refused.value)


def test_a_byte_order_mark_does_no_harm(region: Service) -> None:
    assert bring(region, b"\xef\xbb\xbf" + file_of(feature("X01", HOME))).is_new


def test_a_file_that_is_too_large_is_not_even_parsed(
    region: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(operation, "LARGEST_FILE_BYTES", 100)
    with pytest.raises(InputInvalid, match="leave out the counties that are not compared"):
        bring(region, b"[" * 101)


def test_a_source_is_one_line(region: Service) -> None:
    for source in ("a\nb", "x" * 201):
        with pytest.raises(InputInvalid, match="one line of at most 200 characters"):
            bring(region, file_of(feature("X01", HOME)), source=source)


def test_without_counties_there_is_nothing_to_match(own_service: Service) -> None:
    with pytest.raises(NotFound, match="no county is stored"):
        bring(own_service, file_of(feature("X01", HOME)))
    assert find_boundaries(unit_of_work=own_service.unit_of_work) is None
