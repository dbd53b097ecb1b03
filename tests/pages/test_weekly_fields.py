"""Hours of every week without water, entered on the form of a supply."""

from __future__ import annotations

from service.agronomy.records import WeeklyNoWater
from service.bootstrap import Service
from tests.api.invented_farm import BLOCK_ID
from tests.pages.conftest import Reader
from tests.pages.test_pages import entered, stored

PAGE = "/farms/test-farm/supplies/well/edit"
WORKDAYS = {f"weekly_1_{day}": "yes" for day in ("mon", "tue", "wed", "thu", "fri")}
PEAK = {"weekly_1_from": "04:00", "weekly_1_to": "08:00", "weekly_1_reason": "peak tariff"}


def test_hours_are_entered_shown_on_the_pages_and_taken_out(
    service: Service, reader: Reader
) -> None:
    before = stored(service).supplies
    off = {"weekly_2_sun": "yes", "weekly_2_from": "00:00", "weekly_2_to": "00:00"}
    form = {**entered(reader, PAGE), **WORKDAYS, **PEAK, **off}
    assert reader.send(PAGE, **form).status_code == 303
    assert stored(service).supplies[0].weekly_no_water == (
        WeeklyNoWater((1, 2, 3, 4, 5), 240, 480, "peak tariff"),
        WeeklyNoWater((7,), 0, 1440, "not given"),
    )
    page = reader.text(PAGE)
    assert 'name="weekly_1_wed" value="yes" checked' in reader.get(PAGE).text
    assert entered(reader, PAGE)["weekly_1_reason"] == "peak tariff"
    assert "Hours 3" in page
    set_up = reader.text("/farms/test-farm/setup")
    assert "Mon to Fri, from 4:00 AM to 8:00 AM: peak tariff" in set_up
    assert "Sun, all day" in set_up
    assert "from 4:00 AM to 8:00 AM (peak tariff)" in reader.text(f"/blocks/{BLOCK_ID}")
    # A form sent back as it was changes nothing; one without the hours takes them out.
    unchanged = {**entered(reader, PAGE), **WORKDAYS, "weekly_2_sun": "yes"}
    assert reader.send(PAGE, **unchanged).status_code == 303
    assert len(stored(service).supplies[0].weekly_no_water) == 2
    bare = {name: "" if "weekly" in name else value for name, value in unchanged.items()}
    assert reader.send(PAGE, **bare).status_code == 303
    assert stored(service).supplies == before


def test_hours_without_a_day_are_refused_beside_them(service: Service, reader: Reader) -> None:
    before = stored(service)
    answer = reader.send(PAGE, **{**entered(reader, PAGE), **PEAK})
    assert answer.status_code == 422 and 'id="weekly_1_from-fault"' in answer.text
    assert stored(service) == before
