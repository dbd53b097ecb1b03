"""Take a farm file's content into the store, or give it back.

Loading the same content twice changes nothing; a changed block gets a new version that counts from
the day given, so that days already booked keep the block they were booked with.
"""

from __future__ import annotations

from datetime import date

from service.ports import Clock, UnitOfWorkFactory
from service.records import FarmBundle, LoadOutcome


def load_bundle(
    bundle: FarmBundle, *, effective_day: date, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> LoadOutcome:
    """Store what differs from what is stored; all of it or, on an error, nothing."""
    with unit_of_work(write=True) as unit:
        return unit.blocks.save_bundle(bundle, effective_day=effective_day, recorded_at=clock.now())
