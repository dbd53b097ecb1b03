"""The page of a block: readings of its soil, and its water by month."""

from __future__ import annotations

import re
from datetime import date
from html import unescape

import numpy as np
import pytest

from service.bootstrap import Service
from service.operations.reading.read_plans import get_plan
from tests.api.invented_farm import BLOCK_ID, PLAN_DAY, TODAY
from tests.operations.reading.test_read_risk_trial import keep_days
from tests.pages.conftest import Reader


def planned_min(service: Service) -> int:
    """Minutes in force for the block's coming day."""
    return get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=service.unit_of_work).plan.planned_min


@pytest.mark.parametrize(
    ("value", "unit", "depth", "depth_unit"), [("40", "%", "6", "in"), ("0", "cb", "15", "cm")]
)
def test_a_sensor_that_shows_wet_soil_takes_minutes_off_the_plan(
    service: Service, reader: Reader, value: str, unit: str, depth: str, depth_unit: str
) -> None:
    before = planned_min(service)
    page = f"/blocks/{BLOCK_ID}"
    answer = reader.send(
        page,
        f"{page}/sensor",
        value=value,
        value_unit=unit,
        depth=depth,
        depth_unit=depth_unit,
        day=TODAY.isoformat(),
        time="18:30",
    )
    assert answer.headers["Location"].endswith("done=sensor-changed")
    assert planned_min(service) < before


@pytest.mark.parametrize(
    ("changed", "wrong", "allowed"),
    [
        # A fraction in a field of percent would be a soil drier than any root can make it.
        ({"value": "0.23"}, "sensor-value", "1 to 80 %"),
        ({"value": "-5", "value_unit": "cb"}, "sensor-value", "0 to 1500 cb"),
        # The unit typed: 18 in or 46 cm of roots.
        ({"depth": "90"}, "sensor-depth", "inside the managed root zone, 18 in"),
        (
            {"depth": "200", "depth_unit": "cm"},
            "sensor-depth",
            "inside the managed root zone, 45.7 cm",
        ),
        ({"day": "2030-01-01"}, "sensor-time", "has passed"),
    ],
)
def test_a_sensor_reading_that_cannot_be_is_refused_beside_its_field(
    service: Service, reader: Reader, changed: dict[str, str], wrong: str, allowed: str
) -> None:
    before = planned_min(service)
    page = f"/blocks/{BLOCK_ID}"
    said = {
        "value": "23", "value_unit": "%", "depth": "6", "depth_unit": "in",
        "day": TODAY.isoformat(), "time": "18:30",
    }  # fmt: skip
    answer = reader.send(page, f"{page}/sensor", **{**said, **changed})
    assert answer.status_code == 422
    shown = unescape(answer.text).partition(f'id="{wrong}-fault"')[2][:400]
    assert allowed in shown
    assert planned_min(service) == before


def test_water_by_month_adds_up_to_the_days_of_the_season(service: Service, reader: Reader) -> None:
    reader.send("/farms?all=1", "/reading", units="si")
    page = reader.text(f"/blocks/{BLOCK_ID}")
    table = page.partition('<h2 id="months">')[2].partition("</table>")[0]
    cells = re.findall(r'data-label="([^"]+)">([^<]*)<', table)
    with service.unit_of_work(write=False) as unit:
        rows = unit.ledger.read_rows(
            unit.blocks.get_block_key(BLOCK_ID), first_day=date(2026, 2, 1), last_day=TODAY
        )
    for heading, name in (("Rain, mm", "rain_mm"), ("Crop use, mm", "actual_crop_et_mm")):
        shown = [float(value) for each, value in cells if each == heading]
        assert len(shown) == 2  # June and July: the books begin on June 4
        assert sum(shown) == pytest.approx(float(np.nansum(rows.numbers[name])), abs=0.11)
    assert "tick-mark" in page and "1 Jul to 14 Jul" in page


def test_the_days_on_paper_are_summed_and_either_rule_is_a_click_away(
    service: Service, reader: Reader
) -> None:
    page = f"/blocks/{BLOCK_ID}"
    assert "On paper" not in unescape(reader.get(page).text)
    keep_days(service)
    text = unescape(reader.get(page).text)
    assert "On paper, over the last 62 days" in text
    answer = reader.send(page, f"{page}/risk-attitude", attitude="classic")
    assert answer.headers["Location"].endswith("done=attitude-kept")
    with service.unit_of_work(write=False) as unit:
        assert unit.blocks.get_block(BLOCK_ID, day=PLAN_DAY).has_stated_attitude
    assert "On paper" not in unescape(reader.get(page).text)
