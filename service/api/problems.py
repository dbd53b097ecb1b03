"""Errors as problem documents (RFC 9457).

A problem says what is wrong and
where, never what was sent: values can be secrets, or belong to somebody else. Each problem carries
the request id, so that the operator can find the matching log entry.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from http import HTTPStatus
from typing import Any

import orjson
from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from service.api.problem_types import (
    BAD_REQUEST,
    BUSY,
    CONFLICT,
    FORBIDDEN,
    IDEMPOTENCY_KEY_TAKEN,
    INTERNAL_ERROR,
    INVALID_REQUEST,
    METHOD_NOT_ALLOWED,
    NOT_FOUND,
    PLAN_NOT_FOUND,
    PRECONDITION_FAILED,
    PRECONDITION_REQUIRED,
    RETIRED,
    STILL_RUNNING,
    STORAGE_UNAVAILABLE,
    TOO_LARGE,
    TOO_MANY_REQUESTS,
    UNAUTHORISED,
    UNSUPPORTED_MEDIA_TYPE,
    WEATHER_UNAVAILABLE,
    ProblemType,
)
from service.errors import (
    Busy,
    Conflict,
    Fault,
    InputInvalid,
    NotFound,
    PlanNotFound,
    Retired,
    RillwrightError,
    SettingsInvalid,
    Stale,
    StorageFailed,
    WeatherUnavailable,
)
from service.logs import get_logger
from service.operations.access.answer_once import KeyTaken, StillRunning

PROBLEM_MEDIA_TYPE = "application/problem+json"
RETRY_AFTER_S = 30
"""Seconds to wait before repeating a request that met a busy database; our own choice."""
_LONGEST_NAME = 80
_HEADER = re.compile(r"[A-Z][a-z]+(-[A-Z][a-z]+)+")
_HAVE_BODY = frozenset({"POST", "PUT", "PATCH"})
_log = get_logger(__name__)


_TYPE_OF_ERROR: tuple[tuple[type[RillwrightError], ProblemType], ...] = (
    (SettingsInvalid, INTERNAL_ERROR),
    (KeyTaken, IDEMPOTENCY_KEY_TAKEN),
    (InputInvalid, INVALID_REQUEST),
    (PlanNotFound, PLAN_NOT_FOUND),
    (NotFound, NOT_FOUND),
    (Retired, RETIRED),
    (Stale, PRECONDITION_FAILED),
    (StillRunning, STILL_RUNNING),
    (Busy, BUSY),
    (Conflict, CONFLICT),
    (WeatherUnavailable, WEATHER_UNAVAILABLE),
    (StorageFailed, STORAGE_UNAVAILABLE),
    (RillwrightError, INTERNAL_ERROR),
)
_TYPE_OF_STATUS: Mapping[int, ProblemType] = {
    400: BAD_REQUEST,
    401: UNAUTHORISED,
    403: FORBIDDEN,
    404: NOT_FOUND,
    405: METHOD_NOT_ALLOWED,
    409: CONFLICT,
    410: RETIRED,
    412: PRECONDITION_FAILED,
    413: TOO_LARGE,
    415: UNSUPPORTED_MEDIA_TYPE,
    422: INVALID_REQUEST,
    428: PRECONDITION_REQUIRED,
    429: TOO_MANY_REQUESTS,
    500: INTERNAL_ERROR,
}


class Refused(Exception):
    """A request that the API itself refuses, before any operation runs."""

    def __init__(self, kind: ProblemType, *, headers: Mapping[str, str] | None = None) -> None:
        self.kind = kind
        self.headers = headers
        super().__init__(kind.title)


def problem_document(
    kind: ProblemType, *, request_id: str, errors: Sequence[Mapping[str, str]] = ()
) -> dict[str, object]:
    """The problem document of a type."""
    document: dict[str, object] = {
        "type": kind.uri,
        "title": kind.title,
        "status": kind.status,
        "detail": kind.detail,
        **_occurrence(request_id),
    }
    return {**document, "errors": list(errors)} if errors else document


def problem_response(
    request: Request,
    kind: ProblemType,
    *,
    errors: Sequence[Mapping[str, str]] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """The answer to a request that met a problem."""
    document = problem_document(kind, request_id=request.state.request_id, errors=errors)
    return _response(document, status=kind.status, headers=headers)


def handle_problems(app: FastAPI) -> None:
    """Turn every error of the application into a problem document."""
    app.add_exception_handler(RillwrightError, answer_own_error)
    app.add_exception_handler(Refused, _answer_refusal)
    app.add_exception_handler(RequestValidationError, _answer_invalid_request)
    app.add_exception_handler(HTTPException, _answer_http_error)


def problem_type_of(error: RillwrightError) -> ProblemType:
    """The problem type of an error of the service."""
    return next(kind for cls, kind in _TYPE_OF_ERROR if isinstance(error, cls))


def faults_as_errors(
    faults: Sequence[Fault], *, outside_body: Container[str] | None = None
) -> list[dict[str, str]]:
    """Faults as entries of ``errors``: where, and what is allowed, without the value that was sent.

    A plain name is a parameter; in a request with a body only if ``outside_body`` contains it.
    """
    return [_fault_as_error(fault, outside_body) for fault in faults]


@contextmanager
def reported_as(places: Mapping[str, str]) -> Iterator[None]:
    """Report faults under the names the caller used, not under an operation's own."""
    try:
        yield
    except InputInvalid as error:
        faults = [replace(each, where=places.get(each.where, each.where)) for each in error.faults]
        raise type(error)(error.message, faults) from error


