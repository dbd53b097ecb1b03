"""The scheduler process: checks several times a minute for due work and does it.

APScheduler only provides the timer. Its one job, a tick on UTC, is held in memory and has no state;
what is due, what is done and who is working on what is in the database. So this process may be
stopped, killed, started late or started twice without a plan being lost or made twice.

A tick never counts as missed (no misfire grace): a late one does what has become due meanwhile, and
ticks that pile up behind a long one are one tick. A failed tick is logged, and the next one tries
again. The first SIGTERM or SIGINT lets the piece of work at hand end, a second one ends the process
at once; both are safe.
"""

from __future__ import annotations

import logging
import os
import secrets
import signal
import socket
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from threading import Event

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MISSED, JobExecutionEvent
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.cron import CronTrigger

from service.bootstrap import Service, SystemClock, make_dispatch, make_keeper, make_post
from service.errors import StorageAway
from service.operations.backups.keep_backups import Kept, keep_backups
from service.operations.events.deliver_events import DispatchOutcome, deliver_events
from service.operations.mail.send_mail import PostOutcome, deliver, is_mail_due
from service.operations.schedule.duties import Duties
from service.operations.schedule.run_due import DueOutcome, is_work_due, run_due
from service.operations.schedule.watch_farms import Watch, watch_farms

TICK_SECONDS = "*/20"
"""A dead process's lease of 30 s and the wait for a tick together stay under a minute."""
BACKUP_TICK_SECONDS = "30"
"""Once a minute, out of step with the other ticks."""
EVENT_TICK_SECONDS = "*/5"
"""Events are sent within seconds; a look at nothing is one short read."""
STOPPING_SIGNALS = (signal.SIGTERM, signal.SIGINT)

log = logging.getLogger("rillwright.schedule")


def make_duties(service: Service, *, should_stop: Callable[[], bool] = lambda: False) -> Duties:
    """The duties of this process, under a name that no other process has or had."""
    # A clock that is set by hand, as that of the demonstration, is not the server's.
    is_set = not isinstance(service.clock, SystemClock)
    return Duties(
        owner=f"{socket.gethostname()}:{os.getpid()}:{secrets.token_hex(4)}",
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
        refreshers=service.refreshers,
        evening_lead_min=service.settings.evening_lead_min,
        after_publish=service.after_publish,
        should_stop=should_stop,
        shared_clock=lambda unit: None if is_set else unit.runs.server_time(),
    )


def run_once(service: Service, *, keeps_backups: bool = True) -> DueOutcome:
    """Do all that is due now, in this process; backups at the end, unless another keeps them."""
    duties = make_duties(service)
    outcome = run_due(duties)
    post = make_post(service, owner=duties.owner)
    if post is not None:
        deliver(post)
    tell = make_teller(service, owner=duties.owner)
    if tell is not None:
        tell()
    keep = make_keeping(service, owner=duties.owner) if keeps_backups else None
    if keep is not None:
        keep()
    return outcome


def make_teller(
    service: Service, *, owner: str, should_stop: Callable[[], bool] = lambda: False
) -> Callable[[], DispatchOutcome] | None:
    """Looks for what nobody reports, and sends the events that wait; None if nothing is sent."""
    dispatch = make_dispatch(service, owner=owner, should_stop=should_stop)
    if dispatch is None:
        return None
    watch = Watch()

    def tell() -> DispatchOutcome:
        watch_farms(watch, unit_of_work=service.unit_of_work, clock=service.clock)
        return deliver_events(dispatch)

    return tell


def make_keeping(service: Service, *, owner: str) -> Callable[[], None] | None:
    """Makes the backup that is due and logs it; None if none are made on schedule."""
    keeper = make_keeper(service, owner=owner)
    return None if keeper is None else lambda: log_backup(keep_backups(keeper))


def has_work(service: Service, duties: Duties) -> bool:
    """Whether plans or mails wait to be made, asked without loading what makes them."""
    return is_work_due(duties) or (
        bool(service.settings.mail_host)
        and is_mail_due(service.unit_of_work, now=service.clock.now())
    )


def run_scheduler(service: Service) -> None:
    """Keep doing what is due until the process gets a stop signal; for the main thread only."""
    stopping = Event()
    duties = make_duties(service, should_stop=stopping.is_set)
    # Blocked before any thread starts, so that the signal waits for sigwait() below.
    before = signal.pthread_sigmask(signal.SIG_BLOCK, STOPPING_SIGNALS)
    post = make_post(service, owner=duties.owner, should_stop=stopping.is_set)
    tell = make_teller(service, owner=duties.owner, should_stop=stopping.is_set)
    scheduler = make_scheduler(
        lambda: log_outcome(run_due(duties)),
        mail_tick=None if post is None else lambda: log_mail(deliver(post)),
        event_tick=None if tell is None else lambda: log_events(tell()),
        backup_tick=make_keeping(service, owner=duties.owner),
    )
    scheduler.start()
    log.info("scheduler %s started", duties.owner)
    try:
        signal.sigwait(STOPPING_SIGNALS)
    finally:
        stopping.set()
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
        log.info("stopping when the work at hand is done")
        scheduler.shutdown(wait=True)
    log.info("scheduler %s stopped", duties.owner)


