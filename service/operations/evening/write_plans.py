"""Store the plans of a group of farms, and pass new ones on to callers, controllers and mail."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Ints
from service.database.session import UnitOfWork
from service.operations.evening.evening_inputs import EveningInputs
from service.operations.evening.fit_injections import answers_other_orders
from service.operations.evening.gather_weather import WeatherDocuments
from service.operations.evening.phases import Phases
from service.operations.evening.plan_rows import PlanSituation, pick_rows, plan_rows
from service.operations.evening.plan_texts import save_plan_texts
from service.operations.evening.publish_programs import announce_plans
from service.operations.evening.turn import ChangeThreshold
from service.operations.events.raise_events import raise_plan_events
from service.ports import AfterPublish
from service.records.plans import NewVersions, PlanRows, PlansInForce


@dataclass(frozen=True, slots=True)
class WrittenPlans:
    """The plans of a group of farms as they were stored."""

    rows: PlanRows
    new: NewVersions
    bases: Mapping[int, bytes]
    """The weather reasoning of the sites that the plans draw on, by its key."""
    issued_at: datetime


def write_plans(
    unit: UnitOfWork,
    phases: Phases,
    situation: PlanSituation,
    basis: WeatherDocuments,
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
    basis_keys = phases.timed("writing", _save_basis, unit, situation, basis, used, issued_at)
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
    """Render the new plans for API callers, controllers and mail readers, and tell others of them.

    All of it in the transaction of the plans.
    """
    issued_at = written.issued_at
    phases.timed(
        "texts", save_plan_texts, unit, written.rows, written.new, written.bases,
        issued_at=issued_at,
    )  # fmt: skip
    phases.timed(
        "programs", announce_plans, unit, inputs.farm_keys, now=issued_at, table=inputs.table
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


def _save_basis(
    unit: UnitOfWork,
    situation: PlanSituation,
    basis: WeatherDocuments,
    used: Ints,
    issued_at: datetime,
) -> Ints:
    """(sites,) key of each site's weather reasoning; 0 for sites that none of these blocks uses."""
    site_keys = situation.weather.sites.keys
    basis_keys = np.zeros(site_keys.size, dtype=np.int64)
    basis_keys[used] = unit.plans.save_basis(
        site_keys[used],
        [basis.documents[site] for site in used.tolist()],
        day=situation.day,
        issued_at=issued_at,
    )
    return basis_keys


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
