"""Reported runs of several farms."""

from __future__ import annotations

from datetime import date, datetime
from typing import Self
from zoneinfo import ZoneInfo

from pydantic import Field

from service.api.schemas.facts import Out, known
from service.api.schemas.pages import FeedOut
from service.records.feeds import RunEntry


class RegionRunOut(Out):
    """A run that took place, as reported; block and start name it."""

    farm_id: str
    block_id: str = Field(description="Full block id, `farm.block`.")
    day: date = Field(description="Local day on which it started.")
    zone: str = Field(description="IANA time zone of the block.")
    started_at: datetime = Field(description="Start, UTC.")
    started_local: datetime = Field(description="Start, local time with its offset (RFC 3339).")
    duration_min: float = Field(description="Length, min; 0: it did not take place.")
    volume_l: float | None = Field(description="Metered water, L; null: no meter.")
    is_volume_booked: bool = Field(
        description="Whether the balance counts the volume in place of the minutes."
    )
    recorded_at: datetime = Field(description="When it was reported or last corrected, UTC.")

    @classmethod
    def from_entry(cls, entry: RunEntry) -> Self:
        """The run with its local time."""
        return cls(
            farm_id=entry.farm_id,
            block_id=entry.block_id,
            day=entry.day,
            zone=entry.zone,
            started_at=entry.started_at,
            started_local=entry.started_at.astimezone(ZoneInfo(entry.zone)),
            duration_min=entry.duration_min,
            volume_l=known(entry.volume_l),
            is_volume_booked=entry.is_volume_booked,
            recorded_at=entry.recorded_at,
        )


class RegionRunsOut(FeedOut[RegionRunOut]):
    """Runs in the order in which they were reported or corrected."""


RUN_CSV_COLUMNS: tuple[str, ...] = tuple(RegionRunOut.model_fields)


def run_csv_row(entry: RunEntry) -> list[object]:
    """A run as a row of a table."""
    shown = RegionRunOut.from_entry(entry).model_dump(mode="json")
    return [shown[name] for name in RUN_CSV_COLUMNS]
