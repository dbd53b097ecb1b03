"""Farm calendars behind secret links: making a link, and reading the calendar behind one."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import timedelta

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import NotFound
from service.operations.access.unsubscribe import token_digest
from service.operations.reading.read_farms import local_day
from service.ports import Clock
from service.records.audit import Subject
from service.records.farms import FarmDefinition
from service.records.plans import PlanVersion

TOKEN_BYTES = 32
PAST_DAYS = 14
COMING_DAYS = 2
CANCELLED_FOR = timedelta(days=7)
WriteCalendar = Callable[[FarmDefinition, Iterable[PlanVersion]], bytes]


@dataclass(frozen=True, slots=True)
class CalendarLinks:
    """The addresses behind one secret."""

    plans: str
    season: str


def calendar_links(secret: str, base_url: str) -> CalendarLinks:
    """The addresses of a farm's calendars on a server."""
    start = f"{base_url.rstrip('/')}/v1/calendars/{secret}"
    return CalendarLinks(f"{start}.ics", f"{start}/season.ics")


def renew_link(farm_id: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> str:
    """A new secret for a farm's calendar, shown only once; the old link stops working.

    Raises NotFound for an unknown farm.
    """
    token = secrets.token_urlsafe(TOKEN_BYTES)
    with unit_of_work(write=True) as unit:
        now = clock.now()
        unit.calendars.replace_link(farm_id, token_digest=token_digest(token), created_at=now)
        unit.audit.note(Subject.CALENDAR_LINK, farm_id, farm_id=farm_id, after={"created_at": now})
    return token


def read_calendar(
    token: str, write: WriteCalendar, *, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> bytes:
    """The calendar behind a link, as ``write`` renders it; raises NotFound for an unknown link."""
    now = clock.now()
    with unit_of_work(write=False) as unit:
        farm_id = find_farm_behind(unit, token)
        farm = unit.blocks.get_farm(farm_id)
        today = local_day(now, farm.zone)
        versions = unit.calendars.list_versions(
            farm_id,
            first_day=today - timedelta(days=PAST_DAYS),
            last_day=today + timedelta(days=COMING_DAYS),
            superseded_after=now - CANCELLED_FOR,
        )
    return write(farm, versions)


def find_farm_behind(unit: UnitOfWork, token: str) -> str:
    """The farm that a link belongs to; raises NotFound for an unknown link."""
    farm_id = unit.calendars.find_farm(token_digest(token))
    if farm_id is None:
        raise NotFound("no calendar has this link")
    return farm_id
