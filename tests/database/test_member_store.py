"""Members in the database: to the hundredth, compact, and gone in time."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from service.agronomy.member_calibration import LeadCorrection
from service.agronomy.records import Ints
from service.database.session import UnitOfWorkFactory
from service.records.forecast_members import StoredMembers

NOW = datetime(2026, 7, 7, 21, 30, tzinfo=UTC)


def issue(site_key: int, first_day: date = date(2026, 7, 8), seed: int = 1) -> StoredMembers:
    chance = np.random.default_rng(seed)
    wet = chance.random((31, 7)) < 0.4
    return StoredMembers(
        site_key=site_key,
        model="ncep_gefs_seamless",
        first_day=first_day,
        fetched_at=NOW,
        first_seen_at=NOW - timedelta(hours=3),
        given_count=31,
        hole_count=0,
        frozen_count=0,
        numbers=np.arange(31),
        rain_mm=np.round(wet * chance.gamma(0.8, 6.0, (31, 7)), 2),
        et0_mm=np.round(chance.normal(5.0, 0.7, (31, 7)), 2),
        correction=LeadCorrection(
            pair_count=np.arange(7),
            rain_ratio=np.linspace(0.5, 2.0, 7),
            chance_shift=np.linspace(-0.3, 0.3, 7),
            chance_slope=np.linspace(0.8, 1.1, 7),
            et0_ratio=np.linspace(0.9, 1.1, 7),
            et0_spread_ratio=np.linspace(0.9, 1.3, 7),
            skill_ratio=np.full(7, np.nan),
        ),
    )


@pytest.fixture
def site_key(open_unit: UnitOfWorkFactory, keys: Ints) -> int:
    del keys  # the sites are stored
    with open_unit(write=False) as unit:
        return int(unit.blocks.read_site_table().keys[0])


def test_members_come_back_as_they_were_kept(open_unit: UnitOfWorkFactory, site_key: int) -> None:
    kept = issue(site_key)
    with open_unit(write=True) as unit:
        unit.members.save([kept])
        unit.members.save([kept])
    with open_unit(write=False) as unit:
        (found,) = unit.members.read(
            np.array([site_key]), first_day=date(2026, 7, 1), last_day=date(2026, 7, 8)
        )
        assert unit.members.list_fetched_at(np.array([site_key, 10**6])) == {site_key: NOW}
    for name in ("numbers", "rain_mm", "et0_mm"):
        assert np.allclose(getattr(found, name), getattr(kept, name), atol=1e-9)
    assert found.correction is not None
    assert kept.correction is not None
    for part in fields(LeadCorrection):
        pair = getattr(found.correction, part.name), getattr(kept.correction, part.name)
        assert np.allclose(*pair, atol=1e-6, equal_nan=True), part.name
    names = ("site_key", "model", "first_day", "fetched_at", "first_seen_at", "given_count")
    assert [getattr(found, name) for name in names] == [getattr(kept, name) for name in names]


def test_an_issue_takes_less_than_a_kilobyte(site_key: int, open_unit: UnitOfWorkFactory) -> None:
    """Rain and reference ET of 31 members over a week; their weather would take three times it."""
    with open_unit(write=True) as unit:
        unit.members.save([issue(site_key)])
    with open_unit(write=False) as unit:
        assert unit.members.stored_bytes(np.array([site_key])) < 1000


def test_old_issues_and_old_hours_are_deleted(open_unit: UnitOfWorkFactory, site_key: int) -> None:
    with open_unit(write=True) as unit:
        unit.members.save([issue(site_key), issue(site_key, date(2026, 4, 1))])
        unit.members.add_weight("made-up", hour=NOW, weight=15.5)
        unit.members.add_weight("made-up", hour=NOW, weight=10.0)
        unit.members.add_weight("made-up", hour=NOW - timedelta(days=3), weight=7.0)
    with open_unit(write=True) as unit:
        assert unit.members.spent_weight("made-up", since=NOW) == 25.5
        assert unit.members.spent_weight("another", since=NOW) == 0.0
        assert unit.members.prune(before=date(2026, 4, 8)) == 1
        assert unit.members.prune_weights(before=NOW - timedelta(days=2)) == 1
        assert unit.members.prune(before=date(2026, 4, 8)) == 0
