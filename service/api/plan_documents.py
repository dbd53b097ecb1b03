"""Plans cached in this process as the bytes that are sent.

They were rendered when they were published. A plan is read from the database on first use, and kept
until the change marks show that any plan has changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from service.api.answers import tag_of
from service.api.news import News
from service.api.program import JSON_TYPE, Document, make_document
from service.database.plan_store import PLANS_TOPIC
from service.database.session import UnitOfWork
from service.records.plans import PlanText

MOST_KEPT: Final = 20_000
"""Plans that a process caches, about 4 kB each; our own choice."""


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """A cached plan, and the farm it belongs to."""

    farm_id: str
    document: Document
    generation: int


class PlanDocuments:
    """Plans by block and query, kept until any plan changes."""

    def __init__(self, news: News) -> None:
        self._kept: dict[tuple[str, bytes], KeptPlan] = {}
        self._generation = 0
        news.listen(PLANS_TOPIC, _read_nothing, self._forget)

    @property
    def generation(self) -> int:
        """Rises with each change of plans; note it before reading what is to be kept."""
        return self._generation

    def find(self, block_id: str, query: bytes) -> KeptPlan | None:
        """The cached plan for a read; None if there is no current one."""
        kept = self._kept.get((block_id, query))
        # Route threads store plans here and may be overtaken by a change seen in the event loop.
        return kept if kept is not None and kept.generation == self._generation else None

    def keep(self, block_id: str, query: bytes, plan: PlanText, *, generation: int) -> Document:
        """The plan as a document; kept unless plans have changed since the generation noted."""
        document = make_document(plan.text, tag_of(plan.text).encode("ascii"), JSON_TYPE)
        if generation == self._generation:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            self._kept[block_id, query] = KeptPlan(plan.farm_id, document, generation)
        return document

    def _forget(self, _found: object) -> None:
        self._generation += 1
        self._kept.clear()


def _read_nothing(_unit: UnitOfWork, _mark: int) -> None:
    """It does not matter which plans have changed: all are dropped."""
