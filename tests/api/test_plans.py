"""The plan and its reasons over HTTP: times, words, numbers, and what need not be sent twice."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import orjson
import pytest

from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.reasoning import PlanFlag
from service.agronomy.weather_flags import FieldFlag
from service.api.app import create_app
from service.api.schemas.plans import PlanOut
from service.bootstrap import Service
from service.operations.evening import plan_texts
from service.operations.evening.plan_texts import plan_text, site_text
from service.operations.reading.read_plans import PlanView, get_plan
from service.pulses import Pulse
from service.records.farms import BlockLabel
from service.records.plan_reasoning import read_reasoning
from tests.api.conftest import Client
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    FixedClock,
    bring_weather,
    plan_evening,
)

PLAN = f"/v1/blocks/{BLOCK_ID}/plan"
WHY = f"/v1/blocks/{BLOCK_ID}/why"


@pytest.fixture
def view(service: Service) -> PlanView:
    return get_plan(BLOCK_ID, day=None, unit_of_work=service.unit_of_work)


def as_read(view: PlanView) -> PlanOut:
    """A plan as it is read, which says all that the schema has and nothing more."""
    plan = view.plan
    label = BlockLabel(plan.block_id, view.block.name, view.block.farm_id)
    text = plan_text(plan, label, site_text(plan.weather, plan.day))
    read = PlanOut.model_validate_json(text)
    assert json.loads(read.model_dump_json()) == json.loads(text)
    return read


@pytest.mark.parametrize("block_id", [BLOCK_ID, BARE_BLOCK_ID])
def test_a_plan_is_written_out_when_it_is_published(
    own_service: Service, monkeypatch: pytest.MonkeyPatch, block_id: str
) -> None:
    view = get_plan(block_id, day=None, unit_of_work=own_service.unit_of_work)

    def fail(*_: object, **__: object) -> None:
        raise AssertionError("the plan was put together again")

    monkeypatch.setattr(plan_texts, "get_plan", fail)
    client = Client(create_app(own_service))
    for query in ({}, {"date": PLAN_DAY.isoformat()}):
        answer = client.get(f"/v1/blocks/{block_id}/plan", params=query)
        assert PlanOut.model_validate_json(answer.content) == as_read(view)
        assert answer.text == as_read(view).model_dump_json()


def test_a_plan_whose_text_is_gone_is_rendered_again(own_service: Service) -> None:
    before = Client(create_app(own_service)).get(PLAN)
    with own_service.unit_of_work(write=True) as unit:
        unit.texts.forget(FARM_ID)
    after = Client(create_app(own_service)).get(PLAN)
    assert (after.content, after.headers["ETag"]) == (before.content, before.headers["ETag"])


def test_texts_of_days_long_past_are_dropped(own_service: Service) -> None:
    def stored(day: date) -> bool:
        with own_service.unit_of_work(write=False) as unit:
            return unit.texts.find(BLOCK_ID, day=day) is not None

    with own_service.unit_of_work(write=True) as unit:
        keys = np.array([*unit.blocks.farm_keys([FARM_ID]).values()], dtype=np.int64)
        table = unit.blocks.read_block_table(PLAN_DAY, farm_keys=keys)
        key = table.keys[table.block_ids.index(BLOCK_ID)]
        for age in (2, 3):
            day = PLAN_DAY - timedelta(days=age)
            unit.texts.save(np.array([key]), [b"{}"], day=day, drop_before=day)
    bring_weather(own_service, warmer_c=4.0)
    assert not plan_evening(own_service)
    assert [stored(PLAN_DAY - timedelta(days=age)) for age in (0, 2, 3)] == [True, True, False]


def test_without_a_date_the_latest_plan_is_given(client: Client) -> None:
    latest = client.json(PLAN)
    assert latest["day"] == PLAN_DAY.isoformat()
    assert client.json(PLAN, params={"date": latest["day"]}) == latest


def test_pulses_say_the_same_instant_in_local_time_and_in_seconds(client: Client) -> None:
    plan = client.json(PLAN)
    zone = ZoneInfo(plan["zone"])
    assert plan["pulses"]
    for pulse in plan["pulses"]:
        start, end = (datetime.fromisoformat(pulse[name]) for name in ("start_local", "end_local"))
        assert start.timestamp() == pulse["start_epoch_s"]
        assert end.timestamp() == pulse["end_epoch_s"]
        assert end - start == timedelta(minutes=pulse["duration_min"])
        assert start.utcoffset() == start.astimezone(zone).utcoffset() == timedelta(hours=-4)
        assert start.date() == PLAN_DAY


def test_on_the_day_of_a_clock_change_local_times_are_those_of_the_clock(view: PlanView) -> None:
    # New York goes back from 02:00 EDT to 01:00 EST on 2026-11-01 (IANA time zone database), so
    # 240 minutes after midnight the clock shows 03:00, and at 90 minutes 01:30 for the first time.
    day = date(2026, 11, 1)
    days = tuple(day + timedelta(days=offset) for offset in range(-2, 7))
    weather = replace(view.plan.weather, days=days)
    plan = replace(view.plan, day=day, pulses=(Pulse(90, 30), Pulse(240, 60)), weather=weather)
    shown = as_read(replace(view, plan=plan)).model_dump(mode="json")["pulses"]
    assert [(pulse["start_local"], pulse["end_local"]) for pulse in shown] == [
        ("2026-11-01T01:30:00-04:00", "2026-11-01T01:00:00-05:00"),
        ("2026-11-01T03:00:00-05:00", "2026-11-01T04:00:00-05:00"),
    ]


def test_totals_agree_with_the_pulses(client: Client) -> None:
    plan = client.json(PLAN)
    block = client.json(f"/v1/blocks/{BLOCK_ID}")
    assert plan["status"] == "water"
    assert plan["planned_min"] == sum(pulse["duration_min"] for pulse in plan["pulses"])
    assert plan["pulse_count"] == len(plan["pulses"])
    # 1 mm on 1 m² is 1 L.
    assert plan["volume_l"] == pytest.approx(plan["gross_mm"] * block["area_m2"], rel=1e-5)
    assert plan["need_mm"] == pytest.approx(plan["net_mm"] + plan["deferred_mm"], abs=1e-4)


def test_the_outlook_begins_on_the_day_of_the_plan(client: Client) -> None:
    plan = client.json(PLAN)
    days = [date.fromisoformat(each["day"]) for each in plan["outlook"]]
    assert days == [PLAN_DAY + timedelta(days=offset) for offset in range(7)]
    assert plan["outlook"][0]["expected_min"] == plan["planned_min"]
    assert all(each["et0_mm"] > 0.0 for each in plan["outlook"])


def test_the_weather_behind_the_plan_names_its_source_and_age(client: Client) -> None:
    plan = client.json(PLAN)
    (source,) = plan["weather_sources"]
    assert (source["source"], source["kind"], source["age_h"]) == ("import", "forecast", 0.0)
    assert "tmax_c" in source["quantities"] and "tdew_c" not in source["quantities"]
    assert plan["weather_age_h"] == 0.0
    assert plan["cautions"] == []


def test_flags_and_cause_come_with_words(view: PlanView) -> None:
    flags = PlanFlag.FORECAST_MISSING | PlanFlag.CANNOT_KEEP_UP
    reasoning = view.plan.reasoning._replace(flags=flags, cause=ShortfallCause.SUPPLY)
    shown = as_read(replace(view, plan=replace(view.plan, reasoning=reasoning)))
    assert [flag.name for flag in shown.flags] == ["forecast-missing", "cannot-keep-up"]
    assert all(len(flag.text) > 20 for flag in shown.flags)
    assert shown.cause is not None and shown.cause.name == "supply"
    assert "supply" in shown.cause.text


def test_a_plan_that_nothing_cut_has_no_cause(view: PlanView) -> None:
    reasoning = view.plan.reasoning._replace(cause=ShortfallCause.NONE)
    assert as_read(replace(view, plan=replace(view.plan, reasoning=reasoning))).cause is None


def test_doubtful_weather_behind_the_plan_is_cautioned_against(view: PlanView) -> None:
    weather = view.plan.weather
    days = len(weather.days)
    flags = dict.fromkeys(weather.flags, [0] * days)
    flags["u2_m_s"] = [int(FieldFlag.DEFAULT_WIND | FieldFlag.FORECAST)] * days
    plan = replace(
        view.plan,
        weather=replace(weather, flags=flags, unit_fault="tmax_c looks like degrees Fahrenheit"),
        issued_at=view.plan.issued_at + timedelta(hours=50),
    )
    cautions = as_read(replace(view, plan=plan)).cautions
    assert any("degrees Fahrenheit" in each for each in cautions)
    assert any("50 h old" in each for each in cautions)
    assert [each for each in cautions if each.startswith("u2_m_s: No wind was given")]
    assert len(cautions) == 3


def test_a_plan_without_weather_says_so_and_not_that_rest_is_due(view: PlanView) -> None:
    plan = replace(
        view.plan,
        status="no-weather",
        pulses=(),
        planned_min=0,
        gross_mm=0.0,
        net_mm=0.0,
        reasoning=read_reasoning(orjson.dumps({"flags": int(PlanFlag.WEATHER_UNKNOWN)})),
        weather=replace(view.plan.weather, origin_of={}),
    )
    shown = as_read(replace(view, plan=plan))
    assert shown.status == "no-weather"
    assert "gap" in shown.summary
    assert shown.volume_l is None and shown.outlook == [] and shown.weather_age_h is None
    assert any("No weather" in each for each in shown.cautions)


def test_the_reasoning_leads_from_weather_to_the_minutes_of_the_plan(client: Client) -> None:
    plan, why = client.json(PLAN), client.json(WHY)
    values = {step["name"]: step["value"] for step in why["steps"]}
    assert values["planned_min"] == plan["planned_min"]
    assert values["gross_mm"] == pytest.approx(plan["gross_mm"], abs=1e-6)
    assert values["crop_et_mm"] == pytest.approx(
        values["crop_coefficient"] * values["et0_mm"], abs=1e-3
    )
    assert why["version"] == plan["version"]
    for step in why["steps"]:
        assert step["label"] and step["worked"] and step["source"]
        assert "{" not in step["worked"] and "?" not in step["worked"]


def test_the_weather_table_distinguishes_observed_from_forecast(client: Client) -> None:
    table = client.json(WHY)["weather"]
    assert [day["day"] for day in table[:3]] == ["2026-07-13", "2026-07-14", "2026-07-15"]
    observed, forecast = table[0], table[2]
    assert {origin["kind"] for origin in observed["origins"]} == {"observed"}
    assert {origin["kind"] for origin in forecast["origins"]} == {"forecast"}
    tmax = next(value for value in forecast["values"] if value["name"] == "tmax_c")
    assert [flag["name"] for flag in tmax["flags"]] == ["forecast"]
    step = next(step for step in client.json(WHY)["steps"] if step["name"] == "tmax_c")
    assert step["value"] == tmax["value"]


@pytest.mark.parametrize("path", [PLAN, WHY])
def test_an_answer_that_the_caller_holds_is_not_sent_again(client: Client, path: str) -> None:
    first = client.get(path)
    tag = first.headers["ETag"]
    assert tag.startswith('"') and tag.endswith('"')
    assert first.headers["Cache-Control"] == "private, max-age=300"
    for held in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        again = client.get(path, headers={"If-None-Match": held})
        assert again.status_code == 304
        assert again.content == b""
        # RFC 9110, section 15.4.5: a 304 repeats these.
        assert again.headers["ETag"] == tag
        assert again.headers["Cache-Control"] == "private, max-age=300"
    for held in ('"other"', "", tag.strip('"')):
        assert client.get(path, headers={"If-None-Match": held}).status_code == 200


def test_the_tag_is_stable_over_time_and_changes_with_a_new_version(
    own_service: Service,
) -> None:
    client = Client(create_app(own_service))
    first = client.get(PLAN)
    clock = own_service.clock
    assert isinstance(clock, FixedClock)

    clock.instant = RUN_AT + timedelta(hours=3)
    assert not plan_evening(own_service)
    assert client.get(PLAN).headers["ETag"] == first.headers["ETag"]

    bring_weather(own_service, warmer_c=2.0)
    assert not plan_evening(own_service)
    client = Client(create_app(own_service))  # the other one looks for news within a second
    second = client.get(PLAN, headers={"If-None-Match": first.headers["ETag"]})
    assert second.status_code == 200
    assert second.json()["version"] == 2
    assert second.headers["ETag"] != first.headers["ETag"]


def test_the_day_of_the_run_has_no_plan_of_its_own(client: Client) -> None:
    assert client.get(PLAN, params={"date": TODAY.isoformat()}).status_code == 404
