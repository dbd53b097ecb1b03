"""The header fields of an answer, against what the OpenAPI document says of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import jsonschema_rs

NEVER_DESCRIBED = frozenset({"content-type", "content-length"})
"""What OpenAPI has another place for, or HTTP itself."""


def header_faults(
    described: Mapping[str, Any],
    components: Mapping[str, Mapping[str, Any]],
    sent: Mapping[str, str],
) -> list[str]:
    """What is sent but not described, described as always there but not sent, or of another form.

    ``described`` is the answer in the document, ``components`` the headers that it refers to.
    """
    fields = {
        name.lower(): components[field["$ref"].rpartition("/")[2]]
        for name, field in described.get("headers", {}).items()
    }
    found = {name.lower(): value for name, value in sent.items()}
    faults = [f"{name} is not described" for name in found.keys() - fields - NEVER_DESCRIBED]
    for name, field in fields.items():
        value: Any = found.get(name)
        if value is None:
            faults += [f"{name} is missing"] if field["required"] else []
            continue
        if field["schema"]["type"] == "integer":
            value = int(value)
        if not jsonschema_rs.is_valid(field["schema"], value):
            faults.append(f"{name} is {value!r}")
    return faults
