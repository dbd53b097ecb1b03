"""Mails are queued when plans are published, in one transaction, and again only for news."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import orjson
import pytest
from sqlalchemy import Engine, text

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.evening.run_day import run_day
from service.operations.mail.evening_mail import evening_letter, queue_evening_mails
from service.operations.reading.read_farms import list_farms
from service.operations.reading.read_plans import list_plans
from service.records.mail import MailRow, Person
from service.records.weather import Attribution
from tests.scheduled_farms import SOURCE, FixedClock, MadeUpService, store_farms

ZONE = "America/New_York"
ON = date(2026, 7, 14)
PLAN_DAY = ON + timedelta(days=1)
EVENING = datetime(2026, 7, 14, 22, 30, tzinfo=UTC)  # 18:30 at the farm
NOON = datetime(2026, 7, 15, 16, 0, tzinfo=UTC)
ANA = Person(mail_address="ana@example.org", name="Ana", language="es")
ORDER: Mapping[str, int] = {SOURCE: 1}


@pytest.fixture
def clock() -> FixedClock:
    return FixedClock(EVENING)


@pytest.fixture
def farms(open_unit: UnitOfWorkFactory) -> UnitOfWorkFactory:
    """Two farms with weather; Ana reads of the first."""
    store_farms(open_unit, farm_count=2, zones=[ZONE], today=ON)
    with open_unit(write=False) as unit:
        sites = unit.blocks.read_site_table().keys
    MadeUpService(open_unit)(sites, now=EVENING)
    with open_unit(write=True) as unit:
        unit.people.save(ANA, farm_id="farm-00000")
    return open_unit


def run(open_unit: UnitOfWorkFactory, clock: FixedClock, on: date = ON) -> int:
    done = run_day(
        on,
        unit_of_work=open_unit,
        clock=clock,
        source_order=ORDER,
        after_publish=queue_evening_mails,
    )
    assert done.failures == []
    return done.new_version_count


def mails(open_unit: UnitOfWorkFactory) -> list[MailRow]:
    with open_unit(write=False) as unit:
        return unit.outbox.list_mails(first_queued_at=EVENING - timedelta(days=30))


def change_minutes(engine: Engine, by_min: int) -> None:
    """As if the plan in force of the first farm had been replaced by one of other minutes."""
    with engine.begin() as connection:
        connection.execute(
            text(
                "UPDATE plan SET planned_min = planned_min + :by, version = version + 1"
                " WHERE superseded_at IS NULL AND day = :day AND block_key IN"
                " (SELECT block_key FROM block JOIN farm USING (farm_key)"
                " WHERE farm_id = 'farm-00000')"
            ),
            {"by": by_min, "day": PLAN_DAY},
        )
        connection.execute(
            text(
                "INSERT INTO plan (block_key, day, version, status, issued_at, superseded_at,"
                " planned_min, early_min, pulses, numbers, basis_key, digest)"
                " SELECT block_key, day, version - 1, status, issued_at, issued_at, planned_min,"
                " early_min, pulses, numbers, basis_key, 'x' FROM plan WHERE superseded_at IS NULL"
                " AND day = :day AND block_key IN (SELECT block_key FROM block JOIN farm"
                " USING (farm_key) WHERE farm_id = 'farm-00000')"
            ),
            {"day": PLAN_DAY},
        )


def queue(open_unit: UnitOfWorkFactory, at: datetime = EVENING) -> int:
    with open_unit(write=True) as unit:
        keys = np.array(sorted(unit.blocks.farm_keys().values()), dtype=np.int64)
        return queue_evening_mails(unit, keys, day=PLAN_DAY, issued_at=at)


def test_each_reader_of_a_farm_gets_one_order_with_its_plan(
    farms: UnitOfWorkFactory, clock: FixedClock
) -> None:
    assert run(farms, clock) == 2
    (mail,) = mails(farms)
    assert (mail.mail_address, mail.farm_id, mail.plan_day) == (
        "ana@example.org",
        "farm-00000",
        PLAN_DAY,
    )
    assert (mail.kind, mail.plan_version, mail.state) == ("evening", 1, "queued")
    assert run(farms, clock) == 0
    assert queue(farms) == 0
    assert len(mails(farms)) == 1


def test_an_order_is_stored_with_the_plan_or_not_at_all(
    farms: UnitOfWorkFactory, clock: FixedClock
) -> None:
    def fail_at_last(unit: UnitOfWork, *args: object, **facts: object) -> None:
        queue_evening_mails(unit, *args, **facts)  # type: ignore[arg-type]  # handed on as given
        raise RuntimeError("killed")

    done = run_day(
        ON, unit_of_work=farms, clock=clock, source_order=ORDER, after_publish=fail_at_last
    )
    assert len(done.failures) == 2
    assert mails(farms) == []
    with farms(write=False) as unit:
        assert unit.plans.list_plans(day=PLAN_DAY) == []


def test_a_small_change_of_the_minutes_is_no_news(
    farms: UnitOfWorkFactory, clock: FixedClock, engine: Engine
) -> None:
    run(farms, clock)
    change_minutes(engine, 3)
    assert queue(farms) == 0


def test_a_change_past_the_threshold_orders_a_newer_mail_in_place_of_the_unsent_one(
    farms: UnitOfWorkFactory, clock: FixedClock, engine: Engine
) -> None:
    run(farms, clock)
    change_minutes(engine, 45)
    assert queue(farms) == 1
    newest, oldest = mails(farms)
    assert (newest.plan_version, newest.state) == (2, "queued")
    assert (oldest.plan_version, oldest.state) == (1, "dropped")
    assert oldest.last_reply == "replaced by a newer version"
    assert queue(farms) == 0


def inject(engine: Engine, injection: dict[str, object] | None) -> None:
    """As if the plan in force of the first farm had been replaced by one with this injection."""
    change_minutes(engine, 0)
    with engine.begin() as connection:
        key, numbers = connection.execute(
            text(
                "SELECT plan_key, numbers FROM plan JOIN block USING (block_key)"
                " JOIN farm USING (farm_key) WHERE farm_id = 'farm-00000'"
                " AND superseded_at IS NULL AND day = :day ORDER BY plan_key LIMIT 1"
            ),
            {"day": PLAN_DAY},
        ).one()
        kept = orjson.loads(numbers)
        kept.pop("fertigation", None)
        if injection is not None:
            kept["fertigation"] = injection
        connection.execute(
            text("UPDATE plan SET numbers = :numbers WHERE plan_key = :key"),
            {"numbers": orjson.dumps(kept).decode(), "key": key},
        )


UREA = {
    "order_key": "0f3c",
    "products": [["Urea", 2.0]],
    "stock_l": 40.0,
    "is_possible": True,
    "spans": [[360, 420], [600, 630]],
    "advisories": [],
    "cautions": [],
}


@pytest.mark.parametrize(
    ("before", "after", "count"),
    [
        (None, UREA, 1),
        (UREA, None, 1),
        (UREA, {**UREA, "order_key": "77aa"}, 1),
        (UREA, {**UREA, "spans": []}, 1),
        (UREA, {**UREA, "spans": [[360, 420], [615, 645]]}, 1),
        (UREA, {**UREA, "spans": [[350, 410], [600, 630]]}, 0),
        (UREA, UREA, 0),
    ],
    ids=["ordered", "taken back", "another", "does not fit", "moved", "moved a little", "same"],
)
def test_a_change_of_the_injection_alone_is_news(
    farms: UnitOfWorkFactory,
    clock: FixedClock,
    engine: Engine,
    before: dict[str, object] | None,
    after: dict[str, object] | None,
    count: int,
) -> None:
    run(farms, clock)
    inject(engine, before)
    queue(farms)
    inject(engine, after)
    assert queue(farms) == count
    assert queue(farms) == 0


def test_nobody_is_mailed_about_a_day_that_is_over(
    farms: UnitOfWorkFactory, clock: FixedClock
) -> None:
    clock.time = EVENING + timedelta(days=9)
    assert run(farms, clock) == 2
    assert mails(farms) == []


@pytest.mark.parametrize(
    ("issued_at", "expires_at"),
    [(EVENING, NOON), (NOON + timedelta(hours=2), NOON + timedelta(hours=3))],
)
def test_a_plan_is_sent_until_noon_or_for_an_hour_if_it_comes_later(
    farms: UnitOfWorkFactory, clock: FixedClock, issued_at: datetime, expires_at: datetime
) -> None:
    clock.time = issued_at
    run(farms, clock)
    with farms(write=True) as unit:
        (taken,) = unit.outbox.claim(owner="me", now=issued_at, lease_s=60, limit=9)
    assert taken.order.expires_at == expires_at


def test_whoever_left_or_was_suppressed_gets_no_order(
    farms: UnitOfWorkFactory, clock: FixedClock
) -> None:
    with farms(write=True) as unit:
        unit.people.save(replace(ANA, mail_address="ben@example.org"), farm_id="farm-00000")
        unit.people.save(
            replace(ANA, mail_address="cruz@example.org", receives=("weekly",)),
            farm_id="farm-00000",
        )
        unit.people.save(replace(ANA, mail_address="dee@example.org"), farm_id="farm-00001")
        by_address = {each.person.mail_address: each for each in unit.people.list_people()}
        unit.people.unsubscribe(by_address["ana@example.org"].person_key, "evening")
        unit.people.suppress(by_address["ben@example.org"].person_key, at=EVENING, reason="550")
    run(farms, clock)
    assert [mail.mail_address for mail in mails(farms)] == ["dee@example.org"]


def test_the_letter_says_what_the_stored_plan_says(
    farms: UnitOfWorkFactory, clock: FixedClock
) -> None:
    run(farms, clock)
    farm = list_farms(["farm-00000"], unit_of_work=farms)[0]
    thanks = Attribution(SOURCE, "Invented weather", "https://sky.example/", "none")
    letter = evening_letter(
        farm, None, unit_of_work=farms, attributions={SOURCE: thanks, "other": thanks}
    )
    (view,) = list_plans(day=PLAN_DAY, farm_id="farm-00000", unit_of_work=farms)
    (line,) = letter.blocks
    assert (line.planned_min, line.version, line.status) == (
        view.plan.planned_min,
        view.plan.version,
        view.plan.status,
    )
    assert [pulse.duration_min for pulse in line.pulses] == [p[1] for p in view.plan.pulses]
    assert sum(pulse.duration_min for pulse in line.pulses) == line.planned_min > 0
    assert all(p.ends_at - p.starts_at == timedelta(minutes=p.duration_min) for p in line.pulses)
    assert line.volume_l == view.plan.reasoning.volume_l
    assert len(line.outlook) == 7
    assert letter.attributions == (thanks,)
    (site,) = letter.sites
    assert site.source == SOURCE
    assert site.observed_until == ON - timedelta(days=1)
    assert None not in (site.rain_before_mm, site.rain_today_mm, site.rain_tomorrow_mm)
