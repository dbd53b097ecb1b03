"""Civil days out of intervals; the numbers are invented."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.atmosphere import saturation_vapour_pressure_kpa
from service.agronomy.records import Floats, Ints
from service.agronomy.station_day import StationDays, station_days

ZONE = "America/Chicago"
HOURS = np.arange(24)
PARABOLA = np.maximum(0.0, 36.0 - (HOURS - 12.0) ** 2) / 10.0


def midnight_s(text: str, zone: str = ZONE) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).timestamp())


def spans(count: int, *, first_s: int, step_s: int = 3600) -> tuple[Ints, Ints]:
    starts = first_s + step_s * np.arange(count)
    return starts, starts + step_s


def cut(
    starts: Ints, ends: Ints, *, zone: str = ZONE, missing: tuple[int, ...] = (), **fields: Floats
) -> StationDays:
    """Days of these intervals without some of them."""
    kept = np.setdiff1d(np.arange(starts.size), missing)
    return station_days(
        starts[kept], ends[kept], {name: column[kept] for name, column in fields.items()}, zone=zone
    )


def one_day(*, missing: tuple[int, ...] = (), **fields: Floats) -> StationDays:
    starts, ends = spans(24, first_s=midnight_s("2026-07-06"))
    return cut(starts, ends, zone=ZONE, missing=missing, **fields)


def test_a_whole_day_has_its_extremes_means_and_totals() -> None:
    found = one_day(
        temperature_c=20.0 + PARABOLA,
        rhmean_pct=90.0 - 10.0 * PARABOLA,
        wind_m_s=HOURS / 10.0,
        rs_mj_m2=PARABOLA,
        rain_mm=np.full(24, 0.25),
    )
    assert [str(day) for day in found.days] == ["2026-07-06"]
    values = {name: column[0] for name, column in found.fields.items()}
    assert values["tmax_c"] == pytest.approx(23.6)
    assert values["tmin_c"] == 20.0
    assert (values["rhmax_pct"], values["rhmin_pct"]) == pytest.approx((90.0, 54.0))
    assert values["wind_m_s"] == pytest.approx(1.15)
    assert values["rs_mj_m2"] == pytest.approx(PARABOLA.sum())
    assert values["rain_mm"] == pytest.approx(6.0)
    assert found.notes["tmax_c"][0] == {"hours_present": 24}


def test_vapour_pressure_is_that_of_each_hour() -> None:
    temperature_c, rhmean_pct = 20.0 + PARABOLA, 90.0 - 10.0 * PARABOLA
    found = one_day(temperature_c=temperature_c, rhmean_pct=rhmean_pct)
    # FAO-56 Eq. 10 solved for ea, with Eq. 11, hour by hour.
    expected = (saturation_vapour_pressure_kpa(temperature_c) * rhmean_pct / 100.0).mean()
    assert found.fields["ea_kpa"][0] == pytest.approx(expected)
    assert "temperature and humidity" in str(found.notes["ea_kpa"][0]["estimated_from"])
    # FAO-56 Eq. 14: dewpoints go before humidity.
    found = one_day(temperature_c=temperature_c, rhmean_pct=rhmean_pct, tdew_c=np.full(24, 15.0))
    assert found.fields["ea_kpa"][0] == pytest.approx(float(saturation_vapour_pressure_kpa(15.0)))


@pytest.mark.parametrize(("missing", "is_known"), [((3, 4), True), ((3, 4, 5), False)])
def test_a_day_needs_22_hours(missing: tuple[int, ...], is_known: bool) -> None:
    found = one_day(missing=missing, temperature_c=20.0 + PARABOLA, wind_m_s=np.ones(24))
    for name in ("tmax_c", "tmin_c", "wind_m_s"):
        assert np.isfinite(found.fields[name][0]) == is_known
        assert found.notes[name][0]["hours_present"] == 24 - len(missing)


def test_rain_that_lacks_an_hour_is_marked_partial() -> None:
    found = one_day(missing=(3,), rain_mm=np.full(24, 0.5))
    assert found.fields["rain_mm"][0] == pytest.approx(11.5)
    assert found.notes["rain_mm"][0] == {"hours_present": 23, "partial": True, "partial_mm": 11.5}


def test_rain_of_a_few_hours_is_told_but_is_not_the_rain_of_the_day() -> None:
    found = one_day(missing=tuple(range(10)), rain_mm=np.full(24, 0.5))
    assert np.isnan(found.fields["rain_mm"][0])
    assert found.notes["rain_mm"][0]["partial_mm"] == 7.0


def test_radiation_bridges_an_hour_between_its_neighbours() -> None:
    found = one_day(missing=(12,), rs_mj_m2=PARABOLA)
    # Noon is 3.6, its neighbours 3.5: the bridge is 0.1 short.
    assert found.fields["rs_mj_m2"][0] == pytest.approx(PARABOLA.sum() - 0.1)
    assert found.notes["rs_mj_m2"][0] == {"hours_present": 23, "bridged_h": 1}


def test_radiation_does_not_skip_what_it_cannot_bridge() -> None:
    assert np.isnan(one_day(missing=(0,), rs_mj_m2=PARABOLA).fields["rs_mj_m2"][0])


def test_a_logger_on_standard_time_is_cut_at_the_midnights_of_summer_time() -> None:
    # Two days that begin at 00:00 six hours behind UTC, which is 01:00 of Chicago's summer time.
    first_s = round(datetime(2026, 7, 6, 6, tzinfo=UTC).timestamp())
    rain_mm = np.zeros(48)
    rain_mm[23] = 9.0  # 00:00 to 01:00 on the 7th by the clock on the wall
    found = cut(*spans(48, first_s=first_s), rain_mm=rain_mm)
    assert [str(day) for day in found.days] == ["2026-07-06", "2026-07-07", "2026-07-08"]
    assert found.fields["rain_mm"][:2].tolist() == [0.0, 9.0]


@pytest.mark.parametrize(("day", "hours"), [("2026-03-08", 23), ("2026-11-01", 25)])
def test_a_day_of_a_clock_change_has_its_own_length(day: str, hours: int) -> None:
    found = cut(*spans(hours, first_s=midnight_s(day)), rain_mm=np.ones(hours))
    assert found.days.size == 1
    assert found.fields["rain_mm"][0] == pytest.approx(hours)
    assert found.notes["rain_mm"][0] == {"hours_present": hours}


def test_an_hour_across_midnight_is_shared() -> None:
    # India is five and a half hours ahead: hours of UTC begin at half past.
    first_s = midnight_s("2026-07-06", "Asia/Kolkata") - 1800
    found = cut(*spans(49, first_s=first_s), zone="Asia/Kolkata", rain_mm=np.ones(49))
    assert found.fields["rain_mm"][1:3].tolist() == pytest.approx([24.0, 24.0])
    assert found.notes["rain_mm"][0] == {"hours_present": 0.5, "partial": True, "partial_mm": 0.5}


@given(step_min=st.sampled_from([10, 15, 30, 60]), seed=st.integers(0, 2**32 - 1))
def test_no_rain_is_lost_or_doubled(step_min: int, seed: int) -> None:
    count = 4 * 1440 // step_min
    rain_mm = np.random.default_rng(seed).exponential(0.1, count)
    starts, ends = spans(count, first_s=midnight_s("2026-07-06") + 900, step_s=60 * step_min)
    found = cut(starts, ends, rain_mm=rain_mm)
    # The first and the last day are not whole: their notes tell what fell in their hours.
    partial_mm = [
        float(str(note["partial_mm"])) for note in found.notes["rain_mm"] if "partial" in note
    ]
    whole = found.fields["rain_mm"][1:4].sum()
    kept_first = found.fields["rain_mm"][0]
    assert np.isfinite(kept_first)
    assert whole + sum(partial_mm) == pytest.approx(rain_mm.sum(), abs=0.011)


def test_a_day_belongs_to_the_civil_day_of_its_greater_part() -> None:
    starts = np.array([midnight_s("2026-07-06") + 3600])
    found = cut(starts, starts + 86_400, tmax_c=np.array([33.1]), rain_mm=np.array([3.2]))
    assert found.fields["tmax_c"].tolist()[:1] == [33.1]
    assert np.isnan(found.fields["tmax_c"][1:]).all()
    assert found.notes["tmax_c"][0] == {"hours_present": 23, "window_shift_h": 1}


def test_a_day_from_seven_to_seven_gives_its_rain_but_no_temperatures() -> None:
    starts = np.array([midnight_s("2026-07-06") + 7 * 3600])
    found = cut(starts, starts + 86_400, tmax_c=np.array([33.1]), rain_mm=np.array([3.2]))
    assert found.fields["rain_mm"][0] == 3.2
    assert np.isnan(found.fields["tmax_c"]).all()
    assert found.notes["rain_mm"][0] == {"hours_present": 17, "window_shift_h": 7}


def test_hours_go_before_the_day_where_there_are_enough_of_them() -> None:
    day_s = midnight_s("2026-07-06")
    hours = spans(24, first_s=day_s)
    for count, expected in ((24, 30.0), (10, 33.0)):
        found = station_days(
            np.concatenate(([day_s], hours[0][:count])),
            np.concatenate(([day_s + 86_400], hours[1][:count])),
            {
                "tmax_c": np.concatenate(([33.0], np.full(count, np.nan))),
                "temperature_c": np.concatenate(([np.nan], np.linspace(20.0, 30.0, count))),
            },
            zone=ZONE,
        )
        assert found.fields["tmax_c"][0] == pytest.approx(expected)


def test_a_sensor_that_stands_still_is_noted_on_its_day() -> None:
    wind_m_s = np.concatenate((np.full(12, 1.5), 2.0 + np.arange(12)))
    found = one_day(wind_m_s=wind_m_s, temperature_c=20.0 + HOURS / 10.0)
    assert found.notes["wind_m_s"][0] == {"hours_present": 24, "stuck": True}
    assert "stuck" not in found.notes["tmax_c"][0]


def test_intervals_in_a_run_end_at_a_gap() -> None:
    starts, ends = spans(30, first_s=midnight_s("2026-07-06"))
    found = cut(starts, ends, missing=(8, 9, 10), wind_m_s=np.full(30, 1.5))
    assert found.notes["wind_m_s"][0]["stuck"] is True
    # Eight hours before the gap and nine after it.
    found = cut(starts[:20], ends[:20], missing=(8, 9, 10), wind_m_s=np.full(20, 1.5))
    assert "stuck" not in found.notes["wind_m_s"][0]
