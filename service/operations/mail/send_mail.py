"""Send the mails in the outbox: write each, hand it to the relay, record the relay's reply.

Every reader gets each mail at least once. A mail is written once, kept, and sent as the same bytes
under one Message-ID however often it is tried. It arrives twice only if the relay accepted it
and this process did not learn that (the last reply was lost) or died before it could record it: a
plan that arrives twice does less harm than one that never arrives.

- 4xx for a mail: tried again after 1, 2, 4, 8, 16, then every 30 minutes until it expires; then
  dropped, with a warning in the log. Three such mails in a row suppress the reader.
- 5xx for a mail: failed, and the reader is suppressed until somebody looks.
- The relay cannot be reached, or refuses this service as a sender: no address is to blame, so all
  mails wait, with the same back-off, until they expire.

Any number of processes may send at once: mails are leased by the clock of the database, and none is
started whose lease is about to expire. One connection per process, at most ten mails a second.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import MailRefused, MailUnavailable, NotFound, RillwrightError
from service.logs import get_logger
from service.operations.access.sign_in_links import LINK_LASTS, SIGN_IN, queue_sign_in_links
from service.operations.access.unsubscribe import new_token, token_digest
from service.operations.mail.evening_mail import EVENING, evening_letter
from service.operations.mail.weekly_bulletin import (
    BULLETIN,
    bulletin_letter,
    queue_weekly_bulletins,
)
from service.operations.mail.weekly_summary import WEEKLY, queue_weekly_summaries, weekly_letter
from service.operations.timers.timer_links import unsubscribe_token_of
from service.ports import Clock, ComposeMail, MailSession, MailTransport
from service.records.letters import AnyLetter, MailStamp, SignInLetter
from service.records.mail import MailOrder, Person, QueuedMail
from service.records.weather import Attribution

LEASE_S = 120
BATCH_SIZE = 50
LEASE_LEFT = timedelta(seconds=40)
"""A mail is started only with this much of the lease left: more than the relay's time-out."""
PAUSE_S = 0.1
"""At most ten mails a second."""
LONGEST_WAIT_MIN = 30.0
LATE_LIMIT = 3
"""Mails in a row that the relay put off until they expired; then the reader is suppressed."""
KEPT_FOR = timedelta(days=90)
"""How long a mail's row, and with it its unsubscribe link, is kept."""
log = get_logger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Post:
    """What a sender works with."""

    owner: str
    """Name of this process, unique among those that share the database."""
    unit_of_work: UnitOfWorkFactory
    clock: Clock
    source_order: Mapping[str, int]
    compose: ComposeMail
    connect: MailTransport
    domain: str
    """Part of message ids after the ``@``."""
    attributions: Mapping[str, Attribution] = field(default_factory=dict)
    pause: Callable[[float], None] = time.sleep
    should_stop: Callable[[], bool] = lambda: False
    lease_clock: Callable[[Clock, UnitOfWorkFactory], Clock] = lambda clock, _unit_of_work: clock
    """The clock of leases, which all who share the database share; our own does for one machine."""
    checkpoint: Callable[[str], None] = lambda _name: None
    """Called at ``mail claimed``, ``mail written``, ``mail accepted``; a test may end the process
    there."""


@dataclass(slots=True)
class PostOutcome:
    """Result of one delivery round."""

    queued_count: int = 0
    sent_count: int = 0
    put_off_count: int = 0
    failed_count: int = 0
    dropped_count: int = 0
    trouble: str = ""
    """Why the relay could not be used; empty where it could."""


def deliver(post: Post) -> PostOutcome:
    """Queue the weekly mails and sign-in links that are due, then send all due mails."""
    queued = _queue_due(post.unit_of_work, now=post.clock.now())
    outcome = send_due(post)
    outcome.queued_count = queued
    return outcome


def is_mail_due(unit_of_work: UnitOfWorkFactory, *, now: datetime) -> bool:
    """Whether :func:`deliver` has anything to send; queues what is due, as that does."""
    _queue_due(unit_of_work, now=now)
    with unit_of_work(write=False) as unit:
        return unit.outbox.has_due(now=now)


def _queue_due(unit_of_work: UnitOfWorkFactory, *, now: datetime) -> int:
    queued = queue_sign_in_links(unit_of_work, now=now)
    queued += queue_weekly_summaries(unit_of_work, now=now)
    queued += queue_weekly_bulletins(unit_of_work, now=now)
    return queued


def send_due(post: Post) -> PostOutcome:
    """Send all mails that are due and that no other process has claimed."""
    outcome = PostOutcome()
    post = replace(post, clock=post.lease_clock(post.clock, post.unit_of_work))
    with post.unit_of_work(write=False) as unit:
        if not unit.outbox.has_due(now=post.clock.now()):
            return outcome
    connection = _Connection(post)
    try:
        while not post.should_stop() and not outcome.trouble:
            taken_at = post.clock.now()
            with post.unit_of_work(write=True, farm_keys=()) as unit:
                batch = unit.outbox.claim(
                    owner=post.owner, now=taken_at, lease_s=LEASE_S, limit=BATCH_SIZE
                )
            if not batch:
                break
            post.checkpoint("mail claimed")
            _send_batch(post, batch, taken_at + timedelta(seconds=LEASE_S), connection, outcome)
    finally:
        connection.close()
    if outcome.trouble:
        log.error("mail relay not usable", reason=outcome.trouble)
    return outcome


