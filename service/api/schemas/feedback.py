"""Answers to reports from the field."""

from __future__ import annotations

from datetime import date, datetime
from typing import Self

from pydantic import Field

from service.api.schemas.facts import Out, known
from service.operations.feedback.compare_meter import FlowNote
from service.operations.feedback.import_runs import ImportedRuns
from service.operations.feedback.read_soil import StoredSoilReading
from service.operations.feedback.report_runs import ReportedRuns
from service.operations.weather.record_rain import RecordedRain
from service.records.farms import LoadOutcome
from service.records.feedback import Pause


class CountsOut(Out):
    """What a report changed."""

    created_count: int = Field(description="Entries that are new.")
    changed_count: int = Field(description="Entries that replaced an earlier one.")
    unchanged_count: int = Field(description="Entries that were already stored.")
    new_plan_count: int = Field(description="Plans that got a new version in the same step.")

    @classmethod
    def from_outcome(cls, outcome: LoadOutcome, new_plan_count: int) -> Self:
        """The counts of an outcome."""
        return cls(
            created_count=outcome.created_count,
            changed_count=outcome.changed_count,
            unchanged_count=outcome.unchanged_count,
            new_plan_count=new_plan_count,
        )


class FlowOut(Out):
    """Metered water of a block against what its emitters should have given."""

    block_id: str = Field(description="Block, `farm.block`.")
    run_count: int = Field(description="Metered runs that are counted.")
    duration_min: float = Field(
        description="Minutes in which they ran, without the rests of a run that spans several"
        " planned pulses, min."
    )
    volume_l: float = Field(description="Metered water, L.")
    expected_volume_l: float | None = Field(
        description="Flow of all emitters times the minutes, L."
    )
    flow_ratio: float | None = Field(description="Metered over expected; null: nothing expected.")
    band_fraction: float = Field(
        description="How far the ratio may be from 1 before anything is suspected: 0.1, or twice"
        " the spread of the block's latest runs (20 to 60) if that is more."
    )
    verdict: str = Field(
        description="`as-expected`, `leak-suspected` (above the band), `clogging-suspected` (below"
        " it), or `too-short` (under 30 min of metered running)."
    )
    questioned_count: int = Field(
        description="Runs whose volume is not booked, as it is outside `least_l_per_h` to"
        " `most_l_per_h`; their minutes stand."
    )
    limit: str = Field(
        description="What sets `most_l_per_h`: `pipes` (what intact lines pass at the supply's"
        " pressure), `supply` (its flow), or, without a description of the pipes, `emitters` (one"
        " and a half times their flow)."
    )
    least_l_per_h: float = Field(description="Least mean flow that is booked unasked, L/h.")
    most_l_per_h: float = Field(description="Largest mean flow that is booked unasked, L/h.")

    @classmethod
    def from_record(cls, note: FlowNote) -> Self:
        """The check without NaN."""
        return cls(
            block_id=note.block_id,
            run_count=note.run_count,
            duration_min=note.duration_min,
            volume_l=note.volume_l,
            expected_volume_l=known(note.expected_volume_l),
            flow_ratio=known(note.flow_ratio),
            band_fraction=note.band_fraction,
            verdict=note.verdict,
            questioned_count=note.questioned_count,
            limit=note.limit.value,
            least_l_per_h=note.least_l_per_h,
            most_l_per_h=note.most_l_per_h,
        )


class RunsOut(Out):
    """Outcome of reported runs."""

    counts: CountsOut
    flow: list[FlowOut] = Field(description="For each block with metered runs in this report.")

    @classmethod
    def from_record(cls, done: ReportedRuns) -> Self:
        """The outcome."""
        return cls(
            counts=CountsOut.from_outcome(done.outcome, done.new_version_count),
            flow=[FlowOut.from_record(note) for note in done.flow],
        )


class RunFileOut(RunsOut):
    """Outcome of a file of runs."""

    notes: list[str] = Field(description="What was worked out or left out, in words.")

    @classmethod
    def of_file(cls, done: ImportedRuns) -> Self:
        """The outcome."""
        return cls(
            counts=CountsOut.from_outcome(done.outcome, done.new_version_count),
            flow=[FlowOut.from_record(note) for note in done.flow],
            notes=list(done.notes),
        )


class RunUndoneOut(Out):
    """A run that counts as never reported."""

    block_id: str = Field(description="Full block id, `farm.block`.")
    started_at: datetime = Field(description="Start that the run was reported with, UTC.")
    new_plan_count: int = Field(description="Plans that got a new version in the same step.")


