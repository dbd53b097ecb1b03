"""Farms as JSON documents, and the outcome of a change."""

from __future__ import annotations

from typing import Any

from pydantic import ConfigDict, Field

from service.api.schemas.facts import Out
from service.api.schemas.feedback import CountsOut


class FarmDocumentOut(Out):
    """A farm as in its farm file: every number explicit, in SI, with its unit."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    farm: dict[str, Any] = Field(description="Table `[farm]`.")
    site: list[dict[str, Any]] = Field([], description="Tables `[[site]]`.")
    supply: list[dict[str, Any]] = Field([], description="Tables `[[supply]]`.")
    block: list[dict[str, Any]] = Field([], description="Tables `[[block]]`.")
    controller: list[dict[str, Any]] = Field([], description="Tables `[[controller]]`.")


class FarmChangeOut(Out):
    """The outcome of a change; the ETag identifies the new state."""

    farm_id: str = Field(description="The farm changed.")
    counts: CountsOut
    retired_count: int = Field(description="Blocks and controllers that were retired.")
    questions: list[str] = Field(
        description="What may be a slip in the blocks given, such as a planting year ahead; it is"
        " stored all the same."
    )
