"""Actual runs, as people and controllers report them: minutes, and litres where metered.

A report replaces what the plan assumed for that day; it may come late. The ledgers of the blocks
reopen from the first day reported, and tomorrow's plan follows in the same transaction. Metered
water is booked as it was metered. A volume that the block cannot have passed in those minutes is
questioned: the minutes stand until the same run is reported again with its volume confirmed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from service.agronomy.civil_day import ONE_DAY, ONE_MINUTE, midnight_utc, midnight_utc_min
from service.agronomy.sun import sunrise_sunset_min
from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid
from service.operations.evening.replan_after import Replanning, replan_after
from service.operations.feedback.compare_meter import (
    BlockMeter,
    FlowNote,
    MeteredRun,
    block_meter,
    flow_note,
)
from service.operations.feedback.reported_time import has_passed, on_clock
from service.operations.reading.read_farms import local_day, today_at
from service.pulses import Pulse
from service.records.audit import Subject
from service.records.farms import BlockDefinition, LoadOutcome, SiteDefinition
from service.records.feedback import RecordedRuns, RunRows
from service.waterworks.metered_run import flowing_min

MOST_RUNS = 1000
LONGEST_RUN_MIN = 1500.0
LARGEST_VOLUME_L = 1e8
OLDEST_RUN = timedelta(days=400)


@dataclass(frozen=True, slots=True)
class RunReport:
    """One run that took place."""

    block_id: str
    started_at: datetime
    """Aware, or naive in the time zone of the block's site."""
    duration_min: float
    volume_l: float | None = None
    is_volume_confirmed: bool = False
    """Book the volume even if the block's emitters should not be able to pass it."""


@dataclass(frozen=True, slots=True)
class ReportedRuns:
    """What was stored and what followed from it."""

    outcome: LoadOutcome
    new_version_count: int
    """Plans that were replaced."""
    flow: tuple[FlowNote, ...]
    """One for each block with metered runs in the report."""

    @property
    def questioned_count(self) -> int:
        """Runs whose minutes stand, because their volume can hardly be right."""
        return sum(note.questioned_count for note in self.flow)


def report_runs(
    unit: UnitOfWork,
    reports: Sequence[RunReport],
    *,
    farm_id: str | None,
    reporter: str,
    replanning: Replanning,
) -> ReportedRuns:
    """Store runs of this farm's blocks, or of any farm's if None; all of them or none.

    The same run again changes nothing. Raises InputInvalid with a JSON pointer for each fault;
    another farm's block is reported as not found.
    """
    if not 1 <= len(reports) <= MOST_RUNS:
        raise InputInvalid(
            "the runs cannot be stored",
            [Fault("/items", f"{len(reports)} runs", f"1 to {MOST_RUNS} runs in a request")],
        )
    now = replanning.clock.now()
    stored = store_runs(
        unit, reports, farm_id=farm_id, reporter=reporter, now=now, is_all_or_none=True
    )
    faults = [
        replace(fault, where=f"/items/{place}{fault.where}")
        for place, of_one in enumerate(stored.faults)
        for fault in of_one
    ]
    if faults:
        raise InputInvalid("the runs cannot be stored", faults[:100])
    new_version_count = 0
    if stored.first_day is not None:
        new_version_count = replan_after(
            unit, sorted(stored.farm_ids), touched_day=stored.first_day, replanning=replanning
        )
    return ReportedRuns(
        outcome=stored.outcome, new_version_count=new_version_count, flow=stored.flow
    )


@dataclass(frozen=True, slots=True)
class StoredRuns:
    """Runs that were stored; nothing has been planned after them yet."""

    faults: Sequence[Sequence[Fault]]
    """Of each report; those with any were not stored. Places are pointers within the report."""
    outcome: LoadOutcome
    farm_ids: frozenset[str]
    """Farms whose ledgers were reopened."""
    first_day: date | None
    """From this day on; None: nothing new was stored."""
    flow: tuple[FlowNote, ...]


