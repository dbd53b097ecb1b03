"""What was set aside, as flags of values and as entries of the weather reasoning."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np

from service.agronomy.weather_agreement import Reason
from service.agronomy.weather_choice import ChosenWeather, choose_weather
from service.agronomy.weather_voices import FIELDS_OF, QUANTITIES
from service.operations.evening.cross_check import CrossCheck
from service.operations.evening.own_rain import WeatherColumns, place_columns
from service.operations.evening.set_aside import set_aside_since, values_set_aside
from service.records.farms import SiteTable
from service.records.weather import WEATHER_FIELDS, WeatherRows
from tests.factories import make_site

DAY = np.array(["2026-07-01"], "M8[D]")
RANKS = np.array([1, 2, 0])


def columns() -> WeatherColumns:
    """Three sources of one day; the second is trusted most."""
    said = {"wind_m_s": [2.0, 7.2, 9.0], "tmax_c": [30.0, 31.0, np.nan]}
    rows = WeatherRows(
        site_keys=np.zeros(3, dtype=np.int64),
        days=DAY.repeat(3),
        sources=("first", "trusted", "last"),
        kinds=("forecast",) * 3,
        issued_at=(datetime(2026, 7, 1, tzinfo=UTC),) * 3,
        wind_height_m=np.full(3, 2.0),
        fields={name: np.array(said.get(name, [np.nan] * 3)) for name in WEATHER_FIELDS},
    )
    return place_columns(SiteTable(np.array([0]), (make_site(),)), rows)


def checked() -> CrossCheck:
    """The winds of the trusted source and of the last one are set aside."""
    rows = columns().rows
    nothing = np.zeros(3, dtype=np.int8)
    return CrossCheck(
        reason_of=dict.fromkeys(QUANTITIES, nothing)
        | {"wind": np.array([0, Reason.OTHERS, Reason.PHYSICS], dtype=np.int8)},
        values={name: rows.fields[FIELDS_OF[name][0]] for name in QUANTITIES}
        | {"wind": np.log(rows.fields["wind_m_s"])},
        is_doubtful={name: np.zeros((1, 1), dtype=np.bool_) for name in QUANTITIES},
    )


def chosen() -> ChosenWeather:
    rows, check = columns().rows, checked()
    return choose_weather(
        {
            name: np.where(check.may_use(name, 3), rows.fields[name], np.nan)
            for name in WEATHER_FIELDS
        },
        days=DAY,
        site_count=1,
        day_index=np.zeros(3, dtype=np.int64),
        site_index=np.zeros(3, dtype=np.int64),
        rank=RANKS,
        wind_height_m=rows.wind_height_m,
    )


def test_only_a_value_that_would_have_been_used_is_told() -> None:
    assert chosen().raw.wind_m_s[0, 0] == 2.0
    assert chosen().raw.tmax_c[0, 0] == 31.0
    entries = values_set_aside(checked(), columns(), chosen(), rank=RANKS).by_column()
    assert entries == {
        0: [
            {
                "day": "2026-07-01",
                "name": "u2_m_s",
                "value": 7.2,
                "source": "trusted",
                "kind": "forecast",
                "reason": "others",
            }
        ]
    }


def test_the_reasoning_begins_with_its_first_day_and_is_silent_without_any() -> None:
    entries = [{"day": "2026-07-01"}, {"day": "2026-07-03"}]
    assert set_aside_since(date(2026, 7, 2), entries) == {"set_aside": entries[1:]}
    assert set_aside_since(date(2026, 7, 4), entries) == {}
