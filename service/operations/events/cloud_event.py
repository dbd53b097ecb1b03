"""An event as it is sent: CloudEvents 1.0 in the structured JSON form, the same bytes each time.

Specification: CloudEvents 1.0.2, sections "Required Attributes", "Optional Attributes" and, for the
form, its JSON Event Format.
"""

from __future__ import annotations

import orjson

from service.records.events import EventKind, StoredEvent

SPEC_VERSION = "1.0"
TYPE_PREFIX = "org.rillwright."
TYPE_VERSION = ".v1"
"""Rises where a field would have to go or change its meaning; fields are added without it."""


def event_type(kind: EventKind) -> str:
    """The type of an event of a kind.

    >>> event_type(EventKind.PLAN_PUBLISHED)
    'org.rillwright.plan.published.v1'
    """
    return f"{TYPE_PREFIX}{kind}{TYPE_VERSION}"


def source_of(farm_id: str, base_url: str) -> str:
    """The source of a farm's events: with the id, no two events share it."""
    return f"{base_url}/v1/farms/{farm_id}"


def cloud_event(event: StoredEvent, *, base_url: str) -> bytes:
    """The event as JSON; ``base_url`` is where this service is, without a slash at its end."""
    return orjson.dumps(
        {
            "specversion": SPEC_VERSION,
            "id": event.event_id,
            "source": source_of(event.farm_id, base_url),
            "type": event_type(event.kind),
            "subject": event.subject,
            "time": event.occurred_at,
            "datacontenttype": "application/json",
            "data": event.data,
        },
        option=orjson.OPT_UTC_Z,
    )
