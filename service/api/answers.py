"""Responses as the OpenAPI document describes them, and conditional responses.

Conditional answers carry a strong ETag; a caller that sends it back gets 304 (RFC 9110, section
13).
"""

from __future__ import annotations

import hashlib
from typing import Annotated, Any

from fastapi import Header, Response
from pydantic import BaseModel

from service.api.openapi_headers import CACHE_CONTROL, TAGGED
from service.api.problem_types import (
    BODY_TOO_SLOW,
    FORBIDDEN,
    INTERNAL_ERROR,
    INVALID_REQUEST,
    NOT_ACCEPTABLE,
    STORAGE_UNAVAILABLE,
    TOO_LARGE,
    TOO_MANY_REQUESTS,
    UNAUTHORISED,
    ProblemType,
)
from service.api.problems import PROBLEM_MEDIA_TYPE, problem_document
from service.delivery.table_file import XLSX_TYPE, xlsx_file
from service.records.export import ExportTable
from service.translations import wording

VARY = "Accept, Authorization, X-API-Key"
ANY_MAY_MEET = (
    UNAUTHORISED,
    FORBIDDEN,
    NOT_ACCEPTABLE,
    TOO_MANY_REQUESTS,
    INTERNAL_ERROR,
    STORAGE_UNAVAILABLE,
)
"""Problems that any operation may return."""
SHEET_WORDS = wording("en", "si")
"""Spreadsheets and sentences of the API are in English and SI."""
_TAG_LENGTH = 32
_EXAMPLE_REQUEST = "0b54b9d8-6f0f-4b5c-9f0e-3a7c2d1e8f60"
_EXAMPLE_ERRORS = ({"parameter": "date", "detail": "Allowed: a calendar date as YYYY-MM-DD"},)

IfNoneMatch = Annotated[
    str | None,
    Header(
        description=(
            "ETag of the answer the caller already has; 304 without a body if it is current."
        ),
        examples=['"4d2f0e8c1b7a9d3e5f60718293a4b5c6"'],
    ),
]

NOT_MODIFIED: dict[int | str, dict[str, Any]] = {
    304: {
        "description": "The caller's copy is current; no body.",
        "headers": TAGGED,
    },
}


def conditional_response(content: BaseModel, if_none_match: str | None) -> Response:
    """The content as JSON, or 304 if the caller already has it.

    The tag is a hash of the exact bytes, so the content must not depend on the clock.
    """
    return tagged_response(
        content.model_dump_json().encode(), if_none_match, media_type="application/json"
    )


def tagged_response(body: bytes, if_none_match: str | None, *, media_type: str) -> Response:
    """Bytes with their tag, or 304 if the caller already has them."""
    tag = tag_of(body)
    headers = {"ETag": tag, "Cache-Control": CACHE_CONTROL, "Vary": VARY}
    if if_none_match is not None and holds(if_none_match, tag):
        return Response(status_code=304, headers=headers)
    return Response(body, headers=headers, media_type=media_type)


def spreadsheet_response(table: ExportTable, if_none_match: str | None) -> Response:
    """A table as a workbook with its notes, or 304 if the caller already has it."""
    return tagged_response(xlsx_file(table), if_none_match, media_type=XLSX_TYPE)


def tag_of(body: bytes) -> str:
    """A strong tag of exactly these bytes."""
    return f'"{hashlib.sha256(body).hexdigest()[:_TAG_LENGTH]}"'


def described(
    what: str,
    example: dict[str, Any],
    *,
    csv_example: str | None = None,
    is_spreadsheet: bool = False,
    is_conditional: bool = False,
) -> dict[str, Any]:
    """A successful answer as the OpenAPI document shows it.

    csv_example: of the table, where there is one; None: there is none. is_spreadsheet: the table
    also comes as a workbook.
    """
    content: dict[str, Any] = {"application/json": {"example": example}}
    if csv_example is not None:
        content["text/csv"] = {"schema": {"type": "string"}, "example": csv_example}
    if is_spreadsheet:
        content[XLSX_TYPE] = {
            "schema": {"type": "string", "format": "binary"},
            "example": "(the bytes of a workbook)",
        }
    answer: dict[str, Any] = {"description": what, "content": content}
    return {**answer, "headers": TAGGED} if is_conditional else answer


def problems(*kinds: ProblemType) -> dict[int | str, dict[str, Any]]:
    """The problems an operation may return, including those any operation may, by status."""
    by_status: dict[int | str, list[ProblemType]] = {}
    slow = (BODY_TOO_SLOW,) if TOO_LARGE in kinds else ()
    for kind in (*kinds, *slow, *ANY_MAY_MEET):
        by_status.setdefault(kind.status, []).append(kind)
    return {
        status: {
            "description": " / ".join(kind.title for kind in alike) + ".",
            "content": {
                PROBLEM_MEDIA_TYPE: {
                    "schema": {"$ref": "#/components/schemas/ProblemOut"},
                    "examples": {
                        kind.slug: {
                            "value": problem_document(
                                kind,
                                request_id=_EXAMPLE_REQUEST,
                                errors=_EXAMPLE_ERRORS if kind is INVALID_REQUEST else (),
                            )
                        }
                        for kind in alike
                    },
                }
            },
        }
        for status, alike in by_status.items()
    }


def holds(if_none_match: str, tag: str) -> bool:
    """Weak comparison, as If-None-Match requires; our tags never contain a comma."""
    held = (each.strip().removeprefix("W/") for each in if_none_match.split(","))
    return any(each in ("*", tag) for each in held)
