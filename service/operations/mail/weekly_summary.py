"""Last week of a farm: what went out, what the crop used, what rain gave, what ran short; and which
samples are to be taken.

A week is Monday to Sunday. Its summary is queued from Monday morning on, in the farm's time zone,
and given up two days later; looking again queues nothing twice.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta

import numpy as np

from service.agronomy.civil_day import ONE_DAY, first_instant
from service.agronomy.reasoning import PlanFlag
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.mail.timer_lines import line_of_week
from service.operations.reading.read_farms import local_day
from service.operations.season.remind_to_sample import remind_to_sample
from service.operations.timers.set_timer import timers_of
from service.operations.waterworks.check_flow import check_flow
from service.operations.waterworks.learn_rate import RateOffer, rate_offer
from service.records.farms import BlockDefinition, FarmDefinition
from service.records.ledger import IrrigationOrigin, LedgerRows
from service.records.letters import BlockWeek, TimerLine, WeeklyLetter
from service.records.mail import MailOrder
from service.records.weather import Attribution
from service.waterworks.flow_check import FlowVerdict

WEEKLY = "weekly"
DAYS_PER_WEEK = 7
MAILED_FROM = time(6)
SENT_FOR = timedelta(days=2)
SEASON_DAYS = 180
"""How far back metered runs count for the flow check."""


def week_before(day: date) -> tuple[date, date]:
    """Monday and Sunday of the last week that is over on a day."""
    monday = day - timedelta(days=day.weekday() + DAYS_PER_WEEK)
    return monday, monday + timedelta(days=DAYS_PER_WEEK - 1)


def due_week(zone: str, now: datetime) -> tuple[date, date, datetime] | None:
    """The week whose mail is due now in a time zone, with the instant at which the mail expires."""
    monday, sunday = week_before(local_day(now, zone))
    from_at = first_instant(sunday + timedelta(days=1), MAILED_FROM, zone)
    until = from_at + SENT_FOR
    return (monday, sunday, until) if from_at <= now < until else None


def queue_weekly_summaries(unit_of_work: UnitOfWorkFactory, *, now: datetime) -> int:
    """Queue the summaries that are due and not queued yet; returns how many.

    Opens a write transaction only if there is something to queue, since this runs every few
    seconds.
    """
    with unit_of_work(write=False) as unit:
        orders = _orders(unit, now)
    if not orders:
        return 0
    with unit_of_work(write=True) as unit:
        return unit.outbox.queue(orders, at=now)


def _orders(unit: UnitOfWork, now: datetime) -> list[MailOrder]:
    readers = unit.people.list_readers(WEEKLY, role="grower")
    if not readers:
        return []
    zones = {farm.farm_id: farm.zone for farm in unit.blocks.list_farms()}
    known: dict[date, set[tuple[int, str]]] = {}
    orders = []
    for reader in readers:
        week = due_week(zones[reader.farm_id], now)
        if week is None:
            continue
        _, sunday, until = week
        if sunday not in known:
            known[sunday] = unit.outbox.list_known(WEEKLY, day=sunday)
        if (reader.person_key, reader.farm_id) in known[sunday]:
            continue
        orders.append(
            MailOrder(
                person_key=reader.person_key,
                farm_id=reader.farm_id,
                plan_day=sunday,
                kind=WEEKLY,
                expires_at=until,
            )
        )
    return orders


# --- the letter --------------------------------------------------------------------------------


def weekly_letter(
    farm: FarmDefinition,
    last_day: date,
    *,
    unit_of_work: UnitOfWorkFactory,
    attributions: Mapping[str, Attribution],
) -> WeeklyLetter:
    """The seven days up to ``last_day`` of a farm."""
    first_day = last_day - timedelta(days=DAYS_PER_WEEK - 1)
    with unit_of_work(write=False) as unit:
        blocks = unit.blocks.list_blocks(farm_id=farm.farm_id, day=last_day)
        ledgers = [
            unit.ledger.read_rows(
                unit.blocks.get_block_key(block.block_id), first_day=first_day, last_day=last_day
            )
            for block in blocks
        ]
        farm_keys = np.array([*unit.blocks.farm_keys([farm.farm_id]).values()], dtype=np.int64)
        offers = [rate_offer(unit, block, today=last_day) for block in blocks]
        weather = unit.weather.read_rows(
            unit.blocks.list_site_keys(farm_keys), first_day=first_day, last_day=last_day
        )
        timers = {
            state.block_id: line_of_week(state)
            for state in timers_of(unit, blocks, today=last_day + ONE_DAY)
        }
    used = set(weather.sources)
    return WeeklyLetter(
        farm_id=farm.farm_id,
        farm_name=farm.name,
        zone=farm.zone,
        first_day=first_day,
        last_day=last_day,
        blocks=tuple(
            _block_week(
                block,
                rows,
                _flow(block, last_day, unit_of_work),
                offer,
                timers.get(block.block_id),
            )
            for block, rows, offer in zip(blocks, ledgers, offers, strict=True)
        ),
        attributions=tuple(each for name, each in attributions.items() if name in used),
        reminders=remind_to_sample(
            farm.farm_id, on=last_day + timedelta(days=1), unit_of_work=unit_of_work
        ),
    )


def _block_week(
    block: BlockDefinition,
    rows: LedgerRows,
    flow: tuple[str, float | None],
    offer: RateOffer,
    timer: TimerLine | None,
) -> BlockWeek:
    verdict, change_fraction = flow
    applied_mm = _total(rows, "irrigation_gross_mm")
    has_rows = rows.days.size > 0
    return BlockWeek(
        block_id=block.block_id,
        name=block.name,
        applied_mm=applied_mm,
        applied_l=applied_mm * block.area_m2,
        area_m2=block.area_m2,
        needed_mm=_total(rows, "actual_crop_et_mm"),
        rain_mm=_total(rows, "rain_mm"),
        rain_kept_mm=max(0.0, _total(rows, "rain_entering_mm") - _total(rows, "rain_drainage_mm")),
        depletion_end_mm=float(rows.numbers["depletion_end_mm"][-1]) if has_rows else None,
        raw_mm=float(rows.numbers["raw_mm"][-1]) if has_rows else None,
        short_days_count=int(((rows.flags & int(PlanFlag.AFTERNOON_STRESS)) != 0).sum()),
        assumed_days_count=int((rows.irrigation_origin == IrrigationOrigin.PLANNED).sum()),
        unobserved_days_count=int((~rows.is_observed).sum()),
        flow_verdict=verdict,
        flow_change_fraction=change_fraction,
        rate_ratio=offer.rate.rate_ratio if offer.is_offered else None,
        rate_run_count=offer.rate.run_count,
        timer=timer,
    )


def _total(rows: LedgerRows, name: str) -> float:
    return float(np.nansum(rows.numbers[name]))


def _flow(
    block: BlockDefinition, last_day: date, unit_of_work: UnitOfWorkFactory
) -> tuple[str, float | None]:
    """Flow-check verdict of the season's metered runs; empty for a block without a meter."""
    report = check_flow(
        block.block_id,
        first_day=last_day - timedelta(days=SEASON_DAYS),
        last_day=last_day,
        unit_of_work=unit_of_work,
    )
    if not np.isfinite(report.metered_l).any():
        return "", None
    check = report.check
    change_fraction = None
    if check.verdict in {FlowVerdict.JUMP_DOWN, FlowVerdict.JUMP_UP} and check.jumps:
        change_fraction = check.jumps[-1].change_fraction
    elif check.slow_change is not None:
        change_fraction = check.slow_change.change_fraction
    elif check.verdict in {FlowVerdict.FELL, FlowVerdict.ROSE}:
        change_fraction = check.change_fraction
    return check.verdict.value, change_fraction
