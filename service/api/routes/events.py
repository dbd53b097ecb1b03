"""Telling other systems: subscriptions of a farm, their secrets, and what was delivered."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query, Response
from pydantic import BaseModel

from service.api import event_examples as examples
from service.api.access import Right, needs
from service.api.answers import IfNoneMatch, conditional_response, described, problems
from service.api.dependencies import SLUG_PATTERN, FarmId, TheService
from service.api.once import NO_STORE, TheOnce, answered_once
from service.api.paging import ThePages, list_answers, next_address
from service.api.problem_types import (
    CONFLICT,
    INVALID_REQUEST,
    MALFORMED_JSON,
    NOT_FOUND,
    TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
)
from service.api.routes.runs import REPORT_PROBLEMS
from service.api.schemas.events import (
    EVENTS,
    DeliveriesQuery,
    DeliveryOut,
    DeliveryPageOut,
    ResendIn,
    ResentOut,
    StoredSubscriptionOut,
    SubscriptionIn,
    SubscriptionOut,
    SubscriptionsOut,
    TestEventOut,
)
from service.database.session import UnitOfWork
from service.operations.events import manage_subscriptions as subscriptions
from service.records.events import EventKind

router = APIRouter(tags=["events"])
webhooks = APIRouter(tags=["events"])
_ALL = "/farms/{farm_id}/event-subscriptions"
_ONE = f"{_ALL}/{{subscription_id}}"
_MANAGES = needs(Right.FARM_WRITE)
SubscriptionId = Annotated[
    str,
    Path(
        pattern=SLUG_PATTERN,
        description="Name of the subscription: small letters, digits and hyphens.",
        examples=["office"],
    ),
]


@router.get(
    _ALL,
    dependencies=[_MANAGES],
    operation_id="list_event_subscriptions",
    summary="List the systems notified of a farm's events",
    description="Ten at most, by name, with whether they take what they are sent.",
    response_model=SubscriptionsOut,
    responses=list_answers("The subscriptions.", examples.SUBSCRIPTIONS),
)
def list_event_subscriptions(
    farm_id: FarmId, service: TheService, if_none_match: IfNoneMatch = None
) -> Response:
    """The subscriptions, or 304 if the caller already has them."""
    found = subscriptions.list_subscriptions(farm_id, unit_of_work=service.unit_of_work)
    items = [SubscriptionOut.from_record(each) for each in found]
    return conditional_response(SubscriptionsOut(farm_id=farm_id, items=items), if_none_match)


@router.get(
    _ONE,
    dependencies=[_MANAGES],
    operation_id="get_event_subscription",
    summary="Get a subscription to events",
    description="Without its secret, which is shown when it is made and never again.",
    response_model=SubscriptionOut,
    responses=list_answers("The subscription.", examples.SUBSCRIPTION),
)
def get_event_subscription(
    farm_id: FarmId,
    subscription_id: SubscriptionId,
    service: TheService,
    if_none_match: IfNoneMatch = None,
) -> Response:
    """The subscription, or 304 if the caller already has it."""
    found = subscriptions.get_subscription(
        farm_id, subscription_id, unit_of_work=service.unit_of_work
    )
    return conditional_response(SubscriptionOut.from_record(found), if_none_match)


@router.put(
    _ONE,
    dependencies=[_MANAGES],
    operation_id="record_event_subscription",
    summary="Subscribe to a farm's events, or change a subscription",
    description="The caller chooses the name; sending the same again changes nothing. The secret of"
    " a new subscription is in this answer and in no other. Events are CloudEvents 1.0, signed by"
    " Standard Webhooks, sent at least once and in the order of the farm; the section `webhooks` of"
    " this document describes them. A receiver answers 2xx within 15 seconds; otherwise the event"
    " is sent again for three days, and after five days of failure the subscription is switched"
    " off. `is_on: true` switches it on again.",
    response_model=StoredSubscriptionOut,
    responses={
        200: described("The subscription.", examples.STORED),
        **problems(
            MALFORMED_JSON, TOO_LARGE, UNSUPPORTED_MEDIA_TYPE, NOT_FOUND, CONFLICT, INVALID_REQUEST
        ),
    },
    openapi_extra={"requestBody": {"content": {"application/json": {"example": examples.WANTED}}}},
)
def record_event_subscription(
    farm_id: FarmId, subscription_id: SubscriptionId, body: SubscriptionIn, service: TheService
) -> Response:
    """Store it; a secret is never kept with the answer to a repeated request."""
    with service.unit_of_work(write=True) as unit:
        stored = subscriptions.put_subscription(
            unit,
            farm_id,
            body.draft(subscription_id),
            rules=service.event_rules,
            now=service.clock.now(),
        )
    return _unstored(StoredSubscriptionOut.from_record(stored))


@router.delete(
    _ONE,
    dependencies=[_MANAGES],
    operation_id="remove_event_subscription",
    summary="Remove a subscription to events",
    description="Nothing more is sent, and what waits is dropped.",
    response_model=SubscriptionsOut,
    responses={
        200: described("The subscriptions that are left.", {**examples.SUBSCRIPTIONS, "items": []}),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def remove_event_subscription(
    farm_id: FarmId, subscription_id: SubscriptionId, service: TheService
) -> Response:
    """Remove it."""
    with service.unit_of_work(write=True) as unit:
        subscriptions.remove_subscription(unit, farm_id, subscription_id)
        left = unit.subscriptions.list_all(farm_id)
    items = [SubscriptionOut.from_record(each) for each in left]
    return _unstored(SubscriptionsOut(farm_id=farm_id, items=items))


@router.post(
    f"{_ONE}/secret",
    dependencies=[_MANAGES],
    operation_id="rotate_event_secret",
    summary="Replace the secret of a subscription",
    description="The new secret is in this answer and in no other. For a day both sign, so that no"
    " event is missed while the receiver learns the new one. Sent again, it is replaced again.",
    response_model=StoredSubscriptionOut,
    responses={
        200: described("The subscription with its new secret.", examples.STORED),
        **problems(NOT_FOUND, CONFLICT, INVALID_REQUEST),
    },
)
def rotate_event_secret(
    farm_id: FarmId, subscription_id: SubscriptionId, service: TheService
) -> Response:
    """Make a new secret."""
    with service.unit_of_work(write=True) as unit:
        stored = subscriptions.rotate_secret(
            unit,
            farm_id,
            subscription_id,
            rules=service.event_rules,
            now=service.clock.now(),
        )
    return _unstored(StoredSubscriptionOut.from_record(stored))


@router.post(
    f"{_ONE}/tests",
    dependencies=[_MANAGES],
    operation_id="send_test_event",
    summary="Send a test event",
    description="Sent to this receiver within seconds, whatever kinds it is for.",
    response_model=TestEventOut,
    responses={
        200: described("The event waits.", examples.TESTED),
        **problems(*REPORT_PROBLEMS, CONFLICT),
    },
)
def send_test_event(
    farm_id: FarmId, subscription_id: SubscriptionId, service: TheService, once: TheOnce
) -> Response:
    """Queue it once."""

    def work(unit: UnitOfWork) -> TestEventOut:
        now = service.clock.now()
        return TestEventOut(
            event_id=subscriptions.send_test(unit, farm_id, subscription_id, now=now)
        )

    return answered_once(once, work, service)


@router.get(
    f"{_ONE}/deliveries",
    dependencies=[_MANAGES],
    operation_id="list_event_deliveries",
    summary="List what was sent to a receiver",
    description="The newest event first, page by page; follow `next` until it is null. Kept for"
    " thirty days. `state=dead` lists what was given up.",
    response_model=DeliveryPageOut,
    responses=list_answers("A page of deliveries.", examples.DELIVERIES),
)
def list_event_deliveries(
    farm_id: FarmId,
    subscription_id: SubscriptionId,
    service: TheService,
    pages: ThePages,
    query: Annotated[DeliveriesQuery, Query()],
) -> Response:
    """A page of deliveries; the cursor names the last one of the page before."""
    found = subscriptions.list_deliveries(
        farm_id,
        subscription_id,
        count=query.size,
        state=query.state,
        older_than=query.after_key,
        unit_of_work=service.unit_of_work,
    )
    last = found.deliveries[-1].event_key if found.has_more else None
    page = DeliveryPageOut(
        items=[DeliveryOut.from_record(each) for each in found.deliveries],
        next=None if last is None else next_address(pages.request, last),
    )
    return conditional_response(page, pages.if_none_match)


@router.post(
    f"{_ONE}/resends",
    dependencies=[_MANAGES],
    operation_id="resend_events",
    summary="Send events again that were given up",
    description="All of them, or some; under their old ids, before what waits already.",
    response_model=ResentOut,
    responses={
        200: described("They wait again.", examples.RESENT),
        **problems(*REPORT_PROBLEMS, CONFLICT),
    },
)
def resend_events(
    farm_id: FarmId,
    subscription_id: SubscriptionId,
    body: ResendIn,
    service: TheService,
    once: TheOnce,
) -> Response:
    """Queue them once."""

    def work(unit: UnitOfWork) -> ResentOut:
        count = subscriptions.resend_events(
            unit,
            farm_id,
            subscription_id,
            event_ids=body.event_ids,
            now=service.clock.now(),
        )
        return ResentOut(resent_count=count)

    return answered_once(once, work, service)


def _unstored(content: BaseModel) -> Response:
    """An answer that no cache may keep."""
    return Response(content.model_dump_json(), media_type="application/json", headers=NO_STORE)


def _describe(kind: EventKind) -> None:
    """Put an event into the section ``webhooks`` of the API's document."""
    model = EVENTS[kind]

    def receive(_body: BaseModel) -> None:
        """Described, never called."""

    receive.__annotations__["_body"] = model
    webhooks.post(
        str(kind),
        operation_id=f"receive_{kind}".replace(".", "_").replace("-", "_"),
        summary=(model.__doc__ or "").strip(),
        description="Sent as `application/cloudevents+json` with `webhook-id`, `webhook-timestamp`"
        " and `webhook-signature` (Standard Webhooks). Answer with any 2xx.",
        status_code=204,
        response_class=Response,
        responses={
            204: {"description": "The receiver has taken the event."},
            "default": {"description": "It has not, and the event is sent again later."},
        },
    )(receive)


for _kind in EventKind:
    _describe(_kind)
