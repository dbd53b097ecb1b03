"""The best report of each value, with the row that it came from."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.records import Floats
from service.agronomy.weather_choice import NO_ROW, ChosenWeather, choose_weather
from service.records.weather import WEATHER_FIELDS
from tests.factories import make_days

DAYS = make_days(date(2023, 7, 1), 3)
NAN = float("nan")


def choose(
    rows: list[tuple[int, int, int]], *, height_m: list[float] | None = None, **fields: Any
) -> ChosenWeather:
    """Rows as (day, site, rank); fields not given are unknown."""
    known: dict[str, Floats] = {
        name: np.asarray(fields.get(name, [NAN] * len(rows)), dtype=np.float64)
        for name in WEATHER_FIELDS
    }
    columns = np.array(rows, dtype=np.int64).reshape(-1, 3)
    return choose_weather(
        known,
        days=DAYS,
        site_count=2,
        day_index=columns[:, 0],
        site_index=columns[:, 1],
        rank=columns[:, 2],
        wind_height_m=np.array(height_m or [10.0] * len(rows)),
    )


def test_the_higher_rank_counts_whatever_the_order() -> None:
    for rows, values in (
        ([(0, 0, 1), (0, 0, 2)], [20.0, 30.0]),
        ([(0, 0, 2), (0, 0, 1)], [30.0, 20.0]),
    ):
        assert choose(rows, tmax_c=values).raw.tmax_c[0, 0] == 30.0


def test_of_equal_ranks_the_later_row_counts() -> None:
    chosen = choose([(1, 1, 5), (1, 1, 5)], tmax_c=[20.0, 21.0])
    assert chosen.raw.tmax_c[1, 1] == 21.0
    assert chosen.row_of["tmax_c"][1, 1] == 1


def test_each_field_is_chosen_for_itself() -> None:
    # The better report has no rain: that comes from the lesser one.
    chosen = choose([(0, 0, 9), (0, 0, 1)], tmax_c=[30.0, 25.0], rain_mm=[NAN, 4.0])
    assert chosen.raw.tmax_c[0, 0] == 30.0
    assert chosen.raw.rain_mm[0, 0] == 4.0
    assert chosen.row_of["tmax_c"][0, 0] == 0
    assert chosen.row_of["rain_mm"][0, 0] == 1


def test_what_nobody_reports_is_unknown() -> None:
    chosen = choose([(0, 0, 1)], tmax_c=[30.0])
    assert np.isnan(chosen.raw.tmax_c).sum() == 5
    assert chosen.row_of["tmax_c"][2, 1] == NO_ROW
    assert np.isnan(chosen.raw.rain_mm).all()


def test_no_rows_at_all_give_a_table_of_unknowns() -> None:
    chosen = choose([])
    assert chosen.raw.tmax_c.shape == (3, 2)
    assert np.isnan(chosen.raw.wind_m_s).all()
    assert np.isfinite(chosen.raw.wind_height_m).all()


def test_the_height_is_that_of_the_wind_chosen() -> None:
    chosen = choose([(0, 0, 9), (0, 0, 1)], wind_m_s=[NAN, 3.0], height_m=[10.0, 2.0])
    assert chosen.raw.wind_m_s[0, 0] == 3.0
    assert chosen.raw.wind_height_m[0, 0] == 2.0


@given(
    st.lists(
        st.tuples(
            st.integers(0, 2),
            st.integers(0, 1),
            st.integers(0, 3),
            st.one_of(st.just(NAN), st.floats(-10.0, 40.0)),
        ),
        max_size=20,
    )
)
def test_choice_is_that_of_a_plain_search(rows: list[tuple[int, int, int, float]]) -> None:
    chosen = choose([row[:3] for row in rows], tmax_c=[row[3] for row in rows])
    for day in range(3):
        for site in range(2):
            known = [
                (rank, number)
                for number, (d, s, rank, value) in enumerate(rows)
                if (d, s) == (day, site) and not np.isnan(value)
            ]
            if known:
                best = max(known)[1]
                assert chosen.row_of["tmax_c"][day, site] == best
                assert chosen.raw.tmax_c[day, site] == rows[best][3]
            else:
                assert np.isnan(chosen.raw.tmax_c[day, site])
