"""Runs that a grower or a controller reports: they replace what the plan assumed.

A report for a day that is booked already reopens the block's ledger from that day on.
"""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from service.agronomy.civil_day import midnight_utc, midnight_utc_min
from service.agronomy.sun import sunrise_sunset_min
from service.database.session import UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.feedback.submit_runs import LONGEST_RUN_MIN
from service.ports import Clock
from service.records.farms import LoadOutcome
from service.records.feedback import RunRows


def report_run(
    block_id: str,
    started_at: datetime,
    duration_min: float,
    *,
    reporter: str,
    volume_l: float | None = None,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> LoadOutcome:
    """Store one run; the same run again changes nothing. A naive start is the site's local time."""
    if not 0.0 <= duration_min <= LONGEST_RUN_MIN:
        raise InputInvalid(
            "the run cannot be stored",
            [Fault("minutes", f"{duration_min:g}", f"0 to {LONGEST_RUN_MIN:g} minutes")],
        )
    with unit_of_work(write=True) as unit:
        block_key = unit.blocks.get_block_key(block_id)
        block = unit.blocks.get_block(block_id, day=clock.now().date())
        sites = unit.blocks.read_site_table(
            np.array([unit.blocks.get_site_key(block.site_id)], dtype=np.int64)
        )
        site = sites.definitions[0]
        zone = ZoneInfo(site.zone)
        local = (
            started_at.replace(tzinfo=zone) if started_at.tzinfo is None else started_at
        ).astimezone(zone)
        if local > clock.now():
            raise InputInvalid(
                "the run cannot be stored",
                [Fault("start", local.isoformat(), "a time that has passed")],
            )
        day = local.date()
        start_min = int(
            (local.astimezone(UTC) - midnight_utc(day, site.zone)).total_seconds() // 60
        )
        days = np.array([day], dtype="datetime64[D]")
        sunrise_min, _ = sunrise_sunset_min(
            days,
            np.array([site.latitude_deg]),
            np.array([site.longitude_deg]),
            midnight_utc_min=midnight_utc_min(days, [site.zone]),
        )
        outcome = unit.plans.record_runs(
            RunRows(
                block_keys=np.array([block_key], dtype=np.int64),
                days=days,
                started_at=(local.astimezone(UTC),),
                start_min=np.array([start_min], dtype=np.int64),
                duration_min=np.array([duration_min]),
                volume_l=np.array([np.nan if volume_l is None else volume_l]),
                is_early=np.array([start_min < sunrise_min[0, 0]]),
                reporter=reporter,
            ),
            recorded_at=clock.now(),
        )
        if outcome.created_count + outcome.changed_count:
            unit.ledger.rewind_block(block_key=block_key, day=day)
    return outcome
