"""The timer of a block or a supply in a farm file, read and written."""

from __future__ import annotations

from service.agronomy.week_ahead import DayRule
from service.farm_files.block_part_keys import TIMER_DAYS, WEEKDAYS, TimerKeys
from service.farm_files.keys import TableKey
from service.farm_files.quantities import write_quantity
from service.farm_files.toml_table import TomlTable
from service.records.timers import TimerSettings


def read_timer(table: TomlTable, key: TableKey) -> TimerSettings | None:
    """The timer that a block or supply describes; None without one or after a fault."""
    timer = table.table(key)
    if timer is None:
        return None
    starts = timer.integer(TimerKeys.starts)
    run_step_min = timer.number(TimerKeys.step)
    days = timer.choice(TimerKeys.days)
    set_on = timer.choice(TimerKeys.set_on)
    safety_fraction = timer.number(TimerKeys.safety)
    timer.close()
    if days is None or set_on is None:
        return None
    return TimerSettings(
        start_count=starts,
        run_step_min=run_step_min,
        day_rule=DayRule(TIMER_DAYS.index(days)),
        set_weekday=WEEKDAYS.index(set_on) + 1,
        safety_fraction=safety_fraction,
    )


def timer_lines(timer: TimerSettings) -> list[str]:
    """The timer as lines of its table; reading them back gives an equal timer."""
    return [
        f"starts = {timer.start_count}",
        f'step = "{write_quantity(timer.run_step_min, "min")}"',
        f'days = "{TIMER_DAYS[timer.day_rule]}"',
        f'set_on = "{WEEKDAYS[timer.set_weekday - 1]}"',
        f"safety = {timer.safety_fraction!r}",
    ]
