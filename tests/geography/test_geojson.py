"""GeoJSON: the examples of RFC 7946, and documents that are wrong or meant to harm."""

from __future__ import annotations

from typing import Any

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.geography import geojson
from service.geography.geojson import MOST_FAULTS, read_geojson, signed_area

# RFC 7946, appendix A.3 and A.6.
PLAIN = [[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]]
HOLE = [[100.8, 0.8], [100.8, 0.2], [100.2, 0.2], [100.2, 0.8], [100.8, 0.8]]
ELSEWHERE = [[102.0, 2.0], [103.0, 2.0], [103.0, 3.0], [102.0, 3.0], [102.0, 2.0]]


def feature(coordinates: Any, kind: str = "Polygon", **properties: Any) -> dict[str, Any]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def collection(*features: Any, **members: Any) -> dict[str, Any]:
    return {"type": "FeatureCollection", "features": list(features), **members}


def faults_of(document: Any) -> list[tuple[str, str, str]]:
    with pytest.raises(InputInvalid) as refused:
        read_geojson(document)
    return [(each.where, each.found, each.allowed) for each in refused.value.faults]


def test_polygons_with_holes_and_many_polygons_are_read_as_the_standard_gives_them() -> None:
    found = read_geojson(
        collection(
            feature([PLAIN, HOLE], name="A"),
            feature([[ELSEWHERE], [PLAIN, HOLE]], "MultiPolygon", name="B"),
        )
    )
    one, many = found.outlines
    assert one.outline == (
        (
            ((100.0, 0.0), (101.0, 0.0), (101.0, 1.0), (100.0, 1.0)),
            ((100.8, 0.8), (100.8, 0.2), (100.2, 0.2), (100.2, 0.8)),
        ),
    )
    assert (len(many.outline), many.outline[1]) == (2, one.outline[0])
    assert (one.names, many.place) == ({"name": "A"}, 1)


def test_rings_that_turn_the_other_way_are_turned_round() -> None:
    # Section 3.1.6: parsers should not reject polygons that do not follow the right-hand rule.
    (turned,) = read_geojson(feature([PLAIN[::-1], HOLE[::-1]])).outlines
    outer, hole = turned.outline[0]
    assert signed_area(outer) == pytest.approx(1.0) and signed_area(hole) == pytest.approx(-0.36)


def test_altitude_foreign_members_and_features_without_a_place_are_let_pass() -> None:
    high = [[*position, 250.0] for position in PLAIN]
    nowhere = {"type": "Feature", "id": "N", "properties": None, "geometry": None}
    found = read_geojson(collection(feature([high]), nowhere, title="mine", bbox=[1, 2, 3, 4]))
    assert found.outlines[0].outline[0][0][0] == (100.0, 0.0)
    assert found.unplaced_count == 1


def test_names_are_properties_that_are_short_text_or_whole_numbers_and_the_id() -> None:
    given_id = {
        **feature([PLAIN], NAME="A", FIPS=45001, area=1.5, tags=["x"], is_new=True),
        "id": 7,
    }
    assert read_geojson(given_id).outlines[0].names == {"id": "7", "NAME": "A", "FIPS": "45001"}


@pytest.mark.parametrize(
    ("crs", "is_read"),
    [
        ("urn:ogc:def:crs:OGC:1.3:CRS84", True),
        ("EPSG:4326", True),
        ("urn:ogc:def:crs:EPSG::4269", True),
        ("urn:ogc:def:crs:EPSG::3857", False),
        ("EPSG:26917", False),
    ],
)
def test_a_reference_system_of_the_older_format_is_only_passed_if_it_is_in_degrees(
    crs: str, is_read: bool
) -> None:
    document = collection(feature([PLAIN]), crs={"type": "name", "properties": {"name": crs}})
    if is_read:
        assert read_geojson(document).outlines
    else:
        ((where, found, allowed),) = faults_of(document)
        assert where == "/crs" and found == crs and "EPSG:4326" in allowed


