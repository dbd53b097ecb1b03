"""Farms as JSON documents, and what a change of one did."""

from __future__ import annotations

from typing import Any

from pydantic import ConfigDict, Field

from service.api.schemas.facts import Out
from service.api.schemas.feedback import CountsOut


class FarmDocumentOut(Out):
    """A farm as its farm file says it: every number stated, in SI, with its unit."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    farm: dict[str, Any] = Field(description="Table `[farm]`.")
    site: list[dict[str, Any]] = Field([], description="Tables `[[site]]`.")
    supply: list[dict[str, Any]] = Field([], description="Tables `[[supply]]`.")
    block: list[dict[str, Any]] = Field([], description="Tables `[[block]]`.")
    controller: list[dict[str, Any]] = Field([], description="Tables `[[controller]]`.")


class FarmChangeOut(Out):
    """What a change did; the thing's new state is told by its ETag."""

    farm_id: str = Field(description="Farm that was changed.")
    counts: CountsOut
    retired_count: int = Field(description="Blocks that were taken out of use.")