_Letters = dict[tuple[str, str, date, str], AnyLetter]
"""The letters of a batch: readers of one farm share a letter."""


def _letter_key(mail: QueuedMail) -> tuple[str, str, date, str]:
    order = mail.order
    return (order.kind, order.farm_id, order.plan_day, mail.person.person.reference_block_id)


class _Connection:
    """One connection to the relay, opened for the first mail, and reopened if it breaks."""

    def __init__(self, post: Post) -> None:
        self._post = post
        self._session: MailSession | None = None
        self._break_count = 0
        self.is_usable = True
        """False: nothing was reached, or the connection broke for two mails in a row."""

    def send(self, message: bytes, *, recipient: str) -> str:
        """As a session does; one mail at which the relay hangs up does not end the connection."""
        try:
            if self._session is None:
                self._break_count += 1
                self._session = self._post.connect()
                self._break_count -= 1
            reply = self._session.send(message, recipient=recipient)
        except MailRefused:
            self._break_count = 0
            raise
        except MailUnavailable:
            self._break_count += 1
            self.is_usable = self._break_count < 2
            self.close()
            raise
        self._break_count = 0
        return reply

    def close(self) -> None:
        session, self._session = self._session, None
        if session is not None:
            session.close()


def _send_batch(
    post: Post,
    batch: list[QueuedMail],
    lease_ends_at: datetime,
    connection: _Connection,
    outcome: PostOutcome,
) -> None:
    letters: _Letters = {}
    for place, mail in enumerate(batch):
        now = post.clock.now()
        if outcome.trouble or post.should_stop() or now >= lease_ends_at - LEASE_LEFT:
            _give_back(post, batch[place:], outcome)
            return
        reason = _why_not(mail, now)
        if reason:
            _drop(post, mail, reason, outcome)
            continue
        written = mail if mail.message else _write(post, mail, letters, outcome)
        if written is not None:
            _send_one(post, written, connection, outcome)


def _why_not(mail: QueuedMail, now: datetime) -> str:
    """Why a mail must not be sent any more; empty if it may."""
    if now >= mail.order.expires_at:
        return "expired"
    wanted = EVENING if mail.order.kind == EVENING else WEEKLY
    if mail.person.suppressed_at is not None:
        return "reader suppressed"
    if mail.order.kind != SIGN_IN and wanted not in mail.person.person.receives:
        return "not wanted any more"
    return ""


def _write(
    post: Post, mail: QueuedMail, letters: _Letters, outcome: PostOutcome
) -> QueuedMail | None:
    """The mail with its bytes, stored before they are sent; None if it cannot be written."""
    timer_token = new_token()
    stamp = MailStamp(
        message_id=message_id(mail.order, domain=post.domain),
        written_at=post.clock.now(),
        link_token=unsubscribe_token_of(timer_token),
        timer_token=timer_token,
    )
    try:
        key = _letter_key(mail)
        if key not in letters:
            letters[key] = letter_of(post, mail.order, mail.person.person)
        message = post.compose(letters[key], mail.person.person, stamp)
    except Exception as failure:  # one mail that cannot be written must not hold up the others
        log.error(
            "mail cannot be written",
            kind=mail.order.kind,
            farm=mail.order.farm_id,
            reason=f"{type(failure).__name__}: {failure}",
            exc_info=None if isinstance(failure, RillwrightError) else failure,
        )
        _put_off(post, mail, f"cannot be written: {type(failure).__name__}", outcome)
        return None
    with post.unit_of_work(write=True, farm_keys=()) as unit:
        unit.outbox.store_message(
            mail.mail_key,
            message,
            message_id=stamp.message_id,
            token_digest=token_digest(stamp.link_token),
        )
    post.checkpoint("mail written")
    return QueuedMail(
        mail_key=mail.mail_key,
        order=mail.order,
        person=mail.person,
        attempt_count=mail.attempt_count,
        message_id=stamp.message_id,
        message=message,
    )


def message_id(order: MailOrder, *, domain: str) -> str:
    """The same for every attempt, different for every mail."""
    name = {EVENING: "plan", WEEKLY: "week", BULLETIN: "counties", SIGN_IN: SIGN_IN}[order.kind]
    farm = f"{order.farm_id}." if order.farm_id else ""
    return (
        f"{name}.{farm}{order.plan_day.isoformat()}.v{order.plan_version}"
        f".{order.person_key}@{domain}"
    )


