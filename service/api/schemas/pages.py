"""Pages of lists."""

from __future__ import annotations

from typing import Generic, TypeVar

from pydantic import Field

from service.api.schemas.facts import Out

Shown = TypeVar("Shown", bound=Out)


class PageOut(Out, Generic[Shown]):
    """A page of a list."""

    items: list[Shown]
    next: str | None = Field(
        None,
        description="Address of the next page, relative to this service; null on the last one.",
    )


class FeedOut(Out, Generic[Shown]):
    """What came or changed, in that order."""

    items: list[Shown] = Field(description="Empty where there is nothing new.")
    next: str = Field(
        description="Address of what follows, relative to this service; keep it and ask it again"
        " later for what is new."
    )
    has_more: bool = Field(description="Whether more is there already.")