class BookedRainOut(Out):
    """Rain of one local day."""

    day: date = Field(description="Local day.")
    rain_mm: float = Field(description="Rain that this reading adds to the day, mm.")
    day_total_mm: float = Field(description="Rain of the day from all readings, mm.")


class RainOut(Out):
    """Outcome of a rain gauge reading."""

    site_id: str = Field(description="Place of the gauge.")
    farm_id: str | None = Field(
        description="The farm whose gauge it is and whose blocks its rain counts for; null: the"
        " place's own."
    )
    read_at: datetime = Field(description="When it was read.")
    covers_from: datetime = Field(description="When collection began.")
    rain_mm: float = Field(description="Rain in the gauge, mm.")
    kind: str = Field(description="`measured`, `trace`, `none` or `multi-day`.")
    booked: list[BookedRainOut] = Field(description="The days that the rain is booked to.")
    rule: str = Field(description="How the days were chosen.")
    counts: CountsOut

    @classmethod
    def from_record(cls, done: RecordedRain, new_plan_count: int) -> Self:
        """The outcome."""
        reading = done.reading
        return cls(
            site_id=reading.site_id,
            farm_id=reading.farm_id,
            read_at=reading.read_at,
            covers_from=reading.covers_from,
            rain_mm=reading.rain_mm,
            kind=reading.kind,
            booked=[
                BookedRainOut(day=each.day, rain_mm=each.rain_mm, day_total_mm=each.day_total_mm)
                for each in done.booked
            ],
            rule=done.rule,
            counts=CountsOut.from_outcome(done.outcome, new_plan_count),
        )


class SoilReadingOut(Out):
    """Outcome of a soil reading."""

    block_id: str = Field(description="Block, `farm.block`.")
    day: date = Field(description="Local day that the correction is booked on, at its end.")
    compared_with: str = Field(
        description="`day-start` for a reading before noon, `day-end` for a later one: the "
        "computed depletion that the reading is compared with."
    )
    kind: str = Field(description="`volumetric`, `tension` or `estimate`.")
    volumetric_water: float = Field(
        description="Water content, m\u00b3/m\u00b3: as read, or from the tension by the retention"
        " curve of Saxton & Rawls 2006 through the block's field capacity and wilting point."
    )
    depletion_reading_mm: float = Field(
        description=(
            "Depletion of the managed root zone if all of it were like the soil measured, mm."
        )
    )
    weight_fraction: float = Field(
        description="Weight of the reading: 0.8 times the share of the root depth it covers; of an"
        " estimate 0.5, or 1 where the start of the balance was assumed."
    )
    taw_mm: float = Field(description="Water that the full root zone holds, mm.")
    counts: CountsOut

    @classmethod
    def from_record(cls, done: StoredSoilReading) -> Self:
        """The outcome."""
        reading = done.reading
        return cls(
            block_id=reading.block_id,
            day=reading.day,
            compared_with="day-end" if reading.is_evening else "day-start",
            kind=reading.kind,
            volumetric_water=round(reading.volumetric_water, 6),
            depletion_reading_mm=round(reading.depletion_reading_mm, 6),
            weight_fraction=round(reading.weight_fraction, 6),
            taw_mm=round(done.taw_mm, 6),
            counts=CountsOut.from_outcome(done.outcome, done.new_version_count),
        )


class PauseOut(Out):
    """A pause in irrigation."""

    pause_id: str = Field(description="Name of the pause, needed to cancel it.")
    block_id: str = Field(description="Block, `farm.block`.")
    starts_local: str = Field(description="Start, wall-clock time of the block.")
    ends_local: str = Field(description="End, wall-clock time of the block.")
    reason: str = Field(description="Why.")
    reporter: str = Field(description="Who asked for it.")

    @classmethod
    def from_record(cls, pause: Pause) -> Self:
        """The pause."""
        return cls(
            pause_id=pause.pause_id,
            block_id=pause.block_id,
            starts_local=pause.period.starts_local.isoformat(),
            ends_local=pause.period.ends_local.isoformat(),
            reason=pause.period.reason,
            reporter=pause.reporter,
        )


class PausedOut(Out):
    """A new pause and its effect."""

    pause: PauseOut
    new_plan_count: int = Field(description="Plans that got a new version in the same step.")


class PausesOut(Out):
    """Pauses of a block that have not been canceled, by start."""

    items: list[PauseOut]


class CancelledOut(Out):
    """A pause that was canceled."""

    pause_id: str = Field(description="Name of the pause.")
    new_plan_count: int = Field(description="Plans that got a new version in the same step.")
