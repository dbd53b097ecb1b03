"""Members corrected by the archive of the same place; all weather is invented."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.weather.correct_members import read_corrections
from service.records.farms import FarmBundle
from service.records.forecast_members import StoredMembers
from service.records.forecasts import TruthRows
from tests.stored_farms import stored_site

FIRST_DAY = date(2026, 7, 8)
MODEL = "ncep_gefs_seamless"
NOW = datetime(2026, 7, 7, 22, tzinfo=UTC)


def archive(unit: UnitOfWork, day_count: int, *, model: str = MODEL) -> int:
    """So many issues of twice the rain that fell, of which all but the last days are over."""
    unit.blocks.save_bundle(
        FarmBundle(farm=None, sites=(stored_site(),)), effective_day=FIRST_DAY, recorded_at=NOW
    )
    key = int(unit.blocks.read_site_table().keys[0])
    chance = np.random.default_rng(3)
    days = np.arange(np.datetime64(FIRST_DAY) - day_count - 1, np.datetime64(FIRST_DAY) + 8)
    fell = np.round(
        np.where(chance.random(days.size) < 0.4, chance.gamma(0.9, 7.0, days.size), 0), 1
    )
    unit.members.save(
        [
            StoredMembers(
                site_key=key,
                model=model,
                first_day=days[place].item(),
                fetched_at=NOW,
                first_seen_at=NOW,
                given_count=20,
                hole_count=0,
                frozen_count=0,
                numbers=np.arange(20),
                rain_mm=np.tile(2.0 * fell[place : place + 7], (20, 1)).astype(np.float64),
                et0_mm=5.0 + chance.normal(0.0, 0.5, (20, 7)),
            )
            for place in range(day_count)
        ]
    )
    known = days < np.datetime64(FIRST_DAY) - 1
    unit.forecasts.save_truth(
        TruthRows(
            site_keys=np.full(known.sum(), key),
            days=days[known],
            farm_keys=np.zeros(known.sum(), dtype=np.int64),
            rain_mm=fell[known].astype(np.float64),
            et0_mm=np.full(known.sum(), 5.0),
            tmax_c=np.full(known.sum(), 30.0),
            rain_origins=("observed gauge",) * int(known.sum()),
            et0_origins=("observed station",) * int(known.sum()),
        )
    )
    return key


def test_each_lead_is_corrected_by_its_own_pairs(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        key = archive(unit, 40)
    with open_unit(write=False) as unit:
        found = read_corrections(unit, np.array([key]), first_day=FIRST_DAY)[key, MODEL]
    # Of the issue for the day before yesterday one day is over, of that before it two.
    assert found.pair_count.tolist() == [40, 39, 38, 37, 36, 35, 34]
    assert ((found.rain_ratio > 0.4) & (found.rain_ratio < 0.8)).all()
    assert found.et0_ratio == pytest.approx(1.0, abs=0.03)
    assert not found.is_empty


def test_a_new_place_has_nothing_to_learn_from(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        key = archive(unit, 9)
    with open_unit(write=False) as unit:
        assert read_corrections(unit, np.array([key]), first_day=FIRST_DAY)[key, MODEL].is_empty
        later = FIRST_DAY + timedelta(days=200)
        assert read_corrections(unit, np.array([key]), first_day=later) == {}
