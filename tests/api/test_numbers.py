"""The numbers of a block with their sources, and soil textures, over HTTP."""

from __future__ import annotations

from service.agronomy.soil import TEXTURE_KEYS
from tests.api.conftest import Client
from tests.api.invented_farm import BLOCK_ID


def test_every_number_of_a_block_says_where_it_is_from(client: Client) -> None:
    block = client.json(f"/v1/blocks/{BLOCK_ID}")
    items = client.json(f"/v1/blocks/{BLOCK_ID}/numbers")["items"]
    stated = {each["name"]: each for each in items if each["kind"] != "derived"}
    for name, origin in block["origins"].items():
        if name in stated:
            assert (stated[name]["value"], stated[name]["origin"]) == (block[name], origin)
    (flow,) = (each for each in items if each["name"] == "flow_l_per_h")
    assert (flow["unit"], flow["kind"]) == ("L/h", "derived")
    assert client.get("/v1/blocks/test-farm.west/numbers").status_code == 404


def test_soil_textures_come_page_by_page(client: Client) -> None:
    first = client.json("/v1/soils", params={"page_size": 10})
    second = client.json(first["next"])
    found = [each["texture"] for page in (first, second) for each in page["items"]]
    assert found == sorted(TEXTURE_KEYS) and second["next"] is None
