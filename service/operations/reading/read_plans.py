"""What is asked of plans and ledgers: the plan of a day, why it is so, the balance of a span."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import cast

from service.agronomy.reasoning import Numbers, Step, explain_plan
from service.database.session import UnitOfWorkFactory
from service.errors import Fault, InputInvalid, PlanNotFound
from service.records.farms import BlockDefinition
from service.records.ledger import LedgerRows
from service.records.plans import PublishedPlan

LONGEST_SPAN_DAYS = 400


@dataclass(frozen=True, slots=True)
class PlanView:
    """A plan together with the block it is for."""

    plan: PublishedPlan
    block: BlockDefinition
    zone: str


@dataclass(frozen=True, slots=True)
class Explanation:
    """A plan with its reasoning."""

    view: PlanView
    steps: tuple[Step, ...]


def get_plan(
    block_id: str,
    *,
    day: date | None,
    version: int | None = None,
    unit_of_work: UnitOfWorkFactory,
) -> PlanView:
    """The plan in force for a day (the latest day planned when None).

    Raises NotFound for a block that does not exist, PlanNotFound where it has no such plan.
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
    return PlanView(plan=plan, block=block, zone=str(plan.basis["zone"]))


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
        PlanView(plan=plan, block=blocks[plan.block_id], zone=str(plan.basis["zone"]))
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
    """Why a plan says what it says, step by step; raises NotFound."""
    view = get_plan(block_id, day=day, version=version, unit_of_work=unit_of_work)
    numbers = {
        name: value
        for name, value in view.plan.numbers.items()
        if value is None or isinstance(value, int | float)
    }
    return Explanation(
        view=view, steps=explain_plan(numbers, weather_of_day(view.plan.basis, view.plan.day))
    )


@dataclass(frozen=True, slots=True)
class FieldOrigin:
    """Where one weather quantity of a day was taken from."""

    name: str
    source: str
    kind: str
    issued_at: datetime
    fetched_at: datetime
    hours_present: float | None
    """Hours of the day that the source had; None where it gave the day as a whole."""
    estimated_from: str | None
    """What the source's value was estimated from; None: it is the source's own."""


def field_origins(basis: Mapping[str, object], day: date) -> list[FieldOrigin]:
    """Where the weather of one day comes from, field by field, out of a plan's reasoning."""
    row = cast(list[str], basis["days"]).index(day.isoformat())
    origins = cast(list[Mapping[str, str]], basis["origins"])
    notes = cast(Mapping[str, Mapping[str, Mapping[str, object]]], basis.get("field_notes", {}))
    found = []
    for name, places in cast(Mapping[str, list[int]], basis["origin_of"]).items():
        if places[row] < 0:
            continue
        origin = origins[places[row]]
        note = notes.get(name, {}).get(day.isoformat(), {})
        hours, estimated = note.get("hours_present"), note.get("estimated_from")
        found.append(
            FieldOrigin(
                name=name,
                source=origin["source"],
                kind=origin["kind"],
                issued_at=datetime.fromisoformat(origin["issued_at"]),
                fetched_at=datetime.fromisoformat(origin["fetched_at"]),
                hours_present=float(hours) if isinstance(hours, int | float) else None,
                estimated_from=estimated if isinstance(estimated, str) else None,
            )
        )
    return found


def weather_of_day(basis: Mapping[str, object], day: date) -> Numbers:
    """The numbers of one day out of a plan's weather reasoning."""
    days = cast(list[str], basis["days"])
    row = days.index(day.isoformat())
    fields = cast(Mapping[str, list[float | None]], basis["fields"])
    return {name: values[row] for name, values in fields.items()}


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
    """One block as it stands on a day; raises NotFound."""
    with unit_of_work(write=False) as unit:
        return unit.blocks.get_block(block_id, day=day)
