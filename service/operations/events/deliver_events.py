"""Send the events that wait: claim receivers, send, store what became of it.

Every receiver gets each event at least once, and the events of a farm in their order. A receiver is
claimed as a whole, under a lease, and its events are sent one after the other up to the first that
fails; then all of them wait. An event arrives twice, with the same id, only if the receiver took it
and this process did not learn that or died before it could store it.

Any number of processes may send at once. No attempt begins that could outlast the lease.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.logs import get_logger
from service.operations.events.cloud_event import cloud_event
from service.operations.events.event_secrets import signing_secrets
from service.operations.events.manage_subscriptions import noted
from service.operations.events.retry_rule import (
    GIVE_UP_AFTER,
    LONGEST_WAIT_S,
    REFUSING,
    next_try,
    state_after,
    why_disabled,
)
from service.ports import Clock, SendParcels
from service.records.audit import Subject
from service.records.events import (
    Attempt,
    DeliveryState,
    Lane,
    LaneResult,
    Letter,
    Parcel,
)

LEASE_S = 90
LEASE_LEFT = timedelta(seconds=30)
"""An attempt begins only with this much of the lease left: more than it may take."""
LANES = 32
EVENTS_EACH = 100
"""How many events of a receiver are sent before it is stored that they were: what a process that
dies may send twice."""
KEPT_FOR = timedelta(days=30)
"""How long events are kept that were delivered or given up."""
UNSIGNED = "RILLWRIGHT_EVENT_SECRET is not the one that the receiver's secret was made with"
log = get_logger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dispatch:
    """What a process that sends events works with."""

    owner: str
    """Name of this process, unique among those that share the database."""
    unit_of_work: UnitOfWorkFactory
    clock: Clock
    send: SendParcels
    own_secret: str
    """The operator's, from which the signing secrets follow."""
    base_url: str
    """Address of this service, without a slash at its end."""
    chance: Callable[[], float] = random.random
    """From 0 to 1, for the waits."""
    should_stop: Callable[[], bool] = lambda: False
    """Checked between rounds."""
    lease_clock: Callable[[Clock, UnitOfWorkFactory], Clock] = lambda clock, _unit_of_work: clock
    """The clock by which receivers are leased, the same for all who share the database; by default
    our own, which will do for one machine."""
    checkpoint: Callable[[str], None] = lambda _name: None
    """Called at ``events claimed`` and ``events sent``; a test may end the process there."""


@dataclass(slots=True)
class DispatchOutcome:
    """What was done with the events that waited."""

    delivered_count: int = 0
    put_off_count: int = 0
    """Receivers that failed and are tried again later."""
    dead_count: int = 0
    disabled_count: int = 0


def deliver_events(dispatch: Dispatch) -> DispatchOutcome:
    """Send all events that may be sent now and that no other process has claimed."""
    outcome = DispatchOutcome()
    own = dispatch.clock
    dispatch = replace(dispatch, clock=dispatch.lease_clock(own, dispatch.unit_of_work))
    while not dispatch.should_stop():
        now = dispatch.clock.now()
        with dispatch.unit_of_work(write=False) as unit:
            if not unit.events.has_due(now=now):
                break
        with dispatch.unit_of_work(write=True) as unit:
            lanes = unit.events.claim(
                owner=dispatch.owner,
                now=now,
                lease_s=LEASE_S,
                lanes=LANES,
                events_each=EVENTS_EACH,
            )
        if not lanes:
            break
        dispatch.checkpoint("events claimed")
        # The sender looks at our own clock, which may not be the one that leases go by.
        until = own.now() + (now - dispatch.clock.now()) + timedelta(seconds=LEASE_S) - LEASE_LEFT
        attempts = _send(dispatch, lanes, now, until=until)
        dispatch.checkpoint("events sent")
        with dispatch.unit_of_work(write=True) as unit:
            for lane, of_lane in zip(lanes, attempts, strict=True):
                _settle(dispatch, unit, lane, of_lane, outcome)
    return outcome


def prune_events(*, unit_of_work: UnitOfWorkFactory, clock: Clock) -> int:
    """Delete deliveries older than thirty days that wait no more; returns how many."""
    with unit_of_work(write=True) as unit:
        return unit.events.prune(before=clock.now() - KEPT_FOR)


