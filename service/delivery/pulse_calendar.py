"""The pulses of a letter as one calendar to attach: which a phone can import with one tap."""

from __future__ import annotations

from datetime import UTC, date

from icalendar import Calendar, Event
from icalendar.enums import STATUS

from service.delivery.plain_text import clean
from service.records.letters import EveningLetter
from service.translations import Wording


def pulse_uid(block_id: str, day: date, number: int, *, domain: str) -> str:
    """Name of a block's pulse, counted from 1 by start within its day, in every calendar.

    The same in the feed as in mail attachments, so that a calendar with both shows a pulse once.
    """
    return f"pulse.{block_id}.{day.isoformat()}.{number}@{domain}"


def pulse_summary(block_name: str, duration_min: int, words: Wording) -> str:
    """A pulse in a line, the same in every calendar."""
    return words.gettext(
        "Water {block}, {minutes}", block=clean(block_name), minutes=words.minutes(duration_min)
    )


def pulse_calendar(letter: EveningLetter, words: Wording, *, domain: str) -> bytes:
    """One VCALENDAR; the uid of a pulse stays, its sequence grows with the plan's version."""
    calendar = Calendar.new(
        name=clean(letter.farm_name),
        prodid="-//Rillwright//Plan//EN",
        uid=f"plan.{letter.farm_id}.{letter.day.isoformat()}@{domain}",
    )
    for block in letter.blocks:
        for number, pulse in enumerate(block.pulses, 1):
            calendar.add_component(
                Event.new(
                    uid=pulse_uid(block.block_id, letter.day, number, domain=domain),
                    sequence=block.version - 1,
                    stamp=letter.issued_at.astimezone(UTC),
                    last_modified=letter.issued_at.astimezone(UTC),
                    start=pulse.starts_at.astimezone(UTC),
                    end=pulse.ends_at.astimezone(UTC),
                    summary=pulse_summary(block.name, pulse.duration_min, words),
                    status=STATUS.CONFIRMED,
                )
            )
    return bytes(calendar.to_ical())
