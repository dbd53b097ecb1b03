"""Many observations at once: meters and soil sensors of a farm, or of all farms.

Each is answered by itself: what cannot be right is refused with its reason, and the rest is stored.
Sending one again changes nothing; another result for the same block and time corrects the first.
Plans follow once, after all of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from enum import StrEnum
from typing import Final

from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid, NotFound
from service.operations.evening.replan_after import Replanning, replan_after
from service.operations.feedback.read_soil import Sensed, block_at, check_sensed, weighed
from service.operations.feedback.report_runs import RunReport, store_runs
from service.records.audit import Subject
from service.records.farms import BlockDefinition, LoadOutcome
from service.records.feedback import SoilReading

MOST_OBSERVATIONS: Final = 10_000
SENSOR_REACH_M: Final = 0.1
"""How far above and below its middle a sensor measures, where nothing is said [CHOICE]."""


class Property(StrEnum):
    """What is observed, with its unit."""

    WATER_VOLUME_L = "water_volume_l"
    """Water that passed a block's meter, L, from the beginning of a run to its end."""
    VOLUMETRIC_WATER = "volumetric_water"
    """Water in the soil, m3/m3."""
    TENSION_KPA = "tension_kpa"
    """Soil water tension, kPa, positive."""


@dataclass(frozen=True, slots=True)
class Observation:
    """One result of a meter or a sensor."""

    block_id: str
    observed_property: Property
    at: datetime
    """Aware; of a meter, when the run began."""
    result: float
    until: datetime | None = None
    """Aware; of a meter, when the run ended."""
    depth_m: float | None = None
    """Of a soil sensor: of its middle, below the surface."""
    reach_m: float = SENSOR_REACH_M


@dataclass(frozen=True, slots=True)
class RecordedObservations:
    """What became of each observation, and of the plans."""

    faults: Sequence[Sequence[Fault]]
    """Of each observation, in order; empty: it is stored. Places are pointers within it."""
    outcome: LoadOutcome
    new_version_count: int


def record_observations(
    unit: UnitOfWork,
    observations: Sequence[Observation],
    *,
    farm_id: str | None,
    reporter: str,
    replanning: Replanning,
) -> RecordedObservations:
    """Store those of this farm's blocks, or of any farm's if None, that can be right.

    Another farm's block is reported as one that does not exist.
    """
    now = replanning.clock.now()
    faults = [_shape_faults(each) for each in observations]
    runs = _positions(observations, faults, is_meter=True)
    stored_runs = store_runs(
        unit,
        [_run_of(observations[place]) for place in runs],
        farm_id=farm_id,
        reporter=reporter,
        now=now,
        is_all_or_none=False,
    )
    for place, found in zip(runs, stored_runs.faults, strict=True):
        faults[place] += [_as_of_meter(fault) for fault in found]
    blocks = _Blocks(unit, farm_id=farm_id, now=now)
    readings: dict[tuple[str, datetime], SoilReading] = {}
    for place in _positions(observations, faults, is_meter=False):
        try:
            reading = blocks.reading_of(observations[place], reporter=reporter)
        except InputInvalid as error:
            faults[place] += error.faults
        except NotFound:
            faults[place] += [Fault("/block_id", "no such block", "a block in force, farm.block")]
        else:
            readings[reading.block_id, reading.read_at] = reading
    of_soil, news = unit.soil.record_all(list(readings.values()), recorded_at=now)
    touched: dict[str, date] = {}
    for reading in news:
        touched[reading.block_id] = min(reading.day, touched.get(reading.block_id, reading.day))
    for block_id, day in touched.items():
        unit.audit.note(
            Subject.SOIL,
            block_id,
            farm_id=block_id.partition(".")[0],
            after={each.read_at.isoformat(): each for each in news if each.block_id == block_id},
        )
        unit.ledger.rewind_block(block_key=unit.blocks.get_block_key(block_id), day=day)
    new_version_count = 0
    first_days = [*touched.values(), *filter(None, [stored_runs.first_day])]
    if first_days:
        farms = stored_runs.farm_ids | {block_id.partition(".")[0] for block_id in touched}
        new_version_count = replan_after(
            unit, sorted(farms), touched_day=min(first_days), replanning=replanning
        )
    return RecordedObservations(faults, _sum(stored_runs.outcome, of_soil), new_version_count)


