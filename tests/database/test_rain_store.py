"""What the store of rain gauges does, on every database."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import numpy as np
import pytest

from service.agronomy.records import Ints
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import NotFound
from service.records.farms import LoadOutcome
from service.records.feedback import GaugeReading
from service.records.weather import FarmRain
from tests.database.stored_plans import DAY, NOW, ZONE
from tests.stored_farms import days, ints, stored_block, stored_bundle, stored_farm, stored_supply


def make_reading(
    hour: int = 7, *, day: int = 2, rain_mm: float = 6.25, **changes: str
) -> GaugeReading:
    """A reading at this hour of the local day."""
    read_at = datetime(2026, 7, day, hour, tzinfo=ZONE)
    facts = {"site_id": "hollow", "kind": "measured", "note": "", "reporter": "Kim", **changes}
    return GaugeReading(
        read_at=read_at, covers_from=read_at - timedelta(hours=24), rain_mm=rain_mm, **facts
    )


def record_reading(open_unit: UnitOfWorkFactory, reading: GaugeReading) -> LoadOutcome:
    with open_unit(write=True) as unit:
        return unit.rain.record_reading(reading, recorded_at=NOW)


def readings(
    open_unit: UnitOfWorkFactory, first_day: date = DAY, last_day: date = DAY
) -> list[GaugeReading]:
    with open_unit(write=False) as unit:
        site_key = unit.blocks.get_site_key("hollow")
        return unit.rain.list_readings(
            site_key, farm_key=None, first_day=first_day, last_day=last_day
        )


def test_a_reading_comes_back_and_again_it_is_unchanged(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    assert record_reading(open_unit, make_reading()) == LoadOutcome(1, 0, 0)
    assert record_reading(open_unit, make_reading(reporter="Lee")) == LoadOutcome(0, 0, 1)
    assert readings(open_unit) == [make_reading()]


def test_a_changed_reading_is_a_new_version_and_the_one_in_force(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    for rain_mm in (6.25, 8.5, 6.25):
        record_reading(open_unit, make_reading(rain_mm=rain_mm))
    corrected = make_reading(rain_mm=8.5, note="misread")
    assert record_reading(open_unit, corrected) == LoadOutcome(0, 1, 0)
    assert readings(open_unit) == [corrected]


def test_readings_are_of_the_days_on_which_their_cover_ends(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    at_midnight = make_reading(0, day=3)  # covers 2 July
    others = [make_reading(23, day=1), make_reading(0, day=2), make_reading(1, day=3)]
    for reading in (at_midnight, make_reading(), *others):
        record_reading(open_unit, reading)
    assert readings(open_unit) == [make_reading(), at_midnight]
    assert len(readings(open_unit, date(2026, 7, 1), date(2026, 7, 3))) == 5


def test_a_reading_of_an_unknown_site_is_not_found(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    with pytest.raises(NotFound, match="'nowhere'"):
        record_reading(open_unit, make_reading(site_id="nowhere"))
    with open_unit(write=False) as unit, pytest.raises(NotFound):
        unit.rain.list_readings(987, farm_key=None, first_day=DAY, last_day=DAY)


# --- whose gauge -------------------------------------------------------------------------------


def bring_neighbour(open_unit: UnitOfWorkFactory) -> None:
    """A second farm on the same site."""
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(
            stored_bundle(
                stored_block("vineyard.east"),
                farm=stored_farm("vineyard"),
                supplies=(stored_supply(farm_id="vineyard"),),
                counties=(),
            ),
            effective_day=DAY,
            recorded_at=NOW,
        )


def farm_key(unit: UnitOfWork, farm_id: str) -> int:
    return unit.blocks.farm_keys([farm_id])[farm_id]


def test_two_gauges_of_one_site_have_readings_of_their_own(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    of_place, of_farm = make_reading(), make_reading(rain_mm=9.5, farm_id="orchard")
    for reading in (of_place, of_farm):
        assert record_reading(open_unit, reading) == LoadOutcome(1, 0, 0)
    assert readings(open_unit) == [of_place]
    with open_unit(write=False) as unit:
        found = unit.rain.list_readings(
            unit.blocks.get_site_key("hollow"),
            farm_key=farm_key(unit, "orchard"),
            first_day=DAY,
            last_day=DAY,
        )
    assert found == [of_farm]


def test_a_reading_of_an_unknown_farm_is_not_found(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    with pytest.raises(NotFound, match="farm 'nobody'"):
        record_reading(open_unit, make_reading(farm_id="nobody"))


def test_days_of_a_farms_gauge_come_back_and_are_replaced(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    with open_unit(write=True) as unit:
        site, orchard = unit.blocks.get_site_key("hollow"), farm_key(unit, "orchard")
        for rain_mm in ([3.0, 4.0], [3.0, np.nan]):
            unit.rain.save_days(
                FarmRain(
                    farm_keys=ints(orchard, orchard),
                    site_keys=ints(site, site),
                    days=days("2026-07-02", "2026-07-03"),
                    rain_mm=np.array(rain_mm),
                    recorded_at=(NOW, NOW),
                    notes=({"rain_mm": {"trace": True}}, {}),
                )
            )
        found = unit.rain.read_days(ints(site), first_day=DAY, last_day=date(2026, 7, 9))
        before = unit.rain.read_days(ints(site), first_day=DAY, last_day=DAY)
    np.testing.assert_array_equal(found.rain_mm, [3.0, np.nan])
    assert found.notes == ({"rain_mm": {"trace": True}}, {})
    assert found.recorded_at == (NOW, NOW)
    assert len(before) == 1


def test_a_site_is_one_farms_alone_without_a_county_and_without_another_farm(
    open_unit: UnitOfWorkFactory,
) -> None:
    def sole_farms() -> list[int]:
        with open_unit(write=False) as unit:
            site = unit.blocks.get_site_key("hollow")
            return [*unit.rain.find_sole_farms(ints(site)).values()]

    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(stored_bundle(counties=()), effective_day=DAY, recorded_at=NOW)
        orchard = farm_key(unit, "orchard")
    assert sole_farms() == [orchard]
    bring_neighbour(open_unit)
    assert sole_farms() == []


def test_the_site_of_a_county_is_no_farms_alone(open_unit: UnitOfWorkFactory, keys: Ints) -> None:
    with open_unit(write=False) as unit:
        assert unit.rain.find_sole_farms(ints(unit.blocks.get_site_key("hollow"))) == {}
