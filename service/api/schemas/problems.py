"""Problem documents."""

from __future__ import annotations

from pydantic import Field

from service.api.schemas.facts import Out, is_absent


class ProblemErrorOut(Out):
    """One thing that is wrong with the request."""

    detail: str = Field(description="What is wrong, or what is allowed.")
    parameter: str | None = Field(
        None,
        exclude_if=is_absent,
        description="The path or query parameter, or the header, concerned.",
    )
    pointer: str | None = Field(
        None,
        exclude_if=is_absent,
        description="JSON pointer (RFC 6901) to the place in the body.",
    )


class ProblemOut(Out):
    """A problem document, RFC 9457."""

    type: str = Field(description="Address of a page that explains this type of problem.")
    title: str = Field(description="The type in words.")
    status: int = Field(description="The HTTP status.")
    detail: str | None = Field(None, description="What happened, for people.")
    instance: str = Field(description="URN of this occurrence.")
    request_id: str = Field(description="Id to give to the operator; also in X-Request-Id.")
    errors: list[ProblemErrorOut] | None = Field(
        None, description="With status 422: all that is wrong."
    )