def _send(
    dispatch: Dispatch, lanes: Sequence[Lane], claimed_at: datetime, *, until: datetime
) -> list[Sequence[Attempt] | None]:
    """The attempts at each lane's events; None for a lane that cannot be signed for."""
    found: list[Sequence[Attempt] | None] = [None] * len(lanes)
    places, parcels = [], []
    for place, lane in enumerate(lanes):
        secrets = signing_secrets(lane.subscription, dispatch.own_secret, now=claimed_at)
        if not secrets:
            log.error("events cannot be signed: rotate the secret", **_about(lane), reason=UNSIGNED)
            continue
        letters = (
            Letter(event.event_id, cloud_event(event, base_url=dispatch.base_url))
            for event in lane.events
        )
        places.append(place)
        parcels.append(Parcel(lane.subscription.url, secrets, tuple(letters)))
    for place, attempts in zip(places, dispatch.send(parcels, until=until), strict=True):
        found[place] = attempts
    return found


def _settle(
    dispatch: Dispatch,
    unit: UnitOfWork,
    lane: Lane,
    attempts: Sequence[Attempt] | None,
    outcome: DispatchOutcome,
) -> None:
    """Store what became of a lane; its events wait on if another process has taken it over."""
    result = _result(dispatch, lane, attempts)
    if not unit.events.settle(lane.lane_key, result, owner=dispatch.owner):
        log.warning("a receiver was taken over by another sender", **_about(lane))
        return
    outcome.delivered_count += sum(each.is_delivered for each in attempts or ())
    outcome.dead_count += sum(state is DeliveryState.DEAD for state, _ in result.attempts.values())
    if not attempts or attempts[-1].is_delivered:
        return
    last = attempts[-1]
    log.warning("an event was not taken", **_about(lane), status=last.status, reason=last.reply)
    outcome.put_off_count += 1
    if result.disabled_at is not None:
        outcome.disabled_count += 1
        outcome.dead_count += _switch_off(unit, lane, result)
    elif last.status not in REFUSING:
        outcome.dead_count += unit.events.give_up(
            lane.subscription, reason=last.reply, queued_before=last.at - GIVE_UP_AFTER
        )


def _result(dispatch: Dispatch, lane: Lane, attempts: Sequence[Attempt] | None) -> LaneResult:
    """What to store: what became of each event, and when the receiver is tried again."""
    now, failing_since = dispatch.clock.now(), lane.subscription.failing_since
    if not attempts:  # it could not be signed for, or the lease was all but over
        wait_s = LONGEST_WAIT_S if attempts is None else 0.0
        next_at = now + timedelta(seconds=wait_s)
        return LaneResult(attempts={}, next_try_at=next_at, failing_since=failing_since)
    tried = list(zip(lane.events, attempts, strict=False))
    states = {event.event_key: (state_after(event, each), each) for event, each in tried}
    event, last = tried[-1]
    if last.is_delivered:
        return LaneResult(attempts=states, next_try_at=now, failing_since=None)
    if failing_since is None or len(tried) > 1:
        failing_since = last.at
    reason = why_disabled(failing_since, last)
    # An event that is given up holds up those behind it no longer.
    is_dead = states[event.event_key][0] is DeliveryState.DEAD
    return LaneResult(
        attempts=states,
        next_try_at=now if is_dead else next_try(event, last, chance=dispatch.chance()),
        failing_since=failing_since,
        disabled_at=now if reason else None,
        disabled_reason=reason,
    )


def _switch_off(unit: UnitOfWork, lane: Lane, result: LaneResult) -> int:
    """Give up all that waits for a receiver, and note why; returns how many events."""
    before = lane.subscription
    log.error("a receiver is switched off", **_about(lane), reason=result.disabled_reason)
    after = replace(before, disabled_at=result.disabled_at, disabled_reason=result.disabled_reason)
    unit.audit.note(
        Subject.SUBSCRIPTION,
        before.subscription_id,
        farm_id=before.farm_id,
        before=noted(before),
        after=noted(after),
    )
    return unit.events.give_up(before, reason=result.disabled_reason)


def _about(lane: Lane) -> dict[str, object]:
    return {
        "farm": lane.subscription.farm_id,
        "subscription": lane.subscription.subscription_id,
    }
