"""What opens the valve of a block, entered on its form and on its supply's."""

from __future__ import annotations

import pytest

from service.agronomy.records import WallWindow
from service.agronomy.week_ahead import DayRule
from service.bootstrap import Service
from service.records.farms import BlockDefinition
from service.records.timers import TimerSettings
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID
from tests.pages.conftest import Reader
from tests.pages.test_pages import entered, stored

BLOCK_PAGE, SUPPLY_PAGE = f"/blocks/{BLOCK_ID}/edit", "/farms/test-farm/supplies/well/edit"
TIMER = {
    "control": "timer", "timer_starts": "3", "timer_step": "0,5", "timer_days": "interval",
    "timer_set_on": "friday",
}  # fmt: skip
SETTINGS = TimerSettings(start_count=3, run_step_min=0.5, day_rule=DayRule.INTERVAL, set_weekday=5)
NONE = {"control": "", "timer_starts": "", "timer_step": "", "visits": ""}


def block_of(service: Service, block_id: str = BLOCK_ID) -> BlockDefinition:
    return next(each for each in stored(service).blocks if each.block_id == block_id)


def send(reader: Reader, page: str, changed: dict[str, str]) -> int:
    answer = reader.send(page, **{**entered(reader, page), **changed}, do="store")
    return answer.status_code


def test_a_timer_is_entered_shown_again_and_taken_out(service: Service, reader: Reader) -> None:
    before = block_of(service)
    assert send(reader, BLOCK_PAGE, TIMER) == 303
    assert block_of(service).timer == SETTINGS
    again = entered(reader, BLOCK_PAGE)
    assert {name: again[name] for name in TIMER} == TIMER | {"timer_step": "0.5"}
    assert send(reader, BLOCK_PAGE, {}) == 303
    assert block_of(service).timer == SETTINGS
    assert send(reader, BLOCK_PAGE, NONE) == 303
    assert block_of(service) == before


def test_visits_are_entered_and_bring_one_pulse_each(service: Service, reader: Reader) -> None:
    before = block_of(service)
    by_hand = {"control": "hand", "visits": "07:00-07:30, 18:00-20:00"}
    assert send(reader, BLOCK_PAGE, by_hand) == 303
    block = block_of(service)
    assert block.visits == (WallWindow(420, 450), WallWindow(1080, 1200))
    assert block.daily_pulse_count == 2.0
    assert entered(reader, BLOCK_PAGE)["visits"] == by_hand["visits"]
    assert send(reader, BLOCK_PAGE, NONE) == 303
    assert block_of(service) == before


def test_the_timer_of_a_supply_is_that_of_its_blocks_unless_they_say_otherwise(
    service: Service, reader: Reader
) -> None:
    assert send(reader, SUPPLY_PAGE, TIMER) == 303
    assert stored(service).supplies[0].timer == SETTINGS
    assert [block_of(service, each).timer for each in (BLOCK_ID, BARE_BLOCK_ID)] == [SETTINGS] * 2
    assert entered(reader, SUPPLY_PAGE)["timer_set_on"] == "friday"
    assert entered(reader, BLOCK_PAGE)["control"] == ""
    assert send(reader, BLOCK_PAGE, {"control": "controller"}) == 303
    assert (block_of(service).timer, entered(reader, BLOCK_PAGE)["control"]) == (None, "controller")
    assert send(reader, BLOCK_PAGE, {"control": ""}) == 303
    assert block_of(service).timer == SETTINGS
    assert send(reader, SUPPLY_PAGE, NONE) == 303
    assert [each.timer for each in stored(service).blocks] == [None] * len(stored(service).blocks)


@pytest.mark.parametrize("page", [BLOCK_PAGE, SUPPLY_PAGE])
@pytest.mark.parametrize(
    ("changed", "field"),
    [({"timer_starts": ""}, "timer_starts"), ({"timer_step": "0.2"}, "timer_step"),
     ({"timer_starts": "99"}, "timer_starts")],
)  # fmt: skip
def test_a_timer_that_cannot_be_is_refused_beside_its_field(
    service: Service, reader: Reader, page: str, changed: dict[str, str], field: str
) -> None:
    before = stored(service)
    answer = reader.send(page, **{**entered(reader, page), **TIMER, **changed}, do="store")
    assert answer.status_code == 422
    assert f'id="{field}-fault"' in answer.text
    assert stored(service) == before


def test_hand_without_visits_is_refused_beside_them(reader: Reader) -> None:
    changed = {"control": "hand", "visits": ""}
    answer = reader.send(BLOCK_PAGE, **{**entered(reader, BLOCK_PAGE), **changed}, do="store")
    assert answer.status_code == 422
    assert 'id="visits-fault"' in answer.text
