"""Completes the OpenAPI document with what FastAPI cannot express: keys and required headers."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from starlette.routing import BaseRoute

from service.api.openapi_headers import describe_headers
from service.api.openapi_links import describe_links
from service.api.problems import PROBLEM_MEDIA_TYPE
from service.ports import FarmFormat

_REFS: Final = "#/components/schemas/"
_DEMANDED: Final = ("Idempotency-Key", "If-Match")
_SCHEMES: Final[dict[str, Any]] = {
    "bearer": {
        "type": "http",
        "scheme": "bearer",
        "description": "A key as `rillwright keys add` shows it once: `rw_...`. While no key is"
        " stored, a server on this machine alone is open.",
    },
    "device": {
        "type": "apiKey",
        "in": "header",
        "name": "X-API-Key",
        "description": "The same key, for devices that cannot set `Authorization`.",
    },
}
_NEVER_BY_LINK: Final = ("401", "403", "406")
"""Answers that nobody gets whose address is the key: whatever is accepted is sent."""
_EXAMPLES: Final = ("example", "examples")
_SIGNED_BY: Final = {
    "webhook-id": "The event's id; the same at each attempt.",
    "webhook-timestamp": "When this attempt was made, seconds since 1970-01-01T00:00Z.",
    "webhook-signature": "One or more of `v1,<base64>`, with a space between them: HMAC-SHA256 of"
    " `<id>.<timestamp>.<body>` by each secret that is in force.",
}
"""The headers of Standard Webhooks."""
SECRET_LINKS: Final = "/v1/calendars/"


def complete(document: dict[str, Any], rights: dict[str, str]) -> None:
    """Add the keys and the scope of each operation, and mark required headers as such.

    ``rights`` are those of the operations by id.
    """
    document["components"]["securitySchemes"] = _SCHEMES
    describe_headers(document)
    describe_links(document)
    for address, path in document["paths"].items():
        for operation in path.values():
            is_by_link = address.startswith(SECRET_LINKS)
            if is_by_link:
                for status in _NEVER_BY_LINK:
                    operation["responses"].pop(status, None)
            operation["security"] = [] if is_by_link else [{name: []} for name in _SCHEMES]
            right = rights.get(operation["operationId"])
            if right is not None and not is_by_link:
                operation["description"] += f"\n\nScope: `{right}`."
            for parameter in operation.get("parameters", ()):
                if parameter["name"] in _DEMANDED:
                    parameter["required"] = True
                    _demand(parameter["schema"])
    _share_problems(document)
    for webhook in document["webhooks"].values():
        _describe_webhook(webhook["post"])


def _describe_webhook(operation: dict[str, Any]) -> None:
    """Say of an event how it is sent: its media type, and the headers that sign it."""
    content = operation["requestBody"]["content"]
    content["application/cloudevents+json"] = content.pop("application/json")
    operation["parameters"] = [
        {"name": name, "in": "header", "required": True, "description": text,
         "schema": {"type": "string"}}
        for name, text in _SIGNED_BY.items()
    ]  # fmt: skip
    operation["security"] = []


def keep_nulls(document: dict[str, Any], routes: Iterable[BaseRoute]) -> None:
    """Write the examples of the routes again as they are declared.

    FastAPI drops each null from them, so that fields that an answer always has seem to be missing.
    """
    operations = {
        operation["operationId"]: operation
        for path in document["paths"].values()
        for operation in path.values()
    }
    for route in routes:
        operation = operations.get(getattr(route, "operation_id", None))
        if operation is None:
            continue
        declared = {str(status): each for status, each in getattr(route, "responses", {}).items()}
        answers = [(each, operation["responses"][status]) for status, each in declared.items()]
        body = (getattr(route, "openapi_extra", None) or {}).get("requestBody")
        bodies = [] if body is None else [(body, operation["requestBody"])]
        for original, shown in (*answers, *bodies):
            for media, content in original.get("content", {}).items():
                examples = {name: content[name] for name in _EXAMPLES if name in content}
                shown["content"][media].update(examples)


def describe_farms(schemas: dict[str, Any], farm_format: FarmFormat) -> None:
    """Say in the schemas what the tables of a farm's document hold.

    To FastAPI they are free tables: their one reader tells every fault of a document at once.
    """
    parts = schemas["FarmDocumentIn"]["properties"]
    tables = farm_format.schema(parts, refs=_REFS)
    for name in ("FarmDocumentIn", "FarmDocumentOut"):
        for part, schema in schemas[name]["properties"].items():
            for free in ("type", "items", "additionalProperties"):
                schema.pop(free, None)
            schema.update(tables["properties"][part])
    block = schemas["BlockTableIn"]
    schemas["BlockTableIn"] = {
        "title": block["title"],
        "description": block["description"],
        "allOf": [tables["properties"]["block"]["items"]],
    }
    schemas.update(tables["definitions"])


def _share_problems(document: dict[str, Any]) -> None:
    """Describe each problem answer once: two thirds of the document would repeat them."""
    shared: dict[str, Any] = {}
    for path in document["paths"].values():
        for operation in path.values():
            for status, answer in operation["responses"].items():
                problem = answer.get("content", {}).get(PROBLEM_MEDIA_TYPE)
                if problem is not None:
                    name = "Or".join(
                        "".join(word.capitalize() for word in slug.split("-"))
                        for slug in sorted(problem["examples"])
                    )
                    shared[name] = answer
                    operation["responses"][status] = {"$ref": f"#/components/responses/{name}"}
    document["components"]["responses"] = dict(sorted(shared.items()))


def _demand(schema: dict[str, Any]) -> None:
    """Take "or null" out of a schema."""
    if schema.pop("anyOf", None) is not None:
        schema["type"] = "string"
