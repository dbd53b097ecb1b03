"""Events as CloudEvents 1.0, read by the project's own package."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from cloudevents.core.bindings.http import HTTPMessage, from_structured_event
from cloudevents.core.v1.event import CloudEvent

from service.delivery.webhook import MEDIA_TYPE
from service.operations.events.cloud_event import cloud_event, event_type
from service.records.events import EventKind, StoredEvent

AT = datetime(2026, 7, 14, 23, 0, 0, 250_000, tzinfo=UTC)
EVENT = StoredEvent(
    event_key=7,
    event_id="evt_7",
    farm_id="orchard",
    kind=EventKind.BLOCK_SHORT,
    subject="orchard.north",
    occurred_at=AT,
    data={"shortfall_mm": 1.25, "cause": "supply"},
    queued_at=AT,
    attempt_count=0,
)
BASE = "https://farm.example.org"


def test_the_projects_own_package_reads_an_event() -> None:
    """cloudevents 2.2 of the CloudEvents project, by its HTTP binding in structured mode."""
    message = HTTPMessage({"content-type": MEDIA_TYPE}, cloud_event(EVENT, base_url=BASE))
    read = from_structured_event(message)
    assert isinstance(read, CloudEvent)
    assert (read.get_id(), read.get_specversion()) == ("evt_7", "1.0")
    assert read.get_source() == "https://farm.example.org/v1/farms/orchard"
    assert read.get_type() == "org.rillwright.block.short.v1"
    assert (read.get_subject(), read.get_time()) == ("orchard.north", AT)
    assert read.get_datacontenttype() == "application/json"
    assert read.get_data() == EVENT.data


def test_an_event_is_the_same_bytes_each_time() -> None:
    later = replace(EVENT, attempt_count=4, data=dict(EVENT.data))
    assert cloud_event(EVENT, base_url=BASE) == cloud_event(later, base_url=BASE)


@pytest.mark.parametrize("kind", EventKind)
def test_types_are_reverse_names_that_end_in_a_version(kind: EventKind) -> None:
    """ "SHOULD be prefixed with a reverse-DNS name": CloudEvents 1.0.2, "type"."""
    assert re.fullmatch(r"org\.rillwright(\.[a-z][a-z-]*){1,2}\.v1", event_type(kind))
