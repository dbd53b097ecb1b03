"""The command that imports the boundaries of counties."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from service.cli import shown
from service.cli.terminal import JsonOption, note, open_service, out, print_json
from service.errors import Fault, InputInvalid
from service.operations.review.import_boundaries import (
    LARGEST_FILE_BYTES,
    BoundaryImport,
    import_boundaries,
)

MOST_NAMED = 10


def boundaries_import(
    boundary_file: Annotated[
        Path, typer.Argument(help="GeoJSON (RFC 7946) in longitude and latitude.")
    ],
    name_property: Annotated[
        str | None,
        typer.Option(
            "--name-property",
            metavar="NAME",
            help="Property that holds the county's code or name; default: the one that fits most.",
        ),
    ] = None,
    source: Annotated[
        str, typer.Option("--source", help="Who published them, shown below the map.")
    ] = "",
    as_json: JsonOption = False,
) -> None:
    """Import county boundaries for the map: all of the file, or nothing and a list of faults."""
    content = _content(boundary_file)
    service = open_service()
    found = import_boundaries(
        content,
        name_property=name_property,
        source=source,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    if as_json:
        print_json(_document(found))
        return
    known = len(found.counties) + len(found.without_boundary)
    out.print(
        f"{len(found.counties)} of {known} {'county' if known == 1 else 'counties'} matched by"
        f" {found.name_property!r}; {found.kept_corner_count:,} of {found.corner_count:,} corners"
        f" kept{'' if found.is_new else '; the same as before'}"
    )
    if found.without_boundary:
        names = [f"{each.county_code} {each.name}" for each in found.without_boundary]
        note(f"note: without a boundary: {_some(names)}")
    if found.unmatched:
        note(f"note: not known as a county, left out: {_some(found.unmatched)}")
    if found.unplaced_count:
        features = shown.count(found.unplaced_count, "feature")
        note(f"note: {features} without a geometry, left out")


def _content(path: Path) -> bytes:
    """The file, unless it is so large that it is refused in any case."""
    try:
        with path.open("rb") as file:
            return file.read(LARGEST_FILE_BYTES + 1)
    except OSError as error:
        raise InputInvalid(
            "the boundaries cannot be read",
            [Fault(str(path), error.strerror or "an error", "a file that can be read")],
        ) from error


def _some(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _document(found: BoundaryImport) -> dict[str, object]:
    return {
        "name_property": found.name_property,
        "counties": [each.county_code for each in found.counties],
        "without_boundary": [each.county_code for each in found.without_boundary],
        "unmatched": found.unmatched,
        "unplaced_count": found.unplaced_count,
        "corner_count": found.corner_count,
        "kept_corner_count": found.kept_corner_count,
        "is_new": found.is_new,
    }
