"""What every PayloadStore does, whatever is behind it."""

from __future__ import annotations

import gzip
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from service.database.session import UnitOfWorkFactory
from service.records.weather import StoredPayload

AT = datetime(2026, 7, 14, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
FIRST = StoredPayload(
    url_digest="digest-of-the-url",
    source="made-up",
    url="https://weather.example.org/daily?site=1",
    fetched_at=AT,
    etag='W/"1"',
    last_modified="Tue, 14 Jul 2026 11:58:00 GMT",
    expires_at=AT + HOUR,
    body_digest="digest-of-the-body",
    body=gzip.compress(b'{"t": 1}', mtime=0) + b"\x00\xff",
)
SECOND = replace(
    FIRST,
    fetched_at=AT + HOUR,
    etag=None,
    last_modified=None,
    expires_at=None,
    body_digest="another",
    body=b"\x00",
)


def newest(open_unit: UnitOfWorkFactory) -> StoredPayload | None:
    with open_unit(write=False) as unit:
        return unit.payloads.find(FIRST.url_digest)


def save(open_unit: UnitOfWorkFactory, *payloads: StoredPayload) -> None:
    with open_unit(write=True) as unit:
        for payload in payloads:
            unit.payloads.save(payload)


def test_a_request_never_made_has_no_answer(open_unit: UnitOfWorkFactory) -> None:
    save(open_unit, replace(FIRST, url_digest="of another request"))
    assert newest(open_unit) is None


def test_an_answer_comes_back_byte_for_byte(open_unit: UnitOfWorkFactory) -> None:
    save(open_unit, FIRST)
    assert newest(open_unit) == FIRST


def test_the_newest_answer_counts_whatever_came_in_last(open_unit: UnitOfWorkFactory) -> None:
    save(open_unit, SECOND, FIRST)
    assert newest(open_unit) == SECOND


def test_the_same_body_again_only_renews_its_times(open_unit: UnitOfWorkFactory) -> None:
    again = replace(FIRST, fetched_at=AT + 2 * HOUR, etag='"2"', expires_at=AT + 3 * HOUR)
    save(open_unit, FIRST, SECOND, again)
    assert newest(open_unit) == again
    with open_unit(write=True) as unit:
        assert unit.payloads.prune(before=AT + 9 * HOUR) == 2


def test_pruning_deletes_what_was_fetched_before(open_unit: UnitOfWorkFactory) -> None:
    save(open_unit, FIRST, SECOND)
    with open_unit(write=True) as unit:
        assert unit.payloads.prune(before=AT) == 0
        assert unit.payloads.prune(before=AT + HOUR) == 1
    assert newest(open_unit) == SECOND
