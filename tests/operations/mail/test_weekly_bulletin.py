"""The counties of last week for advisers: ordered once, and ranked as the comparison ranks them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from service.attributions import ATTRIBUTIONS
from service.bootstrap import Service
from service.errors import NotFound
from service.operations.access.people import save_person
from service.operations.mail.weekly_bulletin import (
    BULLETIN,
    bulletin_letter,
    queue_weekly_bulletins,
)
from service.operations.reading.read_farms import today_at
from service.operations.review.compare_counties import compare_counties
from service.records.forecasts import ForecastPlace
from service.records.letters import BulletinLetter, ForecastNote
from service.records.mail import Person
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM_ID
from tests.operations.weather.forecast_days import lead_rows, truth_rows

SUNDAY = date(2026, 7, 12)
MONDAY_SIX = datetime(2026, 7, 13, 10, tzinfo=UTC)
"""06:00 at the first county's site."""
ADVISER = Person(mail_address="adviser@example.org", name="Ada", role="adviser")


def add(service: Service, person: Person = ADVISER, *farm_ids: str) -> None:
    save_person(person, farm_ids=farm_ids, unit_of_work=service.unit_of_work)


def queue(service: Service, *, at: datetime = MONDAY_SIX) -> int:
    return queue_weekly_bulletins(service.unit_of_work, now=at)


def letter_for(service: Service, reference_block_id: str = "") -> BulletinLetter:
    reader = Person(
        mail_address="ada@example.org",
        name="Ada",
        role="adviser",
        reference_block_id=reference_block_id,
    )
    return bulletin_letter(
        reader,
        SUNDAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
        attributions=ATTRIBUTIONS,
    )


def region_today(service: Service) -> date:
    with service.unit_of_work(write=False) as unit:
        return today_at(unit, FARM_ID, service.clock.now())


def test_each_adviser_is_sent_one_bulletin_and_no_grower_is(region: Service) -> None:
    add(region)
    add(region, Person(mail_address="ana@example.org", name="Ana"), FARM_ID)
    assert queue(region, at=MONDAY_SIX - timedelta(seconds=1)) == 0
    assert queue(region) == 1
    assert queue(region) == queue(region, at=MONDAY_SIX + timedelta(days=1)) == 0
    with region.unit_of_work(write=False) as unit:
        (row,) = unit.outbox.list_mails(first_queued_at=MONDAY_SIX)
    assert (row.kind, row.mail_address, row.plan_day) == (BULLETIN, ADVISER.mail_address, SUNDAY)


def test_a_bulletin_is_given_up_two_days_later(region: Service) -> None:
    add(region)
    assert queue(region, at=MONDAY_SIX + timedelta(days=2)) == 0


def test_without_counties_there_is_no_bulletin(own_service: Service) -> None:
    add(own_service)
    assert queue(own_service) == 0


def test_the_letter_has_the_numbers_of_the_weeks_comparison(region: Service) -> None:
    letter = letter_for(region, BARE_BLOCK_ID)
    expected = compare_counties(
        BARE_BLOCK_ID,
        first_day=date(2026, 7, 6),
        last_day=SUNDAY,
        on=SUNDAY + timedelta(days=1),
        unit_of_work=region.unit_of_work,
        clock=region.clock,
        source_order=region.source_order,
    )
    assert (letter.first_day, letter.last_day, letter.crop_key) == (
        date(2026, 7, 6), SUNDAY, "grape-wine",
    )  # fmt: skip
    known = letter.counties[0]
    assert (known.county_code, known.rank) == ("X01", 1)
    assert known.net_need_mm == expected.need.net_need_mm[0]
    assert known.rain_mm == expected.rain_mm[0]


def test_a_county_without_weather_comes_last_and_has_no_rank(region: Service) -> None:
    first, last = letter_for(region).counties
    assert (first.rank, last.county_code, last.rank) == (1, "X02", 0)


def test_the_first_block_is_used_if_an_adviser_chose_none(region: Service) -> None:
    with region.unit_of_work(write=False) as unit:
        first = unit.blocks.list_blocks(farm_id=None, day=SUNDAY)[0]
    assert first.block_id != BLOCK_ID
    assert letter_for(region).reference_name == first.name
    with pytest.raises(NotFound, match=r"test-farm\.nowhere"):
        letter_for(region, "test-farm.nowhere")


def test_the_letter_says_how_far_off_the_forecast_was(region: Service) -> None:
    assert letter_for(region).forecast is None
    days = [region_today(region) - timedelta(days=back) for back in range(35, -1, -1)]
    with region.unit_of_work(write=True) as unit:
        key = unit.blocks.get_site_key("home")
        begins = days[0] - timedelta(days=1)
        unit.forecasts.save_places([ForecastPlace(key, 36.0, -79.0, 200.0, begins, False)])
        unit.forecasts.save_leads(
            lead_rows(key, days, rain_mm=2.0, et0_mm=5.5, tmax_c=30.0, source="invented")
        )
        unit.forecasts.save_truth(truth_rows(key, days[:-1], rain_mm=1.0))
    assert letter_for(region).forecast == ForecastNote(1, 1.0, 0.5)


def test_a_region_without_blocks_has_no_letter(region: Service) -> None:
    with region.unit_of_work(write=True) as unit:
        for farm_id in (FARM_ID, "later-farm"):
            bundle = unit.blocks.get_bundle(farm_id, day=SUNDAY)
            unit.blocks.save_bundle(
                type(bundle)(farm=bundle.farm, sites=bundle.sites),
                effective_day=SUNDAY,
                recorded_at=MONDAY_SIX,
            )
    with pytest.raises(NotFound, match="no block is stored"):
        letter_for(region)