def validation_errors(problems: Sequence[Mapping[str, Any]]) -> list[dict[str, str]]:
    """pydantic's findings by place, without the values that were sent."""
    return [_finding_as_error(each) for each in problems]


# The handlers are coroutines because Starlette would run plain functions in its thread pool.


async def answer_own_error(request: Request, error: Exception) -> Response:
    """The answer to a request that met an error of the service; our own failures are logged."""
    if not isinstance(error, RillwrightError):
        raise error
    kind = problem_type_of(error)
    if kind.status >= HTTPStatus.INTERNAL_SERVER_ERROR:
        _log.error(
            "request %s failed",
            request.state.request_id,
            problem=kind.slug,
            reason=f"{type(error).__name__}: {error}",
            exc_info=error,
        )
    return problem_response(
        request,
        kind,
        errors=(
            faults_as_errors(
                error.faults,
                outside_body=request.path_params if request.method in _HAVE_BODY else None,
            )
            if isinstance(error, (InputInvalid, Conflict))
            else ()
        ),
        headers=(
            {"Retry-After": str(RETRY_AFTER_S)}
            if kind.status == HTTPStatus.SERVICE_UNAVAILABLE
            else None
        ),
    )


async def _answer_refusal(request: Request, error: Exception) -> Response:
    if not isinstance(error, Refused):
        raise error
    return problem_response(request, error.kind, headers=error.headers)


async def _answer_invalid_request(request: Request, error: Exception) -> Response:
    if not isinstance(error, RequestValidationError):
        raise error
    return problem_response(request, INVALID_REQUEST, errors=validation_errors(error.errors()))


async def _answer_http_error(request: Request, error: Exception) -> Response:
    if not isinstance(error, HTTPException):
        raise error
    kind = _TYPE_OF_STATUS.get(error.status_code)
    if kind is NOT_FOUND and _is_for_people(request):
        page: Response = await request.app.state.unknown_page(request)
        return page
    if kind is METHOD_NOT_ALLOWED:  # static files say 405 without the Allow that RFC 9110 wants
        headers = {"Allow": "GET", **(error.headers or {})}
        # The router lists the methods of only one of the routes at this address.
        known: Callable[[str], str | None] = getattr(
            request.app.state, "methods_of", lambda _path: None
        )
        headers["Allow"] = known(request.url.path) or headers["Allow"]
        if request.method == "OPTIONS":
            headers["Allow"] += ", OPTIONS"
            return Response(status_code=204, headers=headers)
        return problem_response(request, kind, headers=headers)
    if kind is not None:
        return problem_response(request, kind, headers=error.headers)
    # RFC 9457 4.2.1: a problem that says no more than its status has no type of its own.
    document = {
        "type": "about:blank",
        "title": HTTPStatus(error.status_code).phrase,
        "status": error.status_code,
        **_occurrence(request.state.request_id),
    }
    return _response(document, status=error.status_code, headers=error.headers)


def _is_for_people(request: Request) -> bool:
    """Whether a browser asks for something that is no part of the API."""
    return (
        request.method in ("GET", "HEAD")
        and not request.url.path.startswith("/v1/")
        and "text/html" in request.headers.get("accept", "")
        and hasattr(request.app.state, "unknown_page")
    )


def _occurrence(request_id: str) -> dict[str, object]:
    return {"instance": f"urn:uuid:{request_id}", "request_id": request_id}


def _response(
    document: Mapping[str, object], *, status: int, headers: Mapping[str, str] | None
) -> Response:
    return Response(
        orjson.dumps(document),
        status_code=status,
        headers={**(headers or {}), "Cache-Control": "no-store"},
        media_type=PROBLEM_MEDIA_TYPE,
    )


def _fault_as_error(fault: Fault, outside_body: Container[str] | None) -> dict[str, str]:
    where, allowed = fault.where, f"allowed: {fault.allowed}"
    if not where or where.startswith("/"):  # the empty pointer is the body itself
        return {"pointer": where, "detail": allowed}
    if _HEADER.fullmatch(where):
        return {"parameter": where, "detail": allowed}
    if not where.isidentifier():
        return {"detail": f"{where}: {allowed}"}
    if outside_body is None or where in outside_body:
        return {"parameter": where, "detail": allowed}
    return {"pointer": f"/{where}", "detail": allowed}


def _finding_as_error(finding: Mapping[str, Any]) -> dict[str, str]:
    room, *path = finding["loc"]
    if room == "body":
        return {"pointer": _pointer(path), "detail": finding_text(finding)}
    name = ".".join(str(part) for part in path) or str(room)
    return {"parameter": name[:_LONGEST_NAME], "detail": finding_text(finding)}


def _pointer(path: Sequence[object]) -> str:
    """JSON pointer (RFC 6901) to a place in the body; empty for the body itself."""
    parts = (str(part)[:_LONGEST_NAME] for part in path)
    return "".join("/" + part.replace("~", "~0").replace("/", "~1") for part in parts)


def finding_text(finding: Mapping[str, Any]) -> str:
    """One of pydantic's findings in words, without the value that was sent."""
    match finding["type"]:
        case "value_error":
            return str(finding["ctx"]["error"])
        case "union_tag_invalid":  # pydantic's only message that repeats what was sent
            return f"Allowed: one of {finding['ctx']['expected_tags']}"
        case "json_invalid":
            return "The body is not JSON."
        case _:
            return str(finding["msg"])
