"""A run's weather with a faulty source beside a healthy one: what is used, marked and explained."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import orjson

from service.agronomy.records import Floats
from service.agronomy.weather_flags import FieldFlag
from service.bootstrap import Service
from service.operations.evening.gather_weather import (
    GatheredWeather,
    gather_weather,
    weather_documents,
)
from service.operations.weather.import_weather import import_weather
from service.records.weather_basis import read_weather_basis
from tests.api.invented_farm import RUN_AT, TODAY, FixedClock, load
from tests.gap_farm import SITE_ID, bring_gappy_weather, gap_farm

ORDER = {"import": 1, "second": 2, "trusted": 3}
FIRST_DAY = TODAY - timedelta(days=3)
TOMORROW = TODAY + timedelta(days=1)
DAYS = np.arange(np.datetime64(TODAY) - 20, np.datetime64(TODAY) + 8)


def say(service: Service, source: str, fields: dict[str, Floats]) -> None:
    """A source's forecast of days around today, at ``home``."""
    import_weather(
        "home",
        DAYS,
        fields,
        source=source,
        forecast_from=DAYS[0].item(),
        unit_of_work=service.unit_of_work,
        clock=FixedClock(RUN_AT),
    )


def usual(service: Service) -> dict[str, Floats]:
    """What the farm's own import says of these days."""
    found = gather(service, first_day=DAYS[0].item())
    raw = found.chosen.raw
    names = ("tmax_c", "tmin_c", "rs_mj_m2", "rain_mm")
    return {name: getattr(raw, name)[: DAYS.size, column(found)].copy() for name in names}


def gather(
    service: Service, *, first_day: date = FIRST_DAY, alone: bool = False
) -> GatheredWeather:
    with service.unit_of_work(write=False) as unit:
        keys = np.array([unit.blocks.get_site_key("home")]) if alone else None
        return gather_weather(
            unit,
            unit.blocks.read_site_table(keys),
            on=TODAY,
            now=RUN_AT,
            first_day=first_day,
            last_day=TODAY + timedelta(days=7),
            source_order=ORDER,
        )


def column(found: GatheredWeather, site_id: str = "home") -> int:
    return [site.site_id for site in found.sites.definitions].index(site_id)


def row(found: GatheredWeather, day: date = TOMORROW) -> int:
    return int((np.datetime64(day) - found.days[0]).astype(int))


def test_a_storm_that_only_the_trusted_source_forecasts_is_not_used(own_service: Service) -> None:
    fields = usual(own_service)
    is_tomorrow = np.datetime64(TOMORROW) == DAYS
    say(own_service, "trusted", {**fields, "rain_mm": np.where(is_tomorrow, 480.0, 0.0)})
    found = gather(own_service)
    place, at = column(found), row(found)
    assert found.chosen.raw.rain_mm[at, place] == fields["rain_mm"][is_tomorrow][0]
    assert found.weather.checked.flags["rain_mm"][at, place] & FieldFlag.SOURCE_SET_ASIDE
    assert found.chosen.raw.tmax_c[at, place] == fields["tmax_c"][is_tomorrow][0]
    (entry,) = found.set_aside[place]
    assert entry == {
        "day": TOMORROW.isoformat(),
        "name": "rain_mm",
        "value": 480.0,
        "source": "trusted",
        "kind": "forecast",
        "reason": "cloudburst",
    }
    assert found.is_doubted(at)[place] and not found.is_doubted(at)[1 - place]


def test_a_warm_source_is_set_aside_where_two_others_contradict_it(own_service: Service) -> None:
    fields = usual(own_service)
    say(own_service, "second", {**fields, "tmax_c": fields["tmax_c"] + 0.7})
    say(own_service, "trusted", {**fields, "tmax_c": fields["tmax_c"] + 8.0})
    found = gather(own_service)
    ahead = slice(row(found), None)
    assert np.allclose(found.chosen.raw.tmax_c[ahead, column(found)], fields["tmax_c"][-7:] + 0.7)
    reasons = {entry["reason"] for entry in found.set_aside[column(found)]}
    assert reasons == {"others_all_days"}
    assert {entry["source"] for entry in found.set_aside[column(found)]} == {"trusted"}


def test_a_source_that_would_not_be_used_anyway_raises_no_flag(own_service: Service) -> None:
    fields = usual(own_service)
    say(own_service, "second", fields)
    say(own_service, "unranked", {**fields, "tmax_c": fields["tmax_c"] + 9.0})
    found = gather(own_service)
    assert column(found) not in found.set_aside
    assert not found.is_doubted(row(found))[column(found)]


def test_agreeing_sources_leave_no_trace_in_the_reasoning(own_service: Service) -> None:
    before = weather_documents(gather(own_service), first_day=TODAY)
    place = column(gather(own_service))
    assert "set_aside" not in orjson.loads(before.documents[place])
    say(own_service, "unranked", usual(own_service))
    after = weather_documents(gather(own_service), first_day=TODAY)
    assert after.digests == before.digests


def test_the_reasoning_keeps_what_was_set_aside_and_what_was_used(own_service: Service) -> None:
    fields = usual(own_service)
    is_tomorrow = np.datetime64(TOMORROW) == DAYS
    say(own_service, "trusted", {**fields, "rain_mm": np.where(is_tomorrow, 480.0, 0.0)})
    found = gather(own_service)
    documents = weather_documents(found, first_day=TODAY - timedelta(days=1))
    (entry,) = read_weather_basis(documents.documents[column(found)]).set_aside
    assert (entry.day, entry.source, entry.value) == (TOMORROW, "trusted", 480.0)
    assert entry.used == fields["rain_mm"][is_tomorrow][0]


def test_one_farm_alone_is_judged_as_all_together(own_service: Service) -> None:
    load(own_service, gap_farm())
    bring_gappy_weather(own_service, is_whole=True)
    fields = usual(own_service)
    say(own_service, "trusted", {**fields, "tmin_c": fields["tmin_c"] - 9.0})
    together, alone = gather(own_service), gather(own_service, alone=True)
    assert together.set_aside[column(together)] == alone.set_aside[column(alone)]
    assert together.set_aside[column(together)]
    assert column(together, SITE_ID) not in together.set_aside
