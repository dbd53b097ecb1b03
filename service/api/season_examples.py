"""Examples of the season calendar and of visit notes; farm and people are invented."""

from __future__ import annotations

from typing import Any, Final

SEASON: Final[dict[str, Any]] = {
    "farm_id": "hill-farm",
    "first_day": "2026-07-14",
    "last_day": "2027-07-13",
    "tasks": [
        {
            "key": "leaf-sample.highbush-blueberry.leaf.mid-season.2026-07-25.2026-08-10",
            "kind": "leaf-sample",
            "first_day": "2026-07-25",
            "last_day": "2026-08-10",
            "title": "Leaf sample",
            "crops": [],
            "reason": "Ranges hold for one tissue at one time; the same dates each year make years"
            " comparable.",
            "how": [
                "About 50 leaves, at least 40: blades of recent full-grown leaves on this year's"
                " side shoots below the fruit, petioles off.",
                "One variety, one soil and one age to a sample; healthy and poor plants apart.",
            ],
            "source": "Ontario ministry of agriculture; Strik & Davis, Acta Hort. 1357:15",
            "blocks": [
                {
                    "block_id": "hill-farm.north",
                    "name": "North blueberries",
                    "done_on": None,
                    "before_on": "2025-08-01",
                    "note": "",
                }
            ],
        }
    ],
    "cautions": [],
}
SEASON_CALENDAR: Final = "\r\n".join(
    (
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Rillwright//Season//EN",
        "UID:season.hill-farm@farm.example",
        "REFRESH-INTERVAL;VALUE=DURATION:PT12H",
        "BEGIN:VEVENT",
        "UID:leaf-sample.highbush-blueberry.leaf.mid-season.2026-07-25.2026-08-10.hill-farm@",
        " farm.example",
        "DTSTAMP:20250725T000000Z",
        "DTSTART;VALUE=DATE:20260725",
        "DTEND;VALUE=DATE:20260811",
        "SUMMARY:Leaf sample: North blueberries",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
        "END:VCALENDAR",
        "",
    )
)
NOTED: Final[dict[str, Any]] = {
    "day": "2026-07-14",
    "block_id": "hill-farm.north",
    "visitor": "Ana Ejemplo",
    "text": "Row 12 dry at its end: line chewed, mended. Filter at 0.4 bar, cleaned.",
}
NOTE: Final[dict[str, Any]] = {
    "note_id": "5f0c2f9e1d3b4a58",
    "farm_id": "hill-farm",
    **NOTED,
    "reporter": "office (k7f3)",
    "recorded_at": "2026-07-14T23:00:00Z",
    "corrects": None,
    "corrected_by": None,
    "measured": [{"kind": "catch-test", "block_id": "hill-farm.north"}],
}
NOTES: Final[dict[str, Any]] = {"items": [NOTE], "next": None, "next_cursor": None}
