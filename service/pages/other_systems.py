"""The page of the systems notified of a farm's events: who, how it goes, and one more."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from starlette.responses import Response

from service.database.session import UnitOfWork
from service.errors import Conflict, Fault, InputInvalid
from service.operations.access.manage_keys import Right
from service.operations.events.manage_subscriptions import (
    SubscriptionDraft,
    found_subscription,
    list_deliveries,
    list_subscriptions,
    put_subscription,
    remove_subscription,
    resend_events,
    rotate_secret,
    send_test,
)
from service.pages.plans import farm_of
from service.pages.visit import Visit, faults_by_field, redirect
from service.records.events import (
    SUBSCRIBED,
    Delivery,
    DeliveryState,
    EventKind,
    Subscription,
)
from service.records.farms import FarmDefinition
from service.translations import Wording
from service.translations.catalogue import marked

SHOWN_DELIVERIES: Final = 5
KINDS: Final[Mapping[EventKind, str]] = {
    EventKind.PLAN_PUBLISHED: marked("a plan is published"),
    EventKind.PLAN_REPLACED: marked("a published plan is replaced"),
    EventKind.BLOCK_SHORT: marked("a block is short of water"),
    EventKind.BLOCK_PAUSED: marked("a block is paused"),
    EventKind.PAUSE_CANCELED: marked("a pause is canceled"),
    EventKind.WEATHER_MISSING: marked("a site gets no weather data"),
    EventKind.CONTROLLER_SILENT: marked("a controller has stopped asking for its program"),
    EventKind.FLOW_ALARM: marked("the metered flow of a block has changed"),
    EventKind.TEST: marked("a test"),
}
STATES: Final[Mapping[DeliveryState, str]] = {
    DeliveryState.WAITING: marked("waits"),
    DeliveryState.DELIVERED: marked("taken"),
    DeliveryState.DEAD: marked("given up"),
}
DONE: Final[Mapping[str, str]] = {
    "stored": marked("Saved."),
    "removed": marked("Removed."),
    "tested": marked("A test is on its way. Look again in a few seconds."),
    "resent": marked("What was given up will be sent again."),
}
_FIELDS: Final = ("subscription_id", "url", "kinds", "note")


@dataclass(frozen=True, slots=True)
class DeliveryLine:
    """One of the last events of a receiver."""

    when: str
    what: str
    subject: str
    state: str
    answer: str


@dataclass(frozen=True, slots=True)
class SystemCard:
    """A receiver on the page."""

    subscription_id: str
    url: str
    note: str
    kinds: tuple[str, ...]
    """In the reader's words; empty: everything."""
    is_on: bool
    trouble: str
    """Why it is off, or since when it fails; empty: all is well."""
    has_dead: bool
    """Whether events were given up that can be sent again."""
    deliveries: tuple[DeliveryLine, ...]


def show_systems(visit: Visit) -> Response:
    """The page."""
    return _show(visit, farm_of(visit, Right.FARM_WRITE))


def change_systems(visit: Visit) -> Response:
    """One more system, or something done to one that is there; a secret is shown once."""
    farm = farm_of(visit, Right.FARM_WRITE)
    act = _ACTS.get(visit.form.get("act", ""), _add)
    try:
        with visit.service.unit_of_work(write=True) as unit:
            outcome = act(visit, unit, farm.farm_id)
    except InputInvalid as error:
        names = {name: name for name in _FIELDS}
        return _show(visit, farm, faults=faults_by_field(error, names))
    except Conflict as error:
        return _show(visit, farm, faults={"": Fault("", "", str(error))})
    if outcome in DONE:
        return redirect(f"/farms/{farm.farm_id}/other-systems", done=outcome)
    return _show(visit, farm, secret=outcome)


def _add(visit: Visit, unit: UnitOfWork, farm_id: str) -> str:
    form = visit.form
    draft = SubscriptionDraft(
        subscription_id=form.get("subscription_id", "").strip(),
        url=form.get("url", "").strip(),
        kinds=tuple(kind for kind in SUBSCRIBED if form.get(f"kind_{kind}")),
        note=form.get("note", "").strip(),
    )
    return _put(visit, unit, farm_id, draft)


def _switch(visit: Visit, unit: UnitOfWork, farm_id: str) -> str:
    known = found_subscription(unit, farm_id, visit.form.get("name", ""))
    draft = SubscriptionDraft(
        subscription_id=known.subscription_id,
        url=known.url,
        kinds=known.kinds,
        note=known.note,
        is_on=known.disabled_at is not None,
    )
    return _put(visit, unit, farm_id, draft)