def store_runs(
    unit: UnitOfWork,
    reports: Sequence[RunReport],
    *,
    farm_id: str | None,
    reporter: str,
    now: datetime,
    is_all_or_none: bool,
) -> StoredRuns:
    """Store the runs that have no fault, and reopen the ledgers of their blocks.

    ``is_all_or_none``: store nothing if any has one.
    """
    places = _Places(unit, reports, farm_id=farm_id, now=now)
    faults = [_faults(report, places, now) for report in reports]
    good = [report for report, found in zip(reports, faults, strict=True) if not found]
    if not good or (is_all_or_none and len(good) < len(reports)):
        return StoredRuns(faults, LoadOutcome(0, 0, 0), frozenset(), None, ())
    metered = _read_meters(unit, good, places, now)
    rows = _rows(good, places, metered, reporter=reporter)
    recorded = unit.reports.record_runs(rows, recorded_at=now)
    outcome = recorded.outcome
    _note_runs(unit, good, places, recorded)
    farm_ids: frozenset[str] = frozenset()
    first_day: date | None = None
    if outcome.created_count + outcome.changed_count:
        for key in np.unique(rows.block_keys).tolist():
            unit.ledger.rewind_block(
                block_key=key, day=rows.days[rows.block_keys == key].min().item()
            )
        farm_ids = frozenset(places.blocks[report.block_id].farm_id for report in good)
        first_day = rows.days.min().item()
    return StoredRuns(faults, outcome, farm_ids, first_day, _flow_notes(good, metered))


def _note_runs(
    unit: UnitOfWork,
    reports: Sequence[RunReport],
    places: _Places,
    recorded: RecordedRuns,
) -> None:
    """One entry for each block; a run that replaces another shows both."""
    for block_id in sorted({report.block_id for report in reports}):
        key = places.keys[block_id]
        unit.audit.note(
            Subject.RUNS,
            block_id,
            farm_id=places.blocks[block_id].farm_id,
            before=recorded.before.get(key, {}),
            after=recorded.after[key],
        )


def _faults(report: RunReport, places: _Places, now: datetime) -> list[Fault]:
    started_at = places.started_at(report)
    faults = []
    if started_at is not None and not (
        now - OLDEST_RUN <= started_at and has_passed(started_at, now=now)
    ):
        faults.append(
            Fault(
                "/started_at",
                report.started_at.isoformat(),
                f"a time that has passed, at most {OLDEST_RUN.days} days ago",
            )
        )
    if not 0.0 <= report.duration_min <= LONGEST_RUN_MIN:
        faults.append(
            Fault(
                "/duration_min",
                f"{report.duration_min:g}",
                f"0 to {LONGEST_RUN_MIN:g} minutes",
            )
        )
    if report.volume_l is not None and not 0.0 <= report.volume_l <= LARGEST_VOLUME_L:
        faults.append(
            Fault("/volume_l", f"{report.volume_l:g}", f"0 to {LARGEST_VOLUME_L:g} liters")
        )
    if report.block_id not in places.blocks:
        faults.append(Fault("/block_id", "no such block", "a block that is in force, farm.block"))
    return faults


class _Places:
    """The blocks that reports name, with their keys and sites."""

    def __init__(
        self,
        unit: UnitOfWork,
        reports: Sequence[RunReport],
        *,
        farm_id: str | None,
        now: datetime,
    ) -> None:
        named = {report.block_id for report in reports}
        farms = {name.partition(".")[0] for name in named}
        known = set(unit.blocks.farm_keys())
        mine = farms & known if farm_id is None else farms & known & {farm_id}
        self.blocks: dict[str, BlockDefinition] = {
            block.block_id: block
            for farm in sorted(mine)
            for block in unit.blocks.list_blocks(farm_id=farm, day=today_at(unit, farm, now))
            if block.block_id in named
        }
        self.keys = {name: unit.blocks.get_block_key(name) for name in self.blocks}
        self.sites: dict[str, SiteDefinition] = {}
        for site_id in {block.site_id for block in self.blocks.values()}:
            keys = np.array([unit.blocks.get_site_key(site_id)], dtype=np.int64)
            self.sites[site_id] = unit.blocks.read_site_table(keys).definitions[0]

    def site_of(self, report: RunReport) -> SiteDefinition:
        """The site of a report's block."""
        return self.sites[self.blocks[report.block_id].site_id]

    def started_at(self, report: RunReport) -> datetime | None:
        """When a run began, aware; None if that depends on the site of an unknown block."""
        if report.block_id in self.blocks:
            return on_clock(report.started_at, self.site_of(report).zone)
        return None if report.started_at.tzinfo is None else report.started_at

    def day_of(self, report: RunReport) -> date:
        """Local civil day on which a run started."""
        zone = self.site_of(report).zone
        return local_day(on_clock(report.started_at, zone), zone)


@dataclass(frozen=True, slots=True)
class _Metered:
    """What the meters say of a report: one of each block, one run for each report."""

    meters: Mapping[str, BlockMeter]
    runs: Sequence[MeteredRun | None]
    """None for a run without minutes or without a volume."""


