"""Store the plans of a group of farms, and pass new ones on to callers, controllers and mail."""

from __future__ import annotations

from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Ints
from service.database.session import UnitOfWork
from service.operations.evening.evening_inputs import EveningInputs
from service.operations.evening.fit_injections import answers_other_orders
from service.operations.evening.phases import Phases
from service.operations.evening.plan_rows import PlanSituation, pick_rows, plan_rows
from service.operations.evening.publish_programs import publish_programs
from service.operations.evening.run_weather import RunWeather
from service.operations.evening.turn import ChangeThreshold
from service.operations.events.raise_events import raise_plan_events
from service.ports import AfterPublish
from service.records.plans import PlansInForce, WrittenPlans


def write_plans(
    unit: UnitOfWork,
    phases: Phases,
    situation: PlanSituation,
    weather: RunWeather,
    *,
    issued_at: datetime,
    in_force: PlansInForce | None,
    supersedes_from: ChangeThreshold | None,
) -> WrittenPlans:
    """Store a new version of each plan that has changed.

    With ``supersedes_from`` a plan in force is replaced only if its minutes change by more than
    that, or its injection changes.
    """
    used = np.unique(situation.site_index)
    basis = phases.timed("documents", weather.documents, unit, situation.weather)
    basis_keys = phases.timed("writing", weather.basis_keys, unit, basis, used)
    rows = phases.timed(
        "documents", plan_rows, situation, basis_keys=basis_keys, basis_digests=basis.digests
    )
    if in_force is not None and supersedes_from is not None:
        rows = pick_rows(rows, _worth_replacing(situation, in_force, supersedes_from))
    new = phases.timed("writing", unit.plans.publish, rows, issued_at=issued_at)
    bases = {int(basis_keys[site]): basis.documents[site] for site in used.tolist()}
    return WrittenPlans(rows, new, bases, issued_at)


def announce_new_plans(
    unit: UnitOfWork,
    phases: Phases,
    inputs: EveningInputs,
    written: WrittenPlans,
    *,
    after_publish: AfterPublish | None,
) -> None:
    """Render the new plans for controllers and order mails, and tell others of them.

    All of it in the transaction of the plans. What API callers read is rendered after it.
    """
    issued_at = written.issued_at
    phases.timed(
        "programs", publish_programs, unit, inputs.farm_keys, now=issued_at, table=inputs.table
    )
    phases.timed(
        "events", raise_plan_events, unit, inputs.table, written.rows, written.new,
        issued_at=issued_at,
    )  # fmt: skip
    if after_publish is not None:
        phases.timed(
            "mail", after_publish, unit, inputs.farm_keys, day=inputs.plan_day,
            issued_at=issued_at,
        )  # fmt: skip


def _worth_replacing(
    situation: PlanSituation, in_force: PlansInForce, threshold: ChangeThreshold
) -> Ints:
    """Rows of the plans that have changed enough, and of their neighbours on the supply."""
    plan = situation.plan
    changed = threshold.is_passed(
        in_force.need_mm / plan.net_rate_mm_per_min,
        plan.need.need_mm / plan.net_rate_mm_per_min,
    ) | answers_other_orders(situation.injections, in_force.order_keys)
    return _with_neighbours(changed, situation.blocks.system.supply_index)


def _with_neighbours(chosen: NDArray[np.bool_], supply_index: Ints) -> Ints:
    """Rows of the chosen blocks and of all that share a supply with one of them.

    New pulses of a block were placed among the new pulses of its neighbours; with the old ones, the
    supply's flow might be exceeded.
    """
    is_touched = np.isin(supply_index, np.unique(supply_index[chosen]))
    return np.flatnonzero(is_touched)
