"""What a mail says of the timers among its blocks: what to set, and whether anything is set.

In: the state of a timer. Out: its line in a letter. An evening's mail names a program on the day on
which it is to be set; the weekly mail names what nobody has said is set yet.
"""

from __future__ import annotations

from datetime import date

from service.agronomy.civil_day import ONE_DAY
from service.operations.timers.set_timer import TimerState
from service.records.letters import TimerLine
from service.records.timers import OfferedProgram


def line_of_day(state: TimerState, day: date) -> TimerLine:
    """The timer in the mail for a day: programs that begin by it, not those of days to come."""
    offered = state.to_set
    is_now = offered is not None and (offered.is_early or state.is_setting_day)
    is_first = offered is not None and state.set_program is None
    return _line(state, offered if is_now or is_first else None, day)


def line_of_week(state: TimerState) -> TimerLine:
    """The timer in the weekly mail: whatever is still to be set."""
    return _line(state, state.to_set, state.today)


def _line(state: TimerState, to_set: OfferedProgram | None, day: date) -> TimerLine:
    return TimerLine(
        is_set=state.set_program is not None,
        to_set=None if to_set is None else to_set.program,
        program_id="" if to_set is None else to_set.program_id,
        is_early=to_set is not None and to_set.is_early,
        next_setting=day + state.settings.days_until_setting(day) * ONE_DAY,
        excess_mm=None if to_set is None else to_set.excess_mm,
    )
