"""The need of a day with the rain that came, against the rules that plans are made by."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.agronomy.hindsight import need_in_hindsight_mm, need_of_certain_rain_mm
from service.agronomy.safe_depth import safe_depth
from service.agronomy.watering_rules import water_need
from tests.agronomy.test_safe_depth import balanced, members_of, risk_days
from tests.factories import batch_of, make_block

DEPTHS = st.floats(0.0, 30.0)


@settings(max_examples=30, deadline=None)
@given(missing=DEPTHS, rain=DEPTHS, use=st.floats(0.0, 9.0))
def test_it_is_the_evening_rule_with_that_rain(missing: float, rain: float, use: float) -> None:
    system = batch_of(make_block()).system
    one = np.ones(1)
    rule = water_need(
        missing * one, rain_credit_mm=rain * one, crop_et_mm=use * one, raw_mm=10.0 * one,
        system=system,
    )  # fmt: skip
    found = need_in_hindsight_mm(
        missing * one, rain_entering_mm=rain * one, zone_et_mm=use * one, raw_mm=10.0 * one,
        trigger_fraction=system.trigger_fraction, rain_room_fraction=system.rain_room_fraction,
    )  # fmt: skip
    assert found.tolist() == rule.need_mm.tolist()


def test_it_is_the_safe_depth_of_a_forecast_without_a_spread() -> None:
    depletion = np.linspace(0.0, 30.0, 13)
    rain_mm = np.zeros((1, 1, 5))
    rain_mm[0, 0, 0] = 4.0
    days = risk_days(depletion, site_count=1)
    certain = safe_depth(
        days, members_of(rain_mm, np.full((1, 1, 5), 5.0)), balanced(13), horizon_days=1
    )
    one = np.ones(13)
    found = need_of_certain_rain_mm(
        depletion, rain_entering_mm=4.0 * one, zone_et_mm=5.0 * one, raw_mm=20.0 * one,
        rain_room_fraction=0.3 * one, must_mm=certain.must_mm,
        planned_depletion_mm=certain.planned_depletion_mm,
    )  # fmt: skip
    assert found == pytest.approx(certain.need_mm, abs=1e-9)
    assert (found > 0.0).any() and (found == 0.0).any()
