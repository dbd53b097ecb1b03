"""Every error as a problem document (RFC 9457), and the types of problems that there are.

A type is the path of a page of this service that explains it. A problem says what is wrong and
where, never what was sent: values can be secrets, or somebody else's. The id of the request stands
in each problem, so that the operator finds the log entry that says more.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

import orjson
from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from service.errors import (
    Conflict,
    Fault,
    InputInvalid,
    NotFound,
    PlanNotFound,
    RillwrightError,
    SettingsInvalid,
    StorageFailed,
    WeatherUnavailable,
)

PROBLEM_MEDIA_TYPE = "application/problem+json"
RETRY_AFTER_S = 30
"""Seconds after which a request that met a busy database may be sent again, own choice."""
_LONGEST_NAME = 80
_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class ProblemType:
    """A kind of problem; ``slug`` names its page and never changes."""

    slug: str
    status: int
    title: str
    detail: str
    """What is said where nothing more exact is known."""
    remedy: str
    """What the caller can do about it; shown on the page."""

    @property
    def uri(self) -> str:
        """The type as it stands in a problem document."""
        return f"/problems/{self.slug}"


NOT_FOUND = ProblemType(
    "not-found",
    404,
    "Not found",
    "There is nothing under this address, or it is not yours to see.",
    "Check the address. The blocks that can be asked for are listed under /v1/blocks; a block is"
    " named farm.block, in full.",
)
PLAN_NOT_FOUND = ProblemType(
    "plan-not-found",
    404,
    "No plan for that day",
    "The block is known, but no plan of it is stored for the day asked for.",
    "Leave the date out to get the latest plan. Tomorrow's plans are made every evening; a block"
    " that was added since then gets its first plan with the next run.",
)
METHOD_NOT_ALLOWED = ProblemType(
    "method-not-allowed",
    405,
    "Method not allowed",
    "This address does not know the method; the Allow header lists those it knows.",
    "Use one of the methods of the Allow header.",
)
CONFLICT = ProblemType(
    "conflict",
    409,
    "Conflict",
    "The state at hand does not allow what was asked.",
    "Read the thing again, and decide anew.",
)
INVALID_REQUEST = ProblemType(
    "invalid-request",
    422,
    "Invalid request",
    "The request holds values that cannot be used; errors lists each of them.",
    "Mend what errors lists. Each entry names a parameter of the address or a header by parameter,"
    " or a place in the body by pointer (a JSON pointer, RFC 6901), and says what is allowed.",
)
BAD_REQUEST = ProblemType(
    "bad-request",
    400,
    "Bad request",
    "The request cannot be read.",
    "Compare the request with the documentation under /docs.",
)
INTERNAL_ERROR = ProblemType(
    "internal-error",
    500,
    "Internal error",
    "The service failed. The operator finds the cause in the log under the request id.",
    "Nothing was wrong with the request. Tell the operator the request id.",
)
WEATHER_UNAVAILABLE = ProblemType(
    "weather-unavailable",
    503,
    "Weather unavailable",
    "No usable weather is at hand for the site and days asked for.",
    "Try again later, or bring weather for the site.",
)
STORAGE_UNAVAILABLE = ProblemType(
    "storage-unavailable",
    503,
    "Storage unavailable",
    "The database cannot be used at present. Nothing was changed.",
    "Try again after the seconds of the Retry-After header. Keep the last plan meanwhile.",
)

PROBLEM_TYPES: tuple[ProblemType, ...] = (
    BAD_REQUEST,
    NOT_FOUND,
    PLAN_NOT_FOUND,
    METHOD_NOT_ALLOWED,
    CONFLICT,
    INVALID_REQUEST,
    INTERNAL_ERROR,
    WEATHER_UNAVAILABLE,
    STORAGE_UNAVAILABLE,
)

# The first class that an error belongs to decides, so the more special ones stand first.
_TYPE_OF_ERROR: tuple[tuple[type[RillwrightError], ProblemType], ...] = (
    (SettingsInvalid, INTERNAL_ERROR),
    (InputInvalid, INVALID_REQUEST),
    (PlanNotFound, PLAN_NOT_FOUND),
    (NotFound, NOT_FOUND),
    (Conflict, CONFLICT),
    (WeatherUnavailable, WEATHER_UNAVAILABLE),
    (StorageFailed, STORAGE_UNAVAILABLE),
    (RillwrightError, INTERNAL_ERROR),
)
_TYPE_OF_STATUS: Mapping[int, ProblemType] = {
    400: BAD_REQUEST,
    404: NOT_FOUND,
    405: METHOD_NOT_ALLOWED,
    409: CONFLICT,
    422: INVALID_REQUEST,
    500: INTERNAL_ERROR,
}


def problem_document(
    kind: ProblemType, *, request_id: str, errors: Sequence[Mapping[str, str]] = ()
) -> dict[str, object]:
    """What a problem of this type says."""
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
    """Let every error of the application leave it as a problem document."""
    app.add_exception_handler(RillwrightError, _answer_own_error)
    app.add_exception_handler(RequestValidationError, _answer_invalid_request)
    app.add_exception_handler(HTTPException, _answer_http_error)


def problem_type_of(error: RillwrightError) -> ProblemType:
    """The type of problem that an error of the service is."""
    return next(kind for cls, kind in _TYPE_OF_ERROR if isinstance(error, cls))


def faults_as_errors(faults: Sequence[Fault]) -> list[dict[str, str]]:
    """What is allowed where, without what was found there."""
    return [_fault_as_error(fault) for fault in faults]


def validation_errors(problems: Sequence[Mapping[str, Any]]) -> list[dict[str, str]]:
    """pydantic's findings by place, without the values that were sent."""
    return [_finding_as_error(each) for each in problems]


