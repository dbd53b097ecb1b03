"""Subscriptions to events, deliveries, and the events themselves as receivers get them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Annotated, Generic, Literal, Self, TypeVar

from pydantic import Field

from service.api.schemas.bodies import Body
from service.api.schemas.facts import Out
from service.api.schemas.pages import PageOut
from service.api.schemas.queries import PageQuery
from service.operations.events.manage_subscriptions import (
    LONGEST_NOTE,
    StoredSubscription,
    SubscriptionDraft,
)
from service.records.events import SUBSCRIBED, Delivery, DeliveryState, EventKind, Subscription
from service.records.receiver_address import LONGEST_URL

MOST_RESENT = 200


class SubscriptionIn(Body):
    """A system that wants to be notified."""

    url: str = Field(
        min_length=9,
        max_length=LONGEST_URL,
        pattern=r"^https?://[!-~]+$",
        description="Where events are sent: https at port 443 of a public address, or what the"
        " operator lists besides. Names are looked up for each connection.",
        examples=["https://office.example.org/events"],
    )
    kinds: list[Annotated[EventKind, Field(strict=False)]] = Field(
        list(SUBSCRIBED),
        min_length=1,
        max_length=len(SUBSCRIBED),
        description="What to be notified of; everything if left out. `test` cannot be chosen: tests"
        " are sent when they are asked for.",
        json_schema_extra={"items": {"type": "string", "enum": [str(kind) for kind in SUBSCRIBED]}},
    )
    note: str = Field(
        "",
        max_length=LONGEST_NOTE,
        pattern=r"^[^\x00-\x1f\x7f-\x9f]*$",
        description="What the receiver is, in one line.",
    )
    is_on: bool = Field(True, description="False: nothing is sent, and nothing waits.")

    def draft(self, subscription_id: str) -> SubscriptionDraft:
        """The subscription as the operation takes it."""
        return SubscriptionDraft(
            subscription_id=subscription_id,
            url=self.url,
            kinds=self.kinds,
            note=self.note,
            is_on=self.is_on,
        )


class SubscriptionOut(Out):
    """A system that wants to be notified."""

    farm_id: str
    subscription_id: str = Field(description="Name of the subscription at its farm.")
    url: str
    kinds: list[EventKind]
    note: str
    created_at: datetime = Field(description="When it was set up, UTC.")
    is_on: bool
    disabled_at: datetime | None = Field(description="Since when nothing is sent; null: it is on.")
    disabled_reason: str = Field(description="Why nothing is sent.")
    failing_since: datetime | None = Field(
        description="Since when every attempt has failed; null: the last one went well."
    )
    former_secret_until: datetime | None = Field(
        description="Until when the secret before the last rotation signs too."
    )

    @classmethod
    def from_record(cls, found: Subscription) -> Self:
        """The subscription."""
        return cls(
            farm_id=found.farm_id,
            subscription_id=found.subscription_id,
            url=found.url,
            kinds=sorted(found.kinds),
            note=found.note,
            created_at=found.created_at,
            is_on=found.disabled_at is None,
            disabled_at=found.disabled_at,
            disabled_reason=found.disabled_reason,
            failing_since=found.failing_since,
            former_secret_until=found.former_until,
        )


class SubscriptionsOut(Out):
    """The subscriptions of a farm."""

    farm_id: str
    items: list[SubscriptionOut] = Field(description="By name.")


class StoredSubscriptionOut(Out):
    """A subscription as it is now."""

    subscription: SubscriptionOut
    secret: str | None = Field(
        description="Verifies the signatures (Standard Webhooks); shown this once. Null: it has"
        " been shown before."
    )

    @classmethod
    def from_record(cls, stored: StoredSubscription) -> Self:
        """The subscription, and its secret if it is new."""
        return cls(
            subscription=SubscriptionOut.from_record(stored.subscription), secret=stored.secret
        )


class TestEventOut(Out):
    """A test event that waits."""

    event_id: str = Field(description="Its id; the list of deliveries shows what becomes of it.")


class ResendIn(Body):
    """Events to send again."""

    event_ids: list[str] | None = Field(
        None,
        min_length=1,
        max_length=MOST_RESENT,
        description="Events that were given up; all of them if left out.",
        examples=[["evt_4b1f0c6d2e8a4f7b9c3d5e6f7a8b9c0d"]],
    )


class ResentOut(Out):
    """Events that wait again."""

    resent_count: int = Field(description="How many there are.")


class DeliveriesQuery(PageQuery):
    """Selects deliveries."""

    state: DeliveryState | None = Field(
        None, description="Only deliveries in this state.", examples=["dead"]
    )


class DeliveryOut(Out):
    """An event on its way to one receiver."""

    event_id: str
    kind: EventKind
    subject: str = Field(description="What it is about: a block, a site, a controller.")
    occurred_at: datetime = Field(description="When it happened, UTC.")
    state: DeliveryState = Field(
        description="`waiting`; `delivered`: the receiver answered with success; `dead`: given up."
    )
    attempt_count: int = Field(description="Attempts so far, since it was last sent again.")
    tried_at: datetime | None = Field(description="When the last attempt was, UTC.")
    status: int | None = Field(description="HTTP status of the last answer; null: none came.")
    reply: str = Field(description="Beginning of the last answer, or why none came.")

    @classmethod
    def from_record(cls, found: Delivery) -> Self:
        """The delivery."""
        return cls.model_validate(found, from_attributes=True)


class DeliveryPageOut(PageOut[DeliveryOut]):
    """A page of deliveries, the newest event first."""


# --- events as they are sent ---------------------------------------------------------------------


class PlanNewsOut(Out):
    """A new version of a block's plan; `GET /v1/blocks/{block_id}/plan` has the details."""

    farm_id: str
    block_id: str
    day: date = Field(description="Local day that the plan is for.")
    version: int = Field(description="Rises with each change of the day's plan.")
    status: str = Field(description="`water`, `rest` or `no-weather`.")
    planned_min: int = Field(description="Run time of the day, min.")
    pulse_count: int = Field(description="Number of pulses.")
    gross_mm: float = Field(description="Gross depth applied over the block area, mm.")
    net_mm: float = Field(description="Net depth that reaches the root zone, mm.")
    issued_at: datetime = Field(description="When this version was made, UTC.")


