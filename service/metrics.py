"""Prometheus metrics: requests, and the state of the service at each scrape.

Requests are counted in this process as they pass; where `serve` has several, a scrape of any adds
up what all of them have answered, and says what each takes under its number. All else is read from
the database when somebody scrapes, once and by a bounded number of queries, so that the scheduler's
work shows here although it is another process.

Labels come from a closed set: routes of the application, known methods, jobs. Sites and hosts are
data, so only the first ``LABELLED_SITES`` and ``LABELLED_HOSTS`` get series of their own; the age
of the oldest weather of all sites has no label, so an alarm on it misses none.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter as Tally
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import timedelta
from functools import partial
from itertools import accumulate
from typing import Final, Protocol

import orjson
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    HistogramMetricFamily,
    Metric,
)
from prometheus_client.process_collector import ProcessCollector

from service import __version__
from service.operations.schedule.read_signals import Signals
from service.operations.schedule.read_status import ServiceStatus, Verdict

CONTENT_TYPE: Final = "text/plain; version=0.0.4; charset=utf-8"
METHODS: Final = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
UNMATCHED: Final = "unmatched"
"""Route label of requests that match no route, or a documentation file."""
OTHER: Final = "other"
LABELLED_SITES: Final = 200
LABELLED_HOSTS: Final = 50
LABELLED_CONTROLLERS: Final = 200
SCRAPED_RUNS: Final = timedelta(days=1)
"""How far back a scrape reads runs."""
BUCKETS_S: Final = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)


class Siblings(Protocol):
    """The other web processes of the same command."""

    def exchange(self, own: bytes) -> Iterable[bytes]:
        """Keep what this process has counted; what each of the others has, within a second."""
        ...

    def live(self) -> Mapping[int, int]:
        """Process ids by number, this process included."""
        ...


class RequestMetrics:
    """The requests that this process has answered, counted in its event loop.

    Each request adds to plain numbers, which become metric families at a scrape. The library's own
    counters take a lock and four times as long, which is noticeable in controller polls.
    """

    def __init__(self, siblings: Siblings | None = None) -> None:
        self._siblings = siblings
        self._registry = CollectorRegistry(auto_describe=False)
        self._counts: dict[tuple[str, str, int], int] = {}
        self._durations: dict[str, _Durations] = {}
        self._registry.register(self)
        if siblings is None:
            ProcessCollector(registry=self._registry)

    @property
    def request_count(self) -> int:
        """Requests answered so far."""
        return sum(self._counts.values())

    def note(self, method: str, route: str, status: int, *, duration_s: float) -> None:
        """Count one request."""
        key = (method if method in METHODS else OTHER, route, status)
        self._counts[key] = self._counts.get(key, 0) + 1
        durations = self._durations.get(route)
        if durations is None:
            durations = self._durations[route] = _Durations()
        durations.counts[bisect_left(BUCKETS_S, duration_s)] += 1
        durations.total_s += duration_s

    def collect(self) -> Iterator[Metric]:
        """The requests as families."""
        count = CounterMetricFamily(
            "rillwright_http_requests",
            "Requests by route, method and status.",
            labels=("method", "route", "status"),
        )
        counts, durations = self._of_all()
        for (method, route, status), number in counts.items():
            count.add_metric((method, route, str(status)), number)
        yield count
        duration = HistogramMetricFamily(
            "rillwright_http_request_duration_seconds",
            "Time from the request to the end of its answer.",
            labels=("route",),
        )
        for route, each in durations.items():
            duration.add_metric((route,), each.buckets(), each.total_s)
        yield duration
        if self._siblings is not None:
            yield from _worker_families(self._siblings.live())

    def snapshot(self) -> bytes:
        """The requests that this process has answered, for its siblings."""
        return orjson.dumps(
            {
                "counts": [[*key, number] for key, number in list(self._counts.items())],
                "durations": {
                    route: [each.total_s, *each.counts]
                    for route, each in list(self._durations.items())
                },
            }
        )

    def _of_all(self) -> tuple[dict[tuple[str, str, int], int], dict[str, _Durations]]:
        """What this process and its siblings have answered, those that have ended included."""
        counts = dict(self._counts)
        durations: dict[str, _Durations] = {}
        for route, each in list(self._durations.items()):
            durations.setdefault(route, _Durations()).add(each.total_s, each.counts)
        siblings = self._siblings
        # What a scrape shows is kept, so that no later one shows less.
        for snapshot in () if siblings is None else siblings.exchange(self.snapshot()):
            found = orjson.loads(snapshot)
            for *key, number in found["counts"]:
                counts[tuple(key)] = counts.get(tuple(key), 0) + number
            for route, (total_s, *buckets) in found["durations"].items():
                durations.setdefault(route, _Durations()).add(total_s, buckets)
        return counts, durations

    def exposition(self) -> bytes:
        """The numbers as Prometheus reads them."""
        return generate_latest(self._registry)


class _Durations:
    """How long the requests of a route took."""

    __slots__ = ("counts", "total_s")

    def __init__(self) -> None:
        self.counts = [0] * (len(BUCKETS_S) + 1)
        """Requests by the first bucket they fit into; the last is above all bounds."""
        self.total_s = 0.0

    def add(self, total_s: float, counts: Sequence[int]) -> None:
        """Add those of another process."""
        self.total_s += total_s
        self.counts = [own + other for own, other in zip(self.counts, counts, strict=True)]

    def buckets(self) -> list[tuple[str, float]]:
        """Each bound, and the number of requests within it."""
        bounds = [*map(str, BUCKETS_S), "+Inf"]
        return list(zip(bounds, map(float, accumulate(self.counts)), strict=True))


def _worker_families(pids: Mapping[int, int]) -> Iterator[Metric]:
    """What each live process takes, by its number."""
    yield _gauge("workers", "Web processes of this `serve`.", {(): float(len(pids))})
    merged: dict[str, Metric] = {}
    for number, pid in pids.items():
        collector = ProcessCollector(pid=partial(int, pid), registry=None)
        for family in collector.collect():
            known = merged.setdefault(
                family.name, Metric(family.name, family.documentation, family.type)
            )
            for sample in family.samples:
                known.add_sample(sample.name, {"worker": str(number)}, sample.value)
    yield from merged.values()


class _Once:
    """A collector of ready-made metric families."""

    def __init__(self, families: Iterable[Metric]) -> None:
        self._families = families

    def collect(self) -> Iterator[Metric]:
        """The families."""
        yield from self._families


def status_exposition(
    status: ServiceStatus | None, signals: Signals | None, *, schema_revision: str
) -> bytes:
    """The state of the service in Prometheus format; None: it could not be read.

    ``schema_revision`` is the one that this version expects: hosts at different ones show it.
    """
    registry = CollectorRegistry(auto_describe=False)
    schema = _gauge(
        "schema_info",
        "1 for the revision of the database that this version works with.",
        {(schema_revision,): 1.0},
        labels=("revision",),
    )
    known = [] if signals is None else list(_signal_families(signals))
    registry.register(_Once([*_families(status), schema, *known]))
    return generate_latest(registry)


def _families(status: ServiceStatus | None) -> Iterator[Metric]:
    yield _gauge(
        "build_info", "1 for the version that runs.", {(__version__,): 1.0}, labels=("version",)
    )
    yield _gauge(
        "database_up", "Whether the database answered this scrape.", {(): float(status is not None)}
    )
    if status is None:
        return
    if status.last_tick_at is not None:
        yield _gauge(
            "scheduler_last_tick_timestamp_seconds",
            "When a scheduler last looked at what is due.",
            {(): status.last_tick_at.timestamp()},
        )
    yield _gauge(
        "scheduler_watchdog",
        "1 for the verdict on the scheduler.",
        {(verdict.value,): float(verdict is status.watchdog) for verdict in Verdict},
        labels=("verdict",),
    )
    yield _gauge(
        "due_runs",
        "Runs that are due and not done.",
        {(job,): float(count) for job, count in status.due_counts.items()},
        labels=("job",),
    )
    yield _gauge(
        "runs_last_day",
        "Runs that were due in the last 24 hours and have been taken up.",
        {key: float(count) for key, count in status.run_counts.items()},
        labels=("job", "state"),
    )
    yield _gauge("farms", "Farms.", {(): float(len(status.farms))})
    yield _gauge("sites", "Sites.", {(): float(len(status.sites))})
    yield _gauge(
        "overdue_farms",
        "Farms whose issue time has passed without plans.",
        {(): float(sum(farm.is_overdue for farm in status.farms))},
    )
    if status.last_backup_at is not None:
        age_s = (status.at - status.last_backup_at).total_seconds()
        yield _gauge(
            "backup_age_seconds",
            "Time since the last backup on schedule was finished; absent where there is none.",
            {(): max(age_s, 0.0)},
        )
    yield from _weather_families(status)
    yield from _breaker_families(status)
    yield from _event_families(status)


def _signal_families(signals: Signals) -> Iterator[Metric]:
    """What alerts are made of, beside the state of the scheduler."""
    for name, text, number in (
        ("mails_waiting", "Mails that wait to be sent.", signals.mails.waiting_count),
        (
            "mails_given_up",
            "Mails that were given up and are still kept.",
            signals.mails.given_up_count,
        ),
        (
            "silent_controllers",
            "Controllers that have polled before and not for two hours.",
            signals.silent_controller_count,
        ),
        (
            "plans_without_weather",
            "Plans in force that could not be made for want of weather.",
            signals.without_weather_count,
        ),
        (
            "weather_refreshes_failing",
            "Refreshes of weather that have been tried in vain for an hour or more.",
            signals.failing_refresh_count,
        ),
    ):
        yield _gauge(name, text, {(): float(number)})
    if signals.free_bytes is not None:
        yield _gauge(
            "storage_free_bytes",
            "Room left on the disk that holds the database file.",
            {(): float(signals.free_bytes)},
        )
    if signals.mails.oldest_queued_at is not None:
        yield _gauge(
            "mails_oldest_queued_timestamp_seconds",
            "When the mail that has waited longest was queued.",
            {(): signals.mails.oldest_queued_at.timestamp()},
        )
    if signals.evening_margin is not None:
        yield _gauge(
            "evening_margin_seconds",
            "From the end of an evening run to the hour its farm asked for, the shortest of a day.",
            {(): signals.evening_margin.total_seconds()},
        )
    yield _gauge(
        "controller_last_poll_timestamp_seconds",
        f"Last poll of a controller, for at most {LABELLED_CONTROLLERS} controllers.",
        {
            (name,): polled_at.timestamp()
            for name, polled_at in sorted(signals.polls.items())[:LABELLED_CONTROLLERS]
        },
        labels=("controller",),
    )


def _event_families(status: ServiceStatus) -> Iterator[Metric]:
    """How many events wait to be sent to other systems, and for how long."""
    events = status.events
    for name, text, number in (
        ("events_waiting", "Events that wait to be sent.", events.waiting_count),
        ("events_given_up", "Events that were given up and are still kept.", events.dead_count),
        ("event_receivers_off", "Receivers that are switched off.", events.disabled_count),
    ):
        yield _gauge(name, text, {(): float(number)})
    if events.oldest_queued_at is not None:
        age_s = (status.at - events.oldest_queued_at).total_seconds()
        yield _gauge(
            "events_oldest_waiting_age_seconds",
            "Age of the event that has waited longest.",
            {(): max(age_s, 0.0)},
        )


def _weather_families(status: ServiceStatus) -> Iterator[Metric]:
    yield _gauge(
        "stale_weather_sites",
        "Sites whose weather is old or ends too soon.",
        {(): float(sum(site.is_stale for site in status.sites))},
    )
    for name, what, ages in (
        ("forecast", "newest forecast", {s.site_id: s.forecast_age for s in status.sites}),
        ("observed", "last observed day", {s.site_id: s.observed_age for s in status.sites}),
    ):
        known = {site: age.total_seconds() for site, age in ages.items() if age is not None}
        yield _gauge(
            f"weather_{name}_age_seconds",
            f"Age of the {what}, for at most {LABELLED_SITES} sites.",
            {(site,): known[site] for site in sorted(known)[:LABELLED_SITES]},
            labels=("site",),
        )
        if known:
            yield _gauge(
                f"weather_{name}_oldest_age_seconds",
                f"Age of the {what} at the site where it is oldest.",
                {(): max(known.values())},
            )


def _breaker_families(status: ServiceStatus) -> Iterator[Metric]:
    """Breakers of hosts individually; those of grid cells, which may be many, as a count."""
    hosts: dict[tuple[str, ...], float] = {}
    cells: Tally[tuple[str, ...]] = Tally()
    for state in status.breakers:
        source, _, place = state.key.partition("|")
        host, _, cell = place.partition("|")
        is_open = status.is_open(state)
        if cell:
            cells[source, host] += is_open
        else:
            hosts[source, host] = float(is_open)
    yield _gauge(
        "breaker_open",
        "1 while nothing is sent to a host of a weather source.",
        dict(sorted(hosts.items())[:LABELLED_HOSTS]),
        labels=("source", "host"),
    )
    yield _gauge(
        "cell_breakers_open",
        "Grid cells of a host about which nothing is asked for now.",
        {key: float(count) for key, count in sorted(cells.items())[:LABELLED_HOSTS]},
        labels=("source", "host"),
    )


def _gauge(
    name: str,
    text: str,
    values: Mapping[tuple[str, ...], float],
    *,
    labels: tuple[str, ...] = (),
) -> Metric:
    family = GaugeMetricFamily(f"rillwright_{name}", text, labels=labels)
    for key, value in values.items():
        family.add_metric(key, value)
    return family
