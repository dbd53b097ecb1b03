"""What a forecast's spread changes in the plans of the demonstration: those that weigh it alone."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy.engine import URL

from service.agronomy.records import Days, Ints
from service.agronomy.risk_attitude import RiskAttitude
from service.agronomy.weather_members import no_members
from service.bootstrap import Service, open_service
from service.cli.demo_clock import StandingClock
from service.database.session import UnitOfWork
from service.demo_farm import DEMO_DAY, FARM_ID
from service.operations.evening.gather_members import GatheredMembers
from service.operations.evening.gather_weather import GatheredWeather
from service.operations.evening.run_day import run_day
from service.operations.farms.manage_farms import load_bundle
from service.records.forecast_members import StoredMembers
from service.records.ledger import LEDGER_NUMBERS, LedgerRows
from service.records.plans import PublishedPlan
from service.settings import Settings
from tests.databases import address, lent

EVENINGS = [DEMO_DAY + timedelta(days=ahead) for ahead in (1, 2)]
"""Those after the demonstration's own, whose plans are there already."""
MEMBERS, DAYS = 31, 8
ON_THE_CREEK_PUMP = ("larkbend.creek", "larkbend.young", "larkbend.blackberry")


def at_evening(day_number: int) -> datetime:
    return datetime.combine(EVENINGS[day_number], time(23), UTC)


@contextmanager
def copy_of_demo(url: URL, folder: Path, *, is_as_stated: bool = False) -> Iterator[Service]:
    """The demonstration, its blocks without a choice of what they would rather risk.

    is_as_stated: with the choices that the farm file states.
    """
    folder.mkdir()
    with lent(url, folder) as own:
        clock = StandingClock(at_evening(0))
        service = open_service(Settings(database_url=address(own)), clock=clock)
        try:
            with service.unit_of_work(write=False) as unit:
                bundle = unit.blocks.get_bundle(FARM_ID, day=DEMO_DAY)
            blocks = tuple(
                block if is_as_stated else replace(block, risk_attitude=RiskAttitude.CLASSIC)
                for block in bundle.blocks
            )
            load_bundle(
                replace(bundle, blocks=blocks), effective_day=DEMO_DAY,
                unit_of_work=service.unit_of_work, clock=clock,
            )  # fmt: skip
            yield service
        finally:
            service.close()


def bring_members(service: Service) -> None:
    """An ensemble of storms and dry spells at every site, as no plan would ignore that saw it."""
    random = np.random.default_rng(5)
    with service.unit_of_work(write=True) as unit:
        unit.members.save(
            [
                StoredMembers(
                    site_key=key,
                    model="ncep_gefs_seamless",
                    first_day=evening + timedelta(days=1),
                    fetched_at=at_evening(place) - timedelta(hours=2),
                    first_seen_at=at_evening(place) - timedelta(hours=2),
                    given_count=MEMBERS,
                    hole_count=0,
                    frozen_count=0,
                    numbers=np.arange(MEMBERS),
                    rain_mm=np.where(random.random((MEMBERS, DAYS)) < 0.4, 12.0, 0.0),
                    et0_mm=random.uniform(3.5, 6.5, (MEMBERS, DAYS)),
                )
                for key in unit.blocks.read_site_table().keys.tolist()
                for place, evening in enumerate(EVENINGS)
            ]
        )


def run_evenings(service: Service) -> tuple[list[PublishedPlan], list[LedgerRows]]:
    """Every plan and ledger that the evenings store."""
    for place, evening in enumerate(EVENINGS):
        assert isinstance(service.clock, StandingClock)
        service.clock.instant = at_evening(place)
        run = run_day(
            evening, unit_of_work=service.unit_of_work, clock=service.clock,
            source_order=service.source_order, farm_ids=[FARM_ID],
        )  # fmt: skip
        assert not run.failures
    plans, ledgers = [], []
    with service.unit_of_work(write=False) as unit:
        keys: Ints = np.array([*unit.blocks.farm_keys([FARM_ID]).values()])
        table = unit.blocks.read_block_table(EVENINGS[-1], farm_keys=keys)
        for key, block_id in zip(table.keys.tolist(), table.block_ids, strict=True):
            ledgers.append(
                unit.ledger.read_rows(
                    key, first_day=DEMO_DAY - timedelta(days=30), last_day=EVENINGS[-1]
                )
            )
            found = [
                unit.plans.find_plan(block_id, day=evening + timedelta(days=1))
                for evening in EVENINGS
            ]
            plans += [plan for plan in found if plan is not None]
    assert len(plans) == len(EVENINGS) * table.keys.size
    return plans, ledgers


def nothing_known(_unit: UnitOfWork, weather: GatheredWeather, *, now: datetime) -> GatheredMembers:
    """As if no forecast had a spread; in place of ``gather_members``."""
    count = weather.sites.keys.size
    days: Days = weather.days[weather.days > np.datetime64(weather.on)]
    none = np.zeros(count, dtype=np.int64)
    return GatheredMembers(no_members(days, count), none, ("",) * count)


def test_plans_and_ledgers_are_the_same_to_the_last_bit_with_members_and_without(
    demo_database: URL, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    used = []
    with copy_of_demo(demo_database, tmp_path / "with") as service:
        bring_members(service)
        whole = run_evenings(service)
        used = [plan.weather.rain_spread for plan in whole[0]]
    assert all(spread is not None and spread.member_count == MEMBERS for spread in used)
    monkeypatch.setattr("service.operations.evening.run_weather.gather_members", nothing_known)
    with copy_of_demo(demo_database, tmp_path / "without") as service:
        bare = run_evenings(service)
    for with_members, without in zip(whole[0], bare[0], strict=True):
        assert without.weather.rain_spread is None
        assert with_members.pulses == without.pulses
        same = ("block_id", "day", "status", "planned_min", "gross_mm", "net_mm")
        for name in same:
            assert getattr(with_members, name) == getattr(without, name)
        # What is known without members is the same with them; the spread itself may be added.
        for name, number in without.reasoning._asdict().items():
            if number not in (None, ()):
                assert getattr(with_members.reasoning, name) == number, name
    for with_rows, without_rows in zip(whole[1], bare[1], strict=True):
        assert with_rows.days.tolist() == without_rows.days.tolist()
        for name in LEDGER_NUMBERS:
            assert np.array_equal(
                with_rows.numbers[name], without_rows.numbers[name], equal_nan=True
            ), name


def test_a_stated_attitude_changes_the_water_of_its_own_block_alone(
    demo_database: URL, tmp_path: Path
) -> None:
    found = []
    for is_as_stated in (True, False):
        folder = tmp_path / f"stated-{is_as_stated}"
        with copy_of_demo(demo_database, folder, is_as_stated=is_as_stated) as service:
            bring_members(service)
            found.append(run_evenings(service)[0])
    is_weighed = [plan.reasoning.must_mm is not None for plan in found[0]]
    assert sum(is_weighed) == len(EVENINGS)  # one block states an attitude
    for own, stated, classic in zip(is_weighed, *found, strict=True):
        if own:
            assert stated.reasoning.need_mm != classic.reasoning.need_mm
            continue
        # Blocks on the same pump may have to start at other times, for the same water.
        for name in ("status", "planned_min", "gross_mm", "net_mm"):
            assert getattr(stated, name) == getattr(classic, name), name
        assert stated.reasoning.need_mm == classic.reasoning.need_mm
        if stated.block_id not in ON_THE_CREEK_PUMP:
            assert (stated.pulses, stated.reasoning) == (classic.pulses, classic.reasoning)
