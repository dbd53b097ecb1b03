"""The season calendar over the API."""

from __future__ import annotations

from tests.api.conftest import Client
from tests.api.invented_farm import BLOCK_ID, FARM_ID, TODAY

PATH = f"/v1/farms/{FARM_ID}/season"


def test_the_tasks_come_with_days_reasons_and_sources(client: Client) -> None:
    found = client.json(PATH)
    assert found["first_day"] == TODAY.isoformat()
    assert found["last_day"] == "2027-07-13"
    firsts = [each["first_day"] for each in found["tasks"]]
    assert firsts == sorted(firsts) and len(firsts) > 10
    for task in found["tasks"]:
        assert task["reason"] and task["source"] and task["blocks"] and task["how"]
    (leaves,) = [each for each in found["tasks"] if each["key"].startswith("leaf-sample.highbush")]
    assert (leaves["first_day"], leaves["last_day"]) == ("2026-07-25", "2026-08-10")
    assert leaves["blocks"][0]["block_id"] == BLOCK_ID
    assert any("Never mix acid" in text for text in found["cautions"])


def test_an_unchanged_calendar_is_not_sent_again(client: Client) -> None:
    tag = client.get(PATH).headers["ETag"]
    assert client.get(PATH, headers={"If-None-Match": tag}).status_code == 304
    assert client.get("/v1/farms/nowhere/season").status_code == 404
