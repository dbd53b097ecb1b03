"""Days on paper in the database: packed by farm and day, to the hundredth, gone in time."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from service.agronomy.records import Ints
from service.database.session import UnitOfWorkFactory
from service.database.shadow_store import PACKED_DAY
from service.records.shadow import SHADOW_NUMBERS, ShadowRows

FIRST, SECOND = date(2026, 7, 8), date(2026, 7, 9)


def rows_of(block_keys: Ints, day: date, seed: int = 1) -> ShadowRows:
    random = np.random.default_rng(seed)
    count = block_keys.size
    return ShadowRows(
        block_keys=block_keys,
        days=np.full(count, np.datetime64(day)),
        guards=random.integers(0, 6, count),
        flags=random.integers(0, 8, count),
        numbers={
            name: np.where(random.random(count) < 0.2, np.nan, random.uniform(0.0, 80.0, count))
            for name in SHADOW_NUMBERS
        },
    )


@pytest.fixture
def farm_keys(open_unit: UnitOfWorkFactory, keys: Ints) -> Ints:
    """(blocks,) the farm of each block."""
    with open_unit(write=False) as unit:
        every_farm = np.array([*unit.blocks.farm_keys().values()])
        table = unit.blocks.read_block_table(date(2027, 1, 1), farm_keys=every_farm)
    assert table.keys.tolist() == sorted(keys.tolist())
    return table.farm_keys


def test_days_come_back_as_they_were_kept_to_the_hundredth(
    open_unit: UnitOfWorkFactory, keys: Ints, farm_keys: Ints
) -> None:
    keys = np.sort(keys)
    first, second = rows_of(keys, FIRST), rows_of(keys, SECOND, seed=2)
    with open_unit(write=True) as unit:
        for rows in (first, second):
            unit.shadows.save(farm_keys, rows)
            unit.shadows.save(farm_keys, rows)
    with open_unit(write=False) as unit:
        found = unit.shadows.read(np.unique(farm_keys), first_day=FIRST, last_day=SECOND)
        one = unit.shadows.read_block(int(keys[0]), first_day=FIRST, last_day=SECOND)
    assert found.days.tolist() == [FIRST] * keys.size + [SECOND] * keys.size
    order = np.argsort(found.block_keys[: keys.size])
    assert found.guards[: keys.size][order].tolist() == first.guards.tolist()
    assert found.flags[: keys.size][order].tolist() == first.flags.tolist()
    for name in SHADOW_NUMBERS:
        assert found.numbers[name][: keys.size][order] == pytest.approx(
            first.numbers[name], abs=0.005, nan_ok=True
        )
    assert one.days.tolist() == [FIRST, SECOND]
    assert set(one.block_keys.tolist()) == {int(keys[0])}


def test_a_year_of_a_thousand_blocks_is_eight_megabytes() -> None:
    assert PACKED_DAY.itemsize * 1_000 * 365 == pytest.approx(8e6, rel=0.01)


def test_old_days_are_deleted_and_none_is_no_error(
    open_unit: UnitOfWorkFactory, keys: Ints, farm_keys: Ints
) -> None:
    keys = np.sort(keys)
    with open_unit(write=True) as unit:
        unit.shadows.save(farm_keys, rows_of(keys, FIRST))
        unit.shadows.save(farm_keys, rows_of(keys, SECOND))
        unit.shadows.save(farm_keys[:0], rows_of(keys[:0], SECOND))
        assert unit.shadows.prune(before=SECOND) == np.unique(farm_keys).size
        found = unit.shadows.read(np.unique(farm_keys), first_day=FIRST, last_day=SECOND)
        none = unit.shadows.read(np.array([10**6]), first_day=FIRST, last_day=SECOND)
    assert set(found.days.tolist()) == {SECOND}
    assert none.block_keys.size == 0
