"""Store the content of a farm file.

Loading the same content twice changes nothing; a changed block gets a new version valid from the
given day, so that days already booked keep the block they were booked with.
"""

from __future__ import annotations

from datetime import date, datetime

from service.database.plan_store import PLANS_TOPIC
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.database.weather_archive import COUNTIES_TOPIC
from service.operations.access.people import save_farm_people
from service.operations.farms.manage_controllers import check_fallbacks, save_controllers
from service.operations.farms.measured_numbers import keep_measured
from service.operations.farms.note_bundle import note_bundle, read_things
from service.ports import Clock
from service.records.farms import FarmBundle, LoadOutcome


def load_bundle(
    bundle: FarmBundle, *, effective_day: date, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> LoadOutcome:
    """Store what differs from what is stored; all of it or, on an error, nothing."""
    with unit_of_work(write=True) as unit:
        return store_bundle(unit, bundle, effective_day=effective_day, recorded_at=clock.now())


def store_bundle(
    unit: UnitOfWork,
    bundle: FarmBundle,
    *,
    effective_day: date,
    recorded_at: datetime,
    is_whole_farm: bool = True,
) -> LoadOutcome:
    """As :func:`load_bundle`, within an open transaction.

    Not ``is_whole_farm``: the bundle was read for that day and changed, as in ``save_bundle``.
    """
    bundle = keep_measured(unit, bundle, day=effective_day)
    check_fallbacks(bundle)
    before = read_things(unit, bundle, day=effective_day)
    outcome = unit.blocks.save_bundle(
        bundle,
        effective_day=effective_day,
        recorded_at=recorded_at,
        is_whole_farm=is_whole_farm,
    )
    if outcome.created_count + outcome.changed_count:
        unit.marks.bump(COUNTIES_TOPIC)
    if bundle.farm is None:
        note_bundle(unit, bundle, before, day=effective_day)
        return outcome
    if outcome.created_count + outcome.changed_count + outcome.retired_count:
        # The text of a plan includes facts of its block.
        unit.texts.forget(bundle.farm.farm_id)
        unit.marks.bump(PLANS_TOPIC)
    paired = save_controllers(
        unit, bundle.farm.farm_id, bundle.controllers, recorded_at=recorded_at
    )
    note_bundle(unit, bundle, before, day=effective_day)
    read = save_farm_people(unit, bundle.farm.farm_id, bundle.people)
    return LoadOutcome(
        created_count=outcome.created_count + paired.created_count + read.created_count,
        changed_count=outcome.changed_count + paired.changed_count + read.changed_count,
        unchanged_count=outcome.unchanged_count + paired.unchanged_count + read.unchanged_count,
        retired_count=outcome.retired_count + paired.retired_count,
    )
