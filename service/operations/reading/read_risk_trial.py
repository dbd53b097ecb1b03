"""What weighing the forecast would have done in a block, beside the evening rule, both on paper."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from datetime import date

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.risk_attitude import RiskAttitude, attitude_name
from service.agronomy.risk_guard import RiskGuard
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.reading.read_farms import local_day
from service.ports import Clock
from service.records.farms import BlockDefinition
from service.records.shadow import (
    COURSE_NUMBERS,
    KEPT_DAYS,
    SHORT_FLAGS,
    CourseSums,
    RiskNotice,
    ShadowFlag,
    ShadowRows,
    ShadowSums,
    shadow_sums,
)

DEFAULT_DAYS = 90
"""[CHOICE] As many as the page of a block shows of its season."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskTrial:
    """A block's days on paper over a span."""

    block: BlockDefinition
    first_day: date
    """Asked for; ``sums`` says from when on there are any."""
    last_day: date
    rows: ShadowRows
    """Days that are over, and tomorrow."""
    sums: ShadowSums | None
    """None: no day on paper is over."""
    notice: RiskNotice | None
    """What the grower was told; None: nothing, or he has made a choice."""

    @property
    def is_kept(self) -> bool:
        """Whether the evenings keep it: the grower made no choice, and no timer runs the block."""
        block = self.block
        return (
            block.risk_attitude == RiskAttitude.CLASSIC
            and not block.has_stated_attitude
            and block.timer is None
        )


def read_risk_trial(
    block_id: str,
    *,
    first_day: date | None = None,
    last_day: date | None = None,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> RiskTrial:
    """The days on paper of a block, by default the last ninety up to yesterday.

    Raises NotFound, and InputInvalid for a span that does not rise or is longer than 400 days.
    """
    with unit_of_work(write=False) as unit:
        farm = unit.blocks.get_farm_of(block_id)
        today = local_day(clock.now(), farm.zone)
        block = unit.blocks.get_block(block_id, day=today + ONE_DAY)
        last = last_day or today - ONE_DAY
        earliest = max(last.toordinal() - DEFAULT_DAYS + 1, date.min.toordinal())
        first = first_day or date.fromordinal(earliest)
        if not 0 <= (last - first).days < KEPT_DAYS:
            raise InputInvalid(
                f"the span {first} to {last} cannot be read",
                [Fault("from", first.isoformat(), f"a day up to {KEPT_DAYS} before {last}")],
            )
        return trial_of(unit, block, first_day=first, last_day=last)


def trial_of(
    unit: UnitOfWork, block: BlockDefinition, *, first_day: date, last_day: date
) -> RiskTrial:
    """As :func:`read_risk_trial`, within an open transaction."""
    key = unit.blocks.get_block_key(block.block_id)
    rows = unit.shadows.read_block(key, first_day=first_day, last_day=last_day)
    notice = unit.shadows.read_notices(np.array([key])).get(key)
    return RiskTrial(
        block=block,
        first_day=first_day,
        last_day=last_day,
        rows=rows,
        sums=shadow_sums(rows),
        notice=notice,
    )


def trial_document(trial: RiskTrial) -> dict[str, object]:
    """The trial for programs, the same in commands and the API; numbers not known are None."""
    sums = trial.sums
    return {
        "block_id": trial.block.block_id,
        "risk_attitude": attitude_name(trial.block.risk_attitude),
        "is_stated": trial.block.has_stated_attitude,
        "is_kept": trial.is_kept,
        "told_on": None if trial.notice is None else trial.notice.told_on,
        "weighs_from": None if trial.notice is None else trial.notice.turns_on,
        "first_day": trial.first_day,
        "last_day": trial.last_day,
        "day_count": 0 if sums is None else sums.day_count,
        "spread_day_count": 0 if sums is None else sums.spread_day_count,
        "weighed_day_count": 0 if sums is None else sums.weighed_day_count,
        "rule": None if sums is None else _sums(sums.rule),
        "weighed": None if sums is None else _sums(sums.weighed),
        "days": [_day(trial.rows, row) for row in range(trial.rows.days.size)],
    }


def _sums(sums: CourseSums) -> dict[str, float | int]:
    return {
        name: round(value, 2) if isinstance(value, float) else value
        for name, value in asdict(sums).items()
    }


def _day(rows: ShadowRows, row: int) -> dict[str, object]:
    flags = ShadowFlag(int(rows.flags[row]))
    return {
        "day": rows.days[row].item(),
        "risk_guard": RiskGuard(int(rows.guards[row])).name.lower(),
        "is_dormant": ShadowFlag.DORMANT in flags,
        **{
            course: _course(rows, row, course, is_short=flag in flags)
            for course, flag in SHORT_FLAGS.items()
        },
    }


def _course(rows: ShadowRows, row: int, course: str, *, is_short: bool) -> dict[str, object]:
    found: dict[str, object] = {}
    for name in COURSE_NUMBERS:
        value = float(rows.numbers[f"{course}_{name}"][row])
        found[name] = None if math.isnan(value) else round(value, 2)
    is_over = found["depletion_end_mm"] is not None
    return {**found, "is_short": is_short if is_over else None}
