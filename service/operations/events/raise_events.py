"""Noticing what others want to be notified of, in the transaction of the change itself.

A farm without subscriptions costs one query for all farms of a run, and writes nothing.
"""

from __future__ import annotations

from datetime import datetime

import numpy as np

from service.agronomy.pulse_plan import is_news
from service.database.session import UnitOfWork
from service.records.events import EventKind, NewEvent, PauseNews, PlanNews, ShortNews
from service.records.farms import BlockTable
from service.records.feedback import Pause
from service.records.plan_reasoning import read_reasoning
from service.records.plans import NewVersions, PlanRows

_OF_PLANS = frozenset({EventKind.PLAN_PUBLISHED, EventKind.PLAN_REPLACED, EventKind.BLOCK_SHORT})


def raise_plan_events(
    unit: UnitOfWork, table: BlockTable, rows: PlanRows, new: NewVersions, *, issued_at: datetime
) -> int:
    """Tell of the new versions among these plans; returns how many events were stored.

    ``table`` holds their blocks.
    """
    wanted = unit.subscriptions.wanted_kinds(np.unique(table.farm_keys))
    if not any(kinds & _OF_PLANS for kinds in wanted.values()):
        return 0
    place_of = {key: place for place, key in enumerate(table.keys.tolist())}
    farm_keys, block_keys = table.farm_keys.tolist(), rows.block_keys.tolist()
    events: list[tuple[int, NewEvent]] = []
    for row, version in zip(new.rows.tolist(), new.versions.tolist(), strict=True):
        place = place_of[block_keys[row]]
        kinds = wanted.get(farm_keys[place])
        if kinds:
            block_id = table.block_ids[place]
            told = _plan_events(rows, row, block_id, kinds, version=version, issued_at=issued_at)
            events += [(farm_keys[place], each) for each in told]
    return unit.events.add_events(events, at=issued_at) if events else 0


def _plan_events(
    rows: PlanRows,
    row: int,
    block_id: str,
    kinds: frozenset[EventKind],
    *,
    version: int,
    issued_at: datetime,
) -> list[NewEvent]:
    farm_id = block_id.partition(".")[0]
    news = PlanNews(
        farm_id=farm_id,
        block_id=block_id,
        day=rows.day,
        version=version,
        status=rows.status[row],
        planned_min=int(rows.planned_min[row]),
        pulse_count=rows.pulses[row].count(b"[") - 1,
        gross_mm=round(float(rows.gross_mm[row]), 3),
        net_mm=round(float(rows.net_mm[row]), 3),
        issued_at=issued_at,
    )
    kind = EventKind.PLAN_PUBLISHED if version == 1 else EventKind.PLAN_REPLACED
    found = [NewEvent(kind=kind, subject=block_id, news=news)]
    if EventKind.BLOCK_SHORT in kinds:
        found += _short(news, rows.numbers[row])
    return found


def _short(plan: PlanNews, numbers: bytes) -> list[NewEvent]:
    """That a plan leaves its block short by more than its grower calls news."""
    reasoning = read_reasoning(numbers)
    shortfall_mm = reasoning.shortfall_mm
    if shortfall_mm is None or not is_news(shortfall_mm, reasoning.quantities):
        return []
    news = ShortNews(
        farm_id=plan.farm_id,
        block_id=plan.block_id,
        day=plan.day,
        version=plan.version,
        planned_min=plan.planned_min,
        need_mm=reasoning.need_mm,
        shortfall_mm=shortfall_mm,
        cause=reasoning.cause.name.lower().replace("_", "-"),
    )
    return [NewEvent(kind=EventKind.BLOCK_SHORT, subject=plan.block_id, news=news)]


def raise_pause(unit: UnitOfWork, pause: Pause, *, is_canceled: bool = False, at: datetime) -> None:
    """Tell of a pause that was asked for or taken back."""
    farm_id = pause.block_id.partition(".")[0]
    news = PauseNews(
        farm_id=farm_id,
        block_id=pause.block_id,
        pause_id=pause.pause_id,
        starts_local=pause.period.starts_local.isoformat(),
        ends_local=pause.period.ends_local.isoformat(),
        reason=pause.period.reason,
    )
    kind = EventKind.PAUSE_CANCELED if is_canceled else EventKind.BLOCK_PAUSED
    farm_key = unit.blocks.farm_keys([farm_id])[farm_id]
    event = NewEvent(kind=kind, subject=pause.block_id, news=news)
    unit.events.add_events([(farm_key, event)], at=at)
