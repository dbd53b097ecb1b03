"""Observations of meters and soil sensors, many in a request, and what became of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal, Self

from pydantic import Field

from service.api.dependencies import BLOCK_ID_PATTERN
from service.api.schemas.bodies import Body, Instant
from service.api.schemas.facts import Out, is_absent
from service.api.schemas.feedback import CountsOut
from service.api.schemas.problems import ProblemErrorOut
from service.operations.feedback.record_observations import (
    SENSOR_REACH_M,
    Observation,
    Property,
    RecordedObservations,
)

OBSERVATION_COLUMNS = (
    *("block_id", "observed_property", "at", "until"),
    *("result", "depth_m", "reach_m"),
)
"""Of a table; ``until``, ``depth_m`` and ``reach_m`` may be missing or empty."""
NUMBER_COLUMNS = frozenset({"result", "depth_m", "reach_m"})
LineErrors = Mapping[str, str]
"""An entry of ``errors``: ``pointer`` and ``detail``."""


class ObservationIn(Body):
    """One result of a meter or a soil sensor."""

    block_id: str = Field(pattern=BLOCK_ID_PATTERN, description="Block, `farm.block`, in full.")
    observed_property: Literal["water_volume_l", "volumetric_water", "tension_kpa"] = Field(
        description="What `result` is: water that passed the block's meter from `at` to `until`, L;"
        " water in the soil at `depth_m`, m\u00b3/m\u00b3; or soil water tension there, kPa,"
        " positive."
    )
    at: Instant = Field(description="When it was observed; of a meter, when the run began.")
    until: Instant | None = Field(None, description="Of a meter: when the run ended.")
    result: float = Field(description="The number observed, in the unit of `observed_property`.")
    depth_m: float | None = Field(
        None, gt=0.0, le=4.0, description="Of a soil sensor: depth of its middle, m."
    )
    reach_m: float = Field(
        SENSOR_REACH_M,
        ge=0.01,
        le=1.0,
        description="How far above and below its middle the sensor measures, m.",
    )

    def as_observation(self) -> Observation:
        """The observation as the operation takes it."""
        return Observation(
            block_id=self.block_id,
            observed_property=Property(self.observed_property),
            at=self.at,
            until=self.until,
            result=self.result,
            depth_m=self.depth_m,
            reach_m=self.reach_m,
        )


class LineOut(Out):
    """What became of one observation."""

    line: int = Field(description="Its place in the request, counted from 1.")
    status: Literal["stored", "refused"] = Field(
        description="`stored` also for one that was already there."
    )
    errors: list[ProblemErrorOut] | None = Field(
        None,
        exclude_if=is_absent,
        description="Why it was refused; pointers are within the observation.",
    )


class ObservationsOut(Out):
    """What was stored, and an answer to each line."""

    stored_count: int = Field(description="Observations stored now or before.")
    refused_count: int = Field(description="Observations refused; see `lines`.")
    counts: CountsOut
    lines: list[LineOut] = Field(description="One for each observation, in order.")

    @classmethod
    def of(cls, recorded: RecordedObservations, errors: Sequence[Sequence[LineErrors]]) -> Self:
        """The answer; ``errors`` of each line, empty for one that is stored."""
        refused_count = sum(bool(each) for each in errors)
        return cls(
            stored_count=len(errors) - refused_count,
            refused_count=refused_count,
            counts=CountsOut.from_outcome(recorded.outcome, recorded.new_version_count),
            lines=[
                LineOut(
                    line=number,
                    status="refused" if found else "stored",
                    errors=[ProblemErrorOut.model_validate(each) for each in found] or None,
                )
                for number, found in enumerate(errors, start=1)
            ],
        )
