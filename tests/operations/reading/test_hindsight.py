"""Plans of days that are over, with the rain that fell."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from service.agronomy.risk_guard import RiskGuard
from service.bootstrap import Service
from service.operations.reading.hindsight import (
    DayOfRain,
    hindsight_of,
    hindsights,
    last_hindsight,
)
from service.operations.reading.read_plans import explain
from service.operations.weather.import_weather import import_weather
from service.records.plan_reasoning import PlanReasoning, read_reasoning
from tests.api.invented_farm import BLOCK_ID, PLAN_DAY, plan_evening

# Missing at midnight 8 mm, 4 mm of use, RAW 10: 12 mm, of which all but the room for rain, 3 mm.
CLASSIC = b"""{"depletion_midnight_mm": 8, "depletion_start_mm": 8, "planned_depletion_mm": 12,
 "crop_et_mm": 4, "raw_mm": 10, "trigger_fraction": 0.7, "rain_room_fraction": 0.3,
 "need_mm": 9, "net_mm": 9, "net_rate_mm_per_min": 0.1}"""


def reasoning(**changes: Any) -> PlanReasoning:
    return read_reasoning(CLASSIC)._replace(**changes)


def over(entering_mm: float, *, net_mm: float = 9.0) -> DayOfRain:
    return DayOfRain(
        day=PLAN_DAY, rain_mm=2.0 * entering_mm, rain_entering_mm=entering_mm, net_mm=net_mm
    )


@pytest.mark.parametrize(
    ("entering_mm", "needed_min", "not_needed_min"),
    [(0.0, 90.0, 0.0), (2.0, 70.0, 20.0), (6.0, 0.0, 90.0), (50.0, 0.0, 90.0)],
)
def test_rain_that_was_not_counted_on_makes_minutes_needless(
    entering_mm: float, needed_min: float, not_needed_min: float
) -> None:
    # With 2 mm of rain 10 mm would be missing, 7 without the room; with 6 it stays under 7.
    found = hindsight_of(reasoning(), 90, over(entering_mm))
    assert found is not None
    assert found.needed_min == pytest.approx(needed_min)
    assert found.not_needed_min == pytest.approx(not_needed_min)
    assert found.lacking_min == 0.0
    assert found.is_news == (not_needed_min > 0.0)
    assert found.rain_mm == 2.0 * entering_mm


def test_minutes_that_did_not_run_were_not_needless() -> None:
    found = hindsight_of(reasoning(), 90, over(6.0, net_mm=4.0))
    assert found is not None
    assert found.not_needed_min == pytest.approx(40.0)
    idle = hindsight_of(reasoning(), 90, over(6.0, net_mm=0.0))
    assert idle is not None
    assert (idle.not_needed_min, idle.is_news) == (0.0, False)


def test_what_whole_pulses_add_is_not_put_down_to_the_rain() -> None:
    longer = hindsight_of(reasoning(net_mm=9.8), 98, over(0.0, net_mm=9.8))
    assert longer is not None
    assert longer.not_needed_min == 0.0


def test_rain_that_was_counted_on_and_stayed_away_leaves_the_plan_short() -> None:
    # 3 mm were counted on: need 6; without them 9.
    found = hindsight_of(reasoning(need_mm=6.0, net_mm=6.0), 60, over(0.0, net_mm=6.0))
    assert found is not None
    assert [found.lacking_min, found.not_needed_min] == pytest.approx([30.0, 0.0])
    assert found.is_news


def test_a_block_that_weighs_the_risk_is_judged_by_its_own_rule() -> None:
    weighed = reasoning(
        risk_guard=float(RiskGuard.NONE), must_mm=2.0, planned_depletion_mm=12.0, need_mm=5.5,
        net_mm=5.5,
    )  # fmt: skip
    # Without rain 12 are missing, 2 beyond RAW, and half of the 7 that still fit.
    dry = hindsight_of(weighed, 55, over(0.0, net_mm=5.5))
    assert dry is not None
    assert [dry.needed_min, dry.not_needed_min] == pytest.approx([55.0, 0.0])
    wet = hindsight_of(weighed, 55, over(3.0, net_mm=5.5))
    assert wet is not None
    assert [wet.needed_min, wet.not_needed_min] == pytest.approx([0.0, 55.0])
    # Water for a later day says nothing of the rain of this one.
    assert hindsight_of(weighed._replace(must_mm=4.0), 55, over(3.0)) is None
    guarded = weighed._replace(risk_guard=float(RiskGuard.KEEP_UP))
    rule = hindsight_of(guarded, 90, over(2.0))
    assert rule is not None
    assert rule.needed_min == pytest.approx(70.0)


def test_numbers_that_are_not_there_tell_nothing() -> None:
    assert hindsight_of(reasoning()._replace(raw_mm=None), 90, over(2.0)) is None
    assert hindsight_of(read_reasoning(b"{}"), 0, over(2.0)) is None


def test_the_day_after_a_plan_says_what_its_rain_would_have_changed(own_service: Service) -> None:
    after = PLAN_DAY + timedelta(days=1)
    with own_service.unit_of_work(write=False) as unit:
        assert last_hindsight(unit, BLOCK_ID, PLAN_DAY) is None  # its day is not over
        plan = unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY)
    assert plan is not None and plan.planned_min > 0
    import_weather(
        "home",
        np.array([np.datetime64(PLAN_DAY)]),
        {"tmax_c": np.array([25.0]), "tmin_c": np.array([18.0]), "rain_mm": np.array([60.0])},
        source="import",
        forecast_from=after,
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    assert plan_evening(own_service, on=PLAN_DAY) == []
    with own_service.unit_of_work(write=False) as unit:
        found = last_hindsight(unit, BLOCK_ID, after)
        key_of = {BLOCK_ID: unit.blocks.get_block_key(BLOCK_ID)}
        of_farm = hindsights(unit, key_of, after)
    assert found is not None
    assert (found.day, found.rain_mm, found.planned_min) == (PLAN_DAY, 60.0, plan.planned_min)
    assert found.not_needed_min > 0.0
    assert of_farm == {BLOCK_ID: found}
    explained = explain(BLOCK_ID, day=after, unit_of_work=own_service.unit_of_work)
    assert explained.hindsight == found
