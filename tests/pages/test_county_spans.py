"""Counties compared over several spans at once: the same numbers as span by span."""

from __future__ import annotations

from dataclasses import fields
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from service.bootstrap import Service
from service.errors import InputInvalid
from service.operations.review.compare_counties import compare_counties, compare_spans
from service.operations.weather.import_weather import import_weather
from tests.api.invented_farm import BLOCK_ID, TODAY

MONDAY = TODAY - timedelta(days=TODAY.weekday())
WEEKS = [
    (MONDAY - timedelta(days=7 * back), MONDAY - timedelta(days=7 * back - 6)) for back in range(9)
]


def bring_a_season(service: Service) -> None:
    """A hundred days of invented weather at both sites, with a gap of two days inside a week."""
    rng = np.random.default_rng(3)
    days = np.arange(np.datetime64(TODAY) - 100, np.datetime64(TODAY) + 7, dtype="datetime64[D]")
    known = (days != np.datetime64("2026-06-10")) & (days != np.datetime64("2026-06-11"))
    for site_id in ("home", "far"):
        tmin_c = rng.normal(18.0, 2.0, days.size)
        import_weather(
            site_id,
            days[known],
            {
                "tmin_c": tmin_c[known],
                "tmax_c": (tmin_c + rng.uniform(8.0, 14.0, days.size))[known],
                "tdew_c": (tmin_c - 1.0)[known],
                "wind_m_s": rng.uniform(1.0, 4.0, days.size)[known],
                "rs_mj_m2": rng.uniform(14.0, 26.0, days.size)[known],
                "rain_mm": np.where(rng.random(days.size) < 0.2, 9.0, 0.0)[known],
            },
            source="import",
            forecast_from=TODAY + timedelta(days=1),
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )


def test_nine_weeks_in_one_go_equal_nine_single_calls(service: Service) -> None:
    bring_a_season(service)
    common: dict[str, Any] = {
        "on": TODAY,
        "unit_of_work": service.unit_of_work,
        "clock": service.clock,
        "source_order": service.source_order,
    }
    together = compare_spans(BLOCK_ID, WEEKS, **common)
    assert [(each.first_day, each.last_day) for each in together] == WEEKS
    for (first_day, last_day), found in zip(WEEKS, together, strict=True):
        alone = compare_counties(BLOCK_ID, first_day=first_day, last_day=last_day, **common)
        assert np.isfinite(alone.need.net_need_mm).all()
        for field in fields(alone.need):
            np.testing.assert_array_equal(
                getattr(found.need, field.name), getattr(alone.need, field.name)
            )
        np.testing.assert_array_equal(found.forecast_day_count, alone.forecast_day_count)
        np.testing.assert_array_equal(found.rain_mm, alone.rain_mm)
        assert found.observed_until == alone.observed_until == (TODAY, TODAY)
    assert together[0].forecast_day_count.tolist() == [5, 5]


def test_a_span_that_falls_or_is_too_long_is_refused(service: Service) -> None:
    for last_day in (date(2026, 6, 30), date(2026, 9, 30)):
        with pytest.raises(InputInvalid, match="at most 62 days"):
            compare_spans(
                BLOCK_ID,
                [(date(2026, 7, 1), last_day)],
                on=TODAY,
                unit_of_work=service.unit_of_work,
                clock=service.clock,
                source_order=service.source_order,
            )
