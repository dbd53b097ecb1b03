"""What the soil readings of a season teach of a block, and whether its sensors are sound.

Nothing of it is used by a plan: it is shown beside the plan, to be judged. The ledger is run again
from its stored terms without the corrections by the readings, since a ledger that has followed a
reading cannot be held against it. Runs of a day count evenly over its ET.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from service.agronomy.dormancy import is_dormant
from service.agronomy.learned_multipliers import (
    LearnedPoints,
    depletion_points_mm,
    summarize,
    weighted_quantiles,
)
from service.agronomy.learning_gate import (
    Evidence,
    InUse,
    MultiplierOffer,
    largest_drying_fraction,
    offers,
)
from service.agronomy.learning_ledger import point_fractions
from service.agronomy.learning_points import MultiplierPrior
from service.agronomy.records import Days, Ints
from service.agronomy.sensor_check import (
    CHECKED_COUNT,
    ExpectedReadings,
    SensorState,
    check_sensor,
    expected_readings,
    state_by_value,
    usual_range,
)
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.feedback.learning_season import (
    LearningSeason,
    same_soil_since,
    season_of,
    sensor_keys,
    thinned,
    unbroken,
)
from service.operations.feedback.read_soil import batch_of
from service.operations.reading.read_farms import today_at_block
from service.ports import Clock
from service.records.farms import BlockDefinition
from service.records.feedback import SoilReading

SEASON_DAYS = 240
"""[CHOICE] How far back readings count."""
CHECK_DAYS = 30
"""[CHOICE] Readings of so many days are held against what the ones before them taught."""
FIRST_CHECK_COUNT = 8
"""[CHOICE] Readings before the first check."""
BAND = (0.1, 0.5, 0.9)


@dataclass(frozen=True, slots=True)
class SensorReport:
    """One sensor of a block: the readings of one kind and layer."""

    kind: str
    top_depth_m: float
    bottom_depth_m: float
    state: SensorState
    """At its last check."""
    doubted_since: date | None
    reading_count: int
    """At most one for each half of a day."""
    accepted_count: int


@dataclass(frozen=True, slots=True)
class LearnedBlock:
    """What a season's readings teach of a block."""

    block_id: str
    first_day: date | None
    """Of the ledger that was run; None without one."""
    last_day: date | None
    sensors: tuple[SensorReport, ...]
    multipliers: tuple[MultiplierOffer, ...]
    """Of the crop's use, the water held and the rate; none without a ledger."""
    medians: tuple[float, ...]
    depletion_mm: tuple[float, ...]
    """At the end of the last day: passed in nine cases of ten, in half, in one of ten."""
    beforehand_mm: tuple[float, ...]
    """The same without any reading."""
    ledger_mm: float
    """By the ledger without its corrections."""


