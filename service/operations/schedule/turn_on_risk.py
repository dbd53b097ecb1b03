"""Blocks that made no choice begin to weigh the forecast once it has proved itself on paper.

A growing season on paper comes first: ninety days of it, with a spread and without a guard on most,
at no greater cost than the evening rule. Then the grower is told, and two weeks later the block
weighs the forecast, unless he has said what he wants: a stated attitude, be it the evening rule,
is never touched. Doing it again on the same day changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.records import CurveDefinition
from service.agronomy.risk_attitude import RiskAttitude
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.farms.measured_numbers import TURNED_ON_ORIGIN, change_number
from service.operations.reading.read_farms import local_day
from service.ports import Clock
from service.records.audit import Subject
from service.records.farms import FarmDefinition
from service.records.shadow import RiskNotice, ShadowRows, ShadowSums, shadow_sums

FEWEST_DAYS = 90
"""[CHOICE] Days on paper of one growing season, dormant days not counted."""
SPREAD_SHARE = 0.8
"""[CHOICE] Share of them on which the forecast had a spread."""
WEIGHED_SHARE = 0.8
"""[CHOICE] Share of them on which no guard kept the evening rule; a block that is guarded oftener
would gain little."""
NOTICE = timedelta(days=14)
"""[CHOICE] From the day on which a grower is told to the day on which it is turned on."""
YEAR = timedelta(days=365)


@dataclass(frozen=True, slots=True)
class TurnedOn:
    """What was done."""

    told_count: int
    turned_count: int


def turn_on_risk(*, unit_of_work: UnitOfWorkFactory, clock: Clock) -> TurnedOn:
    """Tell growers whose blocks are ready, and turn on those of which they were told in time."""
    told = turned = 0
    with unit_of_work(write=False) as unit:
        farms = unit.blocks.list_farms()
    for farm in farms:
        today = local_day(clock.now(), farm.zone)
        with unit_of_work(write=False) as unit:
            has_steps = bool(_steps_of(unit, farm, today))
        # Most farms have none, and each write would keep everybody else from writing.
        if not has_steps:
            continue
        with unit_of_work(write=True) as unit:
            for step in _steps_of(unit, farm, today):
                _take(unit, step, farm, today, clock)
                told += step.notice is None
                turned += step.turns_on is not None
    return TurnedOn(told, turned)


@dataclass(frozen=True, slots=True)
class _Step:
    """What is to be done about a block: tell its grower, take the notice back, or turn it on."""

    block_key: int
    block_id: str
    notice: RiskNotice | None
    """The notice that stands; None: the grower is to be told."""
    turns_on: ShadowSums | None = None
    """What turns it on."""


def _steps_of(unit: UnitOfWork, farm: FarmDefinition, today: date) -> list[_Step]:
    farm_keys = np.array([*unit.blocks.farm_keys([farm.farm_id]).values()], dtype=np.int64)
    table = unit.blocks.read_block_table(today + ONE_DAY, farm_keys=farm_keys)
    open_rows = [
        row
        for row in np.flatnonzero(np.isnan(table.numbers["risk_attitude"])).tolist()
        if table.timers[row] is None
    ]
    if not open_rows:
        return []
    notices = unit.shadows.read_notices(table.keys)
    rows = unit.shadows.read(farm_keys, first_day=today - YEAR, last_day=today - ONE_DAY)
    steps = []
    for row in open_rows:
        key, block_id = int(table.keys[row]), table.block_ids[row]
        notice = notices.get(key)
        season_day = today if notice is None else notice.told_on
        sums = _season_sums(rows.of_block(key), table.curves[row], season_day)
        if sums is None or not is_ready(sums):
            if notice is not None:
                steps.append(_Step(key, block_id, notice))
        elif notice is None:
            steps.append(_Step(key, block_id, None))
        elif notice.turns_on <= today:
            steps.append(_Step(key, block_id, notice, sums))
    return steps


def _take(unit: UnitOfWork, step: _Step, farm: FarmDefinition, today: date, clock: Clock) -> None:
    if step.turns_on is not None:
        _turn_on(unit, step.block_id, step.turns_on, today, clock)
        return
    new = None
    if step.notice is None:
        new = RiskNotice(told_on=today, turns_on=today + NOTICE)
        unit.shadows.save_notice(step.block_key, new)
    else:
        unit.shadows.forget_notice(step.block_key)
    _note(unit, step.block_id, farm, before=step.notice, after=new)


def is_ready(sums: ShadowSums) -> bool:
    """Whether a season on paper speaks for weighing the forecast."""
    return (
        sums.day_count >= FEWEST_DAYS
        and sums.spread_day_count >= SPREAD_SHARE * sums.day_count
        and sums.weighed_day_count >= WEIGHED_SHARE * sums.day_count
        and sums.weighed.risk_cost_mm <= sums.rule.risk_cost_mm
    )


def season_start(curve: CurveDefinition, day: date) -> date:
    """The day on which the growing season that a day lies in began."""
    month, day_of_month = curve.season_start
    start = date(day.year, month, day_of_month)
    return start if start <= day else date(day.year - 1, month, day_of_month)


def _season_sums(rows: ShadowRows, curve: CurveDefinition, day: date) -> ShadowSums | None:
    return shadow_sums(rows.since(season_start(curve, day)))


def _turn_on(unit: UnitOfWork, block_id: str, sums: ShadowSums, today: date, clock: Clock) -> None:
    """A new version of the block, whose plans follow from this evening on."""
    change_number(
        unit,
        unit.blocks.get_block(block_id, day=today),
        "risk_attitude",
        RiskAttitude.BALANCED,
        origin=f"{TURNED_ON_ORIGIN} {today}: {sums.day_count} days on paper came to"
        f" {sums.weighed.risk_cost_mm:.0f} mm of water in cost, the evening rule to"
        f" {sums.rule.risk_cost_mm:.0f}",
        effective_day=today,
        clock=clock,
    )


def _note(
    unit: UnitOfWork,
    block_id: str,
    farm: FarmDefinition,
    *,
    before: RiskNotice | None,
    after: RiskNotice | None,
) -> None:
    unit.audit.note(
        Subject.BLOCK,
        block_id,
        farm_id=farm.farm_id,
        before={"weighs_forecast_from": None if before is None else before.turns_on},
        after={"weighs_forecast_from": None if after is None else after.turns_on},
    )
