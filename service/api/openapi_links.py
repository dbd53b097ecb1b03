"""What an answer leads on to: the links of the OpenAPI document (section "Link Object" of 3.1).

A link names an operation and says where in the request or its answer the parameters are. Those that
a caller has to choose, such as an idempotency key, are left to the caller.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

Link = Mapping[str, Any]
_REFS: Final = "#/components/schemas/"
_BLOCK: Final = "$request.path.block_id"
_FARM: Final = "$request.path.farm_id"
_TAG: Final = "$response.header.ETag"


def _to(operation: str, description: str, **parameters: str) -> Link:
    named = {name.replace("if_match", "If-Match"): each for name, each in parameters.items()}
    return {"operationId": operation, "parameters": named, "description": description}


def _of_farm(farm_id: str) -> dict[str, Link]:
    return {
        "farm": _to("get_farm", "The farm as it is now.", farm_id=farm_id),
        "plans": _to("list_farm_plans", "Its blocks' plans, once made.", farm_id=farm_id),
        "file": _to("export_farm", "The farm as a file.", farm_id=farm_id),
    }


def _of_block(block_id: str) -> dict[str, Link]:
    return {
        "block": _to("get_block", "The block as it is now.", block_id=block_id),
        "plan": _to("get_plan", "Its latest plan, once made.", block_id=block_id),
    }


_REPORT: Final = _to("report_runs", "Say what was really run.")
_NEW_BLOCK: Final = "{$response.body#/farm_id}.{$request.body#/id}"
_CHANGED: Final = {
    "replace": _to("replace_farm", "Change this state.", farm_id=_FARM, if_match=_TAG),
    "retire": _to("retire_farm", "Give up the farm.", farm_id=_FARM, if_match=_TAG),
}
LINKS: Final[Mapping[str, Mapping[str, Link]]] = {
    "create_farm": _of_farm("$response.body#/farm_id"),
    "replace_farm": {**_of_farm(_FARM), **_CHANGED},
    "get_farm": {
        **{name: link for name, link in _of_farm(_FARM).items() if name != "farm"},
        "blocks": _to("list_blocks", "Its blocks.", farm=_FARM),
        **_CHANGED,
    },
    "list_farms": _of_farm("$response.body#/items/0/farm_id"),
    "create_block": _of_block(_NEW_BLOCK),
    "replace_block": _of_block(_BLOCK),
    "get_block": {
        "plan": _to("get_plan", "Its latest plan.", block_id=_BLOCK),
        "balance": _to("get_balance", "Its water balance.", block_id=_BLOCK),
        "replace": _to("replace_block", "Change this state.", block_id=_BLOCK, if_match=_TAG),
        "retire": _to("retire_block", "Give up the block.", block_id=_BLOCK, if_match=_TAG),
    },
    "list_blocks": _of_block("$response.body#/items/0/block_id"),
    "list_controllers": {
        "program": _to(
            "get_program",
            "What the first one polls.",
            controller_id="$response.body#/items/0/controller_id",
        ),
    },
    "get_plan": {
        "why": _to(
            "explain_plan",
            "How its numbers came about.",
            block_id="$response.body#/block_id",
            date="$response.body#/day",
        ),
        "balance": _to("get_balance", "The days before it.", block_id="$response.body#/block_id"),
        "report": _REPORT,
        "pause": _to("pause_block", "Keep the block dry.", block_id="$response.body#/block_id"),
    },
    "explain_plan": {
        "plan": _to(
            "get_plan",
            "The plan that is explained.",
            block_id="$response.body#/block_id",
            date="$response.body#/day",
        ),
    },
    "get_program": {"report": _REPORT},
    "pause_block": {
        "cancel": _to(
            "cancel_pause",
            "Let it be watered after all.",
            block_id=_BLOCK,
            pause_id="$response.body#/pause/pause_id",
        ),
        "plan": _to("get_plan", "The plan as it is now.", block_id=_BLOCK),
    },
    "get_emitter_flow": {
        "use": _to("use_emitter_flow", "Take over the flow that is offered.", block_id=_BLOCK)
    },
    "get_water_report": {
        "use": _to("use_leaching", "Take over the leaching that is offered.", block_id=_BLOCK)
    },
    "order_fertigation": {
        "cancel": _to(
            "cancel_fertigation", "Call it off.", block_id=_BLOCK, day="$request.path.day"
        )
    },
    "record_acid_treatment": {
        "remove": _to(
            "remove_acid_treatment", "Take it back.", block_id=_BLOCK, day="$request.path.day"
        )
    },
    "add_nutrient_test": {
        "plan": _to("plan_nutrients", "What follows from the tests.", block_id=_BLOCK)
    },
}


def describe_links(document: dict[str, Any]) -> None:
    """Add to each success what it leads on to; of a page, also the next one."""
    schemas = document["components"]["schemas"]
    for path in document["paths"].values():
        for operation in path.values():
            name = operation["operationId"]
            status = next(each for each in operation["responses"] if each.startswith("2"))
            answer = operation["responses"][status]
            content = answer.get("content", {}).get("application/json", {})
            shown = schemas.get(content.get("schema", {}).get("$ref", "").removeprefix(_REFS), {})
            links = dict(LINKS.get(name, {}))
            if "next_cursor" in shown.get("properties", {}):
                links["next"] = _next_page(operation)
            if links:
                answer["links"] = links


def _next_page(operation: Mapping[str, Any]) -> Link:
    same = {
        each["name"]: f"$request.path.{each['name']}"
        for each in operation.get("parameters", ())
        if each["in"] == "path"
    }
    return _to(
        operation["operationId"],
        "What follows, with the other parameters as they were.",
        cursor="$response.body#/next_cursor",
        **same,
    )
