"""Boundaries of counties in the database: one set at a time."""

from __future__ import annotations

import orjson
from sqlalchemy import Connection, delete, insert, select

from service.database.tables import county, county_boundary
from service.errors import NotFound
from service.geography.outlines import PlacedOutline
from service.geography.records import Outline
from service.records.counties import CountyBoundaries


class BoundaryStore:
    """The outlines of counties."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def replace(self, boundaries: CountyBoundaries) -> None:
        """Store these boundaries in place of all others; raises NotFound for an unknown county."""
        key_of = {
            row.county_code: row.county_key
            for row in self._connection.execute(select(county.c.county_code, county.c.county_key))
        }
        unknown = sorted(boundaries.outlines.keys() - key_of.keys())
        if unknown:
            raise NotFound(f"county {unknown[0]!r}: there is no such county")
        self._connection.execute(delete(county_boundary))
        if not boundaries.outlines:
            return
        self._connection.execute(
            insert(county_boundary),
            [
                {
                    "county_key": key_of[code],
                    "outline": orjson.dumps(placed.outline).decode(),
                    "label_longitude_deg": placed.label_longitude_deg,
                    "label_latitude_deg": placed.label_latitude_deg,
                    "label_half_height_deg": placed.label_half_height_deg,
                    "source": boundaries.source,
                    "recorded_at": boundaries.recorded_at,
                }
                for code, placed in boundaries.outlines.items()
            ],
        )

    def find(self) -> CountyBoundaries | None:
        """The boundaries that are stored, by county code; None where there are none."""
        rows = (
            self._connection.execute(
                select(county_boundary, county.c.county_code)
                .join(county, county.c.county_key == county_boundary.c.county_key)
                .order_by(county.c.county_code)
            )
            .mappings()
            .all()
        )
        if not rows:
            return None
        return CountyBoundaries(
            outlines={
                row["county_code"]: PlacedOutline(
                    outline=_outline(row["outline"]),
                    label_longitude_deg=row["label_longitude_deg"],
                    label_latitude_deg=row["label_latitude_deg"],
                    label_half_height_deg=row["label_half_height_deg"],
                )
                for row in rows
            },
            source=rows[0]["source"],
            recorded_at=rows[0]["recorded_at"],
        )


def _outline(text: str) -> Outline:
    return tuple(
        tuple(tuple((x, y) for x, y in ring) for ring in polygon) for polygon in orjson.loads(text)
    )
