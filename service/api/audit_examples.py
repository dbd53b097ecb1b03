"""Examples of the record of changes."""

from __future__ import annotations

from typing import Any, Final

_CHANGE: Final[dict[str, Any]] = {
    "change_id": "1042",
    "at": "2026-07-14T22:03:11.201000Z",
    "farm_id": "hill-farm",
    "actor": {"kind": "key", "id": "Zq3mT8xA", "name": "Ann", "entrance": "api"},
    "subject": "block",
    "subject_id": "hill-farm.north",
    "before": {"emitter_flow_l_per_h": 1.89, "origins": {"emitter_flow_l_per_h": "given"}},
    "after": {
        "emitter_flow_l_per_h": 1.71,
        "origins": {"emitter_flow_l_per_h": "meter, 24 runs 2026-05-02 to 2026-07-13"},
    },
}
CHANGE_PAGE: Final[dict[str, Any]] = {
    "items": [_CHANGE],
    "next": "/v1/farms/hill-farm/changes?cursor=MTA0Mg",
    "next_cursor": "MTA0Mg",
}
CHANGE_FEED: Final[dict[str, Any]] = {
    "items": [_CHANGE],
    "next": "/v1/changes?cursor=MTA0Mg",
    "next_cursor": "MTA0Mg",
    "has_more": False,
}
LOG_BOOK_PAGE: Final[dict[str, Any]] = {
    "items": [
        {
            "at": "2026-07-14T22:03:11.201000Z",
            "kind": "Reported runs",
            "about": "North",
            "sentences": ["Run of Jul 14, 4:00 AM: 42 min."],
            "text": "",
            "who": "Ann",
        }
    ],
    "next": "/v1/farms/hill-farm/log-book?cursor=MTA0Mg",
    "next_cursor": "MTA0Mg",
}
LOG_BOOK_CSV: Final = (
    "at,kind,about,sentences,text,who\r\n"
    '2026-07-14T22:03:11.201000Z,Reported runs,North,"Run of Jul 14, 4:00 AM: 42 min.",,Ann\r\n'
)
