"""What instruments nearby say: places within 60 km, their own weather, never farms' gauges."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from service.bootstrap import Service
from service.operations.evening.near_places import find_near_places
from service.operations.evening.own_rain import place_columns
from tests.api.invented_farm import TODAY, load
from tests.gap_farm import bring_gappy_weather, gap_farm

DAYS = np.arange(np.datetime64(TODAY) - 2, np.datetime64(TODAY) + 1, dtype="datetime64[D]")


@pytest.mark.parametrize(("latitude", "expected_km"), [(35.95, 8.5), (36.60, None)])
def test_places_within_60_km_count_and_others_do_not(
    own_service: Service, latitude: float, expected_km: float | None
) -> None:
    load(own_service, gap_farm(latitude=latitude))
    bring_gappy_weather(own_service, is_whole=True)
    with own_service.unit_of_work(write=False) as unit:
        keys = np.array([unit.blocks.get_site_key("home")])
        sites = unit.blocks.read_site_table(keys)
        rows = unit.weather.read_rows(keys, first_day=TODAY - timedelta(days=2), last_day=TODAY)
        found = find_near_places(unit, place_columns(sites, rows), DAYS)
    if expected_km is None:
        assert found is None or not (found[0].km < 60.0).any()
        return
    assert found is not None
    near, own = found
    assert near.km.min() == pytest.approx(expected_km, abs=0.1)
    said = near.said(own, DAYS)
    # The neighbour's formula of tests/gap_farm.py: 33 degC plus a wave of 2.
    assert ((said.values["tmax"] >= 31.0) & (said.values["tmax"] <= 35.0)).all()
    assert (said.witness_counts["tmax"] == 1).all()


def test_a_weather_service_is_no_instrument_of_the_place(own_service: Service) -> None:
    load(own_service, gap_farm())
    with own_service.unit_of_work(write=False) as unit:
        sites = unit.blocks.read_site_table()
        rows = unit.weather.read_rows(
            sites.keys, first_day=TODAY - timedelta(days=2), last_day=TODAY
        )
        as_service = type(rows)(
            **{
                **{name: getattr(rows, name) for name in rows.__slots__},
                "sources": ("open-meteo",) * len(rows),
            }
        )
        assert find_near_places(unit, place_columns(sites, as_service), DAYS) is None
