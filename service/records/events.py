"""Events that other systems are notified of, who wants them, and how their delivery went.

What an event says (``...News``) is sent as it is here, field by field; the document of the API
describes the same fields, and a test holds the two together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum


class EventKind(StrEnum):
    """What has happened; the words stay, and new ones are only ever added."""

    PLAN_PUBLISHED = "plan.published"
    """The first plan of a block for a day."""
    PLAN_REPLACED = "plan.replaced"
    """A new version of a plan that is out."""
    BLOCK_SHORT = "block.short"
    """A plan that leaves the block short of water by more than its grower calls news."""
    BLOCK_PAUSED = "block.paused"
    PAUSE_CANCELED = "block.pause-canceled"
    WEATHER_MISSING = "weather.missing"
    CONTROLLER_SILENT = "controller.silent"
    FLOW_ALARM = "flow.alarm"
    TEST = "test"
    """Sent when somebody asks for it, whatever a subscription is for."""


SUBSCRIBED: tuple[EventKind, ...] = tuple(kind for kind in EventKind if kind is not EventKind.TEST)
"""The kinds that a subscription chooses among."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanNews:
    """A new version of a block's plan."""

    farm_id: str
    block_id: str
    day: date
    version: int
    status: str
    """``water``, ``rest`` or ``no-weather``."""
    planned_min: int
    pulse_count: int
    gross_mm: float
    net_mm: float
    issued_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortNews:
    """A block that its plan leaves short of water."""

    farm_id: str
    block_id: str
    day: date
    version: int
    planned_min: int
    need_mm: float | None
    shortfall_mm: float
    """Net depth by which the evening is beyond the readily available water."""
    cause: str
    """What limited the minutes most, as in the plan."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PauseNews:
    """A pause that somebody asked for, or took back."""

    farm_id: str
    block_id: str
    pause_id: str
    starts_local: str
    """Wall-clock time of the block."""
    ends_local: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherNews:
    """A site whose weather is too old to plan on, or ends too soon."""

    farm_id: str
    site_id: str
    last_measured_day: date | None
    """Last day on which all was measured that reference ET takes from measurements here."""
    forecast_until_day: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SilenceNews:
    """A controller that has stopped asking for its program."""

    farm_id: str
    controller_id: str
    last_polled_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowNews:
    """A block whose metered flow has changed."""

    farm_id: str
    block_id: str
    alarm_day: date
    """Day of the run that raised the alarm."""
    verdict: str
    change_fraction: float | None
    """Change of the flow as a share of what it was; negative: it fell."""
    run_count: int
    """Metered runs looked at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TestNews:
    """Nothing has happened; somebody tries the way."""

    farm_id: str
    subscription_id: str


News = PlanNews | ShortNews | PauseNews | WeatherNews | SilenceNews | FlowNews | TestNews


@dataclass(frozen=True, slots=True, kw_only=True)
class NewEvent:
    """Something that has happened at a farm."""

    kind: EventKind
    subject: str
    """What it is about: the id of a block, site, controller or subscription."""
    news: News
    occurrence: str | None = None
    """Names what must be reported once, however often it is noticed; None: it is noticed once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SigningSecret:
    """What a signing secret is derived with; the secret itself is stored nowhere."""

    salt: str
    sha256: str
    """Of the secret, by which a change of the operator's own secret is noticed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Subscription:
    """A system that wants to be notified of what happens at a farm."""

    farm_id: str
    subscription_id: str
    """Chosen by whoever sets it up; unique at the farm."""
    url: str
    kinds: frozenset[EventKind]
    note: str
    created_at: datetime
    secret: SigningSecret
    former_secret: SigningSecret | None = None
    """Signs too until ``former_until``."""
    former_until: datetime | None = None
    disabled_at: datetime | None = None
    """Since when nothing is sent; None: it is on."""
    disabled_reason: str = ""
    failing_since: datetime | None = None
    """When the first of the failures in a row was; None: the last attempt went well."""
    next_try_at: datetime
    """Nothing is sent before; its past where nothing waits."""


class DeliveryState(StrEnum):
    """Where an event stands on its way to one receiver."""

    WAITING = "waiting"
    DELIVERED = "delivered"
    DEAD = "dead"
    """Given up; it can be sent again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivery:
    """An event on its way to one receiver."""

    event_key: int
    """Rises with time: changes are written one after the other."""
    event_id: str
    kind: EventKind
    subject: str
    occurred_at: datetime
    state: DeliveryState
    attempt_count: int
    queued_at: datetime
    """When it began to wait: as it happened, or when it was last sent again."""
    tried_at: datetime | None
    status: int | None
    """HTTP status of the last answer; None: there was none."""
    reply: str
    """Beginning of the last answer, or why there was none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredEvent:
    """An event as it is to be sent."""

    event_key: int
    event_id: str
    farm_id: str
    kind: EventKind
    subject: str
    occurred_at: datetime
    data: Mapping[str, object]
    queued_at: datetime
    attempt_count: int
    """Attempts so far."""


@dataclass(frozen=True, slots=True)
class Lane:
    """What one sender has claimed: the events that wait for one receiver, in their order."""

    lane_key: int
    subscription: Subscription
    events: tuple[StoredEvent, ...]


@dataclass(frozen=True, slots=True)
class Letter:
    """An event as it goes out: the same bytes at each attempt."""

    event_id: str
    body: bytes


@dataclass(frozen=True, slots=True)
class Parcel:
    """Letters for one receiver, to be sent one after the other up to the first that fails."""

    url: str
    secrets: tuple[str, ...]
    """All of them sign."""
    letters: tuple[Letter, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """How sending one letter went."""

    at: datetime
    status: int | None
    """None: there was no answer."""
    reply: str
    wait: timedelta | None = None
    """How long the receiver asked us to wait."""

    @property
    def is_delivered(self) -> bool:
        """Whether the receiver took it."""
        return self.status is not None and 200 <= self.status < 300


@dataclass(frozen=True, slots=True, kw_only=True)
class LaneResult:
    """What became of a claimed lane, to be stored."""

    attempts: Mapping[int, tuple[DeliveryState, Attempt]]
    """By event key; events that were not tried are left out."""
    next_try_at: datetime
    failing_since: datetime | None
    disabled_at: datetime | None = None
    disabled_reason: str = ""


@dataclass(frozen=True, slots=True)
class Backlog:
    """What waits to be sent, of all farms."""

    waiting_count: int
    oldest_queued_at: datetime | None
    dead_count: int
    disabled_count: int
    """Subscriptions that are off after long failure or by choice."""
