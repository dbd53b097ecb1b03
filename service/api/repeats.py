"""Refuses a query parameter that is given more than once where one value is asked for.

Otherwise the last would count in silence, and what a proxy read may have been the first.
"""

from __future__ import annotations

from collections import Counter
from typing import Any, Final, get_origin

from fastapi import Depends, Request
from pydantic import BaseModel

from service.errors import Fault, InputInvalid


async def _refuse_repeats(request: Request) -> None:
    counts = Counter(name for name, _ in request.query_params.multi_items())
    if len(counts) == counts.total():
        return
    lists = _list_parameters(request.scope.get("route"))
    faults = [
        Fault(name, f"{count} values", "one value")
        for name, count in counts.items()
        if count > 1 and name not in lists
    ]
    if faults:
        raise InputInvalid("a parameter is given more than once", faults)


GIVEN_ONCE: Final = Depends(_refuse_repeats)
"""Dependency of a router: no parameter is repeated but those that are lists."""


def _list_parameters(route: Any) -> set[str]:
    """The query parameters of a route that take several values."""
    declared = getattr(getattr(route, "dependant", None), "query_params", ())
    models = [each.field_info.annotation for each in declared]
    return {
        field.alias or name
        for model in models
        if isinstance(model, type) and issubclass(model, BaseModel)
        for name, field in model.model_fields.items()
        if get_origin(field.annotation) is list
    }
