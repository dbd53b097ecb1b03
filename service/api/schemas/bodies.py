"""Request bodies: strictly typed, with no unknown fields."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from service.api.dependencies import BLOCK_ID_PATTERN, CalendarDate
from service.operations.feedback.report_runs import (
    LARGEST_VOLUME_L,
    LONGEST_RUN_MIN,
    MOST_RUNS,
    RunReport,
)

_INSTANT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,9})?)?"
    r"([Zz]|[+-][0-9]{2}:[0-9]{2})"
)
_LOCAL_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(:[0-9]{2})?")
_FIRST_YEAR, _LAST_YEAR = 1970, 2200


def _read_instant(given: object) -> object:
    message = "Allowed: a time with its offset such as 2026-07-15T05:10:00-04:00"
    if not isinstance(given, str) or not _INSTANT.fullmatch(given):
        raise ValueError(message)
    return _moment(given.replace(",", "."), message)


def _read_local(given: object) -> object:
    message = "Allowed: a local time without an offset such as 2026-08-20T06:00, years 1970 to 2200"
    if not isinstance(given, str) or not _LOCAL_TIME.fullmatch(given):
        raise ValueError(message)
    return _moment(given, message)


def _moment(text: str, message: str) -> datetime:
    try:
        found = datetime.fromisoformat(text.upper())
    except ValueError as error:
        raise ValueError(message) from error
    if not _FIRST_YEAR <= found.year <= _LAST_YEAR:
        raise ValueError(message)
    return found


Instant = Annotated[
    datetime,
    BeforeValidator(_read_instant),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]
LocalTime = Annotated[
    datetime,
    BeforeValidator(_read_local),
    WithJsonSchema({"type": "string", "pattern": f"^{_LOCAL_TIME.pattern}$"}),
]


class Body(BaseModel):
    """A model of a body."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class RunIn(Body):
    """One run that took place."""

    block_id: str = Field(
        pattern=BLOCK_ID_PATTERN, description="Block that ran, `farm.block`, in full."
    )
    started_at: Instant = Field(description="When it started, with the offset.")
    duration_min: float = Field(
        ge=0.0, le=LONGEST_RUN_MIN, description="How long it ran, min; 0: it did not run."
    )
    volume_l: float | None = Field(
        None, ge=0.0, le=LARGEST_VOLUME_L, description="Metered water, L; omit without a meter."
    )
    is_volume_confirmed: bool = Field(
        False,
        description="Book the volume even if it is under half or over one and a half times what"
        " the block's emitters give in those minutes.",
    )

    def report(self) -> RunReport:
        """The run as it is reported."""
        return RunReport(
            self.block_id,
            self.started_at,
            self.duration_min,
            self.volume_l,
            self.is_volume_confirmed,
        )


class RunBatchIn(Body):
    """Runs that took place."""

    items: list[RunIn] = Field(
        min_length=1, max_length=MOST_RUNS, description=f"1 to {MOST_RUNS} runs, in any order."
    )


class RainIn(Body):
    """A rain gauge reading."""

    rain_mm: float = Field(ge=0.0, le=2000.0, description="Rain in the gauge, mm.")
    kind: Literal["measured", "trace", "none", "multi-day"] = Field(
        "measured",
        description="`measured`, `trace` (too little to measure), `none`, or `multi-day` for a sum"
        " over several days.",
    )
    read_at: Instant | None = Field(None, description="When it was read; defaults to now.")
    covers_from: Instant | None = Field(
        None, description="When collection began; defaults to the last reading."
    )
    note: str = Field(
        "", max_length=200, description="Why a reading is corrected, or any other note."
    )
    confirm: bool = Field(False, description="True: confirms an unlikely amount or time.")
    farm_id: str | None = Field(
        None,
        max_length=80,
        description="The farm whose gauge it is; defaults to the key's own. For a key of the"
        " region: the one farm that uses the site, or else the site's own gauge, which needs the"
        " scope `adviser`.",
    )


class SoilReadingIn(Body):
    """A soil reading: water content or tension at a depth, or an estimate of the whole zone."""

    read_at: Instant = Field(description="When it was read, with the offset.")
    depth_m: float | None = Field(
        None,
        gt=0.0,
        le=4.0,
        description="Depth of the sensor's middle, m; needed but for an estimate.",
    )
    reach_m: float = Field(
        0.1,
        ge=0.01,
        le=1.0,
        description="How far above and below its middle the sensor measures, m.",
    )
    volumetric_water: float | None = Field(
        None, ge=0.0, le=0.8, description="Water content, m\u00b3/m\u00b3; or give the tension."
    )
    tension_kpa: float | None = Field(
        None, ge=0.0, le=1500.0, description="Soil water tension, kPa, as a positive number."
    )
    available_fraction: float | None = Field(
        None,
        ge=0.0,
        le=1.0,
        description="Instead of a sensor's value: share that is left of the water that plants can"
        " take from the root zone, as judged by hand; 1 full, 0 dry.",
    )
    note: str = Field("", max_length=200, description="Any note to keep with it.")


class PauseIn(Body):
    """A pause in irrigation."""

    starts_local: LocalTime = Field(description="Start, wall-clock time of the block.")
    ends_local: LocalTime = Field(description="End, wall-clock time of the block.")
    reason: str = Field(
        min_length=1,
        max_length=120,
        description="`harvest`, `spraying`, `repair`, or other words in one line.",
    )


class TimerProgramIn(Body):
    """A program that was set on a timer."""

    program_id: str | None = Field(
        None,
        pattern=r"^[0-9a-f]{16}$",
        description="The program, as it was offered; left out: the newest one.",
    )
    set_from: CalendarDate | None = Field(
        None,
        strict=False,
        description="First day that it runs, today to a week ahead; left out: tomorrow.",
    )


class FarmDocumentIn(Body):
    """A farm as in its farm file, with the same keys and quantities; `null` counts as not given."""

    farm: dict[str, Any] = Field(description="Table `[farm]`: `id`, `name`, `zone`, ...")
    site: list[dict[str, Any]] = Field([], description="Tables `[[site]]`.")
    county: list[dict[str, Any]] = Field([], description="Tables `[[county]]`; operator only.")
    supply: list[dict[str, Any]] = Field([], description="Tables `[[supply]]`.")
    block: list[dict[str, Any]] = Field([], description="Tables `[[block]]`.")
    controller: list[dict[str, Any]] = Field([], description="Tables `[[controller]]`.")


class BlockTableIn(BaseModel):
    """A block as its table `[[block]]` in a farm file, with the same keys and quantities."""

    model_config = ConfigDict(extra="allow", frozen=True)
