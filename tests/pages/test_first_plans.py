"""A first plan is made while its reader goes on."""

from __future__ import annotations

import pytest

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.evening.plan_first import FirstPlan
from service.pages.first_plans import MAKING, FirstPlans
from tests.pages.conftest import Reader


def test_a_plan_is_made_once_at_a_time_and_its_end_is_known() -> None:
    plans = FirstPlans()
    assert plans.state("farm") == ""
    run = plans.begin("farm", lambda: FirstPlan.NO_WEATHER)
    assert run is not None and plans.state("farm") == MAKING
    assert plans.begin("farm", lambda: FirstPlan.PLANNED) is None
    assert plans.begin("other", lambda: FirstPlan.PLANNED) is not None
    run()
    assert plans.state("farm") == FirstPlan.NO_WEATHER.value
    assert plans.begin("farm", lambda: FirstPlan.PLANNED) is not None


def test_a_plan_that_breaks_off_counts_as_failed() -> None:
    plans = FirstPlans()

    def break_off() -> FirstPlan:
        raise RuntimeError

    run = plans.begin("farm", break_off)
    assert run is not None
    with pytest.raises(RuntimeError):
        run()
    assert plans.state("farm") == FirstPlan.FAILED.value


def test_while_it_is_made_the_page_says_so_and_offers_to_look_again(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(FirstPlans, "state", lambda *_: MAKING)
    reader = Reader(create_app(service))
    page = reader.text("/farms/test-farm/tomorrow?date=2027-01-05&first=making")
    assert "The plan is being made" in page and 'href="?first=making"' in page
    assert "Make the plan for tomorrow now" not in page
