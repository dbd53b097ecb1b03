"""The season calendar of a farm."""

from __future__ import annotations

from datetime import date
from typing import Literal, Self

from pydantic import Field

from service.api.schemas.facts import Out
from service.api.schemas.queries import In
from service.nutrition.task_words import TaskKind
from service.operations.season.documents import season_document
from service.records.season import SeasonCalendar


class CalendarQuery(In):
    """How the calendar is written."""

    language: Literal["en", "es"] = Field("en", description="Language of the events.")


class TaskBlockOut(Out):
    """A block that has a task."""

    block_id: str
    name: str
    done_on: date | None = Field(
        description="Day of the test of this window; null: none is on file."
    )
    before_on: date | None = Field(
        description="When the same was last done, where not in this window; else null."
    )
    note: str = Field(description="What holds for this block alone; may be empty.")


class SeasonTaskOut(Out):
    """One task with every block that has it on the same days."""

    key: str = Field(description="The same as long as the task and its days are the same.")
    kind: TaskKind = Field(description="New kinds may be added.")
    first_day: date = Field(description="First local day of the window.")
    last_day: date = Field(description="Last local day of the window, included.")
    title: str
    crops: list[str] = Field(
        description="The crops that it is for, where a block's crop may be one of several."
    )
    reason: str
    how: list[str] = Field(description="In the order in which it is done.")
    source: str = Field(description="Where days and rules come from.")
    blocks: list[TaskBlockOut]


class SeasonOut(Out):
    """The dated tasks of a farm. Its cautions must be shown beside them."""

    farm_id: str
    first_day: date = Field(description="Today at the farm.")
    last_day: date = Field(description="Windows that open later are left out.")
    tasks: list[SeasonTaskOut] = Field(description="By first day; windows that are open come too.")
    cautions: list[str] = Field(description="Must be shown.")

    @classmethod
    def from_record(cls, calendar: SeasonCalendar) -> Self:
        """The answer."""
        return cls.model_validate(season_document(calendar))
