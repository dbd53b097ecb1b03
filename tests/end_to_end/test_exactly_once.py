"""Two schedulers on one database for ten days, with kills and days off: each run exactly once.

200 farms with one site each, in zones around the world, over the days of a clock change in one of
them; 2,000 evenings in all. The processes mostly work at the same moment.
"""

from __future__ import annotations

import random
from collections import Counter
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import Engine
from sqlalchemy.engine import URL

from service.database.session import UnitOfWorkFactory
from service.records.schedule import JobRun
from tests.end_to_end.scheduler_processes import scheduler_processes
from tests.scheduled_farms import plan_versions, store_farms

FARM_COUNT, DAY_COUNT = 200, 10
FIRST_DAY = date(2026, 10, 28)
DAYS = [FIRST_DAY + timedelta(days=number) for number in range(DAY_COUNT)]
ZONES = [
    "America/New_York",  # 1 November 2026: a day of 25 hours
    "America/Phoenix",
    "Europe/Rome",
    "Pacific/Auckland",
]
DAYS_OFF = DAYS[5:7]
AFTER_A_DEATH = timedelta(seconds=40)
CRASH_POINTS = ("evening claimed", "evening planned", "weather fetched", "repair planned")


def evenings(runs: list[JobRun]) -> dict[str, JobRun]:
    return {run.run_key: run for run in runs if run.job == "evening"}


def keys_of_all_evenings() -> set[str]:
    return {f"evening:farm-{farm:05d}:{day}" for farm in range(FARM_COUNT) for day in DAYS}


def looks() -> list[datetime]:
    """Times to look: 20 minutes past each hour in which evenings, repairs or weather may be due."""
    # The evenings of the first day begin at 05:15 UTC in Auckland, those of the last day end at
    # 01:15 UTC in Phoenix the day after.
    first = datetime.combine(FIRST_DAY, datetime.min.time(), tzinfo=UTC) + timedelta(hours=5)
    hours = [first + timedelta(hours=count) for count in range(21 + 24 * (DAY_COUNT - 1))]
    wanted = {0, 1, 4, 5, 6, 11, 12, 13, 16, 17, 18, 22, 23}
    return [hour + timedelta(minutes=20) for hour in hours if hour.hour in wanted]


@pytest.mark.timeout(3600)  # two minutes or three, where the machine has nothing else to do
def test_two_schedulers_do_each_of_two_thousand_evenings_exactly_once(
    database_url: URL, open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    store_farms(open_unit, farm_count=FARM_COUNT, zones=ZONES, today=FIRST_DAY)
    rng = random.Random(2026)
    finished: Counter[str] = Counter()
    died_at: dict[str, str] = {}
    killed = 0
    with scheduler_processes(database_url.render_as_string(hide_password=False)) as start:
        pair = [start(), start()]
        for now in looks():
            if now.date() in DAYS_OFF:
                continue
            fate = rng.random()
            is_alone = False
            if fate < 0.15:  # the first is killed somewhere in its work, maybe at once
                pair[0].order(now)
                pair[1].order(now)
                pair[0].kill()
                killed += 1
                answers = [pair[1].answer()]
                is_alone = True
            elif fate < 0.65:  # both at once
                pair[0].order(now)
                pair[1].order(now)
                answers = [pair[0].answer(), pair[1].answer()]
            else:  # the first dies at a named point, if it comes by
                point = rng.choice(CRASH_POINTS)
                answers = [pair[0].work(now, die_at=point), pair[1].work(now)]
                if answers[0] is None:
                    died_at[pair[0].owner] = point
                    is_alone = True
            if is_alone:  # a new one comes, and after 40 s both look again
                pair[0] = start()
                pair[0].order(now + AFTER_A_DEATH)
                pair[1].order(now + AFTER_A_DEATH)
                answers += [pair[0].answer(), pair[1].answer()]
            for answer in answers:
                finished.update(answer.finished.keys() if answer is not None else ())
    with open_unit(write=False) as unit:
        runs = unit.runs.list_runs(first_due_at=datetime(2026, 10, 1, tzinfo=UTC))

    done = {key: run for key, run in evenings(runs).items() if run.state == "done"}
    ours = {key for key in done if date.fromisoformat(key[-10:]) >= FIRST_DAY}
    assert ours == keys_of_all_evenings()
    assert len(ours) == 2_000
    assert [key for key, count in finished.items() if count > 1] == []
    # What nobody reported was done by a process that was killed before it could report it.
    alive = {each.owner for each in pair}
    assert {done[key].owner for key in set(done) - set(finished)}.isdisjoint(alive)
    assert set(died_at.values()) == set(CRASH_POINTS)
    assert killed >= 5

    outcomes = Counter(done[key].outcome for key in ours)
    assert outcomes["covered"] > 0
    versions = Counter((block, day) for block, day, _ in plan_versions(engine))
    assert set(versions.values()) == {1}
    planned = {(block.removesuffix(".block-0"), day - timedelta(days=1)) for block, day in versions}
    for key in ours:
        _, farm, day = key.split(":")
        has_plan = (farm, date.fromisoformat(day)) in planned
        assert has_plan == (done[key].outcome != "covered"), key