# The handlers are coroutines because Starlette would run plain functions in its thread pool.


async def _answer_own_error(request: Request, error: Exception) -> Response:
    if not isinstance(error, RillwrightError):
        raise error
    kind = problem_type_of(error)
    if kind.status >= HTTPStatus.INTERNAL_SERVER_ERROR:
        _log.error("request %s: %s: %s", request.state.request_id, type(error).__name__, error)
    return problem_response(
        request,
        kind,
        errors=faults_as_errors(error.faults) if isinstance(error, InputInvalid) else (),
        headers=(
            {"Retry-After": str(RETRY_AFTER_S)}
            if kind.status == HTTPStatus.SERVICE_UNAVAILABLE
            else None
        ),
    )


async def _answer_invalid_request(request: Request, error: Exception) -> Response:
    if not isinstance(error, RequestValidationError):
        raise error
    return problem_response(request, INVALID_REQUEST, errors=validation_errors(error.errors()))


async def _answer_http_error(request: Request, error: Exception) -> Response:
    if not isinstance(error, HTTPException):
        raise error
    kind = _TYPE_OF_STATUS.get(error.status_code)
    if kind is METHOD_NOT_ALLOWED:  # static files say 405 without the Allow that RFC 9110 wants
        return problem_response(request, kind, headers={"Allow": "GET", **(error.headers or {})})
    if kind is not None:
        return problem_response(request, kind, headers=error.headers)
    # RFC 9457 4.2.1: a problem that is no more than its status has no type of its own.
    document = {
        "type": "about:blank",
        "title": HTTPStatus(error.status_code).phrase,
        "status": error.status_code,
        **_occurrence(request.state.request_id),
    }
    return _response(document, status=error.status_code, headers=error.headers)


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


def _fault_as_error(fault: Fault) -> dict[str, str]:
    allowed = f"allowed: {fault.allowed}"
    if fault.where.startswith("/"):
        return {"pointer": fault.where, "detail": allowed}
    if fault.where.isidentifier():
        return {"parameter": fault.where, "detail": allowed}
    return {"detail": f"{fault.where}: {allowed}"}


def _finding_as_error(finding: Mapping[str, Any]) -> dict[str, str]:
    room, *path = finding["loc"]
    if room == "body":
        return {"pointer": _pointer(path), "detail": _finding_text(finding)}
    name = ".".join(str(part) for part in path) or str(room)
    return {"parameter": name[:_LONGEST_NAME], "detail": _finding_text(finding)}


def _pointer(path: Sequence[object]) -> str:
    """JSON pointer (RFC 6901) to a place in the body; empty for the body itself."""
    parts = (str(part)[:_LONGEST_NAME] for part in path)
    return "".join("/" + part.replace("~", "~0").replace("/", "~1") for part in parts)


def _finding_text(finding: Mapping[str, Any]) -> str:
    match finding["type"]:
        case "value_error":
            return str(finding["ctx"]["error"])
        case "union_tag_invalid":  # the only message of pydantic that repeats what was sent
            return f"Allowed: one of {finding['ctx']['expected_tags']}"
        case "json_invalid":
            return "The body is not JSON."
        case _:
            return str(finding["msg"])
