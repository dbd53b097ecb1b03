"""A farm's day in one report: all blocks ran as planned, or some for other minutes.

A day can be reported once its last planned pulse is over, up to seven days later. Each pulse
becomes a run of its block. A block that has a reported run on the day, from a person, a meter or a
controller, is left as it was reported: no water must count twice.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np

from service.agronomy.civil_day import ONE_DAY, wall_time
from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid
from service.operations.evening.replan_after import Replanning, replan_after
from service.operations.feedback.report_runs import LONGEST_RUN_MIN, RunReport, store_runs
from service.operations.reading.read_farms import today_at
from service.pulses import Pulse
from service.translations.catalogue import marked

LOOK_BACK = timedelta(days=7)
"""How long a day is asked about."""
NOT_ASKED = marked("today or a day of the last seven, once its last planned run is over")
NOT_PLANNED = marked("a block that was planned to run that day")


@dataclass(frozen=True, slots=True)
class BlockToReport:
    """What was planned of a block on a day that nobody has reported."""

    block_id: str
    name: str
    zone: str
    """Time zone of the block's site, whose day the pulses are counted in."""
    pulses: tuple[Pulse, ...]

    @property
    def planned_min(self) -> int:
        """Minutes of all pulses."""
        return sum(pulse.duration_min for pulse in self.pulses)


@dataclass(frozen=True, slots=True)
class DayToReport:
    """A day whose planned pulses are over."""

    day: date
    blocks: tuple[BlockToReport, ...]
    """Those that were planned to run and have no reported run yet, by their first pulse."""
    reported_ids: frozenset[str] = frozenset()
    """Those that were planned to run and have one."""


@dataclass(frozen=True, slots=True)
class DayReport:
    """What happened on a day."""

    day: date
    ran_min: Mapping[str, float] = field(default_factory=dict)
    """Minutes of the day by block id; those that are not named ran as planned."""


@dataclass(frozen=True, slots=True)
class ReportedDays:
    """What was stored and what followed from it."""

    block_days_count: int
    """Blocks that were reported, over all days."""
    run_count: int
    new_version_count: int
    """Plans that were replaced."""
    kept: tuple[tuple[date, str], ...]
    """Days and blocks that had been reported before and stay so."""


def days_to_report(unit: UnitOfWork, farm_id: str, *, now: datetime) -> tuple[DayToReport, ...]:
    """Days of the last seven, and today, that can be reported and are not yet, the latest first.

    Raises NotFound for an unknown farm.
    """
    return tuple(each for each in _days(unit, farm_id, now) if each.blocks)


def report_days(
    unit: UnitOfWork,
    farm_id: str,
    reports: Sequence[DayReport],
    *,
    reporter: str,
    replanning: Replanning,
) -> ReportedDays:
    """Store the runs of these days, all of them or none, and update the balance and plans once.

    The same report again changes nothing. Raises NotFound for an unknown farm, InputInvalid with a
    JSON pointer for each fault.
    """
    now = replanning.clock.now()
    known = {each.day: each for each in _days(unit, farm_id, now)}
    _check(reports, known)
    runs, kept, count = [], [], 0
    for report in reports:
        asked = known[report.day]
        kept += [(report.day, block_id) for block_id in sorted(asked.reported_ids)]
        count += len(asked.blocks)
        for block in asked.blocks:
            ran_min = report.ran_min.get(block.block_id, float(block.planned_min))
            runs += [
                RunReport(
                    block.block_id, wall_time(report.day, start_min, block.zone), duration_min
                )
                for start_min, duration_min in laid_out(block.pulses, ran_min)
            ]
    if not runs:
        return ReportedDays(0, 0, 0, tuple(kept))
    stored = store_runs(
        unit, runs, farm_id=farm_id, reporter=reporter, now=now, is_all_or_none=True
    )
    faults = [fault for of_run in stored.faults for fault in of_run]
    if faults:
        raise InputInvalid("the day cannot be stored", faults[:100])
    new_version_count = replan_after(
        unit, [farm_id], touched_day=stored.first_day, replanning=replanning
    )
    return ReportedDays(count, len(runs), new_version_count, tuple(kept))


