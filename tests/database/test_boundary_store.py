"""Boundaries in the database: one set, as it was."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from service.database.session import UnitOfWorkFactory
from service.errors import NotFound
from service.geography.outlines import PlacedOutline
from service.records.counties import CountyBoundaries
from tests.stored_farms import stored_bundle

NOW = datetime(2026, 7, 14, 23, tzinfo=UTC)
PLACED = PlacedOutline(
    outline=(
        (
            ((-82.0, 34.0), (-81.0, 34.0), (-81.123456, 35.0)),
            ((-81.5, 34.2), (-81.4, 34.3), (-81.3, 34.2)),
        ),
        (((-80.0, 34.0), (-79.0, 34.0), (-79.5, 34.5)),),
    ),
    label_longitude_deg=-81.4,
    label_latitude_deg=34.3,
    label_half_height_deg=0.21,
)


@pytest.fixture(autouse=True)
def county_code(open_unit: UnitOfWorkFactory) -> str:
    bundle = stored_bundle()
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(bundle, effective_day=date(2026, 6, 1), recorded_at=NOW)
    return bundle.counties[0].county_code


def test_boundaries_come_back_as_they_were(open_unit: UnitOfWorkFactory, county_code: str) -> None:
    with open_unit(write=False) as unit:
        assert unit.boundaries.find() is None
    given = CountyBoundaries({county_code: PLACED}, "Invented Survey", NOW)
    with open_unit(write=True) as unit:
        unit.boundaries.replace(given)
        unit.boundaries.replace(given)
    with open_unit(write=False) as unit:
        assert unit.boundaries.find() == given


def test_an_unknown_county_leaves_everything_as_it_was(
    open_unit: UnitOfWorkFactory, county_code: str
) -> None:
    given = CountyBoundaries({county_code: PLACED}, "", NOW)
    with open_unit(write=True) as unit:
        unit.boundaries.replace(given)
    with pytest.raises(NotFound, match="'nowhere'"), open_unit(write=True) as unit:
        unit.boundaries.replace(CountyBoundaries({"nowhere": PLACED}, "", NOW))
    with open_unit(write=True) as unit:
        assert unit.boundaries.find() == given
        unit.boundaries.replace(CountyBoundaries({}, "", NOW))
        assert unit.boundaries.find() is None
