"""Flow that flushes a drip line, and what a pump takes."""

from __future__ import annotations

import pytest

from service.errors import InputInvalid
from service.waterworks.flushing import flush_need
from service.waterworks.pumping import pumping_cost


def test_a_line_of_sixteen_millimetres_flushes_at_217_litres_an_hour() -> None:
    # pi / 4 x 0.016^2 m2 x 0.3 m/s x 3,600,000 = 217.1 L/h: by hand.
    need = flush_need(16.0, 200.0, 4000.0)
    assert need.end_flow_l_per_h == pytest.approx(217.1, abs=0.1)
    assert need.line_flow_l_per_h == pytest.approx(417.1, abs=0.1)
    assert need.lines_at_once_count == 9


def test_the_published_gallon_a_minute_for_five_eighths_of_an_inch() -> None:
    # UC: 1 gpm in a 5/8 in line, 2 gpm in 7/8 in, at 1 ft/s; within their rounding.
    assert flush_need(0.625 * 25.4, 0.0, 1e4).end_flow_l_per_h == pytest.approx(227.1, rel=0.06)
    assert flush_need(0.875 * 25.4, 0.0, 1e4).end_flow_l_per_h == pytest.approx(454.2, rel=0.08)


def test_too_little_flow_flushes_no_line() -> None:
    assert flush_need(16.0, 200.0, 400.0).lines_at_once_count == 0


def test_twenty_seven_cubic_metres_over_thirty_metres_take_three_point_seven_kilowatts() -> None:
    # 27/3600 m3/s x 1000 x 9.80665 x 30 / 0.6 = 3,677 W: by hand.
    found = pumping_cost(27_000.0, 30.0, efficiency_pct=60.0, duration_min=90.0, energy_price=0.20)
    assert found.power_kw == pytest.approx(3.677, abs=0.001)
    assert found.energy_kwh == pytest.approx(5.516, abs=0.001)
    assert found.cost == pytest.approx(1.103, abs=0.001)


def test_without_a_price_there_is_no_cost() -> None:
    assert pumping_cost(1000.0, 10.0, duration_min=0.0).cost is None


def test_numbers_that_cannot_be_are_refused_all_at_once() -> None:
    with pytest.raises(InputInvalid) as refusal:
        pumping_cost(0.0, -1.0, efficiency_pct=0.6, duration_min=-1.0, energy_price=-0.1)
    assert len(refusal.value.faults) == 5
    with pytest.raises(InputInvalid):
        flush_need(0.0, 1.0, 1.0)
