"""The types of problem documents: what each means, and what a caller can do about it.

A type is the path of a page of this service that explains it, and never changes.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ProblemType:
    """A kind of problem; ``slug`` names its page and never changes."""

    slug: str
    status: int
    title: str
    detail: str
    """The detail used when nothing more specific is known."""
    remedy: str
    """What the caller can do about it; shown on the page."""

    @property
    def uri(self) -> str:
        """The type as written in a problem document."""
        return f"/problems/{self.slug}"


NOT_FOUND = ProblemType(
    "not-found",
    404,
    "Not found",
    "Nothing exists at this address, or you are not allowed to see it.",
    "Check the address. /v1/blocks lists the blocks you can ask for; a block's full name is "
    "farm.block.",
)
PLAN_NOT_FOUND = ProblemType(
    "plan-not-found",
    404,
    "No plan for that day",
    "The block exists, but it has no plan for the requested day.",
    "Leave the date out to get the latest plan. Tomorrow's plans are made every evening; a block"
    " that was added since then gets its first plan with the next run.",
)
RETIRED = ProblemType(
    "retired",
    410,
    "No longer in use",
    "What was at this address has been retired.",
    "Stop polling. A controller that gets this answer is no longer paired: it closes its valves, "
    "runs neither program nor fallback, and calls for help.",
)
UNAUTHORISED = ProblemType(
    "key-required",
    401,
    "Key required",
    "The request came without a key, or with one that is unknown, revoked or expired.",
    "Send the key as `Authorization: Bearer rw_...`, or as `X-API-Key`. The operator makes keys "
    "with `rillwright keys add` and can tell you whether yours has expired.",
)
FORBIDDEN = ProblemType(
    "scope-missing",
    403,
    "Scope missing",
    "The key is valid but lacks the scope for this. WWW-Authenticate names the scope required.",
    "Ask the operator for a key with that scope.",
)
TOO_MANY_REQUESTS = ProblemType(
    "too-many-requests",
    429,
    "Too many requests",
    "The key or the address has exceeded its request limit.",
    "Wait the number of seconds in the Retry-After header. Until then a controller keeps its last "
    "program.",
)
BODY_TOO_SLOW = ProblemType(
    "body-too-slow",
    408,
    "Body too slow",
    "The body was not complete a minute after the request's head. Nothing was changed.",
    "Send the request again; over a slow line, with fewer entries.",
)
TOO_LARGE = ProblemType(
    "too-large",
    413,
    "Body too large",
    "The body is larger than the 1,000,000 bytes allowed.",
    "Send it in parts: at most 1,000 runs in a request.",
)
UNSUPPORTED_MEDIA_TYPE = ProblemType(
    "unsupported-media-type",
    415,
    "Unsupported media type",
    "The body is not declared as JSON in UTF-8.",
    "Send `Content-Type: application/json`; UTF-8 is the only charset for JSON.",
)
MALFORMED_JSON = ProblemType(
    "malformed-json",
    400,
    "Malformed JSON",
    "The body is not JSON in UTF-8.",
    "Check it with a JSON parser. NaN and Infinity are not JSON; leave out unknown values.",
)
IDEMPOTENCY_KEY_MISSING = ProblemType(
    "idempotency-key-missing",
    400,
    "Idempotency key missing",
    "The request must carry an Idempotency-Key header: a text of 1 to 255 visible ASCII "
    "characters in double quotes, preferably a UUID.",
    "Make a new key for each report, and send the same key when the same report is sent again. It"
    " is remembered for 48 hours.",
)
IDEMPOTENCY_KEY_TAKEN = ProblemType(
    "idempotency-key-taken",
    422,
    "Idempotency key already used",
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
    "Get the resource first, and send its ETag as If-Match.",
)
PRECONDITION_FAILED = ProblemType(
    "precondition-failed",
    412,
    "Precondition failed",
    "The resource has changed since its ETag was read. Your change was not made.",
    "Get the resource again, see what has changed, and decide again.",
)
NOT_ACCEPTABLE = ProblemType(
    "not-acceptable",
    406,
    "Not acceptable",
    "The Accept header excludes every form in which this address answers.",
    "Accept application/json, or text/csv where the documentation offers a table. Problems are "
    "application/problem+json in any case.",
)
METHOD_NOT_ALLOWED = ProblemType(
    "method-not-allowed",
    405,
    "Method not allowed",
    "This address does not support the method; the Allow header lists those it does.",
    "Use one of the methods of the Allow header.",
)
CONFLICT = ProblemType(
    "conflict",
    409,
    "Conflict",
    "The current state does not allow the request.",
    "Read the resource again, and decide again.",
)
BUSY = ProblemType(
    "busy",
    503,
    "Busy",
    "Only one request of this kind runs at a time, and one is running. Nothing was started.",
    "Send the request again after the number of seconds in the Retry-After header.",
)
INVALID_REQUEST = ProblemType(
    "invalid-request",
    422,
    "Invalid request",
    "The request contains values that cannot be used; errors lists each of them.",
    "Correct what errors lists. Each entry names a parameter of the address or a header by "
    "parameter, or a place in the body by pointer (a JSON pointer, RFC 6901), and says what is "
    "allowed.",
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
    "The service failed. The operator can find the cause in the log under the request id.",
    "The request itself was fine. Give the operator the request id.",
)
WEATHER_UNAVAILABLE = ProblemType(
    "weather-unavailable",
    503,
    "Weather unavailable",
    "There is no usable weather for the site and days requested.",
    "Try again later, or import weather for the site.",
)
STORAGE_UNAVAILABLE = ProblemType(
    "storage-unavailable",
    503,
    "Storage unavailable",
    "The database is not available right now. Nothing was changed.",
    "Try again after the seconds of the Retry-After header. Keep the last plan in the meantime.",
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
    NOT_ACCEPTABLE,
    CONFLICT,
    STILL_RUNNING,
    BUSY,
    RETIRED,
    PRECONDITION_FAILED,
    BODY_TOO_SLOW,
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

# The first class that matches an error decides, so the more specific ones come first.
