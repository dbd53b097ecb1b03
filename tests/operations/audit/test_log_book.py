"""The log book: by kind, block and days, page by page, with notes in full."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.audit.log_book import (
    SUBJECTS_OF,
    LogBook,
    LogKind,
    LogWish,
    read_log_book,
)
from service.operations.feedback.report_runs import RunReport, report_runs
from service.operations.season.note_visits import NoteDraft, record_note
from service.operations.weather.record_rain import GaugeReport, record_rain
from service.records.audit import Subject
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM_ID, TODAY

LONG = "Row 12 is dry. " * 40


def book(service: Service, **wish: object) -> LogBook:
    asked = LogWish(farm_id=FARM_ID, **wish)  # type: ignore[arg-type]  # fields of the wish
    return read_log_book(asked, unit_of_work=service.unit_of_work, clock=service.clock)


def subjects(found: LogBook) -> list[Subject]:
    return [each.change.subject for each in found.entries]


@pytest.fixture
def busy(own_service: Service) -> Service:
    """A run of each block, a rain gauge, a note of one block and one of the whole farm."""
    start = datetime(2026, 7, 14, 9, tzinfo=UTC)
    runs = [RunReport(each, start, 20.0) for each in (BLOCK_ID, BARE_BLOCK_ID)]
    with own_service.unit_of_work(write=True) as unit:
        report_runs(unit, runs, farm_id=FARM_ID, reporter="Ana", replanning=own_service.replanning)
    record_rain(
        GaugeReport(site_id="home", farm_id=FARM_ID, rain_mm=5.0, reporter="Ana"),
        unit_of_work=own_service.unit_of_work,
        source_order=own_service.source_order,
        clock=own_service.clock,
    )
    for block_id in (BARE_BLOCK_ID, None):
        record_note(
            FARM_ID,
            NoteDraft(day=TODAY, text=LONG, block_id=block_id),
            reporter="Ana",
            unit_of_work=own_service.unit_of_work,
            clock=own_service.clock,
        )
    return own_service


def test_every_subject_is_of_one_kind() -> None:
    named = [subject for each in LogKind for subject in SUBJECTS_OF[each]]
    assert sorted(named) == sorted(Subject)


def test_a_block_has_its_own_entries_the_rain_of_its_site_and_notes_of_the_farm(
    busy: Service,
) -> None:
    found = subjects(book(busy, block_id=BLOCK_ID))
    assert found[:3] == [Subject.VISIT_NOTE, Subject.RAIN, Subject.RUNS]
    assert found.count(Subject.RUNS) == 1 and Subject.FARM not in found


def test_a_kind_is_picked_and_the_newest_is_first(busy: Service) -> None:
    notes = book(busy, kind=LogKind.NOTES)
    assert subjects(notes) == [Subject.VISIT_NOTE] * 2
    keys = [each.change.entry_key for each in book(busy).entries]
    assert keys == sorted(keys, reverse=True)


def test_a_long_note_is_whole(busy: Service) -> None:
    note = book(busy, kind=LogKind.NOTES).entries[0].note
    assert note is not None and note.text == LONG.strip()


def test_pages_follow_each_other(busy: Service) -> None:
    first = book(busy, count=2)
    assert first.has_more and len(first.entries) == 2
    rest = book(busy, count=1000, older_than=first.entries[-1].change.entry_key)
    assert not rest.has_more
    keys = [each.change.entry_key for each in (*first.entries, *rest.entries)]
    assert keys == [each.change.entry_key for each in book(busy, count=1000).entries]


def test_days_are_those_of_the_farms_clock(busy: Service) -> None:
    written = book(busy).entries[0].change.at
    day = written.astimezone().date()
    span = {"first_day": day - timedelta(days=1), "last_day": day + timedelta(days=1)}
    assert subjects(book(busy, **span))
    assert not subjects(book(busy, last_day=day - timedelta(days=3)))
    assert not subjects(book(busy, first_day=day + timedelta(days=3)))
    with pytest.raises(InputInvalid):
        book(busy, first_day=day, last_day=day - timedelta(days=1))


@pytest.mark.parametrize("block_id", ["later-farm.young", f"{FARM_ID}.nowhere", "north"])
def test_another_farms_block_is_not_found(busy: Service, block_id: str) -> None:
    with pytest.raises(NotFound):
        book(busy, block_id=block_id)
