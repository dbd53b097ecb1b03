"""Plans and runs of many farms in the order in which they came."""

from __future__ import annotations

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.reading.follow_farms import follow_plans, follow_runs
from service.records.feeds import FeedWish
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM_ID, PLAN_DAY, TODAY


def test_plans_go_on_after_the_last_one_that_is_known(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    first = follow_plans(FeedWish(), after=0, count=1, unit_of_work=unit_of_work)
    assert first.has_more and len(first.entries) == 1
    known = first.entries[0].plan_key
    rest = follow_plans(FeedWish(), after=known, count=1, unit_of_work=unit_of_work)
    assert not rest.has_more
    found = {each.block_id: each for each in (*first.entries, *rest.entries)}
    assert set(found) == {BLOCK_ID, BARE_BLOCK_ID}
    assert {each.day for each in found.values()} == {PLAN_DAY}
    assert found[BLOCK_ID].zone == "America/New_York"
    assert found[BLOCK_ID].block_name == "North blueberries"


def test_nothing_is_a_page_too(own_service: Service) -> None:
    found = follow_runs(
        FeedWish(farm_id=FARM_ID), after=(0, 0), count=9, unit_of_work=own_service.unit_of_work
    )
    assert (list(found.entries), found.has_more) == ([], False)


def test_what_is_not_there_is_refused(own_service: Service) -> None:
    def ask(wish: FeedWish) -> None:
        follow_plans(wish, after=0, count=9, unit_of_work=own_service.unit_of_work)

    with pytest.raises(NotFound):
        ask(FeedWish(farm_id="nowhere"))
    with pytest.raises(InputInvalid, match="no such county"):
        ask(FeedWish(county_codes=["X99"]))
    with pytest.raises(InputInvalid, match="no such days"):
        ask(FeedWish(first_day=PLAN_DAY, last_day=TODAY))
