"""What events cost: a burst through kills of its sender, and an evening run that is told of.

    python -m tests.benchmarks.events                     10,000 events; an evening of 3,000 blocks
    python -m tests.benchmarks.events --events 2000 --blocks 500 --runs 3

The receiver is a thread of this process on loopback, the sender another process, which is killed
with SIGKILL four times. The evening is run on copies of one file, in turns without and with a
subscription of every farm.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import tempfile
import time
from collections import Counter
from pathlib import Path

from service.bootstrap import open_service
from service.operations.evening.run_day import run_day
from service.operations.events.manage_subscriptions import SubscriptionDraft, put_subscription
from service.settings import Settings
from tests.api.invented_farm import FARM_ID, opened_service
from tests.benchmarks.run_day import EVENING, prepare
from tests.databases import new_database
from tests.end_to_end.event_sender import send_through_kills
from tests.event_farm import event_farm, invented, with_events
from tests.webhook_receiver import running_receiver

KILL_AT = (0.1, 0.35, 0.6, 0.85)
"""Shares of the burst after which its sender is killed."""


def burst(folder: Path, event_count: int) -> None:
    """Send a burst of events of one farm through kills, and count what came."""
    from tests.api.invented_farm import fill

    with new_database("sqlite", folder) as url:
        from service.bootstrap import migrate_database

        migrate_database(Settings(database_url=url.render_as_string()))
        with opened_service(url) as service, running_receiver() as receiver:
            fill(service)
            farm = event_farm(service, receiver.url)
            key = farm.farm_key
            started = time.perf_counter()
            with service.unit_of_work(write=True) as unit:
                unit.events.add_events(
                    [(key, invented(str(number))) for number in range(event_count)],
                    at=farm.clock.now(),
                )
            queued_s = time.perf_counter() - started
            started = time.perf_counter()
            kills = [round(share * event_count) for share in KILL_AT]
            ends = send_through_kills(
                service.settings.database_url, receiver, at=farm.clock.now(), kill_at=kills
            )
            spent_s = time.perf_counter() - started
            counts = Counter(each.event["subject"] for each in receiver.requests)
            in_order = [int(each) for each in counts] == list(range(event_count))
            states = Counter(farm.states())
    print(
        f"{event_count:,} events of {FARM_ID}: queued in {queued_s:.2f} s, sent in {spent_s:.1f} s"
        f" by {len(ends)} processes ({ends.count(-9)} killed, their starts included),"
        f" {event_count / spent_s:,.0f} a second\n"
        f"  received {len(counts):,} different, {sum(counts.values()) - len(counts):,} of them"
        f" twice; first arrivals in order: {in_order}; stored as {dict(states)}"
    )


def evenings(folder: Path, block_count: int, runs: int) -> None:
    """The evening run without and with a subscription of every farm, in turns."""
    ready = folder / "ready.db"
    prepare(f"sqlite:///{ready}", block_count, 50)
    found: dict[bool, list[float]] = {False: [], True: []}
    row_counts = set()
    for _ in range(runs):
        for is_told in (False, True):
            path = folder / "evening.db"
            shutil.copy(ready, path)
            service = with_events(open_service(Settings(database_url=f"sqlite:///{path}")))
            with service.unit_of_work(write=True) as unit:
                draft = SubscriptionDraft(subscription_id="office", url="https://a.example.org/")
                for farm in unit.blocks.list_farms() if is_told else ():
                    put_subscription(
                        unit,
                        farm.farm_id,
                        draft,
                        rules=service.event_rules,
                        now=service.clock.now(),
                    )
            run = run_day(
                EVENING,
                unit_of_work=service.unit_of_work,
                clock=service.clock,
                source_order=service.source_order,
            )
            with service.unit_of_work(write=False) as unit:
                waiting_count = unit.events.read_backlog().waiting_count
            found[is_told].append(sum(run.phases.seconds.values()))
            row_counts.add((is_told, waiting_count, round(run.phases.seconds["events"], 4)))
            service.close()
            path.unlink()
    for is_told, seconds in found.items():
        print(
            f"evening of {block_count:,} blocks {'with' if is_told else 'without'} subscriptions:"
            f" {statistics.median(seconds):.3f} s ({min(seconds):.3f} to {max(seconds):.3f})"
        )
    for is_told, waiting_count, seconds_of_events in sorted(row_counts):
        print(f"  told: {is_told}, events: {waiting_count:,}, {seconds_of_events} s of it")


def main() -> None:
    """Measure what is asked for."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--events", type=int, default=10_000)
    asked.add_argument("--blocks", type=int, default=3_000)
    asked.add_argument("--runs", type=int, default=5)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as name:
        burst(Path(name), given.events)
        evenings(Path(name), given.blocks, given.runs)


if __name__ == "__main__":
    main()
