"""A block that can no longer be planned keeps its pulses; its neighbours leave room for them."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from service.bootstrap import Service
from tests.api.callers import Caller
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM_ID, RUN_AT, FixedClock

FARM = f"/v1/farms/{FARM_ID}"
DARK_SITE = {
    "id": "far", "latitude": 35.8, "longitude": -79.4, "elevation": "510 ft",
}  # fmt: skip
EVENING, NEXT_MORNING = timedelta(hours=1), timedelta(hours=7)  # 20:00, and 02:00 of the day


def pulses_of(caller: Caller, block_id: str) -> list[tuple[int, int]]:
    """Begin and end of each pulse of a plan, in seconds since 1970."""
    plan = caller.get(f"/v1/blocks/{block_id}/plan").json()
    return [(each["start_epoch_s"], each["end_epoch_s"]) for each in plan["pulses"]]


def move_to_dark_site(caller: Caller, short_id: str) -> Any:
    """Give a block a site without weather."""
    answer = caller.get(FARM)
    document = answer.json()
    document["site"].append(DARK_SITE)
    for block in document["block"]:
        block["site"] = "far" if block["id"] == short_id else "home"
    held = {"If-Match": answer.headers["ETag"]}
    changed = caller.request("PUT", FARM, json=document, headers=held)
    assert changed.status_code == 200, changed.text
    return changed.json()


@pytest.mark.parametrize("later", [EVENING, NEXT_MORNING])
@pytest.mark.parametrize(("dark", "lit"), [(BLOCK_ID, BARE_BLOCK_ID), (BARE_BLOCK_ID, BLOCK_ID)])
def test_neighbours_run_around_the_pulses_that_a_block_keeps(
    own_service: Service, caller: Caller, dark: str, lit: str, later: timedelta
) -> None:
    assert isinstance(own_service.clock, FixedClock)
    own_service.clock.instant = RUN_AT + later
    kept = pulses_of(caller, dark)
    version = caller.get(f"/v1/blocks/{lit}/plan").json()["version"]
    move_to_dark_site(caller, dark.partition(".")[2])
    assert pulses_of(caller, dark) == kept
    plan = caller.get(f"/v1/blocks/{lit}/plan").json()
    assert plan["planned_min"] > 0
    assert plan["version"] > version
    # Each block takes more than half of the well, so they never run together.
    for begins, ends in pulses_of(caller, lit):
        assert all(ends <= start or end <= begins for start, end in kept), (begins, ends, kept)