def _put(visit: Visit, unit: UnitOfWork, farm_id: str, draft: SubscriptionDraft) -> str:
    service = visit.service
    stored = put_subscription(
        unit, farm_id, draft, rules=service.event_rules, now=service.clock.now()
    )
    return stored.secret or "stored"


def _rotate(visit: Visit, unit: UnitOfWork, farm_id: str) -> str:
    service, name = visit.service, visit.form.get("name", "")
    stored = rotate_secret(unit, farm_id, name, rules=service.event_rules, now=service.clock.now())
    return stored.secret or "stored"


def _test(visit: Visit, unit: UnitOfWork, farm_id: str) -> str:
    send_test(unit, farm_id, visit.form.get("name", ""), now=visit.service.clock.now())
    return "tested"


def _resend(visit: Visit, unit: UnitOfWork, farm_id: str) -> str:
    name, now = visit.form.get("name", ""), visit.service.clock.now()
    resend_events(unit, farm_id, name, event_ids=None, now=now)
    return "resent"


def _remove(visit: Visit, unit: UnitOfWork, farm_id: str) -> str:
    remove_subscription(unit, farm_id, visit.form.get("name", ""))
    return "removed"


_ACTS: Final[Mapping[str, Callable[[Visit, UnitOfWork, str], str]]] = {
    "test": _test, "switch": _switch, "rotate": _rotate, "resend": _resend, "remove": _remove,
}  # fmt: skip


def _show(
    visit: Visit,
    farm: FarmDefinition,
    *,
    faults: Mapping[str, Fault] | None = None,
    secret: str = "",
) -> Response:
    found = list_subscriptions(farm.farm_id, unit_of_work=visit.service.unit_of_work)
    words, what_was_done = visit.words, DONE.get(visit.query.get("done", ""))
    return visit.show(
        "other_systems.html",
        status=422 if faults else 200,
        farm=farm,
        systems=[_card(visit, farm, each) for each in found],
        kinds=[(f"kind_{kind}", words.gettext(KINDS[kind])) for kind in SUBSCRIBED],
        form=visit.form if faults else {},
        faults=faults or {},
        fields=_FIELDS,
        secret=secret,
        sends_events=bool(visit.service.event_rules.own_secret),
        done="" if what_was_done is None else words.gettext(what_was_done),
    )


def _card(visit: Visit, farm: FarmDefinition, each: Subscription) -> SystemCard:
    words = visit.words
    read = visit.service.unit_of_work
    last = list_deliveries(
        farm.farm_id, each.subscription_id, count=SHOWN_DELIVERIES, unit_of_work=read
    )
    dead = list_deliveries(
        farm.farm_id, each.subscription_id, count=1, state=DeliveryState.DEAD, unit_of_work=read
    )
    trouble = ""
    if each.disabled_at is not None:
        trouble = words.gettext(
            "Off since {when}: {reason}",
            when=_when(each.disabled_at, farm.zone, words),
            reason=each.disabled_reason,
        )
    elif each.failing_since is not None:
        when = _when(each.failing_since, farm.zone, words)
        trouble = words.gettext("Since {when} it has taken nothing.", when=when)
    has_all = each.kinds >= set(SUBSCRIBED)
    return SystemCard(
        subscription_id=each.subscription_id,
        url=each.url,
        note=each.note,
        kinds=()
        if has_all
        else tuple(words.gettext(KINDS[kind]) for kind in SUBSCRIBED if kind in each.kinds),
        is_on=each.disabled_at is None,
        trouble=trouble,
        has_dead=bool(dead.deliveries),
        deliveries=tuple(_line(one, farm.zone, words) for one in last.deliveries),
    )


def _line(one: Delivery, zone: str, words: Wording) -> DeliveryLine:
    return DeliveryLine(
        when=_when(one.occurred_at, zone, words),
        what=words.gettext(KINDS[one.kind]),
        subject=one.subject,
        state=words.gettext(STATES[one.state]),
        answer=" ".join(filter(None, [str(one.status or ""), one.reply])),
    )


def _when(at: datetime, zone: str, words: Wording) -> str:
    return f"{words.short_day(at.astimezone(ZoneInfo(zone)).date())}, {words.clock(at, zone)}"
