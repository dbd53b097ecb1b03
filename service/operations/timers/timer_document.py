"""The state of a timer as a document, the same for the command line and the API."""

from __future__ import annotations

from service.agronomy.civil_day import wall_text
from service.agronomy.week_ahead import DayRule
from service.operations.timers.set_timer import TimerState
from service.records.timers import OfferedProgram


def timer_document(state: TimerState) -> dict[str, object]:
    """The state of a timer; dates and instants as they are."""
    return {
        "block_id": state.block_id,
        "set_weekday": state.settings.set_weekday,
        "set_program": _program_document(state.set_program),
        "to_set": _program_document(state.to_set),
    }


def _program_document(offered: OfferedProgram | None) -> dict[str, object] | None:
    if offered is None:
        return None
    program = offered.program
    counts_days = program.day_rule is DayRule.INTERVAL
    return {
        "program_id": offered.program_id,
        "first_day": program.first_day,
        "is_off": program.is_off,
        "weekdays": [] if counts_days else list(program.weekdays),
        "interval_days": program.interval_days if counts_days else None,
        "starts": [wall_text(minute) for minute in program.start_times_min],
        "run_min": program.run_min,
        "minutes_a_week": program.minutes_a_week,
        "is_early": offered.is_early,
        "excess_mm": offered.excess_mm,
        "drainage_mm": offered.drainage_mm,
        "depletion_end_mm": offered.depletion_end_mm,
        "normal_day_count": offered.normal_day_count,
        "earlier_year_count": offered.earlier_year_count,
        "set_from": offered.set_from,
        "set_at": offered.set_at,
        "reporter": offered.reporter,
    }
