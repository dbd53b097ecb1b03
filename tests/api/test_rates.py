"""The emitter flow of a block by its meter, over the API."""

from __future__ import annotations

import pytest

from service.api.app import create_app
from service.bootstrap import Service
from tests.api.callers import Caller
from tests.api.invented_farm import BLOCK_ID
from tests.operations.waterworks.test_learn_rate import LEVEL, store_season

FLOW = f"/v1/blocks/{BLOCK_ID}/emitter-flow"


@pytest.fixture
def caller(own_service: Service) -> Caller:
    """A caller of a service whose block has a metered season."""
    store_season(own_service, LEVEL)
    return Caller(create_app(own_service))


def test_a_rate_is_offered_accepted_and_given_back(caller: Caller) -> None:
    offer = caller.get(FLOW).json()
    stated = offer["stated_l_per_h"]
    assert offer["emitter_flow_l_per_h"] == stated
    assert offer["rate_ratio"] == pytest.approx(LEVEL, abs=0.01)
    for place, flow in enumerate((offer["offered_l_per_h"], stated)):
        body = {"emitter_flow_l_per_h": flow}
        done = caller.request("PUT", FLOW, json=body)
        again = caller.request("PUT", FLOW, json=body)
        assert (done.status_code, again.status_code) == (200, 200), done.text
        assert done.json()["emitter_flow_l_per_h"] == flow
        assert done.json()["new_plan_count"] >= 1 and again.json()["new_plan_count"] == 0
        assert (done.json()["offered_l_per_h"] is None) == (place == 0)


@pytest.mark.parametrize(("flow", "status"), [(9.0, 409), (0.0, 422), ("2 L/h", 422), (None, 422)])
def test_a_flow_that_is_not_offered_is_refused(caller: Caller, flow: object, status: int) -> None:
    before = caller.get(FLOW).json()
    answer = caller.request("PUT", FLOW, json={"emitter_flow_l_per_h": flow})
    assert answer.status_code == status
    assert answer.json()["errors"][0]["pointer"] == "/emitter_flow_l_per_h"
    assert caller.get(FLOW).json() == before
