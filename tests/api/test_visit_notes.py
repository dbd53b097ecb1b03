"""Visit notes over the API: kept once, paged, tagged, and of one farm alone."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlsplit

import pytest

from service.bootstrap import Service
from service.operations.access.manage_keys import Right
from tests.api.callers import Caller, caller_of
from tests.api.invented_farm import BLOCK_ID, FARM_ID, YOUNG_BLOCK_ID

PATH = f"/v1/farms/{FARM_ID}/visit-notes"
THEIRS = "/v1/farms/later-farm/visit-notes"
NOTE = {"day": "2026-07-14", "block_id": BLOCK_ID, "visitor": "Ana", "text": "Row 12 dry."}


def texts(caller: Caller, path: str = PATH, **query: Any) -> list[str]:
    answer = caller.get(path, params=query)
    assert answer.status_code == 200, answer.text
    return [each["text"] for each in answer.json()["items"]]


def test_a_note_is_kept_once_under_one_key(caller: Caller) -> None:
    first = caller.post(PATH, NOTE, once="a")
    again = caller.post(PATH, NOTE, once="a")
    assert first.status_code == 200, first.text
    assert first.json() == again.json()
    assert (first.json()["visitor"], first.json()["corrects"]) == ("Ana", None)
    assert texts(caller) == ["Row 12 dry."]
    unnamed = caller.post(PATH, {**NOTE, "visitor": "", "text": "Mine."}).json()
    assert unnamed["visitor"].startswith("holder ")


def test_a_correction_stands_for_the_note_that_it_names(caller: Caller) -> None:
    first = caller.post(PATH, NOTE).json()
    caller.post(PATH, {**NOTE, "text": "Row 13 dry.", "corrects": first["note_id"]})
    newest, oldest = caller.get(PATH).json()["items"]
    assert newest["corrects"] == first["note_id"]
    assert oldest["corrected_by"] == newest["note_id"]
    refused = caller.post(PATH, {**NOTE, "text": "Row 14.", "corrects": first["note_id"]})
    assert refused.json()["errors"][0]["pointer"] == "/corrects"


def test_pages_follow_one_another_and_unchanged_ones_are_not_sent_again(caller: Caller) -> None:
    for number in range(5):
        caller.post(PATH, {**NOTE, "text": f"Note {number}."})
    seen, address = [], f"{PATH}?page_size=2"
    while address:
        answer = caller.get(address)
        tag = answer.headers["ETag"]
        assert caller.get(address, headers={"If-None-Match": tag}).status_code == 304
        seen += [each["text"] for each in answer.json()["items"]]
        following = answer.json()["next"]
        address = "" if following is None else "?".join(urlsplit(following)[2:4])
    assert seen == [f"Note {number}." for number in (4, 3, 2, 1, 0)]
    assert caller.get(PATH, params={"cursor": "!"}).status_code == 422
    assert caller.get(PATH, params={"cursor": "MDEyMzQ1Njc4OWFiY2RlZg"}).status_code == 422


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"text": ""}, "/text"),
        ({"text": "\u200b"}, "/text"),
        ({"text": "x" * 2001}, "/text"),
        ({"day": "2026-07-15"}, "/day"),
        ({"block_id": f"{FARM_ID}.nowhere"}, "/block_id"),
        ({"block_id": YOUNG_BLOCK_ID}, "/block_id"),
        ({"corrects": "0123456789abcdef"}, "/corrects"),
    ],
)
def test_what_cannot_be_kept_is_refused_at_its_place(
    caller: Caller, changes: dict[str, Any], pointer: str
) -> None:
    answer = caller.post(PATH, {**NOTE, **changes})
    assert answer.status_code == 422, answer.text
    assert [each["pointer"] for each in answer.json()["errors"]] == [pointer]
    assert texts(caller) == []


def test_another_farm_sees_none_of_it_and_leaves_nothing_in_it(own_service: Service) -> None:
    mine, theirs = caller_of(own_service, FARM_ID), caller_of(own_service, "later-farm")
    kept = mine.post(PATH, NOTE).json()
    assert theirs.get(PATH).status_code == 404
    assert theirs.post(PATH, NOTE).status_code == 404
    assert texts(theirs, THEIRS) == []
    # Names of the other farm inside one's own request are as good as invented ones.
    for changes in ({"block_id": BLOCK_ID}, {"block_id": None, "corrects": kept["note_id"]}):
        answer = theirs.post(THEIRS, {**NOTE, **changes})
        assert answer.status_code == 422, answer.text
    for query in ({"block": BLOCK_ID}, {"block": "test-farm.nowhere"}):
        assert theirs.get(THEIRS, params=query).status_code == 422
    assert texts(mine) == ["Row 12 dry."]


def test_a_key_that_only_reads_writes_no_note(own_service: Service) -> None:
    reading = caller_of(own_service, FARM_ID, Right.PLAN_READ)
    assert reading.post(PATH, NOTE).status_code == 403
    assert texts(reading) == []
