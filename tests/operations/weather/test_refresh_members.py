"""Ensembles over the wire into the evening: the whole service against the loopback fake."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
import stamina
from sqlalchemy.engine import URL

from service.agronomy.member_calibration import corrected_members
from service.agronomy.member_checks import MemberFlag
from service.agronomy.weather_members import MemberOrigin
from service.bootstrap import Service, open_service
from service.operations.evening.gather_members import GatheredMembers, gather_members
from service.operations.evening.gather_weather import gather_weather
from service.records.farms import FarmBundle
from service.records.forecast_members import ENSEMBLE_SOURCE, StoredMembers
from service.records.forecasts import TruthRows
from service.records.weather import SourceProblem
from service.settings import Settings
from service.weather_sources.http import ATTEMPT_LIMIT
from tests.factories import make_site
from tests.scheduled_farms import FixedClock
from tests.weather_sources.fake_ensemble import ENSEMBLE_PATH
from tests.weather_sources.fake_providers import FakeProviders, edited, invented_weather

EVENING = datetime(2026, 7, 7, 22, 30, tzinfo=UTC)
ON = date(2026, 7, 7)
TOMORROW = ON + timedelta(days=1)
NEW = MemberFlag.UNCALIBRATED
"""What is said of a place without an archive."""
SITES = tuple(
    make_site(name, zone="America/Chicago", longitude_deg=-90.2, latitude_deg=latitude)
    for name, latitude in (("brook", 33.0), ("far", 34.0))
)


@pytest.fixture(autouse=True)
def no_waits_between_attempts() -> Iterator[None]:
    stamina.set_testing(True, attempts=ATTEMPT_LIMIT, cap=True)
    yield
    stamina.set_testing(False)


@pytest.fixture(scope="module")
def running_providers() -> Iterator[FakeProviders]:
    with FakeProviders() as providers:
        yield providers


@pytest.fixture
def providers(running_providers: FakeProviders) -> FakeProviders:
    running_providers.clear()
    running_providers.now = EVENING
    running_providers.weather = invented_weather
    return running_providers


Open = Callable[..., Service]


@pytest.fixture
def open_with(database_url: URL, providers: FakeProviders) -> Iterator[Open]:
    opened: list[Service] = []

    def open_now(now: datetime = EVENING, **settings: Any) -> Service:
        service = open_service(
            Settings(
                database_url=database_url.render_as_string(hide_password=False),
                weather_services=("open-meteo", "open-meteo-ensemble"),
                weather_contact="operator@example.org",
                open_meteo_base_url=providers.base_url,
                open_meteo_ensemble_base_url=providers.base_url,
                open_meteo_weights_per_minute=1e9,
                **settings,
            ),
            clock=FixedClock(now),
        )
        providers.now = now
        opened.append(service)
        with service.unit_of_work(write=True) as unit:
            unit.blocks.save_bundle(
                FarmBundle(farm=None, sites=SITES), effective_day=ON, recorded_at=EVENING
            )
        return service

    yield open_now
    for service in opened:
        service.close()


def refresh(service: Service, name: str = ENSEMBLE_SOURCE) -> list[SourceProblem]:
    with service.unit_of_work(write=False) as unit:
        keys = unit.blocks.read_site_table().keys
    return list(service.refreshers[name](keys, now=service.clock.now()))


def stored(service: Service, first_day: date = TOMORROW) -> list[StoredMembers]:
    with service.unit_of_work(write=False) as unit:
        keys = unit.blocks.read_site_table().keys
        return unit.members.read(keys, first_day=first_day, last_day=first_day)


def gathered(service: Service, on: date = ON) -> GatheredMembers:
    now = service.clock.now()
    with service.unit_of_work(write=False) as unit:
        weather = gather_weather(
            unit,
            unit.blocks.read_site_table(),
            on=on,
            now=now,
            first_day=on - timedelta(days=5),
            last_day=on + timedelta(days=7),
            source_order=service.source_order,
        )
        return gather_members(unit, weather, now=now)


def test_members_arrive_and_are_there_for_the_evening(open_with: Open) -> None:
    service = open_with()
    refresh(service, "open-meteo")
    assert refresh(service) == []
    assert [(each.numbers.size, each.rain_mm.shape) for each in stored(service)] == [
        (31, (31, 7))
    ] * 2
    members = gathered(service)
    assert members.batch.origin.tolist() == [MemberOrigin.ENSEMBLE] * 2
    assert [MemberFlag(flag) for flag in members.flags.tolist()] == [NEW] * 2
    assert members.models == ("ncep_gefs_seamless",) * 2
    assert members.batch.days[0] == np.datetime64(TOMORROW)
    assert members.batch.weights.sum(axis=1) == pytest.approx(1.0)
    kept = stored(service)[0]
    assert np.array_equal(members.batch.rain_mm[0], kept.rain_mm)
    assert ((kept.et0_mm > 2.0) & (kept.et0_mm < 9.0)).all()


def test_asking_again_in_the_same_evening_changes_nothing_but_the_time(open_with: Open) -> None:
    service = open_with()
    refresh(service)
    before = stored(service)
    later = open_with(EVENING + timedelta(minutes=20))
    refresh(later)
    for one, two in zip(before, stored(later), strict=True):
        assert two.first_seen_at == one.first_seen_at
        assert two.fetched_at > one.fetched_at
        assert np.array_equal(one.rain_mm, two.rain_mm)
    with later.unit_of_work(write=False) as unit:
        spent = unit.members.spent_weight(ENSEMBLE_SOURCE, since=EVENING - timedelta(days=1))
    assert spent == pytest.approx(2 * 2 * 15.5)


def test_two_models_count_alike_whatever_their_members(open_with: Open) -> None:
    service = open_with(ensemble_models=("ncep_gefs_seamless", "cmc_gem_geps"))
    refresh(service, "open-meteo")
    refresh(service)
    batch = gathered(service).batch
    assert batch.count().tolist() == [52, 52]
    assert sorted(set(batch.weights[0].round(6).tolist())) == [
        round(0.5 / 31, 6),
        round(0.5 / 21, 6),
    ]


def test_a_member_with_a_hole_is_left_out_with_a_word(
    open_with: Open, providers: FakeProviders
) -> None:
    def hole(content: Any) -> None:
        content[0]["hourly"]["temperature_2m_member09"][60:70] = [None] * 10

    service = open_with()
    refresh(service, "open-meteo")
    providers.order(ENSEMBLE_PATH, edited(hole))
    assert refresh(service) == []
    first, second = stored(service)
    assert (first.given_count, first.hole_count, first.numbers.size) == (31, 1, 30)
    assert 9 not in first.numbers
    assert second.hole_count == 0
    assert [MemberFlag(flag) for flag in gathered(service).flags.tolist()] == [
        MemberFlag.HOLES | NEW,
        NEW,
    ]


def test_a_control_run_that_stands_still_is_left_out_with_a_word(
    open_with: Open, providers: FakeProviders
) -> None:
    """Seen at the service: the control run lagged two days behind the other members."""
    service = open_with()
    refresh(service)

    def warmer(content: Any) -> None:
        for entry in content:
            for name, column in entry["hourly"].items():
                if name.startswith("temperature_2m_member"):
                    entry["hourly"][name] = [value + 0.4 for value in column]

    providers.order(ENSEMBLE_PATH, edited(warmer))
    next_day = open_with(EVENING + timedelta(days=1))
    refresh(next_day, "open-meteo")
    refresh(next_day)
    issue = stored(next_day, TOMORROW + timedelta(days=1))[0]
    assert (issue.frozen_count, issue.numbers.tolist()) == (1, list(range(1, 31)))
    flags = gathered(next_day, ON + timedelta(days=1)).flags
    assert [MemberFlag(flag) for flag in flags.tolist()] == [MemberFlag.FROZEN | NEW] * 2


def test_a_model_that_stands_still_as_a_whole_is_as_old_as_it_is(open_with: Open) -> None:
    refresh(open_with())
    for days, is_used in ((1, True), (3, False)):
        later = open_with(EVENING + timedelta(days=days))
        refresh(later, "open-meteo")
        problems = refresh(later)
        assert {problem.reason for problem in problems} == {"stale"}
        assert not any(problem.gave_nothing for problem in problems)
        members = gathered(later, ON + timedelta(days=days))
        assert (members.batch.origin == MemberOrigin.ENSEMBLE).all() == is_used
        word = MemberFlag.OLD_RUN | NEW if is_used else MemberFlag.TOO_OLD
        assert MemberFlag(int(members.flags[0])) == word


def test_members_without_any_rain_against_a_sure_forecast_are_not_used(
    open_with: Open, providers: FakeProviders
) -> None:
    """Seen at the service: rain of 0 where a model has none to give."""

    def dry(content: Any) -> None:
        for entry in content:
            for name, column in entry["hourly"].items():
                if name.startswith("precipitation"):
                    entry["hourly"][name] = [0.0] * len(column)

    service = open_with()
    refresh(service, "open-meteo")
    providers.order(ENSEMBLE_PATH, edited(dry))
    refresh(service)
    members = gathered(service)
    assert members.batch.origin.tolist() == [MemberOrigin.PROBABILITY] * 2
    assert MemberFlag.DRY_AGAINST_FORECAST in MemberFlag(int(members.flags[0]))
    assert members.models == ("", "")


def test_sites_beyond_the_quota_wait_and_come_first_the_next_time(open_with: Open) -> None:
    many = {
        "ensemble_hourly_weight": 50.0,  # a site takes 41 with both models
        "ensemble_models": ("ecmwf_ifs025_ensemble", "ncep_gefs_seamless"),
    }
    service = open_with(**many)
    problems = refresh(service)
    (waiting,) = {problem.site_id for problem in problems}
    assert all(problem.gave_nothing and problem.reason == "quota" for problem in problems)
    assert problems[0].retry_at == datetime(2026, 7, 7, 23, tzinfo=UTC)
    later = open_with(datetime(2026, 7, 7, 23, 5, tzinfo=UTC), **many)
    assert {problem.site_id for problem in refresh(later)} == {"brook", "far"} - {waiting}


def test_an_evening_without_an_ensemble_has_members_of_the_forecast(open_with: Open) -> None:
    service = open_with()
    refresh(service, "open-meteo")
    members = gathered(service)
    assert members.batch.origin.tolist() == [MemberOrigin.PROBABILITY] * 2
    assert members.flags.tolist() == [0, 0]


def test_members_are_corrected_by_the_archive_of_their_place(open_with: Open) -> None:
    service = open_with()
    refresh(service, "open-meteo")
    refresh(service)
    with service.unit_of_work(write=True) as unit:
        raw = unit.members.read(
            unit.blocks.read_site_table().keys, first_day=TOMORROW, last_day=TOMORROW
        )[0]
        days = np.arange(np.datetime64(TOMORROW) - 40, np.datetime64(TOMORROW) - 1)
        unit.members.save(
            [replace(raw, first_day=day.item(), rain_mm=0.0 * raw.rain_mm + 6.0) for day in days]
        )
        unit.forecasts.save_truth(
            TruthRows(
                site_keys=np.full(days.size, raw.site_key),
                days=days,
                farm_keys=np.zeros(days.size, dtype=np.int64),
                rain_mm=np.full(days.size, 3.0),
                et0_mm=np.full(days.size, 5.0),
                tmax_c=np.full(days.size, 30.0),
                rain_origins=("observed gauge",) * days.size,
                et0_origins=("observed station",) * days.size,
            )
        )
    refresh(service)
    first, second = stored(service)
    assert first.correction is not None
    assert second.correction is None
    assert 0.5 < first.correction.rain_ratio[0] < 0.75  # half, held towards one
    members = gathered(service)
    expected, _ = corrected_members(first.rain_mm, first.et0_mm, first.correction)
    assert members.batch.rain_mm[0] == pytest.approx(expected)
    assert [MemberFlag(flag) for flag in members.flags.tolist()] == [MemberFlag(0), NEW]