@pytest.mark.parametrize(
    ("position", "words"),
    [
        ([514230.5, 3860113.2], "of a projection: export it unprojected"),
        ([35.0, -120.0], "in the other order"),
        ([200.0, 95.0], "-180 to 180 and -90 to 90"),
        (["100", "0"], "longitude first"),
        ([100.0], "longitude first"),
        ([True, False], "longitude first"),
        ([float("nan"), 0.0], "longitude first"),
        ([10**400, 0], "longitude first"),
        (None, "longitude first"),
    ],
)
def test_coordinates_that_are_no_degrees_are_explained(position: Any, words: str) -> None:
    ((where, _, allowed),) = faults_of(collection(feature([[PLAIN[0], position, *PLAIN[2:]]])))
    assert where == "/features/0/geometry/coordinates/0/1" and words in allowed


def test_an_edge_across_the_180th_meridian_is_refused_with_words() -> None:
    # Section 3.1.9 asks writers to cut such polygons.
    across = [[170.0, 40.0], [-170.0, 40.0], [-170.0, 50.0], [170.0, 50.0], [170.0, 40.0]]
    ((_, found, allowed),) = faults_of(feature([across]))
    assert "340 degrees" in found and "180th meridian" in allowed


@pytest.mark.parametrize(
    ("document", "where"),
    [
        (None, "/type"),
        ([], "/type"),
        ({"type": "Polygon", "coordinates": [PLAIN]}, "/type"),
        ({"type": "FeatureCollection"}, "/features"),
        (collection(), "/features"),
        (collection("A"), "/features/0/type"),
        (collection(feature(PLAIN[0], "Point")), "/features/0/geometry/type"),
        (collection(feature([])), "/features/0/geometry/coordinates"),
        (collection(feature([PLAIN[:3]])), "/features/0/geometry/coordinates/0"),
        (collection(feature([PLAIN[:4]])), "/features/0/geometry/coordinates/0/3"),
        (collection(feature([[[1, 1]] * 5])), "/features/0/geometry/coordinates/0"),
        (feature([[[0, 0], [1, 1], [2, 2], [0, 0]]]), "/geometry/coordinates/0"),
        (feature([[PLAIN], []], "MultiPolygon"), "/geometry/coordinates/1"),
    ],
)
def test_what_is_no_set_of_outlines_is_refused_at_its_place(document: Any, where: str) -> None:
    assert [fault[0] for fault in faults_of(document)] == [where]


def test_a_file_that_is_wrong_everywhere_has_a_list_that_can_be_read() -> None:
    projected = [[x * 1e5, y * 1e5] for x, y in PLAIN]
    found = faults_of(collection(*[feature([projected], name="x" * 500)] * 500))
    assert len(found) == MOST_FAULTS and all(len(" ".join(each)) < 400 for each in found)


def test_more_corners_than_can_be_simplified_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(geojson, "MOST_POSITIONS", 12)
    assert read_geojson(collection(feature([PLAIN]), feature([PLAIN]))).outlines
    ((_, found, allowed),) = faults_of(collection(*[feature([PLAIN])] * 9))
    assert found == "more than 12 positions" and "simplify" in allowed


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(["type", "features", "geometry", "coordinates", "properties", "crs"]),
            inner | st.sampled_from(["Feature", "FeatureCollection", "Polygon", "MultiPolygon"]),
            max_size=5,
        )
    ),
    max_leaves=12,
)


@given(JSON)
def test_any_document_is_read_or_refused_with_its_faults(document: Any) -> None:
    try:
        read_geojson(document)
    except InputInvalid as refused:
        assert refused.faults


@given(JSON, st.integers(0, 9))
def test_anything_in_the_place_of_coordinates_is_read_or_refused(inner: Any, depth: int) -> None:
    for _ in range(depth):
        inner = [inner]
    for kind in ("Polygon", "MultiPolygon"):
        try:
            read_geojson(collection(feature(inner, kind)))
        except InputInvalid as refused:
            assert refused.faults


def test_the_examples_survive_json() -> None:
    written = orjson.dumps(collection(feature([PLAIN, HOLE])))
    assert read_geojson(orjson.loads(written)).outlines[0].outline[0][0][1] == (101.0, 0.0)
