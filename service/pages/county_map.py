"""The map of the counties: what is drawn of a week on the boundaries that were imported."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.agronomy.county_need import Basis
from service.drawing.county_map import MapCounty, MapKey, county_map
from service.drawing.need_scale import need_class
from service.geography.equal_area import EARTH_RADIUS_KM, project
from service.geography.outlines import PlacedOutline, middle_latitude_deg
from service.geography.records import Position
from service.pages.county_scale import class_marks, need_class_width, shown_need
from service.records.counties import CountyBoundaries, CountyWeek
from service.translations import Wording
from service.translations.wording import US
from service.unit_sizes import M_PER_KM, M_PER_MILE

_KM_PER_MILE = M_PER_MILE / M_PER_KM
_BAR_SHARE = 0.2
"""How long the bar of the scale is at most, by the width of the map."""


@dataclass(frozen=True, slots=True)
class WeekMap:
    """The map of a week, and the counties that cannot be read off it."""

    drawn: Markup
    unlabeled: str
    """Names and numbers for which there is no room; empty: all have one."""
    missing: str
    """Counties without a boundary; empty: all have one."""
    source: str
    """Who published the boundaries."""


def week_map(
    title: str,
    finding: str,
    rows: Sequence[CountyWeek],
    boundaries: CountyBoundaries | None,
    words: Wording,
) -> WeekMap | None:
    """The counties of a week, ``rows`` in order of need; None where none has a boundary."""
    if boundaries is None:
        return None
    places = {row.county_code: place for place, row in enumerate(rows, 1)}
    on_map = [row for row in rows if row.county_code in boundaries.outlines]
    if not on_map:
        return None
    flat = _flat({row.county_code: boundaries.outlines[row.county_code] for row in on_map})
    width = need_class_width(rows, words)
    counties = [
        _county(row, flat[row.county_code], width, places[row.county_code], words) for row in on_map
    ]
    found = county_map(
        title, _description(finding, on_map, words), counties, _key(flat, rows, words)
    )
    missing = [row.name for row in rows if row.county_code not in boundaries.outlines]
    return WeekMap(
        found.drawn,
        ", ".join(f"{each.name} {each.shown}" for each in found.unlabeled),
        ", ".join(missing),
        boundaries.source,
    )


@dataclass(frozen=True, slots=True)
class _Flat:
    """One county in the plane, in kilometers."""

    rings: list[list[Position]]
    spot: Position
    half_height: float


def _flat(outlines: Mapping[str, PlacedOutline]) -> dict[str, _Flat]:
    middle_deg = middle_latitude_deg([each.outline for each in outlines.values()])
    corners: list[Position] = []
    for each in outlines.values():
        corners.append((each.label_longitude_deg, each.label_latitude_deg))
        corners += (corner for polygon in each.outline for ring in polygon for corner in ring)
    x, y = project(*zip(*corners, strict=True), standard_latitude_deg=middle_deg)
    places = zip((x * EARTH_RADIUS_KM).tolist(), (y * EARTH_RADIUS_KM).tolist(), strict=True)
    return {
        code: _Flat(
            spot=next(places),
            rings=[[next(places) for _ in ring] for polygon in each.outline for ring in polygon],
            half_height=math.radians(each.label_half_height_deg) * EARTH_RADIUS_KM,
        )
        for code, each in outlines.items()
    }


def _county(row: CountyWeek, flat: _Flat, width: float, place: int, words: Wording) -> MapCounty:
    need = shown_need(row.net_need_mm, words)
    is_known = math.isfinite(need)
    is_stand_in = is_known and row.basis is Basis.STAND_IN
    shown = words.bare_depth(row.net_need_mm) if is_known else words.gettext("no data")
    said = f"{row.name}: {words.depth(row.net_need_mm) if is_known else shown}"
    if is_stand_in:
        said += f", {words.gettext('stand-in')}"
    return MapCounty(
        name=row.name,
        shown=shown,
        said=said,
        address=f"#county-{place}",
        rings=flat.rings,
        spot=flat.spot,
        half_height=flat.half_height,
        need_class=need_class(need, width),
        is_stand_in=is_stand_in,
    )


def _description(finding: str, rows: Sequence[CountyWeek], words: Wording) -> str:
    stand_ins = [row.name for row in rows if row.basis is Basis.STAND_IN]
    unknown = [row.name for row in rows if not math.isfinite(row.net_need_mm)]
    parts = [
        finding,
        words.gettext("Hatched, since values stand in: {names}.", names=words.listed(stand_ins))
        if stand_ins
        else "",
        words.gettext("No data: {names}.", names=words.listed(unknown)) if unknown else "",
        words.gettext("Each county leads to its row in the table."),
    ]
    return " ".join(part for part in parts if part)


def _key(flat: Mapping[str, _Flat], rows: Sequence[CountyWeek], words: Wording) -> MapKey:
    across = [x for county in flat.values() for ring in county.rings for x, _ in ring]
    is_us = words.unit_system == US
    unit_km = _KM_PER_MILE if is_us else 1.0
    length = _round_length((max(across) - min(across)) / unit_km * _BAR_SHARE)
    return MapKey(
        marks=class_marks(rows, words),
        stand_in=words.gettext("stand-in"),
        north="N",
        distance=length * unit_km,
        distance_shown=words.distance(length * unit_km),
    )


def _round_length(most: float) -> float:
    """The longest of 1, 2, 5, 10, 20 and so on that is not longer; 1 at least."""
    power: float = 10.0 ** math.floor(math.log10(most))
    return max(1.0, *(step * power for step in (1.0, 2.0, 5.0) if step * power <= most))
