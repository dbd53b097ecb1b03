"""Import the boundaries of counties from GeoJSON, for the map of the counties.

A file is one set of boundaries: it replaces the set before it, as a whole or, on an error, not at
all. The outlines are simplified together, since neighbors are drawn with one border.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import orjson

from service.database.session import UnitOfWorkFactory
from service.database.weather_archive import COUNTIES_TOPIC
from service.errors import Fault, InputInvalid, NotFound
from service.geography.geojson import GeoJson, read_geojson, shown
from service.geography.matching import Matches, match_counties
from service.geography.outlines import check_places, place_outlines
from service.geography.records import Outline, Position
from service.ports import Clock
from service.records.audit import Subject
from service.records.counties import CountyBoundaries
from service.records.farms import CountyDefinition

LARGEST_FILE_BYTES: Final = 25_000_000
"""[CHOICE] More corners than are taken fit into it, with the decimals that programs write."""
LONGEST_SOURCE: Final = 200


@dataclass(frozen=True, slots=True)
class BoundaryImport:
    """What an import found."""

    name_property: str
    """The property that the counties were matched by."""
    counties: tuple[CountyDefinition, ...]
    """Those that have a boundary now."""
    without_boundary: tuple[CountyDefinition, ...]
    unmatched: tuple[str, ...]
    """Names of boundaries that are no known county."""
    unplaced_count: int
    """Features without a geometry."""
    corner_count: int
    """Of the matched outlines as they were read."""
    kept_corner_count: int
    is_new: bool
    """False: the same boundaries were stored already, and nothing was changed."""


def import_boundaries(
    content: bytes,
    *,
    name_property: str | None = None,
    source: str = "",
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> BoundaryImport:
    """Store the boundaries of a GeoJSON file in place of those before it.

    name_property: of the features, holding codes or names of counties; None: the one that fits the
    most counties. source: who published them, shown below the map.

    Raises InputInvalid with every fault found, NotFound if no county is stored.
    """
    return import_document(
        _parsed(content),
        name_property=name_property,
        source=source,
        unit_of_work=unit_of_work,
        clock=clock,
    )


def import_document(
    parsed: Any,
    *,
    name_property: str | None = None,
    source: str = "",
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> BoundaryImport:
    """:func:`import_boundaries` of what was parsed from JSON already."""
    _check_source(source)
    document = read_geojson(parsed)
    counties, sites = _known_counties(unit_of_work)
    matches = match_counties(
        [each.names for each in document.outlines],
        {code: county.name for code, county in counties.items()},
        name_property=name_property,
    )
    outlines = _merged(document, matches)
    check_places(outlines, {code: sites[code] for code in outlines})
    placed = place_outlines(outlines)
    boundaries = CountyBoundaries(placed, source, clock.now())
    is_new = _store(boundaries, unit_of_work)
    return BoundaryImport(
        name_property=matches.name_property,
        counties=tuple(county for code, county in counties.items() if code in placed),
        without_boundary=tuple(county for code, county in counties.items() if code not in placed),
        unmatched=matches.unmatched,
        unplaced_count=document.unplaced_count,
        corner_count=_corner_count(outlines),
        kept_corner_count=_corner_count({code: each.outline for code, each in placed.items()}),
        is_new=is_new,
    )


def find_boundaries(*, unit_of_work: UnitOfWorkFactory) -> CountyBoundaries | None:
    """The boundaries that are stored; None where none were imported."""
    with unit_of_work(write=False) as unit:
        return unit.boundaries.find()


def _store(boundaries: CountyBoundaries, unit_of_work: UnitOfWorkFactory) -> bool:
    with unit_of_work(write=True) as unit:
        before = unit.boundaries.find()
        is_new = unit.audit.note(
            Subject.BOUNDARIES,
            "counties",
            farm_id=None,
            before=_facts(before),
            after=_facts(boundaries),
        )
        if is_new:
            unit.boundaries.replace(boundaries)
            unit.marks.bump(COUNTIES_TOPIC)
    return is_new


def _facts(boundaries: CountyBoundaries | None) -> dict[str, object] | None:
    """What the record of changes keeps: not the outlines, but whether they are the same."""
    if boundaries is None:
        return None
    outlines = {code: each.outline for code, each in boundaries.outlines.items()}
    written = orjson.dumps(outlines, option=orjson.OPT_SORT_KEYS)
    return {
        "source": boundaries.source,
        "county_count": len(outlines),
        "corner_count": _corner_count(outlines),
        "fingerprint": hashlib.sha256(written).hexdigest()[:16],
    }


def _check_source(source: str) -> None:
    if len(source) > LONGEST_SOURCE or not (source.isprintable() or not source):
        raise InputInvalid(
            "the source cannot be shown",
            [Fault("source", shown(source), f"one line of at most {LONGEST_SOURCE} characters")],
        )


def _parsed(content: bytes) -> Any:
    if len(content) > LARGEST_FILE_BYTES:
        raise InputInvalid(
            "the boundaries cannot be read",
            [
                Fault(
                    "the file",
                    f"{len(content) / 1e6:.0f} MB",
                    f"at most {LARGEST_FILE_BYTES / 1e6:.0f} MB: simplify the boundaries, or leave"
                    " out the counties that are not compared",
                )
            ],
        )
    try:
        return orjson.loads(content.removeprefix(b"\xef\xbb\xbf"))
    except orjson.JSONDecodeError as error:
        raise InputInvalid(
            "the boundaries cannot be read",
            [
                Fault(
                    f"line {error.lineno}", error.msg, "GeoJSON (RFC 7946), which is JSON in UTF-8"
                )
            ],
        ) from error


def _known_counties(
    unit_of_work: UnitOfWorkFactory,
) -> tuple[dict[str, CountyDefinition], dict[str, Position]]:
    """The counties, and where their weather sites are, by code."""
    with unit_of_work(write=False) as unit:
        counties = unit.blocks.list_counties()
        stored = unit.blocks.read_site_table().definitions
    if not counties:
        raise NotFound("no county is stored; a farm file with [[county]] tables brings them")
    place_of = {site.site_id: (site.longitude_deg, site.latitude_deg) for site in stored}
    return (
        {county.county_code: county for county in counties},
        {county.county_code: place_of[county.site_id] for county in counties},
    )


def _merged(document: GeoJson, matches: Matches) -> dict[str, Outline]:
    """One outline for each county: some files have a feature for each of its islands."""
    return {
        code: tuple(
            dict.fromkeys(
                polygon for place in places for polygon in document.outlines[place].outline
            )
        )
        for code, places in sorted(matches.features_of.items())
    }


def _corner_count(outlines: Mapping[str, Outline]) -> int:
    return sum(
        len(ring) for outline in outlines.values() for polygon in outline for ring in polygon
    )
