"""Whether a block still takes its water: reported runs with a metered volume against what its
pipes should give, over a season.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from service.agronomy.records import Days, Floats
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid, NotFound
from service.operations.reading.block_pipes import at_meter, expected_flow_l_per_h
from service.ports import Clock
from service.records.audit import Subject
from service.records.farms import BlockDefinition
from service.records.feedback import MeteredRuns
from service.records.metered_flow import stated_emitter_flow_l_per_h
from service.records.waterworks import FlowFinding
from service.translations.catalogue import marked
from service.waterworks.flow_check import FlowCheck, FlowVerdict, expected_volume_l
from service.waterworks.flow_check import check_flow as check_runs
from service.waterworks.flow_watch import SLOW_FAULT_COUNT

LONGEST_SPAN_DAYS = 800
FALSE_ALARM_TEXT = marked(
    "A steady block raises a false alarm about once in 3,000 runs, however often one looks. Of 100"
    " simulated steady seasons of 150 runs 1 alarmed where the noise of a run had nothing to do"
    " with that of the next, 4 where it kept 0.3 of it, and 13 where it kept half; real meters are"
    " not in these figures. Walk the lines before anything is taken apart."
)


@dataclass(frozen=True, slots=True)
class FlowReport:
    """The metered runs of a block in a span, and what they show; arrays (runs,)."""

    block_id: str
    days: Days
    duration_min: Floats
    metered_l: Floats
    expected_l: Floats
    flow_origin: str
    check: FlowCheck
    cautions: tuple[str, ...]

    @property
    def verdict(self) -> FlowVerdict:
        """What the runs show."""
        return self.check.verdict

    @property
    def is_alarm(self) -> bool:
        """Somebody should look at the block."""
        return self.check.is_alarm


def check_flow(
    block_id: str, *, first_day: date, last_day: date, unit_of_work: UnitOfWorkFactory
) -> FlowReport:
    """What the metered runs of a span show; raises NotFound, or InputInvalid for a bad span.

    Each run is compared with the flow of the block as of its day, so that a change of emitters is
    not a finding.
    """
    _check_span(first_day, last_day)
    with unit_of_work(write=False) as unit:
        return flow_report(unit, block_id, first_day, last_day)


def record_flow_check(
    block_id: str,
    *,
    first_day: date,
    last_day: date,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> FlowReport:
    """The same, stored as a finding for the day of the last run; without runs nothing is stored."""
    _check_span(first_day, last_day)
    with unit_of_work(write=True) as unit:
        report = flow_report(unit, block_id, first_day, last_day)
        if report.days.size:
            key = unit.blocks.get_block_key(block_id)
            finding = FlowFinding(
                block_id=report.block_id,
                day=report.days[-1].item(),
                verdict=report.verdict.name,
                document=flow_document(report),
            )
            stored = unit.waterworks.list_findings(key)
            unit.waterworks.save_finding(key, finding, recorded_at=clock.now())
            unit.audit.note(
                Subject.FLOW_FINDING,
                block_id,
                farm_id=unit.blocks.get_farm_of(block_id).farm_id,
                before=next((each for each in stored if each.day == finding.day), None),
                after=finding,
            )
    return report


def list_findings(block_id: str, *, unit_of_work: UnitOfWorkFactory) -> list[FlowFinding]:
    """Findings about a block so far, the newest first."""
    with unit_of_work(write=False) as unit:
        return unit.waterworks.list_findings(unit.blocks.get_block_key(block_id))


def flow_document(report: FlowReport) -> dict[str, object]:
    """A report in plain numbers, without the runs themselves."""
    check = report.check
    slow = check.slow_change
    return {
        "run_count": int(np.isfinite(check.ratio).sum()),
        "first_day": None if not report.days.size else report.days[0].item().isoformat(),
        "level_ratio": _known(check.level_ratio),
        "is_level_off": check.is_level_off,
        "is_alarm": check.is_alarm,
        "noise_fraction": _known(check.noise_fraction),
        "noise_memory": _known(check.memory),
        "change_fraction": _known(check.change_fraction),
        "alarm_days": [report.days[run].item().isoformat() for run in check.alarm_runs],
        "delays": [
            {
                "loss_fraction": delay.loss_fraction,
                "sudden_run_count": _whole(delay.sudden_run_count),
                "slow_run_count": _whole(delay.slow_run_count),
            }
            for delay in check.delays
        ],
        "jumps": [
            {
                "day": report.days[jump.run].item().isoformat(),
                "change_fraction": round(jump.change_fraction, 4),
            }
            for jump in check.jumps
        ],
        "slow_change": None
        if slow is None
        else {
            "from_day": report.days[slow.from_run].item().isoformat(),
            "change_fraction": round(slow.change_fraction, 4),
            "change_per_100_runs_fraction": round(slow.change_per_100_runs_fraction, 4),
        },
        "odd_days": [report.days[run].item().isoformat() for run in check.odd_runs],
        "is_last_run_odd": check.is_last_run_odd,
    }


def flow_report(unit: UnitOfWork, block_id: str, first_day: date, last_day: date) -> FlowReport:
    """What the runs of a span show, inside a transaction."""
    block = unit.blocks.get_block(block_id, day=last_day)
    runs = _until(
        unit.reports.read_metered(unit.blocks.get_block_key(block_id), first_day=first_day),
        last_day,
    )
    flow = np.full(runs.days.size, math.nan)
    origin = ""
    for begin, version in versions_as_compared(unit, block, first_day, last_day):
        later = runs.days >= np.datetime64(begin)
        expected_l_per_h, origin = expected_flow_l_per_h(version)
        flow[later] = at_meter(expected_l_per_h, version)
    measured = np.isfinite(runs.volume_l)
    expected = expected_volume_l(flow, runs.flowing_min)[measured]
    metered = runs.volume_l[measured]
    check = check_runs(metered, expected)
    cautions = [*_findable(check), FALSE_ALARM_TEXT]
    if check.is_level_off:
        cautions.insert(
            0,
            f"From the start the block took {100.0 * check.level_ratio:.0f} % of what is expected:"
            " check the meter's unit, the block's area and emitters, and the pressure.",
        )
    if check.is_last_run_odd:
        cautions.insert(0, marked("The last run stands out: look at it today."))
    return FlowReport(
        block_id=block.block_id,
        days=runs.days[measured],
        duration_min=runs.duration_min[measured],
        metered_l=metered,
        expected_l=expected,
        flow_origin=origin,
        check=check,
        cautions=tuple(cautions),
    )


def versions_as_compared(
    unit: UnitOfWork, block: BlockDefinition, first_day: date, last_day: date
) -> list[tuple[date, BlockDefinition]]:
    """The versions of a block with the first day of each, as its metered runs are compared.

    An emitter flow that was learned from the meter counts for the runs before it was accepted too,
    as far back as the emitters are the same ones: nothing changed in the field on that day.
    """
    farm_key = unit.blocks.farm_keys([block.farm_id])[block.farm_id]
    changes = unit.blocks.list_version_days(
        np.array([farm_key], dtype=np.int64), first_day=first_day, last_day=last_day
    )
    found: list[tuple[date, BlockDefinition]] = []
    later = block
    for begin in reversed([first_day, *changes]):
        version = _as_of(unit, block, begin)
        if emitters_of(version) == emitters_of(later):
            name = "emitter_flow_l_per_h"
            origins = {**version.origins, name: later.origins.get(name, "")}
            version = replace(
                version, emitter_flow_l_per_h=later.emitter_flow_l_per_h, origins=origins
            )
        found.append((begin, version))
        later = version
    return found[::-1]


def emitters_of(block: BlockDefinition) -> tuple[float, ...]:
    """What makes the emitters of a block other ones: their number, and their flow as stated."""
    return (
        block.area_m2,
        block.row_spacing_m,
        block.emitter_spacing_m,
        block.laterals_per_row_count,
        stated_emitter_flow_l_per_h(block),
    )


def _findable(check: FlowCheck) -> list[str]:
    """What can be found at the block's own spread, and from when."""
    spread = f"{100.0 * check.noise_fraction:.0f}"
    found: list[str] = []
    for is_sudden in (True, False):
        seen = [
            (delay.loss_fraction, delay.sudden_run_count if is_sudden else delay.slow_run_count)
            for delay in check.delays
        ]
        shown = [(loss, runs) for loss, runs in seen if math.isfinite(runs)]
        hidden = [loss for loss, runs in seen if not math.isfinite(runs)]
        for loss, runs in shown[:1]:
            size = f"{100.0 * loss:.0f}"
            found.append(
                f"At this block's spread of {spread} % from run to run, a sudden loss of {size} %"
                f" would show after about {runs:.0f} runs."
                if is_sudden
                else f"A slow loss of {size} % over {SLOW_FAULT_COUNT} runs would show after about"
                f" {runs:.0f} of them."
            )
        if hidden:
            size = f"{100.0 * hidden[-1]:.0f}"
            found.append(
                f"A sudden loss of {size} % is lost in this block's spread of {spread} % from run"
                " to run."
                if is_sudden
                else f"A slow loss of {size} % over {SLOW_FAULT_COUNT} runs would not show in them."
            )
    return found


def _until(runs: MeteredRuns, last_day: date) -> MeteredRuns:
    kept = runs.days <= np.datetime64(last_day)
    return MeteredRuns(
        days=runs.days[kept],
        duration_min=runs.duration_min[kept],
        flowing_min=runs.flowing_min[kept],
        volume_l=runs.volume_l[kept],
        is_booked=runs.is_booked[kept],
    )


def _as_of(unit: UnitOfWork, block: BlockDefinition, day: date) -> BlockDefinition:
    """The block as of a day; as it is now if it was not known then."""
    try:
        return unit.blocks.get_block(block.block_id, day=day)
    except NotFound:
        return block


def _check_span(first_day: date, last_day: date) -> None:
    if last_day < first_day or (last_day - first_day).days > LONGEST_SPAN_DAYS:
        raise InputInvalid(
            f"the span {first_day} to {last_day} cannot be checked",
            [Fault("to", str(last_day), f"up to {LONGEST_SPAN_DAYS} days after the first day")],
        )


def _whole(value: float) -> int | None:
    return round(value) if math.isfinite(value) else None


def _known(value: float) -> float | None:
    return round(value, 4) if math.isfinite(value) else None
