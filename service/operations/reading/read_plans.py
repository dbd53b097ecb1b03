"""Reads of plans: the plan of a day, and the reasons for it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, timedelta

import numpy as np

from service.agronomy.reasoning import Step, explain_plan
from service.agronomy.reference_et_terms import reference_et_terms
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import PlanNotFound
from service.operations.reading.hindsight import last_hindsight
from service.records.farms import BlockDefinition
from service.records.feedback import MeteredDay
from service.records.ledger import LedgerRows
from service.records.letters import HindsightLine
from service.records.plans import PublishedPlan

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
    hindsight: HindsightLine | None = None
    """The newest plan up to this one whose day is over, with the rain that fell; None: none of the
    last three days is, or its numbers do not tell."""


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
    *,
    day: date | None,
    farm_id: str | None = None,
    unit_of_work: UnitOfWorkFactory,
    known: Sequence[BlockDefinition] | None = None,
) -> list[PlanView]:
    """The plans in force for a day (the latest day planned when None), by block.

    ``known`` are the blocks of that day; None: they are read.
    """
    with unit_of_work(write=False) as unit:
        wanted = day or unit.plans.find_latest_day()
        if wanted is None:
            raise PlanNotFound("no plan is stored; `rillwright run-day` makes them")
        if known is None:
            known = unit.blocks.list_blocks(farm_id=farm_id, day=wanted)
        blocks = {block.block_id: block for block in known}
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
        hindsight = last_hindsight(unit, view.block.block_id, view.plan.day)
    return Explanation(
        view=view, steps=plan_steps(view), ledger=ledger, metered=metered, hindsight=hindsight
    )


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
