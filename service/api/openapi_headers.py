"""The header fields of answers, each described once in the components of the OpenAPI document.

Which answer carries which follows from its status, except where a route says that its answers have
a tag. Fields that belong to the body itself (its type, its length) and to the transfer have a place
of their own in HTTP and none in the document.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

CACHE_CONTROL: Final = "private, max-age=300"
"""What may be kept for five minutes, by the caller alone."""
_REFS: Final = "#/components/headers/"
_TAG: Final = r'^"[!#-~]+"$'


def _field(description: str, *, required: bool = True, **schema: Any) -> dict[str, Any]:
    return {
        "description": description,
        "required": required,
        "schema": {"type": "string", **schema},
    }


HEADERS: Final[Mapping[str, Mapping[str, Any]]] = {
    "ETag": _field(
        "Strong tag of what is shown; changes when, and only when, that does. Send it back as"
        " `If-None-Match` to ask whether anything is new, as `If-Match` to change it.",
        pattern=_TAG,
        examples=['"4d2f0e8c1b7a9d3e5f60718293a4b5c6"'],
    ),
    "ETagOfWhatIsLeft": _field(
        "Strong tag of the new state; absent where nothing is left to have one.",
        required=False,
        pattern=_TAG,
    ),
    "KeptFiveMinutes": _field("May be kept by the caller for five minutes.", const=CACHE_CONTROL),
    "NotKept": _field("Must not be kept by any cache.", const="no-store"),
    "Vary": _field(
        "Request headers that the answer depends on.", examples=["Accept, Authorization, X-API-Key"]
    ),
    "XRequestId": _field(
        "Id of this request; give it to the operator when something went wrong.", format="uuid"
    ),
    "XContentTypeOptions": _field("The content is what `Content-Type` says.", const="nosniff"),
    "ContentEncoding": _field(
        "The body is compressed, as `Accept-Encoding` allows; absent where it is not.",
        required=False,
        const="gzip",
    ),
    "Link": _field(
        "With CSV: the address of what follows, relative to this service (RFC 8288).",
        required=False,
        examples=['</v1/runs?cursor=MTIuMzQ1>; rel="next"'],
    ),
    "Deprecation": _field(
        "Since when this, or a field of it, is deprecated (RFC 9745), in seconds since"
        " 1970-01-01T00:00Z.",
        pattern=r"^@[0-9]+$",
        examples=["@1796083200"],
    ),
    "Sunset": _field(
        "From when on it may be gone (RFC 8594).", examples=["Wed, 01 Dec 2027 00:00:00 GMT"]
    ),
    "DeprecationLink": _field(
        "Where the deprecation is explained (RFC 9745); with CSV of a list also what follows.",
        examples=['</v1/changelog>; rel="deprecation"'],
    ),
    "Location": _field(
        "Address of what was created, relative to this service.",
        format="uri-reference",
        examples=["/v1/farms/hill-farm"],
    ),
    "WWWAuthenticate": _field(
        "The scheme in which a key is expected; with a key that lacks a scope, that scope"
        " (RFC 6750).",
        examples=['Bearer realm="rillwright", error="insufficient_scope", scope="farm:write"'],
    ),
    "RetryAfter": _field(
        "Seconds to wait before the request is sent again.", type="integer", minimum=1
    ),
    "RateLimit": _field(
        "The limit that was met, the requests left of it and the seconds until there are more"
        " (draft-ietf-httpapi-ratelimit-headers).",
        pattern=r'^"[a-z_]+";r=[0-9]+;t=[0-9]+$',
        examples=['"requests_per_key";r=0;t=31'],
    ),
    "RateLimitPolicy": _field(
        "That limit: how many requests in how many seconds.",
        pattern=r'^"[a-z_]+";q=[0-9]+;w=[0-9]+$',
        examples=['"requests_per_key";q=600;w=60'],
    ),
}
_OF_EVERY_ANSWER: Final = {
    "Cache-Control": "NotKept",
    "Vary": "Vary",
    "X-Request-Id": "XRequestId",
    "X-Content-Type-Options": "XContentTypeOptions",
}
_BY_STATUS: Final[Mapping[str, Mapping[str, str]]] = {
    "201": {"Location": "Location"},
    "401": {"WWW-Authenticate": "WWWAuthenticate"},
    "403": {"WWW-Authenticate": "WWWAuthenticate"},
    "429": {
        "Retry-After": "RetryAfter",
        "RateLimit": "RateLimit",
        "RateLimit-Policy": "RateLimitPolicy",
    },
    "503": {"Retry-After": "RetryAfter"},
}


def header_ref(name: str) -> dict[str, str]:
    """A reference to one of :data:`HEADERS`."""
    return {"$ref": f"{_REFS}{name}"}


TAGGED: Final = {"ETag": header_ref("ETag"), "Cache-Control": header_ref("KeptFiveMinutes")}
"""Of answers that a caller may keep, and ask for again by their tag."""


def describe_headers(document: dict[str, Any]) -> None:
    """Add to each answer the fields that it carries whatever the route."""
    document["components"]["headers"] = HEADERS
    for path in document["paths"].values():
        for operation in path.values():
            for status, answer in operation["responses"].items():
                fields = {**_OF_EVERY_ANSWER, **_BY_STATUS.get(status, {})}
                own = answer.get("headers", {})
                if "ETag" not in own:  # a tag names the bytes that are sent
                    fields["Content-Encoding"] = "ContentEncoding"
                answer["headers"] = {
                    **{field: header_ref(name) for field, name in fields.items()},
                    **own,
                }
