"""Pauses that a grower asks for: harvest, spraying, repair.

They take effect at once and without a new version of the block. Tomorrow's plan and the rest of
today's follow in the same transaction. A new plan cannot stop a pulse that is already running or
starts within minutes: close its valve by hand.
"""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.records import NoWaterPeriod
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.evening.replan_after import Replanning, replan_after
from service.operations.events.raise_events import raise_pause
from service.operations.reading.read_farms import today_at_block
from service.records.audit import Subject
from service.records.feedback import Pause

LONGEST_PAUSE = timedelta(days=400)
MOST_PAUSES = 100
"""Most pauses of a block that are not cancelled."""
LONGEST_REASON = 120


def pause_block(
    unit: UnitOfWork,
    block_id: str,
    *,
    starts_local: datetime,
    ends_local: datetime,
    reason: str,
    reporter: str,
    replanning: Replanning,
) -> tuple[Pause, int]:
    """Store a pause in the block's wall-clock time; returns it and the number of new plans.

    Raises NotFound for a block that is not in force, InputInvalid for impossible times.
    """
    faults = []
    if not timedelta(0) < ends_local - starts_local <= LONGEST_PAUSE:
        faults.append(
            Fault(
                "/ends_local",
                ends_local.isoformat(),
                f"a time after starts_local, {LONGEST_PAUSE.days} days at most",
            )
        )
    if not reason.strip() or len(reason) > LONGEST_REASON or not reason.isprintable():
        faults.append(
            Fault("/reason", "another text", f"1 to {LONGEST_REASON} characters in one line")
        )
    if faults:
        raise InputInvalid("the pause cannot be stored", faults)
    now = replanning.clock.now()
    # A block that begins tomorrow can already be paused: its first plan is tomorrow's.
    block = unit.blocks.get_block(block_id, day=today_at_block(unit, block_id, now) + ONE_DAY)
    if len(unit.pauses.list_pauses(block.block_id)) >= MOST_PAUSES:
        raise InputInvalid(
            "the pause cannot be stored",
            [Fault("/starts_local", "one more pause", f"at most {MOST_PAUSES} pauses of a block")],
        )
    pause = Pause(
        pause_id=secrets.token_hex(8),
        block_id=block.block_id,
        period=NoWaterPeriod(starts_local, ends_local, reason),
        reporter=reporter,
        recorded_at=now,
    )
    unit.pauses.add(pause)
    unit.audit.note(Subject.PAUSE, block.block_id, farm_id=block.farm_id, after=pause)
    raise_pause(unit, pause, at=now)
    count = replan_after(unit, [block.farm_id], touched_day=None, replanning=replanning)
    return pause, count


def list_pauses(block_id: str, *, unit_of_work: UnitOfWorkFactory) -> list[Pause]:
    """Pauses of a block that are not cancelled, by start; raises NotFound."""
    with unit_of_work(write=False) as unit:
        unit.blocks.get_block_key(block_id)
        return unit.pauses.list_pauses(block_id)


def cancel_pause(
    block_id: str,
    pause_id: str,
    *,
    unit_of_work: UnitOfWorkFactory,
    replanning: Replanning,
) -> int:
    """Cancel a pause; returns the number of new plans. Cancelling twice changes nothing."""
    with unit_of_work(write=True) as unit:
        farm_id = block_id.partition(".")[0]
        now = replanning.clock.now()
        known = {each.pause_id: each for each in unit.pauses.list_pauses(block_id)}
        if not unit.pauses.cancel(block_id, pause_id, at=now):
            return 0
        unit.audit.note(Subject.PAUSE, block_id, farm_id=farm_id, before=known.get(pause_id))
        if pause_id in known:
            raise_pause(unit, known[pause_id], is_canceled=True, at=now)
        return replan_after(
            unit,
            [farm_id],
            touched_day=None,
            replanning=replanning,
        )
