"""Hours of every week without water, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from service.agronomy.civil_day import wall_time
from service.agronomy.records import WeeklyNoWater
from service.agronomy.weekly_hours import WEEKDAYS, ClosedHours, WeeklyEffect
from service.delivery.timer_words import weekday_words
from service.records.plans import PublishedPlan
from service.translations import Wording
from service.translations.catalogue import marked
from service.unit_sizes import MINUTES_PER_DAY

EFFECTS = {
    WeeklyEffect.NONE: marked(
        "The supply gives no water {hours}; that changes nothing on this day."
    ),
    WeeklyEffect.MOVED: marked("The supply gives no water {hours}, so pulses run at other times."),
    WeeklyEffect.SHORTENED: marked("The supply gives no water {hours}, so less water is given."),
}
NO_REASON = "not given"


def hours_words(hours: WeeklyNoWater, words: Wording) -> str:
    """``Mon to Fri, from 4:00 PM to 8:00 PM: peak tariff``."""
    days = words.listed(list(_day_spans(hours.weekdays, words)))
    is_whole = (hours.starts_wall_min, hours.ends_wall_min) == (0, MINUTES_PER_DAY)
    span = words.gettext("all day")
    if not is_whole:
        span = words.gettext(
            "from {first} to {last}",
            first=words.wall_clock(hours.starts_wall_min),
            last=words.wall_clock(hours.ends_wall_min),
        )
    if hours.ends_wall_min <= hours.starts_wall_min:
        span = words.gettext("{span} of the day after", span=span)
    text = words.gettext("{days}, {span}", days=days, span=span)
    return text if hours.reason == NO_REASON else f"{text}: {hours.reason}"


def effect_words(plan: PublishedPlan, zone: str, words: Wording) -> str:
    """What the hours did to the plan of a day; empty where none cut its windows."""
    hours = plan.reasoning.weekly_hours
    if not hours:
        return ""
    template = EFFECTS[WeeklyEffect(int(plan.reasoning.weekly_effect or 0))]
    spans = [_span_words(each, plan.day, zone, words) for each in hours]
    return words.gettext(template, hours=words.listed(spans))


def _span_words(hours: ClosedHours, day: date, zone: str, words: Wording) -> str:
    starts, ends = (wall_time(day, each, zone) for each in (hours.start_min, hours.end_min))
    if hours.start_min == 0 and ends.date() > day:
        span = words.gettext("all day")
    else:
        span = words.gettext(
            "from {first} to {last}",
            first=words.wall_clock(starts.hour * 60 + starts.minute),
            last=words.wall_clock(ends.hour * 60 + ends.minute),
        )
    return span if hours.reason == NO_REASON else f"{span} ({hours.reason})"


def _day_spans(weekdays: Sequence[int], words: Wording) -> Iterator[str]:
    """Weekdays, three and more in a row as their first and last."""
    if tuple(weekdays) == WEEKDAYS:
        yield words.gettext("every day")
        return
    runs: list[list[int]] = []
    for day in weekdays:
        if runs and runs[-1][-1] == day - 1:
            runs[-1].append(day)
        else:
            runs.append([day])
    for run in runs:
        if len(run) > 2:
            first, last = (weekday_words(day, words) for day in (run[0], run[-1]))
            yield words.gettext("{first} to {last}", first=first, last=last)
        else:
            yield from (weekday_words(day, words) for day in run)
