"""Sources against each other: faults that were seen in real services, put into invented weather.

Three weeks before today, today and eight days to come at one place; what each source says differs
from the invented truth by an error of its own. The fault is in all that the first source says.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest

from service.agronomy.records import Floats
from service.agronomy.weather_agreement import Judgement, Reason, judge_weather
from service.agronomy.weather_nearby import Nearby
from service.agronomy.weather_voices import QUANTITIES, RAIN, Voices

DAYS = np.arange("2026-06-01", "2026-07-24", dtype="M8[D]")
TODAY = 45
TRUTH_SEED, SOURCE_SEED = 5, 50
Said = dict[str, Floats]


def truth() -> Said:
    """Invented weather of a humid summer: a warm spell, a front on every sixth day."""
    random = np.random.default_rng(TRUTH_SEED)
    count = DAYS.size
    warmth = 3.0 * np.sin(np.arange(count) / 3.5) + random.normal(0.0, 1.5, count)
    rain_mm = np.where(np.arange(count) % 6 == 2, random.gamma(1.5, 8.0, count), 0.0)
    return {
        "tmax": 30.0 + warmth,
        "tmin": 18.0 + 0.7 * warmth,
        "dewpoint": 16.0 + 0.5 * warmth,
        "wind": np.log(2.0) + random.normal(0.0, 0.3, count),
        "radiation": np.where(rain_mm > 0.0, 0.45, 0.85) + random.normal(0.0, 0.06, count),
        RAIN: rain_mm,
    }


def source(seed: int) -> Said:
    """What a healthy source says of it."""
    random = np.random.default_rng(SOURCE_SEED + seed)
    spread = {"tmax": 1.0, "tmin": 1.0, "dewpoint": 1.2, "wind": 0.2, "radiation": 0.08}
    said = {
        name: values + random.normal(0.0, spread[name], values.size)
        for name, values in truth().items()
        if name != RAIN
    }
    return {**said, RAIN: truth()[RAIN] * random.uniform(0.7, 1.4, DAYS.size)}


def scaled(name: str, change: Callable[[Floats], Floats]) -> Callable[[Said], Said]:
    return lambda said: {**said, name: change(said[name])}


def on_day(name: str, day: int, value: float) -> Callable[[Said], Said]:
    return lambda said: {**said, name: np.where(np.arange(DAYS.size) == day, value, said[name])}


def late_by_a_day(said: Said) -> Said:
    return {name: np.concatenate([values[:1], values[:-1]]) for name, values in said.items()}


def turned_round(said: Said) -> Said:
    """An answer of two weeks before today and the forecast, its rows in reverse."""
    begin = TODAY - 14
    return {
        name: np.concatenate([values[:begin], values[begin:][::-1]])
        for name, values in said.items()
    }


def warmer(said: Said) -> Said:
    return {**said, "tmax": said["tmax"] + 8.0, "tmin": said["tmin"] + 8.0}


FAULTS: Mapping[str, tuple[Callable[[Said], Said], tuple[str, ...], slice]] = {
    "rain times ten": (scaled(RAIN, lambda mm: 10.0 * mm), (RAIN,), slice(TODAY - 5, None)),
    "rain of 480 mm on all days to come": (
        scaled(RAIN, lambda mm: np.where(np.arange(mm.size) > TODAY, 480.0, mm)),
        (RAIN,),
        slice(TODAY + 1, None),
    ),
    "rain of 480 mm on one day": (
        on_day(RAIN, TODAY + 3, 480.0),
        (RAIN,),
        slice(TODAY + 3, TODAY + 4),
    ),
    "a tenth of the radiation": (
        scaled("radiation", lambda share: 0.1 * share),
        ("radiation",),
        slice(TODAY - 5, None),
    ),
    "wind in km/h taken as m/s": (
        scaled("wind", lambda logarithm: logarithm + np.log(3.6)),
        ("wind",),
        slice(TODAY - 5, None),
    ),
    "temperatures eight degrees too high": (warmer, ("tmax", "tmin"), slice(TODAY - 5, None)),
    "rows turned round": (turned_round, QUANTITIES, slice(TODAY - 5, None)),
    "days late by 24 hours": (late_by_a_day, QUANTITIES, slice(TODAY - 5, None)),
    "heat of one source on one day": (
        on_day("tmax", TODAY + 2, 46.0),
        ("tmax",),
        slice(TODAY + 2, TODAY + 3),
    ),
}


def voices_of(*sources: Said, late_h: float = np.nan) -> Voices:
    said = {
        name: np.stack([each[name] for each in sources])[:, :, np.newaxis] for name in QUANTITIES
    }
    shape = next(iter(said.values())).shape
    offsets = np.full(shape, np.nan)
    offsets[0] = late_h
    return Voices(DAYS, said, np.zeros(shape, dtype=np.bool_), offsets)


def past() -> dict[str, Floats]:
    """What the place had a year before."""
    return {name: values[:, np.newaxis] for name, values in source(99).items()}


def judged(*sources: Said, nearby: Nearby | None = None, late_h: float = np.nan) -> Judgement:
    return judge_weather(
        voices_of(*sources, late_h=late_h), today_row=TODAY, nearby=nearby, past=past()
    )


@pytest.mark.parametrize("fault", FAULTS)
def test_a_faulty_source_is_set_aside_beside_two_healthy_ones(fault: str) -> None:
    spoil, names, days = FAULTS[fault]
    found = judged(spoil(source(1)), source(2), source(3))
    for name in names:
        codes = found.reason[name][:, days, 0]
        wrong = np.abs(spoil(source(1))[name][days] - truth()[name][days]) > 0.0
        if name == RAIN:  # a dry day times ten is a dry day
            wrong &= spoil(source(1))[name][days] > 0.0
        assert (codes[0][wrong] != Reason.NONE).all(), name
        assert (codes[1:] == Reason.NONE).all(), name


@pytest.mark.parametrize("fault", FAULTS)
def test_of_two_sources_the_one_nearer_the_past_is_used_and_the_day_marked(fault: str) -> None:
    spoil, names, days = FAULTS[fault]
    found = judged(spoil(source(1)), source(2))
    is_order = fault in {"rows turned round", "days late by 24 hours"}
    for name in names:
        is_physics = (found.reason[name][0, days, 0] == Reason.PHYSICS).all()
        assert found.is_doubtful[name][days, 0].any() or is_physics, name
        assert (found.reason[name][1, days] == Reason.NONE).all() or is_order, name
        assert (found.reason[name][0, days] != Reason.NONE).any() or is_order, name


def test_healthy_sources_are_left_alone() -> None:
    for others in ((), (source(2),), (source(2), source(3)), (source(2), source(3), source(4))):
        found = judged(source(1), *others)
        assert not found.needs_a_look().any()


def test_a_cloudburst_of_one_model_needs_a_second_voice_and_one_of_a_gauge_does_not() -> None:
    storm = on_day(RAIN, TODAY - 1, 160.0)
    alone = judged(storm(source(1)), source(2))
    assert Reason(int(alone.reason[RAIN][0, TODAY - 1, 0])) != Reason.NONE
    seen_twice = judged(storm(source(1)), on_day(RAIN, TODAY - 1, 90.0)(source(2)), source(3))
    assert (seen_twice.reason[RAIN][:2, TODAY - 1] == Reason.NONE).all()
    gauge = {name: np.full(DAYS.size, np.nan) for name in QUANTITIES}
    gauge[RAIN] = np.where(np.arange(DAYS.size) < TODAY, truth()[RAIN], np.nan)
    said = voices_of(source(1), source(2), storm(gauge))
    said.is_measured[2] = True
    found = judge_weather(said, today_row=TODAY, past=past())
    assert (found.reason[RAIN][2] == Reason.NONE).all()


def test_hours_that_do_not_follow_the_sun_are_set_aside_where_another_source_speaks() -> None:
    found = judged(source(1), source(2), late_h=6.0)
    for name in QUANTITIES:
        assert (found.reason[name][0, TODAY:] == Reason.SUN_HOURS).all()
        assert (found.reason[name][1] == Reason.NONE).all()
    alone = judged(source(1), late_h=6.0)
    assert (alone.reason["tmax"] == Reason.NONE).all()
    assert alone.is_doubtful["tmax"][TODAY:].all()


def test_the_only_source_is_set_aside_where_several_places_nearby_contradict_it() -> None:
    near = {name: values[:, np.newaxis] for name, values in source(7).items()}
    for count, expected in ((2, Reason.OTHERS_ALL_DAYS), (1, Reason.NONE)):
        places = {name: np.full((DAYS.size, 1), count) for name in QUANTITIES}
        is_late = np.arange(DAYS.size) >= TODAY - 8
        said = {**source(1), "tmax": source(1)["tmax"] + 8.0 * is_late}
        found = judged(said, nearby=Nearby(near, places))
        recent = found.reason["tmax"][0, TODAY - 5 : TODAY + 1, 0]
        assert (recent == expected).all()
        assert found.is_doubtful["tmax"][TODAY - 5 :].any() == (count == 1)


def test_what_no_day_has_is_set_aside_without_any_other_source() -> None:
    found = judged(scaled("radiation", lambda share: 0.1 * share)(source(1)))
    assert (found.reason["radiation"][0, TODAY - 5 :] == Reason.PHYSICS).all()
    storm = judged(on_day("wind", TODAY + 1, float(np.log(16.0)))(source(1)))
    assert storm.reason["wind"][0, TODAY + 1, 0] == Reason.PHYSICS


def test_a_lone_strange_temperature_is_used_and_marked() -> None:
    found = judged(on_day("tmax", TODAY + 1, 47.0)(source(1)))
    assert found.reason["tmax"][0, TODAY + 1, 0] == Reason.NONE
    assert np.flatnonzero(found.is_doubtful["tmax"][:, 0]).tolist() == [TODAY + 1]


def test_days_long_past_are_never_set_aside() -> None:
    found = judged(warmer(source(1)), source(2), source(3))
    assert (found.reason["tmax"][:, : TODAY - 14] == Reason.NONE).all()
    assert (found.reason["tmax"][0, TODAY - 14 :] != Reason.NONE).all()