def _sum(first: LoadOutcome, second: LoadOutcome) -> LoadOutcome:
    return LoadOutcome(
        first.created_count + second.created_count,
        first.changed_count + second.changed_count,
        first.unchanged_count + second.unchanged_count,
    )


def _shape_faults(each: Observation) -> list[Fault]:
    """What does not belong to what is observed."""
    if each.observed_property == Property.WATER_VOLUME_L:
        if each.until is None:
            return [Fault("/until", "nothing", "the end of the run that the meter counted")]
        if each.until <= each.at:
            return [Fault("/until", each.until.isoformat(), "a time after `at`")]
        if each.depth_m is not None:
            return [Fault("/depth_m", f"{each.depth_m:g}", "nothing: a meter has no depth")]
        return []
    if each.until is not None:
        return [Fault("/until", each.until.isoformat(), "nothing: a soil reading is of one moment")]
    if each.depth_m is None:
        return [Fault("/depth_m", "nothing", "the depth of the sensor's middle, m")]
    return []


def _positions(
    observations: Sequence[Observation], faults: Sequence[Sequence[Fault]], *, is_meter: bool
) -> list[int]:
    return [
        place
        for place, each in enumerate(observations)
        if not faults[place] and (each.observed_property == Property.WATER_VOLUME_L) == is_meter
    ]


def _run_of(each: Observation) -> RunReport:
    assert each.until is not None  # a meter's without an end was refused
    return RunReport(
        each.block_id,
        each.at,
        duration_min=(each.until - each.at).total_seconds() / 60.0,
        volume_l=each.result,
    )


_METER_PLACES: Final[Mapping[str, str]] = {
    "/started_at": "/at",
    "/duration_min": "/until",
    "/volume_l": "/result",
}


def _as_of_meter(fault: Fault) -> Fault:
    return Fault(_METER_PLACES.get(fault.where, fault.where), fault.found, fault.allowed)


class _Blocks:
    """Blocks that soil readings are of, each looked up once a day."""

    def __init__(self, unit: UnitOfWork, *, farm_id: str | None, now: datetime) -> None:
        self._unit = unit
        self._farm_id = farm_id
        self._now = now
        self._found: dict[tuple[str, date], BlockDefinition] = {}
        self._zones: dict[str, tzinfo | None] = {}

    def reading_of(self, each: Observation, *, reporter: str) -> SoilReading:
        """The reading with its weight; raises NotFound, or InputInvalid for what cannot be."""
        assert each.depth_m is not None  # a sensor's without a depth was refused
        farm_id = each.block_id.partition(".")[0]
        if self._farm_id is not None and farm_id != self._farm_id:
            raise NotFound(f"block {each.block_id}: there is no such block")
        is_tension = each.observed_property == Property.TENSION_KPA
        sensed = Sensed(
            each.at,
            max(0.0, each.depth_m - each.reach_m),
            each.depth_m + each.reach_m,
            None if is_tension else each.result,
            each.result if is_tension else None,
        )
        try:
            check_sensed(sensed, self._now)
            block, local = self._block_at(each)
            return weighed(sensed, block, local, note="", reporter=reporter)[0]
        except InputInvalid as error:
            raise InputInvalid(
                str(error), [_as_of_sensor(fault) for fault in error.faults]
            ) from error

    def _block_at(self, each: Observation) -> tuple[BlockDefinition, datetime]:
        zone = self._zones.get(each.block_id)
        if zone is not None:
            local = each.at.astimezone(zone)
            block = self._found.get((each.block_id, local.date()))
            if block is not None:
                return block, local
        block, local = block_at(self._unit, each.block_id, each.at, now=self._now)
        self._zones[each.block_id] = local.tzinfo
        self._found[each.block_id, local.date()] = block
        return block, local


def _as_of_sensor(fault: Fault) -> Fault:
    places = {"/read_at": "/at", "/volumetric_water": "/result", "/tension_kpa": "/result"}
    return Fault(places.get(fault.where, fault.where), fault.found, fault.allowed)
