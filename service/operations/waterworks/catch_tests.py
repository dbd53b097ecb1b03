"""Catch tests in the field: stored, and used by the plan once somebody turns that on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from service.database.session import UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.farms.measured_numbers import CATCH_TEST_ORIGIN, change_number
from service.operations.reading.read_farms import today_at_block
from service.ports import Clock
from service.records.audit import Subject
from service.records.farms import BlockDefinition, LoadOutcome
from service.records.waterworks import CatchTest
from service.waterworks.uniformity import FieldUniformity, field_uniformity

LOWEST_PLAN_UNIFORMITY_PCT = 40.0
"""Lowest uniformity that a plan can use; a field below it must be repaired, not watered longer."""
CATCH_TEST_SEED = 20_260_401


@dataclass(frozen=True, slots=True)
class CatchReport:
    """A field test and its result."""

    test: CatchTest
    uniformity: FieldUniformity
    plan_uniformity_pct: float
    """What the plan uses now."""
    plan_origin: str


def record_catch_test(
    block_id: str,
    day: date,
    caught_ml: Sequence[float],
    *,
    is_used: bool,
    effective_day: date,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> tuple[CatchReport, LoadOutcome]:
    """Store a field test; with ``is_used`` the plan counts with its uniformity from a day on.

    The same test again changes nothing. Raises InputInvalid for fewer than 16 volumes, for a day to
    come, and for a field so uneven that no plan should cover it up.
    """
    uniformity = field_uniformity(caught_ml, seed=CATCH_TEST_SEED)
    with unit_of_work(write=True) as unit:
        today = today_at_block(unit, block_id, clock.now())
        refuse_coming_day("the field test cannot be used", day, today=today)
        block = unit.blocks.get_block(block_id, day=effective_day)
        block_key = unit.blocks.get_block_key(block_id)
        test = CatchTest(
            block_id=block.block_id, day=day, caught_ml=tuple(float(each) for each in caught_ml)
        )
        stored = unit.waterworks.list_catch_tests(block_key)
        outcome = unit.waterworks.save_catch_test(block_key, test, recorded_at=clock.now())
        unit.audit.note(
            Subject.CATCH_TEST,
            block.block_id,
            farm_id=block.farm_id,
            before=next((each for each in stored if each.day == day), None),
            after=test,
        )
        if is_used:
            if uniformity.emission_uniformity_pct < LOWEST_PLAN_UNIFORMITY_PCT:
                found = f"{uniformity.emission_uniformity_pct:.0f} %"
                allowed = f"{LOWEST_PLAN_UNIFORMITY_PCT:.0f} % or more: clean or mend the lines"
                raise InputInvalid(
                    "the plan cannot use this uniformity",
                    [Fault("uniformity of the test", found, allowed)],
                )
            block = change_number(
                unit,
                block,
                "emission_uniformity_pct",
                round(uniformity.emission_uniformity_pct, 2),
                origin=(
                    f"{CATCH_TEST_ORIGIN} {day.isoformat()}, {uniformity.sample_count} emitters,"
                    f" {uniformity.confidence_pct:.0f} % interval"
                    f" {uniformity.emission_uniformity_low_pct:.0f} to"
                    f" {uniformity.emission_uniformity_high_pct:.0f} %"
                ),
                effective_day=effective_day,
                clock=clock,
            )
    return _catch_report(test, block), outcome


def refuse_coming_day(message: str, day: date, *, today: date) -> None:
    """Raise InputInvalid for a day still to come at the farm: nothing can have been measured on it.

    The newest measurement counts, so one entered under a wrong year would outrank all that follow.
    """
    if day > today:
        raise InputInvalid(message, [Fault("day", day.isoformat(), f"a day up to {today}")])


def list_catch_tests(
    block_id: str, *, on: date, unit_of_work: UnitOfWorkFactory
) -> list[CatchReport]:
    """A block's field tests, the newest first."""
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
        tests = unit.waterworks.list_catch_tests(unit.blocks.get_block_key(block_id))
    return [_catch_report(test, block) for test in tests]


def _catch_report(test: CatchTest, block: BlockDefinition) -> CatchReport:
    return CatchReport(
        test=test,
        uniformity=field_uniformity(test.caught_ml, seed=CATCH_TEST_SEED),
        plan_uniformity_pct=block.emission_uniformity_pct,
        plan_origin=block.origins.get("emission_uniformity_pct", ""),
    )
