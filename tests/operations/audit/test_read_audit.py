"""The record of changes: who, what, before and after, page by page, for one farm."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from service.bootstrap import Service
from service.database.acting import acting_as
from service.database.engine import make_engine
from service.errors import NotFound, StorageFailed
from service.operations.access.manage_keys import make_key, revoke_key
from service.operations.access.people import remove_person, save_person
from service.operations.access.share_calendar import renew_link
from service.operations.audit.read_audit import AuditPage, follow_audit, read_audit
from service.operations.feedback.estimate_soil import estimate_soil
from service.operations.feedback.pause_blocks import cancel_pause, pause_block
from service.operations.feedback.report_runs import RunReport, report_runs
from service.operations.timers.set_timer import set_timer
from service.operations.waterworks.order_fertigation import save_product
from service.operations.weather.record_rain import GaugeReport, record_rain
from service.records.audit import Actor, ActorKind, AuditEntry, Entrance, Subject
from service.records.mail import Person
from service.waterworks.fertiliser import PRODUCTS
from tests.api.invented_farm import BLOCK_ID, FARM_ID, PLAN_DAY, RUN_AT, with_timer

ANN = Actor(ActorKind.KEY, Entrance.API, "Zq3mT8xA", "Ann", frozenset({FARM_ID}))
MIDNIGHT = datetime.combine(PLAN_DAY, datetime.min.time())


def pause(service: Service, reason: str = "harvest") -> str:
    with service.unit_of_work(write=True) as unit:
        made, _ = pause_block(
            unit,
            BLOCK_ID,
            starts_local=MIDNIGHT,
            ends_local=MIDNIGHT + timedelta(days=1),
            reason=reason,
            reporter="Ann",
            replanning=service.replanning,
        )
    return made.pause_id


def page(
    service: Service, farm_id: str = FARM_ID, *, count: int = 50, **options: object
) -> AuditPage:
    return read_audit(farm_id, count=count, unit_of_work=service.unit_of_work, **options)  # type: ignore[arg-type]  # passed on


def newest(service: Service, subject: Subject) -> AuditEntry:
    return page(service, subjects=(subject,)).entries[0]


def test_a_change_says_who_what_and_both_states(own_service: Service) -> None:
    with acting_as(ANN):
        pause_id = pause(own_service)
        cancel_pause(
            BLOCK_ID, pause_id,
            unit_of_work=own_service.unit_of_work, replanning=own_service.replanning,
        )  # fmt: skip
    gone, made = page(own_service, subjects=(Subject.PAUSE,)).entries
    assert made.actor == replace(ANN, farm_ids=None)
    assert made.farm_id == gone.farm_id == FARM_ID
    assert made.subject_id == gone.subject_id == BLOCK_ID
    assert made.before is None and gone.after is None
    assert made.after is not None and made.after["pause_id"] == pause_id
    assert gone.before == made.after


def test_without_an_entrance_it_is_the_service(own_service: Service) -> None:
    pause(own_service)
    assert newest(own_service, Subject.PAUSE).actor.kind is ActorKind.SERVICE


def test_a_corrected_run_shows_the_run_before(own_service: Service) -> None:
    def report(minutes: float) -> None:
        with own_service.unit_of_work(write=True) as unit:
            report_runs(
                unit,
                [RunReport(BLOCK_ID, RUN_AT - timedelta(hours=20), minutes)],
                farm_id=FARM_ID,
                reporter="Ann",
                replanning=own_service.replanning,
            )

    report(40.0)
    report(55.0)
    report(55.0)  # changes nothing
    latest, first, *_ = page(own_service, subjects=(Subject.RUNS,)).entries
    assert latest.before is not None and latest.after is not None
    ((start, after),) = latest.after.items()
    assert after == {"duration_min": 55.0}
    assert latest.before == {start: {"duration_min": 40.0}}
    assert first.after == {start: {"duration_min": 40.0, "volume_l": None}}


def test_rain_soil_timers_products_and_links_are_noted(own_service: Service) -> None:
    open_unit, clock = own_service.unit_of_work, own_service.clock
    with_timer(own_service)
    rain_read = GaugeReport(site_id="home", farm_id=FARM_ID, rain_mm=12.0, reporter="Ann")
    record_rain(rain_read, source_order={}, unit_of_work=open_unit, clock=clock)
    with open_unit(write=True) as unit:
        estimate_soil(
            unit, BLOCK_ID, 0.5,
            read_at=RUN_AT, reporter="Ann", replanning=own_service.replanning,
        )  # fmt: skip
        set_timer(
            unit, BLOCK_ID, None,
            set_from=None, reporter="Ann", replanning=own_service.replanning,
        )  # fmt: skip
    product = replace(PRODUCTS["ammonium-sulfate"], key="own-sulfate")
    save_product(FARM_ID, product, unit_of_work=open_unit, clock=clock)
    renew_link(FARM_ID, unit_of_work=open_unit, clock=clock)

    rain = newest(own_service, Subject.RAIN).after
    assert rain is not None and rain["rain_mm"] == 12.0
    soil = newest(own_service, Subject.SOIL).after
    assert soil is not None and soil["kind"] == "estimate"
    timer = newest(own_service, Subject.TIMER)
    assert timer.before is None and timer.after is not None and timer.after["set_from"]
    assert newest(own_service, Subject.PRODUCT).subject_id == "own-sulfate"
    link = newest(own_service, Subject.CALENDAR_LINK).after
    assert link is not None and set(link) == {"created_at"}


def test_no_secret_and_no_whole_address_is_kept(own_service: Service) -> None:
    open_unit, clock = own_service.unit_of_work, own_service.clock
    key, token = make_key(
        "Ann", farm_id=FARM_ID, scopes=["plan:read"], expires_at=None,
        unit_of_work=open_unit, clock=clock,
    )  # fmt: skip
    revoke_key(key.key_id, unit_of_work=open_unit, clock=clock)
    person = Person(mail_address="ana.ejemplo@example.org", name="Ana")
    save_person(person, farm_ids=[FARM_ID], unit_of_work=open_unit)
    remove_person(person.mail_address, unit_of_work=open_unit)
    entries = page(own_service).entries
    assert [each.subject for each in entries[:4]] == [Subject.PERSON] * 2 + [Subject.KEY] * 2
    kept = repr(entries)
    assert token not in kept and key.sha256 not in kept
    assert "ana.ejemplo" not in kept and "a…@example.org" in kept


def test_pages_follow_each_other_and_can_begin_at_an_instant(own_service: Service) -> None:
    for number in range(3):
        pause(own_service, f"reason {number}")
    first = page(own_service, count=2)
    assert first.has_more and len(first.entries) == 2
    then = page(own_service, count=2, older_than=first.entries[-1].entry_key)
    keys = [each.entry_key for each in (*first.entries, *then.entries)]
    assert keys == sorted(keys, reverse=True) and len(set(keys)) == len(keys)
    last_at = first.entries[0].at
    assert page(own_service, between=(last_at + timedelta(seconds=1), None)).entries == ()
    assert first.entries[0] in page(own_service, between=(last_at, None)).entries


def test_a_caller_follows_from_the_last_change_it_has(own_service: Service) -> None:
    open_unit = own_service.unit_of_work
    seen = follow_audit(FARM_ID, after=0, count=1000, unit_of_work=open_unit)
    last = seen.entries[-1].entry_key
    assert not follow_audit(FARM_ID, after=last, count=5, unit_of_work=open_unit).entries
    pause(own_service, "repair")
    pause(own_service, "harvest")
    found = follow_audit(FARM_ID, after=last, count=1, unit_of_work=open_unit)
    assert found.has_more
    assert found.entries[0].after is not None
    assert found.entries[0].after["period"]["reason"] == "repair"


def test_an_unknown_farm_is_not_found(own_service: Service) -> None:
    with pytest.raises(NotFound):
        page(own_service, "nowhere")


@pytest.mark.parametrize("statement", ["DELETE FROM audit_entry", "UPDATE audit_entry SET at = at"])
def test_the_database_itself_refuses_to_change_an_entry(
    own_service: Service, statement: str
) -> None:
    pause(own_service)
    engine = make_engine(own_service.settings.database_url)
    with (
        pytest.raises(DBAPIError, match="the record of changes is only added to"),
        engine.begin() as connection,
    ):
        connection.execute(text(statement))
    engine.dispose()


def test_what_is_rolled_back_is_not_noted(own_service: Service) -> None:
    before = page(own_service).entries
    with pytest.raises(StorageFailed), own_service.unit_of_work(write=True) as unit:
        unit.audit.note(Subject.PAUSE, "p", farm_id=FARM_ID, after={"reason": "repair"})
        raise StorageFailed("the disk is full")
    assert page(own_service).entries == before
