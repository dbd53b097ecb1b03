"""A farm's season calendar for calendar programs (iCalendar, RFC 5545 and RFC 7986).

Each task is an all-day event whose uid stays as long as the task and its days do, whichever blocks
it is for. Nothing in it moves with the clock, so that an unchanged feed has an unchanged tag; a
task whose test is on file, or whose window has closed, is left out.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

from icalendar import Alarm, Calendar, Event, vDuration
from icalendar.enums import TRANSP

from service.delivery.plain_text import clean
from service.delivery.season_words import day_words, task_steps, task_title
from service.nutrition.season_tasks import HORIZON_DAYS, GroupedTask
from service.nutrition.task_words import TaskKind
from service.records.season import SeasonCalendar
from service.translations import Wording

REFRESH = timedelta(hours=12)
LONGEST_SHOWN_DAYS = 31
"""[CHOICE]: a longer window is shown on the day on which it opens, not as a bar over months."""
REMIND_BEFORE = timedelta(days=14)
REMINDED = frozenset({TaskKind.LEAF_SAMPLE, TaskKind.SOIL_SAMPLE, TaskKind.WATER_TEST})
LONGEST_SUMMARY = 120


def season_feed(calendar: SeasonCalendar, words: Wording, *, domain: str) -> bytes:
    """The feed in one language."""
    found = Calendar.new(
        name=clean(words.gettext("{farm}: season", farm=calendar.farm_name)),
        prodid="-//Rillwright//Season//EN",
        uid=f"season.{calendar.farm_id}@{domain}",
        refresh_interval=REFRESH,
    )
    # As for the feed of plans: RFC 7986 asks for VALUE=DURATION, most programs read the older one.
    found["REFRESH-INTERVAL"].params["VALUE"] = "DURATION"
    found["X-PUBLISHED-TTL"] = vDuration(REFRESH)
    for group in calendar.tasks:
        if group.open_blocks:
            found.add_component(_event(group, calendar, words, domain))
    return bytes(found.to_ical())


def _event(group: GroupedTask, calendar: SeasonCalendar, words: Wording, domain: str) -> Event:
    task = group.task
    title = task_title(group, words)
    last_day = task.last_day
    if (task.last_day - task.first_day).days >= LONGEST_SHOWN_DAYS:
        until = day_words(task.last_day, words)
        title = words.gettext("{task}, until {day}", task=title, day=until)
        last_day = task.first_day
    names = words.listed([calendar.block_names[each] for each in group.open_blocks])
    event = Event.new(
        uid=f"{group.key}.{calendar.farm_id}@{domain}",
        stamp=_entered_at(task.first_day),
        start=task.first_day,
        end=last_day + timedelta(days=1),
        summary=clean(f"{title}: {names}", longest=LONGEST_SUMMARY),
        description="\n".join(_lines(group, calendar, words)),
        transparency=TRANSP.TRANSPARENT,
        categories=[clean(words.gettext(task.title))],
    )
    if task.kind in REMINDED:
        alarm = Alarm.new(description=clean(title, longest=LONGEST_SUMMARY))
        alarm.add("ACTION", "DISPLAY")
        alarm.add("TRIGGER", -REMIND_BEFORE)
        event.add_component(alarm)
    return event


def _lines(group: GroupedTask, calendar: SeasonCalendar, words: Wording) -> list[str]:
    notes = [
        f"{clean(calendar.block_names[block_id])}: {words.gettext(own.note)}"
        for block_id, own in group.blocks
        if own.note and own.done_on is None
    ]
    cautions = calendar.cautions_by_kind.get(group.task.kind, ())
    return [
        *task_steps(group, words),
        *notes,
        *(f"! {words.gettext(each.text)}" for each in cautions),
        words.gettext("Source: {source}", source=group.task.source),
    ]


def _entered_at(first_day: date) -> datetime:
    """When the task came within the coming twelve months: it stays, unlike the hour of the request.

    RFC 5545 3.8.7.2 asks for the time of the last revision, which nobody stores.
    """
    return datetime.combine(first_day - timedelta(days=HORIZON_DAYS), time.min, UTC)
