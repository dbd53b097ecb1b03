"""Reported times: on the clock of the place where none is named, and a little ahead at most."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from service.operations.feedback.reported_time import CLOCK_SLACK, has_passed, on_clock

NOW = datetime(2026, 7, 14, 23, tzinfo=UTC)
FIVE = datetime.fromisoformat("2026-07-14T05:00:00")


@pytest.mark.parametrize(
    ("zone", "hour_utc"), [("America/New_York", 9), ("America/Los_Angeles", 12), ("UTC", 5)]
)
def test_a_time_without_a_zone_is_on_the_clock_of_the_place(zone: str, hour_utc: int) -> None:
    assert on_clock(FIVE, zone) == datetime(2026, 7, 14, hour_utc, tzinfo=UTC)


def test_a_time_with_a_zone_keeps_its_own() -> None:
    given = FIVE.replace(tzinfo=UTC)
    assert on_clock(given, "America/New_York") == given


def test_clocks_may_be_ahead_by_the_slack_and_no_more() -> None:
    assert has_passed(NOW - timedelta(days=400), now=NOW)
    assert has_passed(NOW + CLOCK_SLACK, now=NOW)
    assert not has_passed(NOW + CLOCK_SLACK + timedelta(seconds=1), now=NOW)
