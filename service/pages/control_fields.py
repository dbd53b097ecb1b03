"""Fields for what opens a valve: a controller, a timer, or somebody by hand."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from service.agronomy.civil_day import wall_text
from service.agronomy.week_ahead import WEEK_DAYS
from service.delivery.timer_words import weekday_words
from service.farm_files.block_part_keys import CONTROLLER, HAND, TIMER, TIMER_DAYS, WEEKDAYS
from service.farm_files.control_file import control_of, has_own_timer
from service.pages.number_fields import digits_of, entered_number
from service.records.farms import BlockDefinition, SupplyDefinition
from service.records.timers import TimerSettings
from service.translations import Wording

Form = Mapping[str, str]
Table = dict[str, object]
TIMER_FIELDS = {
    "timer_starts": "starts", "timer_step": "step", "timer_days": "days", "timer_set_on": "set_on",
    "timer_safety": "safety",
}  # fmt: skip
"""Fields of a timer, and their keys in its table."""
VISITS = "visits"
FIELDS = ("control", *TIMER_FIELDS, VISITS)
FIELD_OF = {
    **{(TIMER, key): field for field, key in TIMER_FIELDS.items()},
    (HAND, "visits"): VISITS,
}
"""The field that a key inside a table of the block or supply is."""
_CHOSEN = {"control": "", "timer_days": "weekdays", "timer_set_on": WEEKDAYS[0]}
"""What the choices of a form say where nothing is stored."""
_PULSES_OF_VISITS = ("daily_pulse_count", "max_pulses_per_day")
"""A number that follows the visits unless it was given, and its key."""
_UNITS_OF_STEP = "min"


def choices_of(words: Wording, *, of_supply: bool = False) -> dict[str, list[tuple[str, str]]]:
    """What the fields of a block or supply offer, by the name that its template knows."""
    return {
        "controls": _of_supply(words) if of_supply else _of_block(words),
        "timer_days": _days(words),
        "weekdays": _weekdays(words),
    }


def _of_block(words: Wording) -> list[tuple[str, str]]:
    return [
        ("", words.gettext("as the supply says")),
        (TIMER, words.gettext("a timer of its own")),
        (HAND, words.gettext("somebody by hand")),
        (CONTROLLER, words.gettext("a controller that polls")),
    ]


def _of_supply(words: Wording) -> list[tuple[str, str]]:
    return [
        ("", words.gettext("as each block says")),
        (TIMER, words.gettext("timers")),
    ]


def _days(words: Wording) -> list[tuple[str, str]]:
    texts = {
        "every-day": words.gettext("every day alike"),
        "weekdays": words.gettext("any weekdays"),
        "interval": words.gettext("every so many days"),
    }
    return [(key, texts[key]) for key in ("weekdays", "interval", "every-day")]


def _weekdays(words: Wording) -> list[tuple[str, str]]:
    names = [weekday_words(day, words) for day in range(1, WEEK_DAYS + 1)]
    return list(zip(WEEKDAYS, names, strict=True))


def entered_control(form: Form) -> Table:
    """The keys and tables that a farm file would hold."""
    control = form.get("control", "")
    if control == TIMER:
        step = entered_number(form, "timer_step")
        timer = {
            "starts": entered_number(form, "timer_starts"),
            "step": None if step is None else f"{step} {_UNITS_OF_STEP}",
            "days": form.get("timer_days") or None,
            "set_on": form.get("timer_set_on") or None,
            "safety": entered_number(form, "timer_safety"),
        }
        return {TIMER: {key: value for key, value in timer.items() if value is not None}}
    if control == HAND:
        visits = form.get(VISITS, "").replace(";", ",").split(",")
        return {HAND: {"visits": [each.strip() for each in visits if each.strip()]}}
    return {"control": control} if control else {}


def shown_control(thing: BlockDefinition | SupplyDefinition) -> dict[str, str]:
    """The fields of a stored block or supply."""
    if isinstance(thing, SupplyDefinition):
        return _CHOSEN if thing.timer is None else _shown_timer(thing.timer)
    if thing.timer is not None and has_own_timer(thing):
        return _shown_timer(thing.timer)
    if thing.visits:
        spans = (
            f"{wall_text(each.opens_wall_min)}-{wall_text(each.closes_wall_min)}"
            for each in thing.visits
        )
        return {**_CHOSEN, "control": HAND, VISITS: ", ".join(spans)}
    control = control_of(thing)
    return _CHOSEN if control is None else {**_CHOSEN, "control": control}


def _shown_timer(timer: TimerSettings) -> dict[str, str]:
    return {
        "control": TIMER,
        "timer_starts": str(timer.start_count),
        "timer_step": digits_of(timer.run_step_min),
        "timer_days": TIMER_DAYS[timer.day_rule],
        "timer_set_on": WEEKDAYS[timer.set_weekday - 1],
        "timer_safety": digits_of(timer.safety_fraction),
    }


def change_control(table: Table, form: Form, shown: Form) -> None:
    """Put what was entered into the stored table of a block or supply, if it has changed."""
    if entered_control(form) == entered_control(shown):
        return
    for key in ("control", TIMER, HAND):
        table.pop(key, None)
    field, key = _PULSES_OF_VISITS
    origins = cast("Table", table.get("origins", {}))
    if origins.pop(field, None) is not None:
        table.pop(key, None)
    table |= entered_control(form)
