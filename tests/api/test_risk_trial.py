"""What weighing the forecast would have done, over HTTP."""

from __future__ import annotations

from tests.api.callers import Caller
from tests.api.conftest import Client
from tests.api.invented_farm import BLOCK_ID, PLAN_DAY


def test_tomorrow_is_decided_on_paper_and_nothing_is_summed_yet(client: Client) -> None:
    found = client.json(f"/v1/blocks/{BLOCK_ID}/risk-trial", params={"to": PLAN_DAY.isoformat()})
    assert found["is_kept"] and not found["is_stated"]
    assert (found["rule"], found["day_count"]) == (None, 0)
    (day,) = found["days"]
    assert day["day"] == PLAN_DAY.isoformat()
    assert day["rule"]["net_mm"] >= 0.0 and day["rule"]["depletion_end_mm"] is None
    assert client.get("/v1/blocks/test-farm.west/risk-trial").status_code == 404


def test_a_span_that_falls_is_refused(client: Client) -> None:
    answer = client.get(
        f"/v1/blocks/{BLOCK_ID}/risk-trial", params={"from": "2026-07-14", "to": "2026-07-01"}
    )
    assert answer.status_code == 422


def test_a_choice_is_stored_and_another_word_refused(caller: Caller) -> None:
    path = f"/v1/blocks/{BLOCK_ID}/risk-attitude"
    answer = caller.request("PUT", path, json={"risk_attitude": "balanced"})
    assert answer.status_code == 200
    assert answer.json()["risk_attitude"] == "balanced" and answer.json()["is_stated"]
    assert not caller.get(f"/v1/blocks/{BLOCK_ID}/risk-trial").json()["is_kept"]
    refused = caller.request("PUT", path, json={"risk_attitude": "bold"})
    assert refused.status_code == 422 and "careful-water" in refused.text
