"""Boundaries of counties as GeoJSON."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema

from service.api.schemas.facts import Out
from service.geography.records import Outline
from service.operations.review.import_boundaries import LONGEST_SOURCE, BoundaryImport
from service.records.counties import CountyBoundaries
from service.records.farms import CountyDefinition


class BoundariesQuery(BaseModel):
    """Says how the boundaries of a document are to be read."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name_property: str | None = Field(
        None,
        min_length=1,
        max_length=100,
        description="Property of the features that holds codes or names of counties; left out: the"
        " one that fits the most.",
        examples=["GEOID"],
    )
    source: str = Field(
        "",
        max_length=LONGEST_SOURCE,
        description="Who published the boundaries, shown below the map.",
        examples=["Boundaries: your survey, 2024"],
    )


_FEATURES: dict[str, Any] = {
    "type": "array",
    "minItems": 1,
    "items": {
        "type": "object",
        "required": ["type", "geometry"],
        "properties": {
            "type": {"type": "string", "enum": ["Feature"]},
            "geometry": {
                "type": "object",
                "required": ["type", "coordinates"],
                "properties": {
                    "type": {"type": "string", "enum": ["Polygon", "MultiPolygon"]},
                    "coordinates": {"type": "array", "items": {"type": "array", "items": {}}},
                },
            },
        },
    },
}
"""What is read of them; the rest of the standard is let pass."""


class BoundariesIn(BaseModel):
    """A GeoJSON FeatureCollection (RFC 7946) of polygons in longitude and latitude."""

    model_config = ConfigDict(extra="allow", frozen=True)

    type: Literal["FeatureCollection"]
    features: Annotated[list[Any], WithJsonSchema(_FEATURES)] = Field(
        min_length=1,
        description="Features with a Polygon or MultiPolygon each, and a property that holds the"
        " code or name of its county.",
    )


class BoundaryImportOut(Out):
    """What an import of boundaries found."""

    name_property: str = Field(description="The property that the counties were matched by.")
    counties: list[str] = Field(description="Codes of the counties that have a boundary now.")
    without_boundary: list[str] = Field(description="Codes of those that have none.")
    unmatched: list[str] = Field(description="Names of boundaries that are no known county.")
    unplaced_count: int = Field(description="Features without a geometry.")
    corner_count: int = Field(description="Corners of the matched outlines as they were read.")
    kept_corner_count: int = Field(description="Corners that are stored and drawn.")
    is_new: bool = Field(description="False: the same boundaries were stored already.")

    @classmethod
    def of(cls, found: BoundaryImport) -> Self:
        """The answer to an import."""
        return cls(
            name_property=found.name_property,
            counties=[each.county_code for each in found.counties],
            without_boundary=[each.county_code for each in found.without_boundary],
            unmatched=list(found.unmatched),
            unplaced_count=found.unplaced_count,
            corner_count=found.corner_count,
            kept_corner_count=found.kept_corner_count,
            is_new=found.is_new,
        )


class OutlineOut(Out):
    """An outline."""

    type: Literal["MultiPolygon"] = "MultiPolygon"
    coordinates: list[list[list[list[float]]]] = Field(
        description="Polygons, each with its outer ring and then its holes; positions are longitude"
        " and latitude in degrees (WGS 84)."
    )


class CountyNameOut(Out):
    """Which county a feature is."""

    county_code: str = Field(description="Code of the county.")
    name: str = Field(description="Name of the county.")


class CountyFeatureOut(Out):
    """One county."""

    type: Literal["Feature"] = "Feature"
    id: str = Field(description="Code of the county.")
    properties: CountyNameOut
    geometry: OutlineOut


class CountyBoundariesOut(Out):
    """The boundaries as a GeoJSON FeatureCollection."""

    type: Literal["FeatureCollection"] = "FeatureCollection"
    features: list[CountyFeatureOut] = Field(description="By county code.")
    source: str = Field(description="Who published the boundaries; may be empty.")
    recorded_at: datetime = Field(description="When they were imported, UTC.")

    @classmethod
    def of(cls, boundaries: CountyBoundaries, counties: list[CountyDefinition]) -> Self:
        """The stored boundaries with the names of their counties."""
        return cls(
            features=[
                CountyFeatureOut(
                    id=county.county_code,
                    properties=CountyNameOut(county_code=county.county_code, name=county.name),
                    geometry=OutlineOut(
                        coordinates=_closed(boundaries.outlines[county.county_code].outline)
                    ),
                )
                for county in counties
                if county.county_code in boundaries.outlines
            ],
            source=boundaries.source,
            recorded_at=boundaries.recorded_at,
        )


def _closed(outline: Outline) -> list[list[list[list[float]]]]:
    """Rings whose last position is the first one again, as RFC 7946 has them."""
    return [
        [[list(position) for position in (*ring, ring[0])] for ring in polygon]
        for polygon in outline
    ]
