"""A farm's plans and season for calendar programs, behind a secret link instead of a key."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated

from fastapi import APIRouter, Path, Query, Response

from service.api.access import BY_SECRET_LINK
from service.api.answers import NOT_MODIFIED, IfNoneMatch, problems, tagged_response
from service.api.dependencies import TheService
from service.api.examples import CALENDAR
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.season import CalendarQuery
from service.api.season_examples import SEASON_CALENDAR
from service.delivery.calendar_feed import MEDIA_TYPE, calendar_feed
from service.delivery.season_feed import season_feed
from service.operations.access.share_calendar import read_calendar
from service.operations.season.share_season import read_season
from service.records.farms import FarmDefinition
from service.records.plans import PlanVersion
from service.translations import wording

router = APIRouter(tags=["calendars"])

Secret = Annotated[
    str,
    Path(
        pattern=r"^[A-Za-z0-9_-]{43}$",
        description="The secret of the link, as `rillwright calendar-link` shows it once.",
        examples=["q3Vd0m0H1c9lJv8o3m2r5t7u9w1y3A5C7E9G1I3K5M7"],
    ),
]


@router.get(
    "/calendars/{secret}.ics",
    dependencies=[BY_SECRET_LINK],
    operation_id="get_calendar",
    summary="Get a farm's calendar",
    description="Pulses of the last 14 days and the next 2, each an event with a stable uid; "
    "dropped pulses are shown as canceled for 7 days. Anyone with the link can read "
    "it. Calendar programs refresh when they choose, so a change for tomorrow may "
    "show up late.",
    response_class=Response,
    responses={
        200: {
            "description": "The calendar, iCalendar (RFC 5545).",
            "content": {"text/calendar": {"schema": {"type": "string"}, "example": CALENDAR}},
            "headers": NOT_MODIFIED[304]["headers"],
        },
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_calendar(
    secret: Secret,
    service: TheService,
    query: Annotated[CalendarQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """The calendar in one language, or 304 if the caller already has it."""

    def written(farm: FarmDefinition, versions: Iterable[PlanVersion]) -> bytes:
        words = wording(query.language, farm.unit_system)
        return calendar_feed(farm, versions, words, domain=service.settings.domain)

    feed = read_calendar(
        secret,
        written,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    return tagged_response(feed, if_none_match, media_type=MEDIA_TYPE)


@router.get(
    "/calendars/{secret}/season.ics",
    dependencies=[BY_SECRET_LINK],
    operation_id="get_season_calendar",
    summary="Get a farm's season as a calendar",
    description="The tasks of the coming twelve months as all-day events with stable uids:"
    " samples, start-up, feeding windows, drain. A window longer than a month is an event on the"
    " day on which it opens. A sample whose test is on file is left out. Anyone with the link can"
    " read it.",
    response_class=Response,
    responses={
        200: {
            "description": "The calendar, iCalendar (RFC 5545).",
            "content": {
                "text/calendar": {"schema": {"type": "string"}, "example": SEASON_CALENDAR}
            },
            "headers": NOT_MODIFIED[304]["headers"],
        },
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_season_calendar(
    secret: Secret,
    service: TheService,
    query: Annotated[CalendarQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """The calendar in one language, or 304 if the caller already has it."""
    found = read_season(secret, unit_of_work=service.unit_of_work, clock=service.clock)
    feed = season_feed(
        found, wording(query.language, found.unit_system), domain=service.settings.domain
    )
    return tagged_response(feed, if_none_match, media_type=MEDIA_TYPE)
