"""Reads of plans and ledgers: the plan of a day, the reasons for it, the balance of a span."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from datetime import date, timedelta

import numpy as np

from service.agronomy.reasoning import Step, explain_plan
from service.agronomy.reference_et_terms import reference_et_terms
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid, PlanNotFound
from service.operations.reading.read_farms import get_today
from service.ports import Clock
from service.records.farms import BlockDefinition
from service.records.feedback import MeteredDay
from service.records.ledger import IrrigationOrigin, LedgerRows
from service.records.plans import PublishedPlan

LONGEST_SPAN_DAYS = 400
DEFAULT_SPAN_DAYS = 30
SAME_DEPTH_MM = 0.005  # [mm] depths that print alike
SHOWN_LEDGER_DAYS = 7
"""Days of the ledger that a plan's reasoning begins with."""


@dataclass(frozen=True, slots=True)
class PlanView:
    """A plan together with the block it is for."""

    plan: PublishedPlan
    block: BlockDefinition

    @property
    def zone(self) -> str:
        """Time zone of the block's weather site."""
        return self.plan.weather.zone


@dataclass(frozen=True, slots=True)
class Explanation:
    """A plan with its reasoning."""

    view: PlanView
    steps: tuple[Step, ...]
    ledger: LedgerRows
    """Its last days before the day planned, as they stand now."""
    metered: tuple[MeteredDay, ...]
    """What the meter counted on those days."""


def get_plan(
    block_id: str,
    *,
    day: date | None,
    version: int | None = None,
    unit_of_work: UnitOfWorkFactory,
) -> PlanView:
    """The plan in force for a day (the latest day planned when None).

    Raises NotFound for a block that does not exist, PlanNotFound if it has no such plan.
    """
    with unit_of_work(write=False) as unit:
        wanted = day or unit.plans.find_latest_day(block_id)
        block = unit.blocks.get_block(block_id, day=wanted or date.max)
        plan = (
            None
            if wanted is None
            else unit.plans.find_plan(block.block_id, day=wanted, version=version)
        )
    if plan is None:
        raise PlanNotFound(f"no plan of block {block.block_id} for {wanted or 'any day'}")
    return PlanView(plan=plan, block=block)


def list_plans(
    *, day: date | None, farm_id: str | None = None, unit_of_work: UnitOfWorkFactory
) -> list[PlanView]:
    """The plans in force for a day (the latest day planned when None), by block."""
    with unit_of_work(write=False) as unit:
        wanted = day or unit.plans.find_latest_day()
        if wanted is None:
            raise PlanNotFound("no plan is stored; `rillwright run-day` makes them")
        blocks = {
            block.block_id: block for block in unit.blocks.list_blocks(farm_id=farm_id, day=wanted)
        }
        plans = unit.plans.list_plans(day=wanted, farm_id=farm_id)
    return [
        PlanView(plan=plan, block=blocks[plan.block_id])
        for plan in plans
        if plan.block_id in blocks
    ]


def explain(
    block_id: str,
    *,
    day: date | None,
    version: int | None = None,
    unit_of_work: UnitOfWorkFactory,
) -> Explanation:
    """The reasoning of a plan, step by step; raises NotFound."""
    view = get_plan(block_id, day=day, version=version, unit_of_work=unit_of_work)
    with unit_of_work(write=False) as unit:
        ledger = ledger_before(unit, view)
        metered = metered_days(unit, view.block, ledger)
    return Explanation(view=view, steps=plan_steps(view), ledger=ledger, metered=metered)


def ledger_before(unit: UnitOfWork, view: PlanView) -> LedgerRows:
    """The last days of a block's ledger before the day of its plan."""
    day = view.plan.day
    return unit.ledger.read_rows(
        unit.blocks.get_block_key(view.block.block_id),
        first_day=day - timedelta(days=SHOWN_LEDGER_DAYS),
        last_day=day - timedelta(days=1),
    )


def metered_days(
    unit: UnitOfWork, block: BlockDefinition, rows: LedgerRows
) -> tuple[MeteredDay, ...]:
    """What a block's meter counted on the days of a ledger; days without a meter are left out."""
    if not rows.days.size:
        return ()
    days: list[date] = rows.days.astype("datetime64[D]").tolist()
    key = unit.blocks.get_block_key(block.block_id)
    counted = unit.reports.read_meter_days(
        np.array([key], dtype=np.int64), first_day=days[0], last_day=days[-1]
    )
    gross_mm = rows.numbers["irrigation_gross_mm"].tolist()
    return tuple(
        metered_day(block, day, counted[key, day], depth_mm)
        for day, depth_mm in zip(days, gross_mm, strict=True)
        if (key, day) in counted
    )


def metered_day(
    block: BlockDefinition, day: date, volumes: tuple[float, float], gross_mm: float
) -> MeteredDay:
    """A day of a block's meter from the litres that are booked and questioned."""
    leakage = 0.0 if math.isnan(block.leakage_fraction) else block.leakage_fraction
    return MeteredDay(day, *volumes, gross_mm, leakage)


