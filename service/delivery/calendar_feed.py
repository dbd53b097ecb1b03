"""A farm's plans as a calendar that people subscribe to (iCalendar, RFC 5545 and RFC 7986).

Calendar programs fetch it when they like, some once a day: it is a convenience, never the way to
hear of tomorrow's change. Each pulse of a block and day keeps its uid through all versions of the
plan; one that a later version dropped stays for a week as cancelled, so that subscribers take it
out. Nothing in it moves with the clock, so that an unchanged feed has an unchanged tag.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from itertools import groupby

from icalendar import Calendar, Event, vDuration
from icalendar.enums import STATUS

from service.agronomy.civil_day import midnight_utc
from service.delivery.plain_text import clean
from service.delivery.pulse_calendar import pulse_summary, pulse_uid
from service.records.farms import FarmDefinition
from service.records.plans import PlanVersion
from service.translations import Wording

REFRESH = timedelta(hours=4)
MEDIA_TYPE = "text/calendar; charset=utf-8"


def calendar_feed(
    farm: FarmDefinition, versions: Iterable[PlanVersion], words: Wording, *, domain: str
) -> bytes:
    """The feed in one language.

    ``versions`` come by block, day and version, superseded ones of the last week too.

    The numbering of a day's pulses is by start, so where a new version drops a pulse, it is the
    last one that is cancelled and the others may move.
    """
    calendar = Calendar.new(
        name=clean(words.gettext("{farm}: irrigation", farm=farm.name)),
        prodid="-//Rillwright//Plans//EN",
        uid=f"plans.{farm.farm_id}@{domain}",
        refresh_interval=REFRESH,
    )
    # RFC 7986 5.7 asks for VALUE=DURATION here; most programs look at the older property beside it.
    calendar["REFRESH-INTERVAL"].params["VALUE"] = "DURATION"
    calendar["X-PUBLISHED-TTL"] = vDuration(REFRESH)
    for _, alike in groupby(versions, key=lambda version: (version.block_id, version.day)):
        for event in _events(list(alike), farm.zone, words, domain):
            calendar.add_component(event)
    return bytes(calendar.to_ical())


def _events(versions: list[PlanVersion], zone: str, words: Wording, domain: str) -> Iterable[Event]:
    """The pulses of a block on a day: those in force, and those that some version had before."""
    newest = versions[-1]
    is_in_force = newest.superseded_at is None and not newest.is_retired
    standing = newest.pulses if is_in_force else ()
    shown = {
        number: (pulse, version)
        for version in versions
        for number, pulse in enumerate(version.pulses, 1)
    }
    midnight = midnight_utc(newest.day, zone)
    for number in sorted(shown):
        pulse, _ = shown[number]
        start_min, duration_min = pulse
        starts_at = midnight + timedelta(minutes=start_min)
        yield Event.new(
            uid=pulse_uid(newest.block_id, newest.day, number, domain=domain),
            sequence=_sequence(newest),
            stamp=_utc(newest.issued_at),
            last_modified=_utc(newest.issued_at),
            start=_utc(starts_at),
            end=_utc(starts_at + timedelta(minutes=duration_min)),
            summary=pulse_summary(newest.block_name, duration_min, words),
            status=STATUS.CONFIRMED if number <= len(standing) else STATUS.CANCELLED,
        )


def _sequence(newest: PlanVersion) -> int:
    """Grows with the plan's version; a block taken out of force counts as one more."""
    return newest.version - 1 + (1 if newest.is_retired else 0)


def _utc(at: datetime) -> datetime:
    return at.astimezone(UTC).replace(microsecond=0)
