"""Telling other systems what happens: subscriptions, deliveries, and sending what waits."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from service.cli import shown
from service.cli.terminal import (
    EXIT_UNFULFILLED,
    JsonOption,
    note,
    open_service,
    out,
    plain_table,
    print_json,
)
from service.operations.events.manage_subscriptions import (
    SubscriptionDraft,
    list_deliveries,
    list_subscriptions,
    put_subscription,
    remove_subscription,
    resend_events,
    rotate_secret,
    send_test,
)
from service.records.events import SUBSCRIBED, Delivery, DeliveryState, Subscription

events = typer.Typer(
    no_args_is_help=True, help="Tell other systems what happens at a farm, by signed webhooks."
)
FarmArgument = Annotated[str, typer.Argument(help="Farm whose events they are.")]
NameArgument = Annotated[str, typer.Argument(help="Name of the subscription, such as 'office'.")]


@events.command("add")
def add(
    farm: FarmArgument,
    name: NameArgument,
    url: Annotated[str, typer.Argument(help="Where to send, https://...")],
    kind: Annotated[
        list[str] | None,
        typer.Option(
            "--kind", help=f"May be repeated; all if left out. {', '.join(map(str, SUBSCRIBED))}."
        ),
    ] = None,
    remark: Annotated[str, typer.Option("--note", help="What the receiver is.")] = "",
    off: Annotated[bool, typer.Option("--off", help="Send nothing for now.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Set up a subscription, or change the one of that name; a new one's secret is shown once."""
    service = open_service()
    draft = SubscriptionDraft(
        subscription_id=name,
        url=url,
        kinds=tuple(kind) if kind else SUBSCRIBED,
        note=remark,
        is_on=not off,
    )
    with service.unit_of_work(write=True) as unit:
        stored = put_subscription(
            unit, farm, draft, rules=service.event_rules, now=service.clock.now()
        )
    if as_json:
        print_json({**_document(stored.subscription), "secret": stored.secret})
        return
    if stored.secret is None:
        out.print(f"subscription {name} of {farm} is as given")
        return
    _show_secret(name, stored.secret)


@events.command("list")
def show(farm: FarmArgument, as_json: JsonOption = False) -> None:
    """List the subscriptions of a farm."""
    service = open_service()
    found = list_subscriptions(farm, unit_of_work=service.unit_of_work)
    if as_json:
        print_json([_document(each) for each in found])
        return
    table = plain_table("Name", "Address", "Kinds", "State")
    for each in found:
        table.add_row(
            each.subscription_id,
            each.url,
            "all" if each.kinds >= set(SUBSCRIBED) else " ".join(sorted(each.kinds)),
            _state(each),
        )
    out.print(table)
    if not found:
        note(f"no system is notified of what happens at {farm}")


@events.command("remove")
def remove(farm: FarmArgument, name: NameArgument) -> None:
    """Remove a subscription and all that waits for it."""
    service = open_service()
    with service.unit_of_work(write=True) as unit:
        remove_subscription(unit, farm, name)
    out.print(f"subscription {name} of {farm} is removed")


@events.command("rotate")
def rotate(farm: FarmArgument, name: NameArgument, as_json: JsonOption = False) -> None:
    """Replace the secret of a subscription; the former one signs too for another day."""
    service = open_service()
    with service.unit_of_work(write=True) as unit:
        stored = rotate_secret(unit, farm, name, rules=service.event_rules, now=service.clock.now())
    if as_json:
        until = stored.subscription.former_until
        print_json({"secret": stored.secret, "former_until": until})
        return
    _show_secret(name, stored.secret or "")


@events.command("test")
def test(farm: FarmArgument, name: NameArgument, as_json: JsonOption = False) -> None:
    """Queue a test event for one receiver."""
    service = open_service()
    with service.unit_of_work(write=True) as unit:
        event_id = send_test(unit, farm, name, now=service.clock.now())
    if as_json:
        print_json({"event_id": event_id})
        return
    out.print(f"event {event_id} waits; `rillwright events deliveries {farm} {name}` shows it")


@events.command("deliveries")
def deliveries(
    farm: FarmArgument,
    name: NameArgument,
    state: Annotated[
        DeliveryState | None, typer.Option("--state", help="Only deliveries in this state.")
    ] = None,
    count: Annotated[int, typer.Option("--count", min=1, max=1000, help="Most of them.")] = 50,
    as_json: JsonOption = False,
) -> None:
    """List what was sent to a receiver, what waits and what was given up, the newest first."""
    service = open_service()
    found = list_deliveries(farm, name, count=count, state=state, unit_of_work=service.unit_of_work)
    if as_json:
        print_json({"items": [_delivery(each) for each in found.deliveries],
                    "has_more": found.has_more})  # fmt: skip
        return
    table = plain_table("Event", "What", "About", "At (UTC)", "State", "Tries", "Last answer")
    for each in found.deliveries:
        answer = " ".join(filter(None, [str(each.status or ""), each.reply]))
        table.add_row(
            each.event_id, each.kind.value, each.subject, f"{each.occurred_at:%Y-%m-%d %H:%M:%S}",
            each.state.value, str(each.attempt_count), answer,
        )  # fmt: skip
    out.print(table)
    if found.has_more:
        note(f"there are older ones; --count shows more than {shown.count(count, 'event')}")


@events.command("resend")
def resend(
    farm: FarmArgument,
    name: NameArgument,
    event: Annotated[
        list[str] | None, typer.Argument(help="Events that were given up; all if left out.")
    ] = None,
) -> None:
    """Queue events again that were given up."""
    service = open_service()
    with service.unit_of_work(write=True) as unit:
        count = resend_events(unit, farm, name, event_ids=event or None, now=service.clock.now())
    out.print(f"{shown.count(count, 'event')} will be sent again")


@events.command("send")
def send(as_json: JsonOption = False) -> None:
    """Send what waits now, as `rillwright schedule` does every few seconds."""
    service = open_service()
    from service import scheduler

    tell = scheduler.make_teller(service, owner=scheduler.make_duties(service).owner)
    if tell is None:
        note("nothing is sent: RILLWRIGHT_EVENT_SECRET is not set")
        raise typer.Exit(EXIT_UNFULFILLED)
    outcome = tell()
    if as_json:
        print_json(asdict(outcome))
        return
    out.print(
        f"{shown.count(outcome.delivered_count, 'event')} delivered,"
        f" {shown.count(outcome.put_off_count, 'receiver')} to be tried again,"
        f" {shown.count(outcome.dead_count, 'event')} given up"
    )


def _show_secret(name: str, secret: str) -> None:
    note(f"secret of {name!r}; it is shown only once, so store it now:")
    out.print(secret, soft_wrap=True)


def _state(each: Subscription) -> str:
    if each.disabled_at is not None:
        return f"off since {each.disabled_at:%Y-%m-%d %H:%M}: {each.disabled_reason}"
    if each.failing_since is not None:
        return f"failing since {each.failing_since:%Y-%m-%d %H:%M}"
    return "on"


def _document(each: Subscription) -> dict[str, object]:
    return {
        "subscription_id": each.subscription_id,
        "farm_id": each.farm_id,
        "url": each.url,
        "kinds": sorted(each.kinds),
        "note": each.note,
        "created_at": each.created_at,
        "disabled_at": each.disabled_at,
        "disabled_reason": each.disabled_reason,
        "failing_since": each.failing_since,
        "next_try_at": each.next_try_at,
        "former_secret_until": each.former_until,
    }


def _delivery(each: Delivery) -> dict[str, object]:
    document = asdict(each)
    document.pop("event_key")
    return document
