"""What every LedgerStore does, whatever is behind it."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest

from service.agronomy.records import Floats, Ints
from service.database.session import UnitOfWorkFactory
from service.records.ledger import LEDGER_NUMBERS, BalanceState, LedgerRows
from tests.stored_farms import days, ints, stored_block, stored_bundle, stored_site

NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)
FIRST, LAST = date(2026, 6, 1), date(2026, 6, 30)


@pytest.fixture
def keys(open_unit: UnitOfWorkFactory) -> Ints:
    """Two blocks on the site in the hollow and one on the ridge."""
    bundle = stored_bundle(
        stored_block("orchard.north"),
        stored_block("orchard.south"),
        stored_block("orchard.upper", site_id="ridge"),
        sites=(stored_site(), stored_site("ridge")),
    )
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(bundle, effective_day=FIRST, recorded_at=NOW)
        return ints(*(unit.blocks.get_block_key(name) for name in ("north", "south", "upper")))


def make_ledger(keys: Ints, *texts: str, depletion_mm: float = 5.0) -> LedgerRows:
    """A ledger of these blocks and days; depletion at the end grows by 1 mm a row."""
    block_keys = np.tile(keys, len(texts))
    count = block_keys.size
    numbers: dict[str, Floats] = {
        name: np.arange(count, dtype=np.float64) + index / 4.0
        for index, name in enumerate(LEDGER_NUMBERS)
    }
    numbers["depletion_end_mm"] = depletion_mm + np.arange(count, dtype=np.float64)
    return LedgerRows(
        block_keys=block_keys,
        days=np.repeat(days(*texts), keys.size),
        is_observed=np.arange(count) % 2 == 0,
        irrigation_origin=np.arange(count) % 3,
        flags=np.full(count, 1 << 40),
        numbers=numbers,
    )


def settled(open_unit: UnitOfWorkFactory, keys: Ints) -> BalanceState:
    with open_unit(write=False) as unit:
        return unit.ledger.read_states(keys)


def settle(open_unit: UnitOfWorkFactory, keys: Ints, *texts: str) -> None:
    """Ledgers of these days, settled on the last one."""
    with open_unit(write=True) as unit:
        unit.ledger.save_rows(make_ledger(keys, *texts))
        state = BalanceState(
            settled_day=days(*[texts[-1]] * keys.size),
            depletion_mm=np.full(keys.size, 99.0),
            degree_day_sum_c_day=np.full(keys.size, 999.0),
            alley_store_mm=np.full(keys.size, 77.0),
            flags=np.full(keys.size, 9),
        )
        unit.ledger.save_states(keys, state)


def test_nothing_is_settled_before_anything_is_saved(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    state = settled(open_unit, keys)
    assert np.isnat(state.settled_day).all()
    assert np.isnan(state.depletion_mm).all()
    assert np.isnan(state.degree_day_sum_c_day).all()


def test_states_come_back_in_the_order_asked_for(open_unit: UnitOfWorkFactory, keys: Ints) -> None:
    state = BalanceState(
        settled_day=days("2026-06-03", "2026-06-04"),
        depletion_mm=np.array([3.5, 4.5]),
        degree_day_sum_c_day=np.array([30.0, np.nan]),
        alley_store_mm=np.array([np.nan, 6.5]),
        flags=ints(1 << 40, 3),
    )
    with open_unit(write=True) as unit:
        unit.ledger.save_states(keys[[2, 0]], state)
    found = settled(open_unit, keys)
    np.testing.assert_array_equal(found.settled_day, days("2026-06-04", "NaT", "2026-06-03"))
    np.testing.assert_array_equal(found.depletion_mm, [4.5, np.nan, 3.5])
    np.testing.assert_array_equal(found.degree_day_sum_c_day, [np.nan, np.nan, 30.0])
    np.testing.assert_array_equal(found.alley_store_mm, [6.5, np.nan, np.nan])
    np.testing.assert_array_equal(found.flags, [3, 0, 1 << 40])
    assert settled(open_unit, ints()).settled_day.size == 0


def test_a_state_saved_again_replaces_the_one_before(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    settle(open_unit, keys, "2026-06-01")
    settle(open_unit, keys, "2026-06-02")
    assert (settled(open_unit, keys).settled_day == np.datetime64("2026-06-02")).all()


def test_ledger_days_come_back_as_they_were_saved(open_unit: UnitOfWorkFactory, keys: Ints) -> None:
    rows = make_ledger(keys, "2026-06-02", "2026-06-01", "2026-07-01")
    rows.numbers["stress_ratio"][:] = np.nan
    with open_unit(write=True) as unit:
        unit.ledger.save_rows(rows)
        unit.ledger.save_rows(make_ledger(ints()))
    with open_unit(write=False) as unit:
        found = unit.ledger.read_rows(int(keys[1]), first_day=FIRST, last_day=LAST)
    mine = np.flatnonzero((rows.block_keys == keys[1]) & (rows.days <= np.datetime64(LAST)))[::-1]
    np.testing.assert_array_equal(found.days, rows.days[mine])
    np.testing.assert_array_equal(found.is_observed, rows.is_observed[mine])
    np.testing.assert_array_equal(found.irrigation_origin, rows.irrigation_origin[mine])
    np.testing.assert_array_equal(found.flags, rows.flags[mine])
    for name in LEDGER_NUMBERS:
        np.testing.assert_array_equal(found.numbers[name], rows.numbers[name][mine], err_msg=name)


def test_a_ledger_day_saved_again_replaces_the_one_before(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    with open_unit(write=True) as unit:
        unit.ledger.save_rows(make_ledger(keys[:1], "2026-06-01", "2026-06-02"))
        unit.ledger.save_rows(make_ledger(keys[:1], "2026-06-02", depletion_mm=70.0))
        found = unit.ledger.read_rows(int(keys[0]), first_day=FIRST, last_day=LAST)
    assert found.numbers["depletion_end_mm"].tolist() == [5.0, 70.0]


def test_a_rewind_settles_on_the_day_before(open_unit: UnitOfWorkFactory, keys: Ints) -> None:
    settle(open_unit, keys, "2026-06-01", "2026-06-02", "2026-06-03")
    with open_unit(write=True) as unit:
        hollow = unit.blocks.get_site_key("hollow")
        assert unit.ledger.rewind(site_key=hollow, day=date(2026, 6, 3)) == 2
        assert unit.ledger.rewind(site_key=hollow, day=date(2026, 6, 3)) == 0
    found = settled(open_unit, keys)
    # Rows 3 and 4 of the ledger are those of the two blocks on 2 June; the ridge stays put.
    np.testing.assert_array_equal(found.settled_day, days("2026-06-02", "2026-06-02", "2026-06-03"))
    np.testing.assert_array_equal(found.depletion_mm, [8.0, 9.0, 99.0])
    degree_days = make_ledger(keys, "2026-06-01", "2026-06-02").numbers["degree_day_sum_c_day"]
    np.testing.assert_array_equal(found.degree_day_sum_c_day, [*degree_days[3:5], 999.0])
    stored = make_ledger(keys, "2026-06-01", "2026-06-02").numbers["alley_store_mm"]
    np.testing.assert_array_equal(found.alley_store_mm, [*stored[3:5], 77.0])
    np.testing.assert_array_equal(found.flags, [1 << 40, 1 << 40, 9])


def test_a_rewind_passes_over_a_gap_in_the_ledger(open_unit: UnitOfWorkFactory, keys: Ints) -> None:
    settle(open_unit, keys, "2026-06-01", "2026-06-05")
    with open_unit(write=True) as unit:
        unit.ledger.rewind_block(block_key=int(keys[0]), day=date(2026, 6, 4))
    np.testing.assert_array_equal(
        settled(open_unit, keys).settled_day, days("2026-06-01", "2026-06-05", "2026-06-05")
    )


def test_a_rewind_to_before_the_ledger_settles_nothing(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    settle(open_unit, keys, "2026-06-01", "2026-06-02")
    with open_unit(write=True) as unit:
        assert unit.ledger.rewind(site_key=unit.blocks.get_site_key("ridge"), day=FIRST) == 1
    found = settled(open_unit, keys)
    assert np.isnat(found.settled_day).tolist() == [False, False, True]
    assert np.isnan(found.depletion_mm).tolist() == [False, False, True]
    assert found.flags.tolist() == [9, 9, 0]


def test_a_rewind_leaves_ledgers_alone_that_are_not_so_far_yet(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    settle(open_unit, keys, "2026-06-01", "2026-06-02")
    with open_unit(write=True) as unit:
        hollow = unit.blocks.get_site_key("hollow")
        assert unit.ledger.rewind(site_key=hollow, day=date(2026, 6, 3)) == 0
    assert (settled(open_unit, keys).depletion_mm == 99.0).all()
