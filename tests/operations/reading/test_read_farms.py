"""Farms, sites and the day that it is there."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from service.database.session import UnitOfWorkFactory
from service.errors import NotFound
from service.operations.reading.read_farms import (
    farms_by_day,
    get_farm,
    get_site,
    list_farms,
    local_day,
)
from tests.stored_farms import stored_block, stored_bundle, stored_farm, stored_site, stored_supply

FIRST_DAY, CHANGED_DAY = date(2026, 6, 1), date(2026, 7, 1)
NOW = datetime(2026, 7, 14, 5, tzinfo=UTC)


@pytest.fixture
def with_farms(open_unit: UnitOfWorkFactory) -> UnitOfWorkFactory:
    """The farms ``orchard`` and ``acre``; a block of the orchard changes in July."""
    with open_unit(write=True) as unit:
        for bundle, day in (
            (stored_bundle(), FIRST_DAY),
            (stored_bundle(stored_block(area_m2=777.0)), CHANGED_DAY),
            (
                stored_bundle(
                    stored_block("acre.only"),
                    farm=stored_farm("acre"),
                    supplies=(stored_supply(farm_id="acre"),),
                ),
                FIRST_DAY,
            ),
        ):
            unit.blocks.save_bundle(bundle, effective_day=day, recorded_at=NOW)
    return open_unit


def test_farms_are_listed_by_id_all_or_those_named(with_farms: UnitOfWorkFactory) -> None:
    assert [each.farm_id for each in list_farms(unit_of_work=with_farms)] == ["acre", "orchard"]
    assert list_farms(["orchard"], unit_of_work=with_farms) == [stored_farm()]
    assert list_farms([], unit_of_work=with_farms) == []


def test_one_unknown_name_among_farms_is_reported(with_farms: UnitOfWorkFactory) -> None:
    with pytest.raises(NotFound, match="nowhere"):
        list_farms(["orchard", "nowhere"], unit_of_work=with_farms)


def test_a_farm_is_read_as_of_a_day(with_farms: UnitOfWorkFactory) -> None:
    for day, area_m2 in ((FIRST_DAY, stored_block().area_m2), (CHANGED_DAY, 777.0)):
        found = get_farm("orchard", day=day, unit_of_work=with_farms)
        assert [block.area_m2 for block in found.blocks] == [area_m2]
        assert (found.sites, found.supplies) == ((stored_site(),), (stored_supply(),))
    with pytest.raises(NotFound, match="nowhere"):
        get_farm("nowhere", day=FIRST_DAY, unit_of_work=with_farms)


def test_a_site_comes_back_as_it_was_stored(with_farms: UnitOfWorkFactory) -> None:
    assert get_site("hollow", unit_of_work=with_farms) == stored_site()
    with pytest.raises(NotFound, match="nowhere"):
        get_site("nowhere", unit_of_work=with_farms)


@pytest.mark.parametrize(
    ("zone", "day"),
    [("UTC", 14), ("America/Los_Angeles", 13), ("Pacific/Kiritimati", 14)],
)
def test_the_day_is_that_of_the_zone(zone: str, day: int) -> None:
    assert local_day(NOW, zone) == date(2026, 7, day)


def test_farms_are_grouped_by_the_day_that_they_have() -> None:
    west = stored_farm("west")
    east, far = stored_farm("east", zone="UTC"), stored_farm("far", zone="Europe/Berlin")
    assert farms_by_day([west, east, far], NOW) == {
        date(2026, 7, 13): [west],
        date(2026, 7, 14): [east, far],
    }
    with pytest.raises(NotFound, match="no farm is stored"):
        farms_by_day([], NOW)
