"""Pages of lists."""

from __future__ import annotations

from typing import Generic, TypeVar
from urllib.parse import parse_qs, urlsplit

from pydantic import Field, computed_field

from service.api.schemas.facts import Out

Shown = TypeVar("Shown", bound=Out)


class PageOut(Out, Generic[Shown]):
    """A page of a list."""

    items: list[Shown]
    next: str | None = Field(
        None,
        description="Address of the next page, relative to this service; null on the last one.",
    )

    @computed_field(  # type: ignore[prop-decorator]  # as pydantic documents it
        description="The same as a value of `cursor`, for callers that make no addresses."
    )
    @property
    def next_cursor(self) -> str | None:
        """The cursor in the address of the next page."""
        return _cursor_in(self.next)


class FeedOut(Out, Generic[Shown]):
    """What came or changed, in that order."""

    items: list[Shown] = Field(description="Empty where there is nothing new.")
    next: str = Field(
        description="Address of what follows, relative to this service; keep it and ask it again"
        " later for what is new."
    )
    has_more: bool = Field(description="Whether more is there already.")

    @computed_field(  # type: ignore[prop-decorator]  # as pydantic documents it
        description="The same as a value of `cursor`; null where nothing has come yet at all."
    )
    @property
    def next_cursor(self) -> str | None:
        """The cursor in the address of what follows."""
        return _cursor_in(self.next)


def _cursor_in(address: str | None) -> str | None:
    """The cursor of an address, as :func:`service.api.paging.next_address` writes it."""
    found = parse_qs(urlsplit(address or "").query).get("cursor")
    return found[-1] if found else None
