"""Columns of a run's weather: places, and farms with a gauge of their own at a place of several."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.evening.own_rain import (
    PLACE,
    WeatherColumns,
    columns_of,
    columns_with_own_rain,
    gauge_rows,
    place_columns,
)
from service.records.weather import FarmRain, WeatherRows
from tests.database.stored_plans import DAY, NOW
from tests.database.test_rain_store import bring_neighbour
from tests.stored_farms import days, ints, stored_block, stored_bundle, stored_site


@pytest.fixture(autouse=True)
def farms(open_unit: UnitOfWorkFactory) -> None:
    """Two farms draw on the hollow; the orchard alone on the hill."""
    bundle = stored_bundle(
        stored_block("orchard.north"),
        stored_block("orchard.high", site_id="hill"),
        sites=(stored_site(), stored_site("hill")),
        counties=(),
    )
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(bundle, effective_day=DAY, recorded_at=NOW)
    bring_neighbour(open_unit)


def key_of(unit: UnitOfWork, farm_id: str) -> int:
    return unit.blocks.farm_keys([farm_id])[farm_id]


def read_rain(unit: UnitOfWork, farm_id: str, site_id: str, rain_mm: float) -> FarmRain:
    """A farm's own reading of DAY, stored."""
    rain = FarmRain(
        farm_keys=ints(key_of(unit, farm_id)),
        site_keys=ints(unit.blocks.get_site_key(site_id)),
        days=days(str(DAY)),
        rain_mm=np.array([rain_mm]),
        recorded_at=(NOW,),
        notes=({},),
    )
    unit.rain.save_days(rain)
    return rain


def gathered(unit: UnitOfWork, rows: WeatherRows) -> WeatherColumns:
    return columns_with_own_rain(
        unit, unit.blocks.read_site_table(), rows, first_day=DAY, last_day=date(2026, 7, 9)
    )


def rows_of_places(unit: UnitOfWork, *rain_mm: float) -> WeatherRows:
    """The places' own record of DAY, by site key."""
    keys = unit.blocks.read_site_table().keys
    count = len(rain_mm)
    return gauge_rows(
        FarmRain(
            farm_keys=ints(*[PLACE] * count),
            site_keys=keys[:count],
            days=days(*[str(DAY)] * count),
            rain_mm=np.array(rain_mm),
            recorded_at=(NOW,) * count,
            notes=({},) * count,
        )
    )


def test_without_a_gauge_there_is_one_column_for_each_place(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=False) as unit:
        rows = rows_of_places(unit, 1.0, 2.0)
        found = gathered(unit, rows)
        expected = place_columns(unit.blocks.read_site_table(), rows)
    assert found.rows is rows
    assert found.farm_keys.tolist() == expected.farm_keys.tolist() == [PLACE, PLACE]


def test_a_gauge_at_a_place_of_two_farms_has_a_column_with_the_places_weather_too(
    open_unit: UnitOfWorkFactory,
) -> None:
    with open_unit(write=True) as unit:
        hollow, vineyard = unit.blocks.get_site_key("hollow"), key_of(unit, "vineyard")
        read_rain(unit, "vineyard", "hollow", 9.0)
        found = gathered(unit, rows_of_places(unit, 1.0, 2.0))
    assert found.farm_keys.tolist() == [PLACE, PLACE, vineyard]
    assert found.sites.keys[2] == hollow
    assert found.sites.definitions[2].site_id == "hollow"
    rain_mm = found.rows.fields["rain_mm"]
    of_column = [sorted(rain_mm[found.column_of_row == column].tolist()) for column in range(3)]
    place_mm = 1.0 if found.sites.keys[0] == hollow else 2.0
    assert of_column == [[1.0], [2.0], [place_mm, 9.0]]
    assert rain_mm[found.is_own].tolist() == [9.0]


def test_where_a_farm_is_alone_its_gauge_joins_the_column_of_the_place(
    open_unit: UnitOfWorkFactory,
) -> None:
    with open_unit(write=True) as unit:
        hill = unit.blocks.get_site_key("hill")
        read_rain(unit, "orchard", "hill", 9.0)
        found = gathered(unit, rows_of_places(unit, 1.0, 2.0))
    assert found.farm_keys.tolist() == [PLACE, PLACE]
    column = found.sites.keys.tolist().index(hill)
    assert 9.0 in found.rows.fields["rain_mm"][found.column_of_row == column]
    assert not found.is_own.any()


def test_blocks_draw_on_the_column_of_their_farm_where_there_is_one(
    open_unit: UnitOfWorkFactory,
) -> None:
    with open_unit(write=False) as unit:
        sites = unit.blocks.read_site_table()
    first, second = sites.keys.tolist()
    more = sites.keys[[0, 0, 1]]
    table = type(sites)(
        keys=np.concatenate([sites.keys, more]), definitions=(*sites.definitions,) * 2
    )
    column_farms = ints(PLACE, PLACE, 4, 7, 4)
    found = columns_of(
        table,
        column_farms,
        ints(first, first, first, second, second, second),
        ints(4, 7, 9, 4, 7, 1),
    )
    assert found.tolist() == [2, 3, 0, 4, 1, 1]
