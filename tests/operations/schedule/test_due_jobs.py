"""What is due is decided from the database alone: farms, their clocks, and what is done."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from service.database.session import UnitOfWorkFactory
from service.operations.schedule.due_jobs import (
    CATCH_UP_DAYS,
    DueRun,
    evening_due_at,
    latest_evening,
    latest_repair,
    list_due,
    repair_due_at,
)
from service.records.farms import FarmBundle, FarmDefinition
from service.records.forecast_members import ENSEMBLE_SOURCE
from tests.stored_farms import stored_block, stored_bundle, stored_farm, stored_site, stored_supply

LOS_ANGELES, SYDNEY = "America/Los_Angeles", "Australia/Sydney"
FARM = stored_farm()  # in California, issues at 19:00
DAY = date(2026, 7, 14)
DUE = datetime(2026, 7, 15, 1, 15, tzinfo=UTC)  # 18:15 PDT on the 14th
LEAD_MIN = 45


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def load(open_unit: UnitOfWorkFactory, *farms: FarmDefinition) -> None:
    with open_unit(write=True) as unit:
        for farm in farms:
            unit.blocks.save_bundle(
                stored_bundle(
                    stored_block(f"{farm.farm_id}.north", site_id=f"at-{farm.farm_id}"),
                    farm=farm,
                    sites=(stored_site(f"at-{farm.farm_id}", zone=farm.zone),),
                    supplies=(stored_supply(farm_id=farm.farm_id),),
                    counties=(),
                ),
                effective_day=date(2026, 1, 1),
                recorded_at=at("2026-01-01T00:00"),
            )


def due_at(
    open_unit: UnitOfWorkFactory, now: datetime, *, sources: tuple[str, ...] = ()
) -> list[DueRun]:
    with open_unit(write=False) as unit:
        return list_due(unit, now=now, sources=sources, evening_lead_min=LEAD_MIN)


def keys(runs: Iterable[DueRun]) -> list[str]:
    return [run.run_key for run in runs if run.job != "prune"]


def do(open_unit: UnitOfWorkFactory, *run_keys: str, now: datetime = DUE) -> None:
    with open_unit(write=True) as unit:
        for key in run_keys:
            unit.runs.claim(key, job="any", due_at=DUE, owner="test", now=now, lease_s=1)
            unit.runs.finish(key, owner="test", now=now, outcome="planned")


def test_an_evening_is_due_before_the_issue_time_on_the_farms_own_clock() -> None:
    assert evening_due_at(FARM, DAY, evening_lead_min=LEAD_MIN) == DUE
    winter = evening_due_at(FARM, date(2026, 1, 14), evening_lead_min=LEAD_MIN)
    assert winter == at("2026-01-15T02:15")
    sydney = stored_farm(zone=SYDNEY, issue_wall_min=17 * 60 + 30)
    assert evening_due_at(sydney, DAY, evening_lead_min=0) == at("2026-07-14T07:30")


def test_an_evening_never_begins_before_its_date() -> None:
    just_after_midnight = stored_farm(issue_wall_min=20)
    due = evening_due_at(just_after_midnight, DAY, evening_lead_min=LEAD_MIN)
    assert due == at("2026-07-14T07:00")


def test_an_issue_time_that_the_clock_skips_means_the_first_instant_after() -> None:
    # California, 8 March 2026: from 02:00 to 03:00, at 10:00 UTC.
    skipped = stored_farm(issue_wall_min=2 * 60 + 30)
    assert evening_due_at(skipped, date(2026, 3, 8), evening_lead_min=0) == at("2026-03-08T10:00")


def test_an_issue_time_that_comes_twice_counts_once() -> None:
    # California, 1 November 2026: 01:30 comes at 08:30 and at 09:30 UTC.
    twice = stored_farm(issue_wall_min=90)
    first, second = at("2026-11-01T08:30"), at("2026-11-01T09:30")
    for now in (first, second):
        assert latest_evening(twice, now, evening_lead_min=0) == (date(2026, 11, 1), first)


def test_the_latest_evening_changes_at_its_due_time() -> None:
    def latest(now: datetime) -> date:
        return latest_evening(FARM, now, evening_lead_min=LEAD_MIN)[0]

    assert latest(DUE - timedelta(microseconds=1)) == DAY - timedelta(days=1)
    assert latest(DUE) == DAY
    assert latest(DUE + timedelta(hours=23, minutes=59)) == DAY


def test_a_repair_is_due_on_the_morning_after() -> None:
    assert repair_due_at(FARM, DAY) == at("2026-07-15T13:00")
    assert latest_repair(FARM, at("2026-07-15T12:59"))[0] == DAY - timedelta(days=1)
    assert latest_repair(FARM, at("2026-07-15T13:00"))[0] == DAY


def test_a_date_that_a_zone_skipped_has_no_evening() -> None:
    # Samoa went from 29 to 31 December 2011 (time zone database, Pacific/Apia).
    samoa = stored_farm(zone="Pacific/Apia")
    evening = evening_due_at(samoa, date(2011, 12, 31), evening_lead_min=LEAD_MIN)
    before = evening - timedelta(minutes=1)
    assert latest_evening(samoa, before, evening_lead_min=LEAD_MIN)[0] == date(2011, 12, 29)
    assert repair_due_at(samoa, date(2011, 12, 29)).date() == date(2011, 12, 30)  # 06:00 + 14 h


def test_an_empty_store_has_nothing_but_pruning_to_do(open_unit: UnitOfWorkFactory) -> None:
    (only,) = due_at(open_unit, at("2026-07-15T02:59"), sources=())
    assert only.run_key == "prune:2026-07-14"
    (only,) = due_at(open_unit, at("2026-07-15T03:00"))
    assert only.run_key == "prune:2026-07-15"
    do(open_unit, only.run_key)
    assert due_at(open_unit, at("2026-07-15T03:00")) == []


def test_each_farm_has_its_own_evening(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, FARM, stored_farm("down-under", zone=SYDNEY))
    noon_in_california = at("2026-07-14T19:00")
    assert keys(due_at(open_unit, noon_in_california)) == [
        "evening:down-under:2026-07-14",
        "evening:orchard:2026-07-13",
        "repair:orchard:2026-07-13",
    ]


def test_what_is_done_is_not_due(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, FARM)
    do(open_unit, "evening:orchard:2026-07-14")
    assert keys(due_at(open_unit, DUE)) == []
    tomorrow = DUE + timedelta(days=1)
    assert keys(due_at(open_unit, tomorrow)) == ["evening:orchard:2026-07-15"]


def test_a_repair_is_left_out_once_the_next_evening_is_due(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, FARM)
    do(open_unit, "evening:orchard:2026-07-14")
    morning, evening = at("2026-07-15T13:00"), DUE + timedelta(days=1)
    assert keys(due_at(open_unit, morning)) == ["repair:orchard:2026-07-14"]
    assert keys(due_at(open_unit, evening)) == ["evening:orchard:2026-07-15"]


def test_after_days_off_the_latest_evening_covers_those_before_it(
    open_unit: UnitOfWorkFactory,
) -> None:
    load(open_unit, FARM)
    do(open_unit, "evening:orchard:2026-07-10")
    (evening,) = due_at(open_unit, DUE)[:1]
    assert evening.run_key == "evening:orchard:2026-07-14"
    assert keys(evening.covers) == [
        "evening:orchard:2026-07-11",
        "evening:orchard:2026-07-12",
        "evening:orchard:2026-07-13",
    ]
    assert [run.due_at for run in evening.covers] == [
        DUE - timedelta(days=back) for back in (3, 2, 1)
    ]


def test_a_new_farm_has_missed_nothing(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, FARM)
    assert [run.covers for run in due_at(open_unit, DUE)] == [(), ()]


def test_a_farm_away_for_too_long_starts_over(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, FARM)
    do(open_unit, "evening:orchard:2026-07-14")

    def covered(days_later: int) -> int:
        return len(due_at(open_unit, DUE + timedelta(days=days_later))[0].covers)

    assert covered(CATCH_UP_DAYS) == CATCH_UP_DAYS - 1
    assert covered(CATCH_UP_DAYS + 1) == 0


def test_weather_is_asked_for_every_six_hours_for_all_sites(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, FARM)
    (refresh, *_) = due_at(open_unit, at("2026-07-14T17:59"), sources=("made-up",))
    assert refresh.run_key == "weather:made-up:2026-07-14T12"
    assert refresh.site_keys is None
    do(open_unit, refresh.run_key, now=at("2026-07-14T17:59"))
    assert keys(due_at(open_unit, at("2026-07-14T17:59"), sources=("made-up",)))[0] == (
        "evening:orchard:2026-07-13"
    )
    (refresh, *_) = due_at(open_unit, at("2026-07-14T18:00"), sources=("made-up",))
    assert refresh.run_key == "weather:made-up:2026-07-14T18"


def test_weather_is_asked_for_ahead_of_an_evening_for_the_farms_sites(
    open_unit: UnitOfWorkFactory,
) -> None:
    # Issued at 17:00 PDT, run at 16:15 PDT = 23:15 UTC: the hour before holds 22:15.
    load(open_unit, replace(FARM, issue_wall_min=17 * 60), stored_farm("down-under", zone=SYDNEY))
    do(open_unit, "weather:made-up:2026-07-14T18", now=at("2026-07-14T18:00"))
    before, then = at("2026-07-14T21:59"), at("2026-07-14T22:00")
    assert "weather" not in {run.job for run in due_at(open_unit, before, sources=("made-up",))}
    (refresh, *_) = due_at(open_unit, then, sources=("made-up",))
    assert refresh.run_key == "weather:made-up:2026-07-14T22"
    with open_unit(write=False) as unit:
        assert refresh.site_keys is not None
        assert refresh.site_keys.tolist() == [unit.blocks.get_site_key("at-orchard")]


def test_asking_for_all_sites_late_covers_asking_for_some(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, replace(FARM, issue_wall_min=17 * 60))
    (refresh, *_) = due_at(open_unit, at("2026-07-14T23:00"), sources=("made-up",))
    assert refresh.run_key == "weather:made-up:2026-07-14T18"
    assert keys(refresh.covers) == ["weather:made-up:2026-07-14T22"]


def test_weather_comes_before_the_evenings_that_want_it(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, FARM)
    jobs = [run.job for run in due_at(open_unit, at("2026-07-14T19:00"), sources=("a", "b"))]
    assert jobs == ["weather", "weather", "evening", "repair", "prune"]


@pytest.mark.parametrize("farm_count", [1, 6])
def test_the_number_of_queries_does_not_grow_with_the_farms(
    open_unit: UnitOfWorkFactory, monkeypatch: pytest.MonkeyPatch, farm_count: int
) -> None:
    farms = [stored_farm(f"farm-{number}") for number in range(farm_count)]
    load(open_unit, *farms)
    for farm in farms:
        do(open_unit, f"evening:{farm.farm_id}:2026-07-13")
    asked = 0
    with open_unit(write=False) as unit:
        answer = unit.runs.list_done

        def counted(run_keys: list[str], *, now: datetime) -> set[str]:
            nonlocal asked
            asked += 1
            return answer(run_keys, now=now)

        monkeypatch.setattr(unit.runs, "list_done", counted)
        due = list_due(unit, now=DUE, sources=(), evening_lead_min=LEAD_MIN)
    assert len(keys(due)) == farm_count
    assert asked == 5


def test_ensembles_are_asked_for_before_evenings_only(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, replace(FARM, issue_wall_min=17 * 60))
    early, before = at("2026-07-14T18:30"), at("2026-07-14T22:10")
    ensemble = (ENSEMBLE_SOURCE,)
    assert "weather" not in {run.job for run in due_at(open_unit, early, sources=ensemble)}
    (refresh,) = (run for run in due_at(open_unit, before, sources=ensemble) if run.source)
    assert refresh.run_key == f"weather:{ENSEMBLE_SOURCE}:2026-07-14T22"
    assert refresh.site_keys is not None
    with open_unit(write=False) as unit:
        own = unit.blocks.list_site_keys(np.array(sorted(unit.blocks.farm_keys().values())))
    assert refresh.site_keys.tolist() == own.tolist()
    do(open_unit, refresh.run_key, now=before)
    assert "weather" not in {run.job for run in due_at(open_unit, before, sources=ensemble)}


def test_sites_without_a_farm_get_their_ensembles_once_a_day(open_unit: UnitOfWorkFactory) -> None:
    load(open_unit, FARM)
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(
            FarmBundle(farm=None, sites=(stored_site("county-seat"),)),
            effective_day=date(2026, 1, 1),
            recorded_at=at("2026-01-01T00:00"),
        )
        places = unit.blocks.read_site_table()
    names = [site.site_id for site in places.definitions]
    (refresh,) = (
        run
        for run in due_at(open_unit, at("2026-07-14T13:00"), sources=(ENSEMBLE_SOURCE,))
        if run.source
    )
    assert refresh.run_key == f"weather:{ENSEMBLE_SOURCE}:2026-07-14T12"
    assert refresh.site_keys is not None
    assert refresh.site_keys.tolist() == [places.keys[names.index("county-seat")]]
