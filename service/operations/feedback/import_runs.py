"""Many reported runs from a file: all of them or none, each fault with its line.

A run that is on file already counts as unchanged; one with the same block and start and another
amount corrects it. Where a line gives only a volume or a depth, its minutes follow from the flow of
the block's emitters, and no metered volume is booked: it would say nothing of that flow.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np

from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid
from service.operations.evening.replan_after import Replanning, replan_after
from service.operations.feedback.compare_meter import FlowNote
from service.operations.feedback.report_runs import RunReport, store_runs
from service.operations.reading.read_farms import today_at
from service.records.farms import BlockDefinition, LoadOutcome
from service.records.feedback import RunFile, RunLine

MOST_LISTED = 50
_COLUMNS = {
    "/started_at": "start",
    "/duration_min": "duration",
    "/volume_l": "volume",
    "/block_id": "block",
}


@dataclass(frozen=True, slots=True)
class ImportedRuns:
    """What was stored of a file, and what followed from it."""

    outcome: LoadOutcome
    new_version_count: int
    notes: tuple[str, ...]
    flow: tuple[FlowNote, ...]

    @property
    def questioned_count(self) -> int:
        """Runs whose minutes stand, because their volume can hardly be right."""
        return sum(note.questioned_count for note in self.flow)


def import_runs(
    unit: UnitOfWork,
    file: RunFile,
    *,
    farm_id: str,
    block_id: str | None = None,
    reporter: str,
    replanning: Replanning,
) -> ImportedRuns:
    """Store the runs of a file, and update the balance and plans once.

    block_id: whose runs they are, where the file has no column ``block``. Raises NotFound for an
    unknown farm, InputInvalid with every fault.
    """
    now = replanning.clock.now()
    blocks = _Blocks(unit, farm_id, now, block_id)
    faults = _Faults(file.name)
    runs = _without_repeats(
        [(line, run) for line in file.runs if (run := blocks.run_of(line, faults)) is not None],
        faults,
    )
    faults.raise_any()
    stored = store_runs(
        unit,
        [run for _, run in runs],
        farm_id=farm_id,
        reporter=reporter,
        now=now,
        is_all_or_none=True,
    )
    for (line, _), found in zip(runs, stored.faults, strict=True):
        for fault in found:
            faults.add(line.line, _COLUMNS.get(fault.where, ""), fault.found, fault.allowed)
    faults.raise_any()
    count = 0
    if stored.first_day is not None:
        count = replan_after(unit, [farm_id], touched_day=stored.first_day, replanning=replanning)
    notes = (*file.notes, *_repeat_note(len(file.runs) - len(runs)), *blocks.notes())
    return ImportedRuns(stored.outcome, count, notes, stored.flow)


class _Faults:
    """Faults by line."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._found: list[tuple[int, Fault]] = []

    def add(self, line: int, column: str, found: str, allowed: str) -> None:
        """Record one."""
        where = f"{self._name}: line {line}" + (f", column {column}" if column else "")
        self._found.append((line, Fault(where, found[:80], allowed)))

    def raise_any(self) -> None:
        """Raise InputInvalid if there are any, by line."""
        if not self._found:
            return
        self._found.sort(key=lambda each: each[0])
        count = len(self._found)
        message = f"{self._name} cannot be used: {count:,} fault{'s' if count > 1 else ''}"
        if count > MOST_LISTED:
            message += f", of which the first {MOST_LISTED} are listed"
        raise InputInvalid(message, [fault for _, fault in self._found[:MOST_LISTED]])


class _Blocks:
    """The blocks of a farm that lines name."""

    def __init__(self, unit: UnitOfWork, farm_id: str, now: datetime, block_id: str | None) -> None:
        found = unit.blocks.list_blocks(farm_id=farm_id, day=today_at(unit, farm_id, now))
        self._by_id: dict[str, BlockDefinition] = {}
        for block in found:
            self._by_id[block.block_id] = self._by_id[block.block_id.partition(".")[2]] = block
        keys = np.array(
            [unit.blocks.get_site_key(each) for each in sorted({b.site_id for b in found})],
            dtype=np.int64,
        )
        sites = unit.blocks.read_site_table(keys).definitions
        self._zones: Mapping[str, str] = {site.site_id: site.zone for site in sites}
        self._default = block_id
        self._derived_count = 0

    def run_of(self, line: RunLine, faults: _Faults) -> RunReport | None:
        """The run of a line with block, aware start and minutes; None where it names no block."""
        name = line.block or self._default or ""
        block = self._by_id.get(name)
        if block is None:
            faults.add(line.line, "block", repr(name) if name else "nothing", self._allowed())
            return None
        zone = ZoneInfo(self._zones[block.site_id])
        started_at = line.started_at.replace(tzinfo=line.started_at.tzinfo or zone)
        started_at = started_at.astimezone(UTC)
        if line.duration_min is not None:
            return RunReport(block.block_id, started_at, line.duration_min, line.volume_l)
        self._derived_count += 1
        if line.depth_mm is not None:
            volume_l = line.depth_mm * block.area_m2
        else:
            leakage = 0.0 if np.isnan(block.leakage_fraction) else block.leakage_fraction
            volume_l = (line.volume_l or 0.0) * (1.0 - leakage)
        return RunReport(block.block_id, started_at, 60.0 * volume_l / block.flow_l_per_h)

    def _allowed(self) -> str:
        known = sorted(each for each in self._by_id if "." not in each)
        return f"a block of the farm: {', '.join(known[:20])}"

    def notes(self) -> tuple[str, ...]:
        """What was worked out."""
        if not self._derived_count:
            return ()
        runs = "1 run" if self._derived_count == 1 else f"{self._derived_count:,} runs"
        return (f"the minutes of {runs} follow from the flow of the emitters",)


def _without_repeats(
    runs: Sequence[tuple[RunLine, RunReport]], faults: _Faults
) -> list[tuple[RunLine, RunReport]]:
    """Each run once; a second one with the same block and start and another amount is a fault."""
    first: dict[tuple[str, datetime], tuple[RunLine, RunReport]] = {}
    for line, run in runs:
        place = (run.block_id, run.started_at)
        other = first.setdefault(place, (line, run))
        if other[1] != run:
            found = f"another amount than line {other[0].line} with the same block and start"
            faults.add(line.line, "", found, "each run once")
    return _apart(list(first.values()), faults)


def _apart(
    runs: list[tuple[RunLine, RunReport]], faults: _Faults
) -> list[tuple[RunLine, RunReport]]:
    """Runs of a block that do not overlap; one that begins within another is a fault."""
    by_time = sorted(runs, key=lambda each: (each[1].block_id, each[1].started_at))
    for (before, earlier), (line, run) in pairwise(by_time):
        ends_at = earlier.started_at + timedelta(minutes=min(earlier.duration_min, 1e5))
        if earlier.block_id == run.block_id and run.started_at < ends_at:
            found = f"a start before the run of line {before.line} is over"
            faults.add(line.line, "start", found, "runs of a block that do not overlap")
    return runs


def _repeat_note(count: int) -> tuple[str, ...]:
    if not count:
        return ()
    return (f"{count:,} repeated line{'s' if count > 1 else ''} with equal values",)
