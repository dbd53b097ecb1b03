"""Examples of subscriptions, deliveries and events."""

from __future__ import annotations

from typing import Any, Final

_EVENT_ID: Final = "evt_4b1f0c6d2e8a4f7b9c3d5e6f7a8b9c0d"
_SUBSCRIPTION: Final[dict[str, Any]] = {
    "farm_id": "hill-farm",
    "subscription_id": "office",
    "url": "https://office.example.org/events",
    "kinds": ["block.short", "plan.published", "plan.replaced"],
    "note": "bookkeeping",
    "created_at": "2026-07-01T14:20:00Z",
    "is_on": True,
    "disabled_at": None,
    "disabled_reason": "",
    "failing_since": None,
    "former_secret_until": None,
}
SUBSCRIPTION: Final[dict[str, Any]] = _SUBSCRIPTION
SUBSCRIPTIONS: Final[dict[str, Any]] = {"farm_id": "hill-farm", "items": [_SUBSCRIPTION]}
WANTED: Final[dict[str, Any]] = {
    "url": "https://office.example.org/events",
    "kinds": ["plan.published", "plan.replaced", "block.short"],
    "note": "bookkeeping",
}
STORED: Final[dict[str, Any]] = {
    "subscription": _SUBSCRIPTION,
    "secret": "whsec_bm90IGEgc2VjcmV0LCBidXQgMzIgYnl0ZXMgbG9uZyE=",
}
TESTED: Final[dict[str, Any]] = {"event_id": _EVENT_ID}
RESENT: Final[dict[str, Any]] = {"resent_count": 3}
DELIVERIES: Final[dict[str, Any]] = {
    "items": [
        {
            "event_id": _EVENT_ID,
            "kind": "plan.published",
            "subject": "hill-farm.north",
            "occurred_at": "2026-07-14T22:15:04.120000Z",
            "state": "delivered",
            "attempt_count": 1,
            "tried_at": "2026-07-14T22:15:05.031000Z",
            "status": 204,
            "reply": "",
        }
    ],
    "next": None,
    "next_cursor": None,
}
EVENT: Final[dict[str, Any]] = {
    "specversion": "1.0",
    "id": _EVENT_ID,
    "source": "https://farm.example.org/v1/farms/hill-farm",
    "type": "org.rillwright.plan.published.v1",
    "subject": "hill-farm.north",
    "time": "2026-07-14T22:15:04.120000Z",
    "datacontenttype": "application/json",
    "data": {
        "farm_id": "hill-farm",
        "block_id": "hill-farm.north",
        "day": "2026-07-15",
        "version": 1,
        "status": "water",
        "planned_min": 64,
        "pulse_count": 4,
        "gross_mm": 3.41,
        "net_mm": 3.07,
        "issued_at": "2026-07-14T22:15:04.120000Z",
    },
}
