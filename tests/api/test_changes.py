"""The record of changes over the API: of a farm, and followed from a cursor on."""

from __future__ import annotations

from typing import Any

from service.bootstrap import Service
from tests.api.callers import Caller, caller_of
from tests.api.invented_farm import BLOCK_ID, FARM_ID, YOUNG_BLOCK_ID

CHANGES = f"/v1/farms/{FARM_ID}/changes"
OTHER = "later-farm"
PAUSE = {"starts_local": "2026-08-01T00:00", "ends_local": "2026-08-02T00:00", "reason": "repair"}


def pause(caller: Caller, block_id: str = BLOCK_ID, *, once: str | None = None) -> None:
    answer = caller.post(f"/v1/blocks/{block_id}/pauses", PAUSE, once=once)
    assert answer.status_code == 200, answer.text


def items(caller: Caller, path: str = CHANGES, **query: Any) -> list[dict[str, Any]]:
    answer = caller.get(path, params=query or None)
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json()["items"]
    return found


def test_a_change_names_the_key_that_made_it(caller: Caller) -> None:
    pause(caller)
    change = items(caller)[0]
    assert (change["subject"], change["farm_id"]) == ("pause", FARM_ID)
    assert change["actor"]["kind"] == "key" and change["actor"]["entrance"] == "api"
    assert change["actor"]["name"].startswith("holder")
    assert caller.key is not None
    assert f"rw_{change['actor']['id']}_" in caller.key
    assert change["before"] is None and change["after"]["period"]["reason"] == "repair"


def test_the_same_report_again_is_noted_once(caller: Caller) -> None:
    pause(caller, once="same")
    pause(caller, once="same")
    assert len(items(caller, subject="pause")) == 1


def test_pages_follow_by_relative_addresses(caller: Caller) -> None:
    for number in range(3):
        pause(caller, once=f"{number}")
    first = caller.get(CHANGES, params={"page_size": 2, "subject": "pause"}).json()
    assert first["next"].startswith(f"{CHANGES}?")
    then = caller.get(first["next"]).json()
    assert len(first["items"]) == 2 and len(then["items"]) == 1
    assert then["next"] is None
    numbers = [int(each["change_id"]) for each in first["items"] + then["items"]]
    assert numbers == sorted(numbers, reverse=True)


def test_a_page_that_has_not_changed_is_not_sent_again(caller: Caller) -> None:
    tag = caller.get(CHANGES).headers["ETag"]
    assert caller.get(CHANGES, headers={"If-None-Match": tag}).status_code == 304
    pause(caller)
    assert caller.get(CHANGES, headers={"If-None-Match": tag}).status_code == 200


def test_only_from_an_instant_on(caller: Caller) -> None:
    pause(caller)
    assert items(caller, since="2020-01-01T00:00:00Z")
    assert not items(caller, since="2199-01-01T00:00:00Z")
    for refused in (
        "2020-01-01T00:00:00",
        "0001-01-01T00:00:00+05:00",
        "9999-12-31T23:00:00-05:00",
    ):
        assert caller.get(CHANGES, params={"since": refused}).status_code == 422


def test_a_program_follows_from_where_it_was(caller: Caller) -> None:
    at = "/v1/changes?page_size=200"
    while (feed := caller.get(at).json())["has_more"]:
        at = feed["next"]
    assert not items(caller, feed["next"])
    pause(caller)
    later = caller.get(feed["next"]).json()
    assert [each["subject"] for each in later["items"]] == ["pause"]
    assert later["next"] != feed["next"] and not later["has_more"]


def test_a_farm_follows_its_own_changes_and_the_region_all(own_service: Service) -> None:
    mine, theirs = caller_of(own_service, FARM_ID), caller_of(own_service, OTHER)
    pause(mine)
    pause(theirs, YOUNG_BLOCK_ID)
    size = {"page_size": 200}
    assert {each["farm_id"] for each in items(mine, "/v1/changes", **size)} == {FARM_ID}
    assert {each["farm_id"] for each in items(theirs, "/v1/changes", **size)} == {OTHER}
    region = items(caller_of(own_service, None), "/v1/changes", **size)
    assert {FARM_ID, OTHER} < {each["farm_id"] for each in region}


def test_a_cursor_of_another_list_is_refused(caller: Caller) -> None:
    for cursor in ("aGlsbC1mYXJtLm5vcnRo", "x", "OTk5OTk5OTk5OTk5OTk5OTk5OTk5OTk"):
        answer = caller.get(CHANGES, params={"cursor": cursor})
        assert answer.status_code == 422, cursor
        assert "cursor" in answer.text
