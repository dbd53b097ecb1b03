"""A soil reading of a block: stored, weighed against the balance, and used by the plans.

What it means is worked out and stored once, when it arrives, with the root zone of its day; the
ledger books the correction on the day of the reading whenever that day is computed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from service.agronomy.block_batch import BlockBatch, make_block_batch
from service.agronomy.root_zone import total_available_water_mm
from service.agronomy.soil import WITHOUT_TENSION
from service.agronomy.soil_reading import reading_depletion_mm, reading_weight, water_at_tension
from service.database.session import UnitOfWork
from service.errors import Fault, InputInvalid
from service.operations.evening.replan_after import Replanning, replan_after
from service.operations.feedback.reported_time import has_passed
from service.operations.reading.read_farms import today_at_block
from service.records.audit import Subject
from service.records.farms import BlockDefinition, LoadOutcome, number_columns
from service.records.feedback import OLDEST_READING, SoilReading

NOON_H = 12
LARGEST_WATER = 0.8
LARGEST_TENSION_KPA = 1500.0
DEEPEST_M = 5.0


class BelowRootZone(InputInvalid):
    """A sensor so deep that it says nothing of the root zone; entrances say so in their units."""

    def __init__(self, top_depth_m: float, root_depth_m: float) -> None:
        self.root_depth_m = root_depth_m
        allowed = f"a depth inside the managed root zone, {root_depth_m:.2f} m"
        super().__init__(
            "the reading says nothing of the root zone",
            [Fault("/depth_m", f"{top_depth_m:g} m and deeper", allowed)],
        )


@dataclass(frozen=True, slots=True)
class StoredSoilReading:
    """What was stored and what followed from it."""

    outcome: LoadOutcome
    reading: SoilReading
    taw_mm: float
    new_version_count: int


@dataclass(frozen=True, slots=True)
class Sensed:
    """What a sensor showed: water content, m3/m3, or tension, kPa, one of them."""

    read_at: datetime
    top_depth_m: float
    bottom_depth_m: float
    """Of the layer that it measures, below the surface."""
    volumetric_water: float | None
    tension_kpa: float | None


def read_soil(
    unit: UnitOfWork,
    block_id: str,
    *,
    read_at: datetime,
    top_depth_m: float,
    bottom_depth_m: float,
    volumetric_water: float | None,
    tension_kpa: float | None,
    note: str,
    reporter: str,
    replanning: Replanning,
) -> StoredSoilReading:
    """Store one reading, either water content or tension, and update the balance and plans.

    Another reading of the same block and instant replaces the first. Raises NotFound for a block
    that is not in force that day, InputInvalid for an impossible reading.
    """
    sensed = Sensed(read_at, top_depth_m, bottom_depth_m, volumetric_water, tension_kpa)
    now = replanning.clock.now()
    check_sensed(sensed, now)
    block, local = block_at(unit, block_id, read_at, now=now)
    reading, taw_mm = weighed(sensed, block, local, note=note, reporter=reporter)
    return store_soil_reading(unit, block.farm_id, reading, taw_mm, replanning)


def weighed(
    sensed: Sensed, block: BlockDefinition, local: datetime, *, note: str, reporter: str
) -> tuple[SoilReading, float]:
    """The reading with what it means for the block, and the block's available water, mm.

    ``local`` is the instant on the clock of the block's site. Raises InputInvalid for a sensor that
    says nothing of the root zone (BelowRootZone), or a tension in a substrate.
    """
    top_depth_m, bottom_depth_m = sensed.top_depth_m, sensed.bottom_depth_m
    tension_kpa = sensed.tension_kpa
    if tension_kpa is not None and block.texture_key in WITHOUT_TENSION:
        allowed = "volumetric_water: what bark and peat hold at a tension is not known well enough"
        found = f"{tension_kpa:g} in {block.texture_key}"
        raise InputInvalid("the reading cannot be stored", [Fault("/tension_kpa", found, allowed)])
    zone_batch = batch_of(block, local.year)
    taw_mm = float(total_available_water_mm(zone_batch.soil)[0])
    water = (
        float(water_at_tension(tension_kpa, block.field_capacity, block.wilting_point))
        if tension_kpa is not None
        else float(np.nan if sensed.volumetric_water is None else sensed.volumetric_water)
    )
    root_depth_m = float(zone_batch.soil.root_depth_m[0])
    weight = float(reading_weight(top_depth_m, bottom_depth_m, root_depth_m))
    if weight <= 0.0:
        raise BelowRootZone(top_depth_m, root_depth_m)
    reading = SoilReading(
        block_id=block.block_id,
        read_at=sensed.read_at.astimezone(UTC),
        day=local.date(),
        is_evening=local.hour >= NOON_H,
        kind="volumetric" if tension_kpa is None else "tension",
        volumetric_water=water,
        tension_kpa=tension_kpa,
        top_depth_m=top_depth_m,
        bottom_depth_m=bottom_depth_m,
        depletion_reading_mm=float(
            reading_depletion_mm(water, block.field_capacity, block.wilting_point, taw_mm=taw_mm)
        ),
        weight_fraction=weight,
        note=note,
        reporter=reporter,
    )
    return reading, taw_mm


def store_soil_reading(
    unit: UnitOfWork, farm_id: str, reading: SoilReading, taw_mm: float, replanning: Replanning
) -> StoredSoilReading:
    """Store a reading, reopen the ledger at its day, and replan what follows."""
    stored = unit.soil.list_readings(reading.block_id, first_day=reading.day, last_day=reading.day)
    before = next((each for each in stored if each.read_at == reading.read_at), None)
    outcome = unit.soil.record(reading, recorded_at=replanning.clock.now())
    new_version_count = 0
    if outcome.created_count + outcome.changed_count:
        unit.audit.note(
            Subject.SOIL, reading.block_id, farm_id=farm_id, before=before, after=reading
        )
        unit.ledger.rewind_block(
            block_key=unit.blocks.get_block_key(reading.block_id), day=reading.day
        )
        new_version_count = replan_after(
            unit, [farm_id], touched_day=reading.day, replanning=replanning
        )
    return StoredSoilReading(outcome, reading, taw_mm, new_version_count)


def check_sensed(sensed: Sensed, now: datetime) -> None:
    """Raise InputInvalid for what no sensor can have shown."""
    volumetric_water, tension_kpa = sensed.volumetric_water, sensed.tension_kpa
    top_depth_m, bottom_depth_m = sensed.top_depth_m, sensed.bottom_depth_m
    faults = time_faults(sensed.read_at, now)
    if (volumetric_water is None) == (tension_kpa is None):
        faults.append(Fault("", "both or neither", "either volumetric_water or tension_kpa"))
    if volumetric_water is not None and not 0.0 <= volumetric_water <= LARGEST_WATER:
        faults.append(
            Fault("/volumetric_water", f"{volumetric_water:g}", f"0 to {LARGEST_WATER} m3/m3")
        )
    if tension_kpa is not None and not 0.0 <= tension_kpa <= LARGEST_TENSION_KPA:
        faults.append(
            Fault("/tension_kpa", f"{tension_kpa:g}", f"0 to {LARGEST_TENSION_KPA:g} kPa, positive")
        )
    if not 0.0 <= top_depth_m < bottom_depth_m <= DEEPEST_M:
        faults.append(Fault("/depth_m", f"{bottom_depth_m:g}", f"0 to {DEEPEST_M:g} m"))
    if faults:
        raise InputInvalid("the reading cannot be stored", faults)


def time_faults(read_at: datetime, now: datetime) -> list[Fault]:
    """What is wrong with the time of a reading."""
    if now - OLDEST_READING <= read_at and has_passed(read_at, now=now):
        return []
    allowed = f"a time that has passed, at most {OLDEST_READING.days} days ago"
    return [Fault("/read_at", read_at.isoformat(), allowed)]


def block_at(
    unit: UnitOfWork, block_id: str, read_at: datetime, *, now: datetime
) -> tuple[BlockDefinition, datetime]:
    """A block as it was at an instant, and that instant on the clock of its site.

    A time without an offset is one of that clock.
    """
    site_id = unit.blocks.get_block(block_id, day=today_at_block(unit, block_id, now)).site_id
    keys = np.array([unit.blocks.get_site_key(site_id)], dtype=np.int64)
    zone = ZoneInfo(unit.blocks.read_site_table(keys).definitions[0].zone)
    local = read_at.replace(tzinfo=read_at.tzinfo or zone).astimezone(zone)
    return unit.blocks.get_block(block_id, day=local.date()), local


def batch_of(block: BlockDefinition, year: int) -> BlockBatch:
    """The block with its plant size in a year."""
    one = np.zeros(1, dtype=np.int64)
    return make_block_batch(
        number_columns([block]),
        [block.curve],
        site_index=one,
        supply_index=one,
        season_year=year,
    )