def make_scheduler(
    tick: Callable[[], None],
    *,
    mail_tick: Callable[[], None] | None = None,
    event_tick: Callable[[], None] | None = None,
    backup_tick: Callable[[], None] | None = None,
) -> BackgroundScheduler:
    """The timer: one tick at once, then every 20 seconds on the UTC clock; not yet started.

    Mail, events and backups have threads of their own, so that a slow relay, receiver or disk
    delays no plan.
    """
    # The listener logs errors and missed ticks in fewer lines.
    logging.getLogger("apscheduler").setLevel(logging.CRITICAL)
    scheduler = BackgroundScheduler(
        timezone=UTC,
        jobstores={"default": MemoryJobStore()},
        executors={"default": ThreadPoolExecutor(max_workers=4)},
        job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
    )
    scheduler.add_listener(log_trouble, EVENT_JOB_ERROR | EVENT_JOB_MISSED)
    for name, work, seconds in (
        ("tick", tick, TICK_SECONDS),
        ("mail", mail_tick, TICK_SECONDS),
        ("events", event_tick, EVENT_TICK_SECONDS),
        ("backup", backup_tick, BACKUP_TICK_SECONDS),
    ):
        if work is not None:
            scheduler.add_job(
                work,
                CronTrigger(second=seconds, timezone=UTC),
                id=name,
                next_run_time=datetime.now(UTC),
            )
    return scheduler


def log_trouble(event: JobExecutionEvent) -> None:
    """Log a failed or missed tick."""
    if event.exception is None:
        log.warning("the tick of %s was missed", event.scheduled_run_time)
        return
    # A database that is away, or in the hands of the other scheduler, needs no stack to explain it.
    is_away = isinstance(event.exception, StorageAway)
    log.log(
        logging.WARNING if is_away else logging.ERROR,
        "the tick of %s failed, the next one tries again: %s: %s",
        event.scheduled_run_time,
        type(event.exception).__name__,
        event.exception,
        exc_info=None if is_away else event.exception,
    )


def log_outcome(outcome: DueOutcome) -> None:
    """Log what a tick did; nothing if there was nothing to do."""
    for line in summary(outcome):
        log.info("%s", line)
    for run_key, reason in outcome.given_back.items():
        log.error("%s failed and will be tried again: %s", run_key, reason)
    for run_key in outcome.lost:
        log.warning("%s was taken over by another scheduler", run_key)


def log_mail(outcome: PostOutcome) -> None:
    """Log the result of one delivery round; nothing if there were no mails."""
    counts = {
        "queued": outcome.queued_count,
        "sent": outcome.sent_count,
        "put off": outcome.put_off_count,
        "failed": outcome.failed_count,
        "dropped": outcome.dropped_count,
    }
    summary_line = ", ".join(f"{result} ({count})" for result, count in counts.items() if count)
    if summary_line:
        log.info("mail: %s", summary_line)


def log_events(outcome: DispatchOutcome) -> None:
    """Log the result of one round of events; nothing if none were sent."""
    counts = {
        "delivered": outcome.delivered_count,
        "put off": outcome.put_off_count,
        "given up": outcome.dead_count,
        "receivers switched off": outcome.disabled_count,
    }
    summary_line = ", ".join(f"{result} ({count})" for result, count in counts.items() if count)
    if summary_line:
        log.info("events: %s", summary_line)


def log_backup(kept: Kept | None) -> None:
    """Log the backup that was made, or why it was not; nothing if none was due."""
    if kept is None:
        return
    if kept.outcome is None:
        log.error("the backup failed and will be tried again: %s", kept.reason)
    else:
        log.info("backup: %s", kept.outcome)


def summary(outcome: DueOutcome) -> list[str]:
    """What was done, one line per job: ``evening: covered (2), planned (200)``."""
    counts: dict[str, Counter[str]] = {}
    for run_key, result in outcome.finished.items():
        counts.setdefault(run_key.partition(":")[0], Counter())[result] += 1
    return [
        f"{job}: "
        + ", ".join(f"{result} ({count})" for result, count in sorted(by_outcome.items()))
        for job, by_outcome in counts.items()
    ]
