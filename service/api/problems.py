"""Every error as a problem document (RFC 9457), and the types of problems that there are.

A type is the path of a page of this service that explains it. A problem says what is wrong and
where, never what was sent: values can be secrets, or somebody else's. The id of the request stands
in each problem, so that the operator finds the log entry that says more.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from http import HTTPStatus
from typing import Any

import orjson
from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

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
"""Seconds after which a request that met a busy database may be sent again, own choice."""
_LONGEST_NAME = 80
_HEADER = re.compile(r"[A-Z][a-z]+(-[A-Z][a-z]+)+")
_HAVE_BODY = frozenset({"POST", "PUT", "PATCH"})
_log = get_logger(__name__)


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
RETIRED = ProblemType(
    "retired",
    410,
    "Not in use any more",
    "What stood under this address was taken out of use.",
    "Stop asking. A controller that gets this answer is not paired any more: it closes its valves,"
    " runs neither program nor fallback, and calls for a person.",
)
UNAUTHORISED = ProblemType(
    "key-required",
    401,
    "Key required",
    "The request came without a key, or with one that is unknown, revoked or expired.",
    "Send the key as `Authorization: Bearer rw_...`, or as `X-API-Key`. The operator makes keys"
    " with `rillwright keys add`, and tells whether yours has ended.",
)
FORBIDDEN = ProblemType(
    "scope-missing",
    403,
    "Scope missing",
    "The key is good, but it was not made for this. WWW-Authenticate names the scope that is asked"
    " for.",
    "Ask the operator for a key with that scope.",
)
TOO_MANY_REQUESTS = ProblemType(
    "too-many-requests",
    429,
    "Too many requests",
    "The key or the address has asked more often than was agreed.",
    "Wait for the seconds of the Retry-After header. A controller keeps its last program until"
    " then.",
)
TOO_LARGE = ProblemType(
    "too-large",
    413,
    "Body too large",
    "The body is larger than the 1,000,000 bytes that are taken.",
    "Send it in parts: at most 1,000 runs in a request.",
)
UNSUPPORTED_MEDIA_TYPE = ProblemType(
    "unsupported-media-type",
    415,
    "Unsupported media type",
    "The body is not declared as JSON in UTF-8.",
    "Send `Content-Type: application/json`; JSON has no other charset than UTF-8.",
)
MALFORMED_JSON = ProblemType(
    "malformed-json",
    400,
    "Malformed JSON",
    "The body is not JSON in UTF-8.",
    "Check it with a JSON reader. NaN and Infinity are not JSON; leave out what is not known.",
)
IDEMPOTENCY_KEY_MISSING = ProblemType(
    "idempotency-key-missing",
    400,
    "Idempotency key missing",
    "The request must carry an Idempotency-Key header: a text of 1 to 255 visible ASCII characters"
    " in double quotes, best a UUID.",
    "Make a new key for each report, and send the same key when the same report is sent again. It"
    " is remembered for 48 hours.",
)
IDEMPOTENCY_KEY_TAKEN = ProblemType(
    "idempotency-key-taken",
    422,
    "Idempotency key taken",
    "The idempotency key was used for another request within the last 48 hours.",
    "Make a new key for each new request.",
)
STILL_RUNNING = ProblemType(
    "still-running",
    409,
    "Still running",
    "A request with this idempotency key is being worked on.",
    "Send the request again after a few seconds; the answer will be the same.",
)
PRECONDITION_REQUIRED = ProblemType(
    "precondition-required",
    428,
    "Precondition required",
    "A change must say which state it changes: the If-Match header is missing.",
    "Get the thing first, and send its ETag as If-Match.",
)
PRECONDITION_FAILED = ProblemType(
    "precondition-failed",
    412,
    "Precondition failed",
    "The thing has changed since its ETag was read. Nothing was changed.",
    "Get the thing again, look at what has changed, and decide anew.",
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
BUSY = ProblemType(
    "busy",
    503,
    "Busy",
    "Only one of this kind is worked on at a time, and one is. Nothing was begun.",
    "Send the request again after the seconds of the Retry-After header.",
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
    MALFORMED_JSON,
    IDEMPOTENCY_KEY_MISSING,
    UNAUTHORISED,
    FORBIDDEN,
    NOT_FOUND,
    PLAN_NOT_FOUND,
    METHOD_NOT_ALLOWED,
    CONFLICT,
    STILL_RUNNING,
    BUSY,
    RETIRED,
    PRECONDITION_FAILED,
    TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
    INVALID_REQUEST,
    IDEMPOTENCY_KEY_TAKEN,
    PRECONDITION_REQUIRED,
    TOO_MANY_REQUESTS,
    INTERNAL_ERROR,
    WEATHER_UNAVAILABLE,
    STORAGE_UNAVAILABLE,
)

# The first class that an error belongs to decides, so the more special ones stand first.
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
    """A request that the API itself refuses, before any operation is asked."""

    def __init__(self, kind: ProblemType, *, headers: Mapping[str, str] | None = None) -> None:
        self.kind = kind
        self.headers = headers
        super().__init__(kind.title)


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
    app.add_exception_handler(RillwrightError, answer_own_error)
    app.add_exception_handler(Refused, _answer_refusal)
    app.add_exception_handler(RequestValidationError, _answer_invalid_request)
    app.add_exception_handler(HTTPException, _answer_http_error)


def problem_type_of(error: RillwrightError) -> ProblemType:
    """The type of problem that an error of the service is."""
    return next(kind for cls, kind in _TYPE_OF_ERROR if isinstance(error, cls))


def faults_as_errors(
    faults: Sequence[Fault], *, outside_body: Container[str] | None = None
) -> list[dict[str, str]]:
    """What is allowed where, without what was found there.

    A plain name is a parameter; of a request with a body only where ``outside_body`` holds it.
    """
    return [_fault_as_error(fault, outside_body) for fault in faults]


@contextmanager
def told_as(places: Mapping[str, str]) -> Iterator[None]:
    """Let faults be told by where the caller gave the values, in place of an operation's names."""
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
    """The answer to a request that met an error of the service; it is logged where it is ours."""
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
    if kind is METHOD_NOT_ALLOWED:  # static files say 405 without the Allow that RFC 9110 wants
        headers = {"Allow": "GET", **(error.headers or {})}
        # The router names the methods of one of the routes under the address, not of all.
        known: Callable[[str], str | None] = getattr(
            request.app.state, "methods_of", lambda _path: None
        )
        return problem_response(
            request, kind, headers={**headers, "Allow": known(request.url.path) or headers["Allow"]}
        )
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