def laid_out(pulses: Sequence[Pulse], ran_min: float) -> list[tuple[int, float]]:
    """Start and minutes of the runs of a block that ran so long in all.

    [CHOICE] Less than planned: the pulses ran in their order until the minutes were used up. More:
    the last one ran longer. None: the first is reported with no minutes, which says that the block
    did not run.

    >>> pulses = [Pulse(240, 40), Pulse(438, 40)]
    >>> [laid_out(pulses, minutes) for minutes in (55.0, 100.0, 0.0)]
    [[(240, 40.0), (438, 15.0)], [(240, 40.0), (438, 60.0)], [(240, 0.0)]]
    """
    left_min = ran_min
    found: list[tuple[int, float]] = []
    for place, pulse in enumerate(pulses):
        is_last = place == len(pulses) - 1
        used_min = left_min if is_last else min(left_min, float(pulse.duration_min))
        if used_min > 0.0 or not found:
            found.append((pulse.start_min, used_min))
        left_min -= used_min
        if left_min <= 0.0:
            break
    return found


def _check(reports: Sequence[DayReport], known: Mapping[date, DayToReport]) -> None:
    faults = []
    if not reports:
        faults.append(Fault("/days", "no day", NOT_ASKED))
    seen: set[date] = set()
    for place, report in enumerate(reports):
        where = f"/days/{place}"
        asked = known.get(report.day)
        if asked is None:
            faults.append(Fault(f"{where}/day", report.day.isoformat(), NOT_ASKED))
            continue
        if report.day in seen:
            faults.append(Fault(f"{where}/day", report.day.isoformat(), "each day once"))
        seen.add(report.day)
        planned = {block.block_id for block in asked.blocks} | asked.reported_ids
        for block_id, ran_min in report.ran_min.items():
            at = f"{where}/ran_min/{block_id}"
            if block_id not in planned:
                faults.append(Fault(at, marked("another block"), NOT_PLANNED))
            elif not (math.isfinite(ran_min) and 0.0 <= ran_min <= LONGEST_RUN_MIN):
                faults.append(Fault(at, f"{ran_min:g}", f"0 to {LONGEST_RUN_MIN:g} minutes"))
    if faults:
        raise InputInvalid("the day cannot be stored", faults[:100])


def _days(unit: UnitOfWork, farm_id: str, now: datetime) -> tuple[DayToReport, ...]:
    """Days whose pulses are over, the latest first; three queries for any number of blocks."""
    today = today_at(unit, farm_id, now)
    places = unit.reports.read_places(unit.blocks.farm_keys([farm_id])[farm_id], day=today)
    keys = np.array([*places], dtype=np.int64)
    span = (today - LOOK_BACK, today)
    pulses = unit.plans.read_pulses(keys, first_day=span[0], last_day=span[1])
    reported = unit.reports.find_reported(keys, first_day=span[0], last_day=span[1])
    found = []
    for ago in range(LOOK_BACK.days + 1):
        day = today - ago * ONE_DAY
        planned = [
            (key, BlockToReport(place.block_id, place.name, place.zone, pulses[key, day]))
            for key, place in places.items()
            if pulses.get((key, day))
        ]
        if not planned or not all(_is_over(block, day, now) for _, block in planned):
            continue
        waiting = [block for key, block in planned if (key, day) not in reported]
        done = frozenset(block.block_id for key, block in planned if (key, day) in reported)
        waiting.sort(key=lambda block: (block.pulses[0].start_min, block.name))
        found.append(DayToReport(day, tuple(waiting), done))
    return tuple(found)


def _is_over(block: BlockToReport, day: date, now: datetime) -> bool:
    return wall_time(day, block.pulses[-1].end_min, block.zone) <= now
