"""Reported runs of several farms."""

from __future__ import annotations

from datetime import date, datetime
from typing import Self
from zoneinfo import ZoneInfo

from pydantic import Field

from service.api.schemas.facts import Out, known
from service.api.schemas.pages import FeedOut, PageOut
from service.records.feeds import RunEntry


class RegionRunOut(Out):
    """A run that took place, as reported; block and start name it."""

    farm_id: str
    block_id: str = Field(description="Full block id, `farm.block`.")
    day: date = Field(description="Local day on which it started.")
    zone: str = Field(description="IANA time zone of the block.")
    started_at: datetime = Field(description="Start, UTC.")
    started_local: datetime = Field(description="Start, local time with its offset (RFC 3339).")
    duration_min: float = Field(
        description="Length, min; 0: it did not take place, or was reported by mistake."
    )
    volume_l: float | None = Field(description="Metered water, L; null: no meter.")
    is_volume_booked: bool = Field(
        description="Whether the balance counts the volume in place of the minutes."
    )
    recorded_at: datetime = Field(description="When it was reported or last corrected, UTC.")
    is_undone: bool = Field(
        description="Whether the report was taken back, so that the run counts for nothing."
    )

    @classmethod
    def from_entry(cls, entry: RunEntry) -> Self:
        """The run with its local time; one that was undone is without its water."""
        is_undone = entry.undone_at is not None
        return cls(
            farm_id=entry.farm_id,
            block_id=entry.block_id,
            day=entry.day,
            zone=entry.zone,
            started_at=entry.started_at,
            started_local=entry.started_at.astimezone(ZoneInfo(entry.zone)),
            duration_min=0.0 if is_undone else entry.duration_min,
            volume_l=None if is_undone else known(entry.volume_l),
            is_volume_booked=entry.is_volume_booked and not is_undone,
            recorded_at=entry.recorded_at,
            is_undone=is_undone,
        )


class RunPageOut(PageOut[RegionRunOut]):
    """Runs of a farm, the latest start first."""


class RegionRunsOut(FeedOut[RegionRunOut]):
    """Runs in the order in which they were reported or corrected."""


RUN_CSV_COLUMNS: tuple[str, ...] = tuple(RegionRunOut.model_fields)


def run_csv_row(entry: RunEntry) -> list[object]:
    """A run as a row of a table."""
    shown = RegionRunOut.from_entry(entry).model_dump(mode="json")
    return [shown[name] for name in RUN_CSV_COLUMNS]