def letter_of(post: Post, order: MailOrder, reader: Person) -> AnyLetter:
    """The content of an order's mail as of now; raises NotFound."""
    if order.kind == SIGN_IN:
        return SignInLetter(lasts=LINK_LASTS)
    if order.kind == BULLETIN:
        return bulletin_letter(
            reader,
            order.plan_day,
            unit_of_work=post.unit_of_work,
            clock=post.clock,
            source_order=post.source_order,
            attributions=post.attributions,
        )
    with post.unit_of_work(write=False) as unit:
        farms = {farm.farm_id: farm for farm in unit.blocks.list_farms()}
    farm = farms.get(order.farm_id)
    if farm is None:
        raise NotFound(f"no farm {order.farm_id}")
    make = evening_letter if order.kind == EVENING else weekly_letter
    return make(
        farm, order.plan_day, unit_of_work=post.unit_of_work, attributions=post.attributions
    )


def _send_one(post: Post, mail: QueuedMail, connection: _Connection, outcome: PostOutcome) -> None:
    try:
        reply = connection.send(mail.message, recipient=mail.person.person.mail_address)
    except MailRefused as refusal:
        if refusal.is_final:
            _fail(post, mail, str(refusal), outcome)
        else:
            _put_off(post, mail, str(refusal), outcome)
    except MailUnavailable as trouble:
        if not connection.is_usable:
            outcome.trouble = str(trouble)
        _put_off(post, mail, str(trouble), outcome)
    else:
        post.checkpoint("mail accepted")
        with post.unit_of_work(write=True, farm_keys=()) as unit:
            unit.people.note_delivery(mail.person.person_key, is_delivered=True)
            _settle(post, unit, mail, state="sent", reply=reply)
        outcome.sent_count += 1
    post.pause(PAUSE_S)


def _put_off(post: Post, mail: QueuedMail, reply: str, outcome: PostOutcome) -> None:
    """Try again later; if that would be too late, drop the mail and log it."""
    wait_min = min(LONGEST_WAIT_MIN, 2.0 ** min(mail.attempt_count - 1, 10))
    next_try_at = post.clock.now() + timedelta(minutes=wait_min)
    # Asking for links in somebody's name must not be able to stop that person's plans.
    is_theirs = reply[:1] == "4" and mail.order.kind != SIGN_IN
    if next_try_at < mail.order.expires_at:
        with post.unit_of_work(write=True, farm_keys=()) as unit:
            _settle(post, unit, mail, state="queued", reply=reply, next_try_at=next_try_at)
        outcome.put_off_count += 1
        return
    _drop(post, mail, reply, outcome, is_theirs=is_theirs)


def _drop(
    post: Post, mail: QueuedMail, reason: str, outcome: PostOutcome, *, is_theirs: bool = False
) -> None:
    """``is_theirs``: the relay put off this reader's mails, not all."""
    with post.unit_of_work(write=True) as unit:
        _settle(post, unit, mail, state="dropped", reply=reason)
        if is_theirs:
            late_count = unit.people.note_delivery(mail.person.person_key, is_delivered=False)
            if late_count >= LATE_LIMIT:
                unit.people.suppress(
                    mail.person.person_key,
                    at=post.clock.now(),
                    reason=f"{late_count} mails put off until too late: {reason}",
                )
    outcome.dropped_count += 1
    log.warning("mail dropped", **_facts(mail), reason=reason)


def _fail(post: Post, mail: QueuedMail, reply: str, outcome: PostOutcome) -> None:
    with post.unit_of_work(write=True) as unit:
        _settle(post, unit, mail, state="failed", reply=reply)
        unit.people.suppress(mail.person.person_key, at=post.clock.now(), reason=reply)
    outcome.failed_count += 1
    log.warning("mail refused for good, its reader gets no more", **_facts(mail), reason=reply)


def _give_back(post: Post, mails: list[QueuedMail], outcome: PostOutcome) -> None:
    """Return claimed mails that were not tried to other processes or a later round."""
    now = post.clock.now()
    wait = timedelta(minutes=1.0 if outcome.trouble else 0.0)
    with post.unit_of_work(write=True, farm_keys=()) as unit:
        for mail in mails:
            _settle(post, unit, mail, state="queued", reply="", next_try_at=now + wait)


def _settle(
    post: Post,
    unit: UnitOfWork,
    mail: QueuedMail,
    *,
    state: str,
    reply: str,
    next_try_at: datetime | None = None,
) -> None:
    is_own = unit.outbox.settle(
        mail.mail_key,
        owner=post.owner,
        now=post.clock.now(),
        state=state,
        reply=reply[:500],
        next_try_at=next_try_at,
    )
    if not is_own:
        log.warning("mail was taken over by another sender", **_facts(mail))


def _facts(mail: QueuedMail) -> dict[str, object]:
    return {
        "kind": mail.order.kind,
        "farm": mail.order.farm_id,
        "day": mail.order.plan_day,
        "person": mail.person.person_key,
    }


def prune_mails(*, unit_of_work: UnitOfWorkFactory, clock: Clock) -> int:
    """Delete mails older than ninety days; returns how many."""
    with unit_of_work(write=True) as unit:
        return unit.outbox.prune(before=clock.now() - KEPT_FOR)