@dataclass(frozen=True, slots=True)
class LedgerLine:
    """A day of a ledger as a sum that a reader can check, depths in mm."""

    day: date
    depletion_start_mm: float
    rain_entering_mm: float
    net_mm: float
    """Net irrigation of the day."""
    drainage_mm: float
    """Rain and irrigation that drain below the zone."""
    stress_ratio: float
    actual_crop_et_mm: float
    other_mm: float
    """Soil readings, and a change of the zone's size."""
    depletion_end_mm: float
    irrigation_origin: str
    """``none``, ``reported``, ``planned`` or ``metered``."""
    alley_et_mm: float
    """The part of the crop's use that came from rain outside the wet strip."""
    alley_store_mm: float | None
    """What was left there at the end; None where the crop has no roots there."""

    def leads_to(self, plan: PublishedPlan) -> bool:
        """Whether a plan begins with the depletion at the end of this day, as it is now."""
        midnight_mm = plan.reasoning.depletion_midnight_mm
        return midnight_mm is None or abs(self.depletion_end_mm - midnight_mm) <= SAME_DEPTH_MM


def ledger_lines(rows: LedgerRows) -> tuple[LedgerLine, ...]:
    """The days of a ledger as sums."""
    days: list[date] = rows.days.astype("datetime64[D]").tolist()
    numbers = rows.numbers
    return tuple(
        LedgerLine(
            day=day,
            depletion_start_mm=float(numbers["depletion_start_mm"][row]),
            rain_entering_mm=float(numbers["rain_entering_mm"][row]),
            net_mm=float(numbers["early_net_mm"][row] + numbers["day_net_mm"][row]),
            drainage_mm=float(
                numbers["rain_drainage_mm"][row] + numbers["irrigation_drainage_mm"][row]
            ),
            stress_ratio=float(numbers["stress_ratio"][row]),
            actual_crop_et_mm=float(numbers["actual_crop_et_mm"][row]),
            other_mm=float(numbers["resize_mm"][row] + numbers["correction_mm"][row]),
            depletion_end_mm=float(numbers["depletion_end_mm"][row]),
            irrigation_origin=IrrigationOrigin(rows.irrigation_origin[row]).name.lower(),
            alley_et_mm=_or_none(float(numbers["alley_et_mm"][row])) or 0.0,
            alley_store_mm=_or_none(float(numbers["alley_store_mm"][row])),
        )
        for row, day in enumerate(days)
    )


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else value


def plan_steps(view: PlanView) -> tuple[Step, ...]:
    """The steps from the weather of the day to the minutes of a plan."""
    basis, day = view.plan.weather, view.plan.day
    weather = basis.numbers_of(day)
    if basis.latitude_deg is None or basis.elevation_m is None:
        return explain_plan(view.plan.reasoning.quantities, weather)
    terms = reference_et_terms(
        weather, day, latitude_deg=basis.latitude_deg, elevation_m=basis.elevation_m
    )
    return explain_plan(view.plan.reasoning.quantities, {**weather, **asdict(terms)})


def balance_span(
    block_id: str,
    first_day: date | None,
    last_day: date | None,
    *,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> tuple[date, date]:
    """The days that are meant: up to today at the farm, and thirty days before the last one."""
    last = last_day or get_today(block_id, unit_of_work=unit_of_work, clock=clock)
    first = max(last.toordinal() - DEFAULT_SPAN_DAYS, date.min.toordinal())
    return first_day or date.fromordinal(first), last


def read_balance(
    block_id: str, *, first_day: date, last_day: date, unit_of_work: UnitOfWorkFactory
) -> LedgerRows:
    """The ledger of a block over a span of at most 400 days; raises NotFound or InputInvalid."""
    if last_day < first_day or (last_day - first_day).days > LONGEST_SPAN_DAYS:
        raise InputInvalid(
            f"the span {first_day} to {last_day} cannot be read",
            [
                Fault(
                    "to",
                    last_day.isoformat(),
                    f"the first day or one up to {LONGEST_SPAN_DAYS} days after it",
                )
            ],
        )
    with unit_of_work(write=False) as unit:
        block_key = unit.blocks.get_block_key(block_id)
        return unit.ledger.read_rows(block_key, first_day=first_day, last_day=last_day)


def list_blocks(
    *, farm_id: str | None, day: date, unit_of_work: UnitOfWorkFactory
) -> list[BlockDefinition]:
    """Blocks in force on a day."""
    with unit_of_work(write=False) as unit:
        return unit.blocks.list_blocks(farm_id=farm_id, day=day)


def get_block(block_id: str, *, day: date, unit_of_work: UnitOfWorkFactory) -> BlockDefinition:
    """One block as of a day; raises NotFound."""
    with unit_of_work(write=False) as unit:
        return unit.blocks.get_block(block_id, day=day)