class ShortNewsOut(Out):
    """A block that its plan leaves short of water."""

    farm_id: str
    block_id: str
    day: date = Field(description="Local day of the plan.")
    version: int = Field(description="Version of the plan.")
    planned_min: int = Field(description="Run time of the day, min.")
    need_mm: float | None = Field(description="Net depth needed, mm.")
    shortfall_mm: float = Field(
        description="Net depth by which the evening is beyond the readily available water, mm."
    )
    cause: str = Field(description="What limited the minutes most, as in the plan.")


class PauseNewsOut(Out):
    """A pause that somebody asked for, or took back."""

    farm_id: str
    block_id: str
    pause_id: str
    starts_local: str = Field(description="Start, wall-clock time of the block.")
    ends_local: str = Field(description="End, wall-clock time of the block.")
    reason: str


class WeatherNewsOut(Out):
    """A site whose weather is too old to plan on, or ends too soon."""

    farm_id: str
    site_id: str
    last_measured_day: date | None = Field(
        description="Last day on which all was measured that is measured there; null: none."
    )
    forecast_until_day: date | None = Field(description="Last day forecast; null: none.")


class SilenceNewsOut(Out):
    """A controller that has polled before and has not for two hours."""

    farm_id: str
    controller_id: str
    last_polled_at: datetime = Field(description="To within a few minutes, UTC.")


class FlowNewsOut(Out):
    """A block whose metered flow has changed; `GET /v1/blocks/{block_id}/flow-check` has more."""

    farm_id: str
    block_id: str
    alarm_day: date = Field(description="Day of the run that raised the alarm.")
    verdict: str = Field(description="What the runs show.")
    change_fraction: float | None = Field(
        description="Change of the flow as a share of what it was; negative: it fell."
    )
    run_count: int = Field(description="Metered runs looked at.")


class TestNewsOut(Out):
    """Nothing has happened; somebody tries the way."""

    farm_id: str
    subscription_id: str


Data = TypeVar("Data", bound=Out)


class EventOut(Out, Generic[Data]):
    """An event, CloudEvents 1.0 in structured JSON."""

    specversion: Literal["1.0"]
    id: str = Field(description="The same at each attempt; keep it to notice what comes twice.")
    source: str = Field(description="The farm that it happened at.")
    type: str
    subject: str = Field(description="What it is about: a block, a site, a controller.")
    time: datetime = Field(description="When it happened, UTC.")
    datacontenttype: Literal["application/json"]
    data: Data


class PlanPublishedEvent(EventOut[PlanNewsOut]):
    """The first plan of a block for a day."""

    type: Literal["org.rillwright.plan.published.v1"]


class PlanReplacedEvent(EventOut[PlanNewsOut]):
    """A new version of a plan that is out."""

    type: Literal["org.rillwright.plan.replaced.v1"]


class BlockShortEvent(EventOut[ShortNewsOut]):
    """A plan that leaves its block short by more than its grower calls news."""

    type: Literal["org.rillwright.block.short.v1"]


class BlockPausedEvent(EventOut[PauseNewsOut]):
    """Somebody asked for a pause."""

    type: Literal["org.rillwright.block.paused.v1"]


class PauseCanceledEvent(EventOut[PauseNewsOut]):
    """A pause was taken back."""

    type: Literal["org.rillwright.block.pause-canceled.v1"]


class WeatherMissingEvent(EventOut[WeatherNewsOut]):
    """The weather of a site stays out; reported once for each outage."""

    type: Literal["org.rillwright.weather.missing.v1"]


class ControllerSilentEvent(EventOut[SilenceNewsOut]):
    """A controller stopped polling; reported once until it polls again."""

    type: Literal["org.rillwright.controller.silent.v1"]


class FlowAlarmEvent(EventOut[FlowNewsOut]):
    """The metered flow of a block has changed; reported once for each alarm."""

    type: Literal["org.rillwright.flow.alarm.v1"]


class TestEvent(EventOut[TestNewsOut]):
    """A test that somebody asked for."""

    type: Literal["org.rillwright.test.v1"]


EVENTS: Mapping[EventKind, type[Out]] = {
    EventKind.PLAN_PUBLISHED: PlanPublishedEvent,
    EventKind.PLAN_REPLACED: PlanReplacedEvent,
    EventKind.BLOCK_SHORT: BlockShortEvent,
    EventKind.BLOCK_PAUSED: BlockPausedEvent,
    EventKind.PAUSE_CANCELED: PauseCanceledEvent,
    EventKind.WEATHER_MISSING: WeatherMissingEvent,
    EventKind.CONTROLLER_SILENT: ControllerSilentEvent,
    EventKind.FLOW_ALARM: FlowAlarmEvent,
    EventKind.TEST: TestEvent,
}
"""The event of each kind, as the API's document describes it."""