def read_learned(block_id: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> LearnedBlock:
    """What the readings of the last 240 days teach of a block; raises NotFound."""
    with unit_of_work(write=False) as unit:
        today = today_at_block(unit, block_id, clock.now())
        return learned_block(unit, unit.blocks.get_block(block_id, day=today), today=today)


def learned_block(unit: UnitOfWork, block: BlockDefinition, *, today: date) -> LearnedBlock:
    """The same inside a transaction."""
    first_day = same_soil_since(unit, block, today - timedelta(days=SEASON_DAYS), today)
    rows = unbroken(
        unit.ledger.read_rows(
            unit.blocks.get_block_key(block.block_id), first_day=first_day, last_day=today
        )
    )
    if rows.days.size == 0:
        return LearnedBlock(block.block_id, None, None, (), (), (), (), (), float("nan"))
    site_key = np.array([unit.blocks.get_site_key(block.site_id)], dtype=np.int64)
    zone = ZoneInfo(unit.blocks.read_site_table(site_key).definitions[0].zone)
    stored = unit.soil.list_readings(
        block.block_id, first_day=rows.days[0].item(), last_day=rows.days[-1].item()
    )
    halves = thinned([each for each in stored if each.kind != "estimate"], zone)
    season = season_of(block, rows, halves)
    accepted, sensors, last_doubt = _checked(season, halves)
    return _report(block, season, accepted, sensors, last_doubt=last_doubt, today=today)


def _checked(
    season: LearningSeason, readings: Sequence[SoilReading]
) -> tuple[NDArray[np.bool_], tuple[SensorReport, ...], date | None]:
    """Which readings count, what is thought of each sensor, and the last day with a doubt.

    The readings of each month are held against what those before them taught; from the first doubt
    of a month on, with the five readings that led to it, a sensor's readings of that month are left
    out.
    """
    seen = season.observations
    single = [state_by_value(water, season.soil) for water in season.raw_water.tolist()]
    accepted = np.array([state is SensorState.SOUND for state in single], dtype=np.bool_)
    keys = sensor_keys(readings)
    states = [SensorState.SOUND] * len(keys)
    since: list[date | None] = [None] * len(keys)
    last_doubt: date | None = None
    for row, state in enumerate(single):
        number = int(seen.sensor[row])
        states[number] = state
        since[number] = None
        if state is not SensorState.SOUND:
            since[number] = last_doubt = season.reading_days[row].item()
    if seen.column.size > FIRST_CHECK_COUNT:
        begin = int(seen.column[FIRST_CHECK_COUNT])
        for month in range(begin, int(seen.column[-1]) + 1, CHECK_DAYS):
            is_new = (seen.column >= month) & (seen.column < month + CHECK_DAYS)
            if not is_new.any():
                continue
            points = season.learned(accepted & (seen.column < month))
            expected = expected_readings(points, seen, soil=season.soil)
            for number in range(len(keys)):
                own = is_new & (seen.sensor == number)
                state, doubted = _judged(season, expected, own, accepted)
                if own.sum() >= CHECKED_COUNT or state is not SensorState.SOUND:
                    states[number] = state
                if doubted.size:
                    accepted[doubted] = False
                    day = season.reading_days[doubted[0]].item()
                    since[number] = since[number] or day
                    last = season.reading_days[doubted[-1]].item()
                    last_doubt = max(last_doubt or last, last)
                elif states[number] is SensorState.SOUND:
                    since[number] = None
    reports = tuple(
        SensorReport(
            *key,
            state=states[number],
            doubted_since=since[number],
            reading_count=int(np.count_nonzero(seen.sensor == number)),
            accepted_count=int(np.count_nonzero(accepted & (seen.sensor == number))),
        )
        for number, key in enumerate(keys)
    )
    return accepted, reports, last_doubt


def _judged(
    season: LearningSeason,
    expected: ExpectedReadings,
    own: NDArray[np.bool_],
    accepted: NDArray[np.bool_],
) -> tuple[SensorState, Ints]:
    """State of one sensor in one month, and its readings (numbers) that are left out."""
    seen, rows = season.observations, np.flatnonzero(own)
    if rows.size == 0:
        return SensorState.SOUND, rows
    of_sensor = seen.sensor == seen.sensor[rows[0]]
    earlier = accepted & of_sensor & (seen.column < seen.column[rows[0]])
    entered = np.concatenate(([0.0], np.cumsum(season.entered_mm)))
    so_far = entered[np.minimum(seen.column[rows], entered.size - 1)]
    verdict = check_sensor(
        season.raw_water[rows],
        season.reading_days[rows],
        ExpectedReadings(expected.volumetric_water[rows], expected.spread[rows]),
        soil=season.soil,
        usual_range=usual_range(season.raw_water[earlier]),
        was_watered=np.diff(so_far, prepend=0.0) > 0.0,
    )
    if verdict.state is SensorState.SOUND:
        return verdict.state, rows[:0]
    return verdict.state, rows[max(0, verdict.first_reading + 1 - CHECKED_COUNT) :]


def _report(
    block: BlockDefinition,
    season: LearningSeason,
    accepted: NDArray[np.bool_],
    sensors: tuple[SensorReport, ...],
    *,
    last_doubt: date | None,
    today: date,
) -> LearnedBlock:
    taw_mm, last = float(season.terms.taw_mm[-1]), season.days.size

    def band_mm(points: LearnedPoints) -> tuple[float, ...]:
        depletion_mm = depletion_points_mm(points, last, taw_mm=taw_mm, soil=season.soil)
        return tuple(weighted_quantiles(depletion_mm, points.weight, BAND).tolist())

    points = season.learned(accepted)
    fraction = point_fractions(season.terms, np.zeros((1, 3)))[0].astype(np.float64)
    days = season.reading_days[accepted]
    is_awake = _is_awake(block, days)
    learned = summarize(points)
    found = offers(
        learned,
        MultiplierPrior.default(),
        Evidence(
            reading_count=int(np.count_nonzero(is_awake)),
            first_day=days[is_awake][0].item() if is_awake.any() else None,
            last_day=days[is_awake][-1].item() if is_awake.any() else None,
            largest_drying_fraction=largest_drying_fraction(fraction, season.entered_mm),
            last_doubt=last_doubt,
            is_agreed=points.is_agreed,
        ),
        in_use=InUse(),
        today=today,
    )
    nothing = np.zeros(accepted.size, dtype=np.bool_)
    return LearnedBlock(
        block_id=block.block_id,
        first_day=season.days[0].item(),
        last_day=season.days[-1].item(),
        sensors=sensors,
        multipliers=found,
        medians=tuple(learned.medians.tolist()),
        depletion_mm=band_mm(points),
        beforehand_mm=band_mm(season.learned(nothing)),
        ledger_mm=float(fraction[-1]) * taw_mm,
    )


def _is_awake(block: BlockDefinition, days: Days) -> NDArray[np.bool_]:
    """(days,) whether the block is watered at all at that time of the year."""
    if days.size == 0:
        return np.zeros(0, dtype=np.bool_)
    system = batch_of(block, days[-1].item().year).system
    dormant = is_dormant(days, system.watering_start_doy, system.watering_end_doy)
    return np.asarray(~dormant[:, 0])
