"""The record of changes."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Self

from pydantic import Field

from service.api.dependencies import BLOCK_ID_PATTERN
from service.api.schemas.bodies import Instant
from service.api.schemas.facts import Out
from service.api.schemas.pages import FeedOut, PageOut
from service.api.schemas.queries import PageQuery
from service.records.audit import ActorKind, AuditEntry, Entrance, Subject


class ChangesQuery(PageQuery):
    """Selects changes of a farm."""

    subject: Subject | None = Field(
        None, description="Only changes of this kind of thing.", examples=["block"]
    )
    since: Instant | None = Field(
        None,
        description="Only changes at or after this instant, with its UTC offset.",
        examples=["2026-07-01T00:00:00-04:00"],
    )
    until: Instant | None = Field(
        None,
        description="Only changes before this instant, with its UTC offset.",
        examples=["2026-08-01T00:00:00-04:00"],
    )
    block: str | None = Field(
        None,
        pattern=BLOCK_ID_PATTERN,
        description="Only changes about this block, in full, `farm.block`.",
        examples=["hill-farm.north"],
    )


class ActorOut(Out):
    """Who made a change."""

    kind: ActorKind = Field(
        description="`key`, `person` (signed in by mail), `link` (a secret link), `command` (a user"
        " of the machine), `open` (at the machine, before there was a key) or `service`."
    )
    id: str = Field(
        description="Of a key the part that may be shown, of a person the shortened mail address;"
        " else empty."
    )
    name: str = Field(description="Of the holder, person or user; may be empty.")
    entrance: Entrance = Field(description="Where it came in.")


class ChangeOut(Out):
    """One change of one thing."""

    change_id: str = Field(description="Names the change; later ones have larger numbers.")
    at: datetime = Field(description="When, UTC.")
    farm_id: str | None = Field(description="Farm; null: of no single farm.")
    actor: ActorOut = Field(description="Who.")
    subject: Subject = Field(description="Kind of thing.")
    subject_id: str = Field(description="Which one.")
    before: Annotated[dict[str, Any], Field(title="Before")] | None = Field(
        description="The parts that changed, as they were; null: the thing is new. Names and units"
        " are those of stored numbers. A value that is too long gives its size in place of itself."
    )
    after: Annotated[dict[str, Any], Field(title="After")] | None = Field(
        description="The same parts as they are now; null: the thing is gone."
    )

    @classmethod
    def from_record(cls, entry: AuditEntry) -> Self:
        """The entry."""
        actor = entry.actor
        return cls(
            change_id=str(entry.entry_key),
            at=entry.at,
            farm_id=entry.farm_id,
            actor=ActorOut(
                kind=actor.kind, id=actor.actor_id, name=actor.name, entrance=actor.entrance
            ),
            subject=entry.subject,
            subject_id=entry.subject_id,
            before=entry.before,
            after=entry.after,
        )


class ChangePageOut(PageOut[ChangeOut]):
    """A page of changes, the newest first."""


class ChangeFeedOut(FeedOut[ChangeOut]):
    """Changes in the order of time."""
