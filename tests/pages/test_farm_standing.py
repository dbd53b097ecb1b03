"""The page of all farms: the worst first, and in words what is wrong."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta

from service.api.app import create_app
from service.bootstrap import Service
from service.pages.farm_standing import troubles
from service.translations import wording
from tests.api.invented_farm import RUN_AT, FixedClock
from tests.operations.schedule.test_rank_farms import invented
from tests.pages.conftest import Reader


def test_all_that_is_wrong_is_said_the_gravest_first() -> None:
    farm = invented(
        "A",
        is_overdue=True,
        short_count=2,
        unreported_days_count=1,
        stale_sites=(("Hill", date(2026, 7, 9)), ("Creek", None)),
        silent_controllers=(("a.shed", RUN_AT),),
    )
    assert troubles(farm, wording("en", "us")) == [
        "tomorrow's plan is overdue",
        "2 blocks get less than they need on Wed, Jul 15",
        "1 day of the last seven not reported",
        "weather of Hill is old or ends too soon, measured up to Thu, Jul 9",
        "no weather measured yet at Creek",
        "controller a.shed silent since Tue, Jul 14, 11:00 PM",
    ]
    assert troubles(invented("B"), wording("en", "us")) == []


def test_the_page_says_how_many_farms_need_somebody_and_links_to_each(service: Service) -> None:
    page = Reader(create_app(service)).text("/farms?all=1")
    names = re.findall(r'<h3><a href="/farms/([\w-]+)/tomorrow">', page)
    assert sorted(names) == ["later-farm", "test-farm"]
    later = replace(service, clock=FixedClock(RUN_AT + timedelta(days=5, hours=1)))
    page = Reader(create_app(later)).text("/farms?all=1")
    assert "2 farms need a look." in page and page.count("tomorrow's plan is overdue") == 2
    in_spanish = Reader(create_app(later), headers={"Accept-Language": "es"}).text("/farms?all=1")
    assert "2 ranchos necesitan atención." in in_spanish and " blocks" not in in_spanish
