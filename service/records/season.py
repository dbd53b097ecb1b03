"""The season calendar of a farm, the samples that are due, and notes of visits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from service.nutrition.season_tasks import GroupedTask
from service.nutrition.task_words import TaskKind
from service.waterworks.caution import Advisory


@dataclass(frozen=True, slots=True)
class SeasonCalendar:
    """The tasks of a farm from a day on."""

    farm_id: str
    farm_name: str
    unit_system: str
    first_day: date
    last_day: date
    """Windows that open later are left out."""
    tasks: tuple[GroupedTask, ...]
    block_names: Mapping[str, str]
    cautions_by_kind: Mapping[TaskKind, tuple[Advisory, ...]]
    """What must be shown with these tasks."""

    @property
    def cautions(self) -> tuple[Advisory, ...]:
        """All of them, each once."""
        return tuple(
            dict.fromkeys(each for some in self.cautions_by_kind.values() for each in some)
        )


@dataclass(frozen=True, slots=True)
class SampleReminder:
    """A sample to take now or soon."""

    group: GroupedTask
    block_names: tuple[str, ...]
    """Of the blocks that have no test of this window yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitNote:
    """What was seen on a visit; it is never changed."""

    note_id: str
    farm_id: str
    block_id: str | None
    """None: the whole farm."""
    day: date
    """Local day of the visit."""
    visitor: str
    """Who was there."""
    text: str
    reporter: str
    """Who wrote it down."""
    recorded_at: datetime
    corrects: str | None = None
    """The note that it stands for."""
    corrected_by: str | None = None
    """The note that stands for it."""
