"""The history of the API."""

from __future__ import annotations

from datetime import date
from typing import Self

from pydantic import Field

from service.api.history import ApiChange, ChangeKind
from service.api.schemas.facts import Out


class ApiChangeOut(Out):
    """A change of the API."""

    version: str = Field(description="Version of the service that has it first.")
    day: date = Field(description="When it came.")
    kind: ChangeKind = Field(description="What happened.")
    routes: list[str] = Field(description="Method and path of each route concerned.")
    fields: list[str] = Field(
        description="Schema and property, such as `PlanOut.summary`; empty: the routes as a whole."
    )
    words: str = Field(description="What it is, and what to use in its place.")
    sunset: date | None = Field(
        description="Of what is deprecated, the first day on which it may be gone."
    )

    @classmethod
    def from_record(cls, change: ApiChange) -> Self:
        """The change."""
        return cls(
            version=change.version,
            day=change.day,
            kind=change.kind,
            routes=list(change.routes),
            fields=list(change.fields),
            words=change.words,
            sunset=change.sunset,
        )


class ChangelogOut(Out):
    """The history of the API."""

    items: list[ApiChangeOut] = Field(description="Changes, the newest first.")


CHANGELOG_EXAMPLE = {
    "items": [
        {
            "version": "0.1.0",
            "day": "2026-11-30",
            "kind": "added",
            "routes": ["GET /v1/plans", "GET /v1/runs"],
            "fields": [],
            "words": "Plans and runs of all farms, to be followed from a cursor on.",
            "sunset": None,
        }
    ]
}
