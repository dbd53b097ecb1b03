"""The agreed OpenAPI document, in ``openapi.json`` next to this file.

After an intended change, regenerate it and review the difference before committing:

    python -m tests.api.openapi_snapshot
"""

from __future__ import annotations

import json
from collections.abc import Collection
from pathlib import Path
from typing import Any, NoReturn

from fastapi import FastAPI

from service.api.app import create_app
from service.bootstrap import Service, SystemClock
from service.settings import Settings

SNAPSHOT = Path(__file__).with_name("openapi.json")


def _no_database(*, write: bool, farm_keys: Collection[int] | None = None) -> NoReturn:
    raise AssertionError("the OpenAPI document needs no database")


def app_without_database() -> FastAPI:
    """An application that can describe itself but has no database to answer from."""
    return create_app(Service(settings=Settings(), unit_of_work=_no_database, clock=SystemClock()))


def openapi_text() -> str:
    """The document of the current code, in a form that is easy to compare."""
    return json.dumps(app_without_database().openapi(), indent=1, ensure_ascii=False) + "\n"


def answers_of(document: dict[str, Any], operation: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """The answers of an operation by status, those that operations share in full."""
    shared = document["components"]["responses"]
    return {
        status: shared[answer["$ref"].rpartition("/")[2]] if "$ref" in answer else answer
        for status, answer in operation["responses"].items()
    }


if __name__ == "__main__":
    SNAPSHOT.write_text(openapi_text(), encoding="utf-8")
