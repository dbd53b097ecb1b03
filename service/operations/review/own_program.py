"""What was run in a block over past days, as far as it is known.

A day is known by its reported runs, else by the program that its timer was set to. Between runs
that were reported at most a week apart nothing ran [CHOICE]: who reports runs reports all of them.
Of any other day nothing is known, and a plan that was out does not say that it ran.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from itertools import pairwise

from service.agronomy.civil_day import ONE_DAY
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.pulses import Pulse
from service.records.comparison import OwnRuns
from service.records.farms import BlockDefinition
from service.records.feedback import GivenRun
from service.records.timers import in_force

LONGEST_GAP = timedelta(days=7)
"""[CHOICE] Runs reported further apart leave open what ran between them."""


def find_own_runs(
    block_id: str, *, first_day: date, last_day: date, unit_of_work: UnitOfWorkFactory
) -> Mapping[str, OwnRuns]:
    """What was run in a block, by its id; empty where nothing is known. Raises NotFound."""
    with unit_of_work(write=False) as unit:
        return own_runs(unit, block_id, first_day=first_day, last_day=last_day)


def own_runs(
    unit: UnitOfWork, block_id: str, *, first_day: date, last_day: date
) -> Mapping[str, OwnRuns]:
    """As :func:`find_own_runs`, within a unit of work."""
    block = unit.blocks.get_block(block_id, day=last_day)
    runs = unit.reports.list_runs(
        unit.blocks.get_block_key(block_id),
        # A run shortly before or after the span says that nothing ran in between.
        first_day=first_day - LONGEST_GAP,
        last_day=last_day + LONGEST_GAP,
    )
    pulses = _timer_pulses(unit, block, first_day, last_day)
    for day in _reported_days(sorted({each.day for each in runs})):
        pulses[day] = ()
    for each in runs:
        pulses[each.day] = (*pulses[each.day], _pulse(each, block))
    known = frozenset(day for day in pulses if first_day <= day <= last_day)
    if not known:
        return {}
    running = {day: pulses[day] for day in known if pulses[day]}
    return {block_id: OwnRuns(pulses=running, known_days=known)}


def _timer_pulses(
    unit: UnitOfWork, block: BlockDefinition, first_day: date, last_day: date
) -> dict[date, tuple[Pulse, ...]]:
    """What the timer of a block ran on each day from which it is known what it was set to."""
    if block.timer is None:
        return {}
    programs = unit.timers.list_programs([block.block_id], since=first_day)
    found = {}
    for place in range((last_day - first_day).days + 1):
        day = first_day + place * ONE_DAY
        was_set = in_force(programs.get(block.block_id, ()), day)
        if was_set is not None:
            found[day] = was_set.program.pulses_on(day)
    return found


def _reported_days(days: Iterable[date]) -> Iterable[date]:
    """The days of reported runs, and those between two of them at most a week apart."""
    days = list(days)
    yield from days
    for earlier, later in pairwise(days):
        if later - earlier <= LONGEST_GAP:
            for place in range(1, (later - earlier).days):
                yield earlier + place * ONE_DAY


def _pulse(run: GivenRun, block: BlockDefinition) -> Pulse:
    """A run in whole minutes; where a volume is booked, the minutes that its emitters need."""
    minutes = run.duration_min
    if run.volume_l is not None:
        leakage = 0.0 if math.isnan(block.leakage_fraction) else block.leakage_fraction
        minutes = run.volume_l * (1.0 - leakage) / block.flow_l_per_h * 60.0
    return Pulse(run.start_min, round(minutes))
