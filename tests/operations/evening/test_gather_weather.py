"""Weather of a span as known on an evening: the most trusted value of each day, with its origin."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import numpy as np
import orjson

from service.bootstrap import Service
from service.operations.evening.gather_weather import (
    GatheredWeather,
    gather_weather,
    sources_on,
    weather_documents,
)
from service.operations.weather.import_weather import import_weather
from tests.api.invented_farm import RUN_AT, TODAY, FixedClock

ORDER = {"import": 1, "station": 2}
TOMORROW = TODAY + timedelta(days=1)
FIRST_DAY = TODAY - timedelta(days=9)


def gather(service: Service, *, now: datetime = RUN_AT, on: date = TODAY) -> GatheredWeather:
    """Ten days back and a week ahead, at ``hill`` and ``home``."""
    with service.unit_of_work(write=False) as unit:
        return gather_weather(
            unit,
            unit.blocks.read_site_table(),
            on=on,
            now=now,
            first_day=FIRST_DAY,
            last_day=TODAY + timedelta(days=7),
            source_order=ORDER,
        )


def column_of(found: GatheredWeather, site_id: str = "home") -> int:
    return [site.site_id for site in found.sites.definitions].index(site_id)


def row_of(day: date) -> int:
    return (day - FIRST_DAY).days


def bring(service: Service, day: date, tmax_c: float, *, source: str, is_forecast: bool) -> None:
    import_weather(
        "home",
        np.array([day], dtype="datetime64[D]"),
        {"tmax_c": np.array([tmax_c]), "tmin_c": np.array([19.0])},
        source=source,
        forecast_from=day if is_forecast else None,
        unit_of_work=service.unit_of_work,
        clock=FixedClock(RUN_AT),
    )


def test_days_up_to_today_are_observed_and_the_others_forecast(own_service: Service) -> None:
    found = gather(own_service)
    known = found.is_observed[:, column_of(found)]
    assert known.tolist() == [True] * 10 + [False] * 7
    assert found.has_temperatures[:, column_of(found)].all()
    assert not found.has_temperatures[:, column_of(found, "hill")].any()


def test_the_more_trusted_source_is_taken_and_named(own_service: Service) -> None:
    bring(own_service, TODAY, 35.5, source="station", is_forecast=False)
    found = gather(own_service)
    column = column_of(found)
    assert found.chosen.raw.tmax_c[row_of(TODAY), column] == 35.5
    station, others = sources_on(found, column, TODAY).items()
    assert {station[0].split()[0], others[0].split()[0]} == {"station", "import"}
    of_station = dict([station, others])["station observed of 2026-07-14 23:00 UTC"]
    assert sorted(of_station) == ["tmax_c", "tmin_c"]


def test_an_observation_outranks_a_forecast_of_a_better_source(own_service: Service) -> None:
    bring(own_service, TODAY, 35.5, source="station", is_forecast=True)
    found = gather(own_service)
    assert found.chosen.raw.tmax_c[row_of(TODAY), column_of(found)] != 35.5


def test_a_forecast_is_old_after_a_day_and_not_used_after_two(own_service: Service) -> None:
    tomorrow = row_of(TODAY + timedelta(days=3))
    for hours, is_old, is_known in ((0, False, True), (36, True, True), (49, False, False)):
        later = RUN_AT + timedelta(hours=hours)
        found = gather(own_service, now=later, on=later.date())
        column = column_of(found)
        assert bool(found.is_old_forecast[tomorrow, column]) == is_old
        assert bool(found.has_temperatures[tomorrow, column]) == is_known


def test_the_same_weather_issued_again_has_the_same_digest(own_service: Service) -> None:
    first = weather_documents(gather(own_service), first_day=TODAY)
    again = weather_documents(gather(own_service, now=RUN_AT + timedelta(hours=1)), first_day=TODAY)
    assert first.digests == again.digests
    bring(own_service, TOMORROW, 36.0, source="station", is_forecast=True)
    changed = weather_documents(gather(own_service), first_day=TODAY)
    column = column_of(gather(own_service))
    assert [one == two for one, two in zip(first.digests, changed.digests, strict=True)] == [
        place != column for place in range(2)
    ]
    document = orjson.loads(changed.documents[column])
    assert document["days"][0] == str(TODAY)
    assert document["fields"]["tmax_c"][1] == 36.0


def test_the_year_before_teaches_a_site_whose_humidity_is_missing(own_service: Service) -> None:
    # Two dry weeks a year ago, 19 degC at night and a dewpoint of 11; then a station without
    # humidity. The invented farm's other site has no weather at all.
    year_ago = np.arange(np.datetime64(FIRST_DAY) - 350, np.datetime64(FIRST_DAY) - 336)
    now = np.arange(np.datetime64(FIRST_DAY), np.datetime64(TODAY) + 1)
    for days, humidity in ((year_ago, {"tdew_c": np.full(14, 11.0)}), (now, {})):
        import_weather(
            "hill",
            days,
            {"tmax_c": np.full(days.size, 35.0), "tmin_c": np.full(days.size, 19.0), **humidity},
            source="station",
            forecast_from=None,
            unit_of_work=own_service.unit_of_work,
            clock=FixedClock(RUN_AT),
        )
    found = gather(own_service)
    column = column_of(found, "hill")
    np.testing.assert_allclose(found.weather.tdew_offset_c[:10, column], 8.0, atol=1e-6)
    assert np.all(found.weather.tdew_offset_days_count[:10, column] >= 10)
