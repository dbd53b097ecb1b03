"""A block whose ledger is settled up to 9 July 2026, and how far it is settled later."""

from __future__ import annotations

from datetime import date

import numpy as np

from service.database.session import UnitOfWorkFactory
from service.records.ledger import LEDGER_NUMBERS, BalanceState, LedgerRows
from tests.stored_farms import days, ints


def settle(open_unit: UnitOfWorkFactory) -> None:
    """Ledger days of the 6th to the 9th, all settled."""
    with open_unit(write=True) as unit:
        key = unit.blocks.get_block_key("orchard.north")
        unit.ledger.save_rows(
            LedgerRows(
                block_keys=ints(*[key] * 4),
                days=days("2026-07-06", "2026-07-07", "2026-07-08", "2026-07-09"),
                is_observed=np.ones(4, dtype=np.bool_),
                irrigation_origin=ints(0, 0, 0, 0),
                flags=ints(0, 0, 0, 0),
                numbers={name: np.arange(4.0) for name in LEDGER_NUMBERS},
            )
        )
        unit.ledger.save_states(
            ints(key),
            BalanceState(
                settled_day=days("2026-07-09"),
                depletion_mm=np.array([3.0]),
                degree_day_sum_c_day=np.array([3.0]),
                alley_store_mm=np.array([np.nan]),
                flags=ints(0),
            ),
        )


def settled_day(open_unit: UnitOfWorkFactory) -> date:
    with open_unit(write=False) as unit:
        key = unit.blocks.get_block_key("orchard.north")
        found: date = unit.ledger.read_states(ints(key)).settled_day[0].item()
    return found
