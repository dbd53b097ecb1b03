"""What runs on a block's timer, what to set next, and that a grower has set it."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from service.agronomy.civil_day import ONE_DAY
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.evening.replan_after import Replanning, replan_after
from service.operations.reading.read_farms import today_at, today_at_block
from service.records.audit import Subject
from service.records.farms import BlockDefinition
from service.records.timers import (
    PLANNING_WEEK,
    OfferedProgram,
    TimerProgram,
    TimerSettings,
    in_force,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TimerState:
    """A block's timer: what it can do, what it runs and what it should be set to."""

    block_id: str
    block_name: str
    settings: TimerSettings
    today: date
    set_program: OfferedProgram | None
    """What it runs tomorrow as far as is known; None where nobody has said so yet."""
    to_set: OfferedProgram | None
    """The newest program that has not been set, if it differs."""

    @property
    def is_setting_day(self) -> bool:
        """Whether tomorrow is the day on which the grower sets it."""
        return (self.today + ONE_DAY).isoweekday() == self.settings.set_weekday


def list_timers(
    farm_id: str, *, unit_of_work: UnitOfWorkFactory, now: datetime
) -> list[TimerState]:
    """The timers of a farm, in the order of its blocks; raises NotFound."""
    with unit_of_work(write=False) as unit:
        today = today_at(unit, farm_id, now)
        blocks = unit.blocks.list_blocks(farm_id=farm_id, day=today + ONE_DAY)
        return timers_of(unit, blocks, today=today)


def timers_of(
    unit: UnitOfWork, blocks: Sequence[BlockDefinition], *, today: date
) -> list[TimerState]:
    """The timers among some blocks as of a day, in the order of the blocks."""
    with_timer = [block for block in blocks if block.timer is not None]
    programs = unit.timers.list_programs(
        [block.block_id for block in with_timer], since=today - PLANNING_WEEK
    )
    return [_state(block, programs.get(block.block_id, ()), today) for block in with_timer]


def set_timer(
    unit: UnitOfWork,
    block_id: str,
    program_id: str | None,
    *,
    set_from: date | None,
    reporter: str,
    replanning: Replanning,
) -> tuple[TimerState, int]:
    """Note that a program was set on a block's timer, and plan with it from then on.

    program_id: None for the newest one. set_from: first day that it runs; None for tomorrow.
    Returns the timer's state and the number of new plans. Raises NotFound for an unknown block or
    program, InputInvalid for a block without a timer, with nothing to set, or an impossible day.
    """
    now = replanning.clock.now()
    today = today_at_block(unit, block_id, now)
    block = unit.blocks.get_block(block_id, day=today + ONE_DAY)
    state = _state_now(unit, block, today)
    first = today + ONE_DAY if set_from is None else set_from
    if not today <= first <= today + PLANNING_WEEK:
        raise InputInvalid(
            "the timer's program cannot be noted",
            [
                Fault(
                    "/set_from",
                    first.isoformat(),
                    f"{today.isoformat()} to {(today + PLANNING_WEEK).isoformat()}; for days that"
                    " are past report the runs",
                )
            ],
        )
    if program_id is None:
        if state.to_set is None:
            raise InputInvalid(
                "the timer's program cannot be noted",
                [Fault("/program_id", "nothing", "a program that was offered; there is none")],
            )
        program_id = state.to_set.program_id
    unit.timers.set_program(block_id, program_id, set_from=first, at=now, reporter=reporter)
    touched = None if first <= today else today
    count = replan_after(unit, [block.farm_id], touched_day=touched, replanning=replanning)
    unit.audit.note(
        Subject.TIMER,
        block_id,
        farm_id=block.farm_id,
        before=state.set_program,
        after=_set_program(unit, block_id, program_id, today),
    )
    return _state_now(unit, block, today), count


def set_own_program(
    unit: UnitOfWork,
    block_id: str,
    program: TimerProgram,
    *,
    reporter: str,
    replanning: Replanning,
) -> tuple[TimerState, int]:
    """Note another program than the one that was offered, as the timer runs it from a day on.

    Raises as :func:`set_timer`, and InputInvalid for a program that the timer cannot be set to.
    """
    now = replanning.clock.now()
    today = today_at_block(unit, block_id, now)
    block = unit.blocks.get_block(block_id, day=today + ONE_DAY)
    settings = _settings(block)
    faults = _faults(program, settings)
    if faults:
        raise InputInvalid("the timer's program cannot be noted", faults)
    own = OfferedProgram(
        program_id=secrets.token_hex(8),
        block_id=block_id,
        program=program,
        offered_at=now,
        is_early=False,
        excess_mm=None,
        drainage_mm=None,
        depletion_end_mm=None,
        normal_day_count=None,
        earlier_year_count=None,
        set_from=None,
        set_at=None,
    )
    unit.timers.offer([own])
    return set_timer(
        unit,
        block_id,
        own.program_id,
        set_from=program.first_day,
        reporter=reporter,
        replanning=replanning,
    )


def _set_program(
    unit: UnitOfWork, block_id: str, program_id: str, today: date
) -> OfferedProgram | None:
    programs = unit.timers.list_programs([block_id], since=today - PLANNING_WEEK)
    known = {each.program_id: each for each in programs.get(block_id, ())}
    return known.get(program_id)


def _settings(block: BlockDefinition) -> TimerSettings:
    if block.timer is None:
        raise InputInvalid(
            f"block {block.block_id!r} has no timer",
            [Fault("block.timer", "nothing", "a table [block.timer] in the farm file")],
        )
    return block.timer


def _faults(program: TimerProgram, settings: TimerSettings) -> list[Fault]:
    faults = []
    if not 0 <= program.start_count <= settings.start_count:
        faults.append(
            Fault("/starts", f"{program.start_count} starts", f"at most {settings.start_count}")
        )
    steps = program.run_min / settings.run_step_min
    if abs(steps - round(steps)) > 1e-9:
        faults.append(
            Fault("/run_min", f"{program.run_min:g} min", f"steps of {settings.run_step_min:g} min")
        )
    last_min = program.first_start_min + (program.start_count - 1) * program.spacing_min
    if program.start_count and last_min + program.run_min > 24 * 60:
        faults.append(Fault("/starts", "a run past midnight", "runs that end by 24:00"))
    return faults


def _state_now(unit: UnitOfWork, block: BlockDefinition, today: date) -> TimerState:
    programs = unit.timers.list_programs([block.block_id], since=today - PLANNING_WEEK)
    return _state(block, programs.get(block.block_id, ()), today)


def _state(block: BlockDefinition, programs: Sequence[OfferedProgram], today: date) -> TimerState:
    settings = _settings(block)
    held = in_force(programs, today + ONE_DAY)
    offers = [each for each in programs if each.set_from is None]
    newest = max(offers, key=lambda each: (each.program.first_day, each.offered_at), default=None)
    if newest is not None and held is not None:
        is_older = held.set_at is not None and newest.offered_at < held.set_at
        if is_older or newest.program.sets_the_same(held.program):
            newest = None
    return TimerState(
        block_id=block.block_id,
        block_name=block.name,
        settings=settings,
        today=today,
        set_program=held,
        to_set=newest,
    )