def _read_meters(
    unit: UnitOfWork, reports: Sequence[RunReport], places: _Places, now: datetime
) -> _Metered:
    named = sorted({each.block_id for each in reports if each.volume_l is not None})
    if not named:
        return _Metered({}, [None] * len(reports))
    meters = {
        name: block_meter(
            unit, places.blocks[name], today=today_at(unit, places.blocks[name].farm_id, now)
        )
        for name in named
    }
    days = [places.day_of(report) for report in reports]
    pulses = unit.plans.read_pulses(
        np.array([places.keys[name] for name in named], dtype=np.int64),
        first_day=min(days) - ONE_DAY,
        last_day=max(days) + ONE_DAY,
    )
    runs = []
    for report, day in zip(reports, days, strict=True):
        zone, key = places.site_of(report).zone, places.keys[report.block_id]
        midnight = midnight_utc(day, zone)
        around = [
            Pulse(
                pulse.start_min + (midnight_utc(other, zone) - midnight) // ONE_MINUTE,
                pulse.duration_min,
            )
            for other in (day - ONE_DAY, day, day + ONE_DAY)
            for pulse in pulses.get((key, other), ())
        ]
        start_min = (on_clock(report.started_at, zone) - midnight) / ONE_MINUTE
        runs.append(_metered_run(report, meters.get(report.block_id), start_min, around))
    return _Metered(meters, runs)


def _metered_run(
    report: RunReport, meter: BlockMeter | None, start_min: float, pulses: Sequence[Pulse]
) -> MeteredRun | None:
    """A run with its volume, and whether the ledger takes it; pulses are those around it."""
    if report.volume_l is None or meter is None or report.duration_min == 0.0:
        return None
    flowed_min = flowing_min(
        start_min,
        report.duration_min,
        pulses,
        design_min=60.0 * report.volume_l / meter.design_l_per_h,
    )
    is_possible = meter.passable.holds(report.volume_l, flowed_min)
    return MeteredRun(flowed_min, report.volume_l, report.is_volume_confirmed or is_possible)


def _rows(
    reports: Sequence[RunReport], places: _Places, metered: _Metered, *, reporter: str
) -> RunRows:
    days, starts, start_min, is_early = [], [], [], []
    sunrise_of: dict[tuple[str, date], float] = {}
    for report in reports:
        site = places.site_of(report)
        started_at = on_clock(report.started_at, site.zone).astimezone(UTC)
        day = places.day_of(report)
        minute = (started_at - midnight_utc(day, site.zone)) // timedelta(minutes=1)
        place = (site.site_id, day)
        if place not in sunrise_of:
            sunrise_of[place] = _sunrise_min(site, day)
        days.append(day)
        starts.append(started_at)
        start_min.append(minute)
        is_early.append(minute < sunrise_of[place])
    return RunRows(
        block_keys=np.array([places.keys[each.block_id] for each in reports], dtype=np.int64),
        days=np.array(days, dtype="datetime64[D]"),
        started_at=tuple(starts),
        start_min=np.array(start_min, dtype=np.int64),
        duration_min=np.array([report.duration_min for report in reports], dtype=np.float64),
        volume_l=np.array(
            [np.nan if each.volume_l is None else each.volume_l for each in reports],
            dtype=np.float64,
        ),
        flowing_min=np.array(
            [np.nan if run is None else run.flowing_min for run in metered.runs], dtype=np.float64
        ),
        is_early=np.array(is_early, dtype=np.bool_),
        is_volume_booked=np.array(
            [run is not None and run.is_booked for run in metered.runs], dtype=np.bool_
        ),
        reporter=reporter,
    )


def _sunrise_min(site: SiteDefinition, day: date) -> float:
    days = np.array([day], dtype="datetime64[D]")
    sunrise_min, _ = sunrise_sunset_min(
        days,
        np.array([site.latitude_deg]),
        np.array([site.longitude_deg]),
        midnight_utc_min=midnight_utc_min(days, [site.zone]),
    )
    return float(sunrise_min[0, 0])


def _flow_notes(reports: Sequence[RunReport], metered: _Metered) -> tuple[FlowNote, ...]:
    runs_of: dict[str, list[MeteredRun]] = {}
    for report, run in zip(reports, metered.runs, strict=True):
        if run is not None:
            runs_of.setdefault(report.block_id, []).append(run)
    return tuple(
        flow_note(metered.meters[block_id], runs) for block_id, runs in sorted(runs_of.items())
    )
