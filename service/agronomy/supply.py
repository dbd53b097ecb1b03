"""Pulses of several blocks on one supply: who runs when, and who gets how much when it is short.

In: what each block asks (:class:`service.agronomy.pulse_plan.PulseDemand`) and the flow of each
supply. Out: the pulses of the day, such that at every instant the flows of the running blocks (and
of those whose valve is still closing) do not exceed the supply's.

A short supply is shared max-min fair, in tiers: the urgent needs of the blocks of the first rank,
then the rest of their needs; then the same of the next rank, which gets what is free beside them.
Within a tier all blocks rise to the largest common share that fits. Those that are then stuck stay,
the others are planned again together, and what is free at last goes to all in equal steps until
nothing more fits, so that no block is short of a pulse while flow for it is free in its hours.

Where all fits, the pulses of a supply with few blocks are put in other orders, and that with which
the last of them ends soonest is kept.

Each trial is a list schedule (whenever flow is free, the ready pulse whose block has the longest
time left to run starts first, and four variants of that rule), or puts one block after the other
whole into what is free. List scheduling after Graham 1966 (Bell System Technical Journal 45);
holding flow back for a large block, the reservation of batch queues known as "backfilling"; raising
all until one is stuck, the "progressive filling" of max-min fairness (Bertsekas & Gallager 1992,
Data Networks, 6.5.2); all from memory.
"""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from service.agronomy.pulse_plan import PulseDemand, PulseSchedule
from service.agronomy.records import Floats, PulseBatch
from service.errors import Fault, InputInvalid


def _block_records(demand: PulseDemand) -> NDArray[np.void]:
    """The demand as one record per block, as the compiled steps read it."""
    from service.agronomy.pulse_kernel import BLOCK_DAY

    days = np.empty(demand.need_mm.shape[0], BLOCK_DAY)
    for field in fields(demand):
        if field.name != "windows":
            days[field.name] = getattr(demand, field.name)
    return days


def schedule_supplies(demand: PulseDemand, supply_flow_l_per_h: Floats) -> PulseSchedule:
    """When every block runs that day, with each supply shared fairly where it is short.

    Shapes: demand (blocks,), its windows (blocks, windows); supply_flow_l_per_h (supplies,).
    demand: what the blocks ask; the blocks of one supply need not be adjacent.
    supply_flow_l_per_h: flow of each supply [L/h], > 0; infinite where there is no limit.
    Returns: pulses and sums per block [min, mm]; depths are NaN, and no pulse is planned, where a
    number of the block is NaN. Order decides only between blocks of equal run time and flow.
    Equation: room(t) = D(t), dD = Ks ETc dF - net; sum of flows <= supply flow at every instant;
    max-min fair shares of the urgent, then of the other need, rank after rank. Modelling choices of
    ours; Ks of Allen et al. 1998, FAO-56, Eq. 84; list scheduling after Graham 1966 (from memory).

    A block 6 mm short at midnight asks for 4.2 mm at 0.05 mm/min: 84 min, in two pulses of 42 min
    with 84 min between them, from the opening of its window at 04:00.

    >>> one, whole = np.ones(1), np.ones(1, np.int64)
    >>> from service.agronomy.records import WindowBatch
    >>> demand = PulseDemand(
    ...     depletion_after_rain_mm=6.0 * one, crop_et_mm=5.0 * one, taw_mm=20.0 * one,
    ...     raw_mm=10.0 * one, need_mm=4.2 * one, urgent_need_mm=1.0 * one,
    ...     sunrise_min=360.0 * one, sunset_min=1200.0 * one, net_rate_mm_per_min=0.05 * one,
    ...     shortest_pulse_min=10 * whole, longest_pulse_min=60 * whole,
    ...     daily_maximum_min=600 * whole, off_ratio=2.0 * one, valve_gap_min=1 * whole,
    ...     flow_l_per_h=900.0 * one, event_limit_mm=9.0 * one, supply_index=0 * whole,
    ...     most_pulse_count=12 * whole, not_before_min=0 * whole, start_within_min=2880 * whole,
    ...     applied_early_net_mm=0.0 * one, applied_day_net_mm=0.0 * one, priority=5 * whole,
    ...     windows=WindowBatch(opens_min=np.array([[240]]), closes_min=np.array([[1260]]),
    ...                         is_outage=np.array([False])))
    >>> pulses = schedule_supplies(demand, np.array([1000.0])).pulses
    >>> pulses.start_min.tolist(), pulses.duration_min.tolist()
    ([240, 366], [42, 42])
    """
    from service.agronomy.list_schedule_kernel import BLOCK_COURSE
    from service.agronomy.supply_kernel import BLOCK_OUTCOME, plan_day

    days = _block_records(demand)
    supply_index = demand.supply_index
    supply_count = supply_flow_l_per_h.shape[0]
    if supply_index.size and not 0 <= supply_index.min() <= supply_index.max() < supply_count:
        raise InputInvalid(
            "supply_index: a block names a supply that is not there",
            [
                Fault(
                    where="supply_index",
                    found=f"{supply_index.min()} to {supply_index.max()}",
                    allowed=f"0 to {supply_count - 1}, a row of the supply flows",
                )
            ],
        )
    courses = np.empty(days.shape[0], BLOCK_COURSE)
    outcomes = np.empty(days.shape[0], BLOCK_OUTCOME)
    offset, start_min, duration_min = plan_day(
        days,
        np.ascontiguousarray(demand.windows.opens_min),
        np.ascontiguousarray(demand.windows.closes_min),
        np.ascontiguousarray(demand.windows.is_outage),
        np.ascontiguousarray(supply_flow_l_per_h),
        courses,
        outcomes,
    )
    columns = {
        name: np.ascontiguousarray(outcomes[name])
        for name in BLOCK_OUTCOME.names or ()
        if name != "pulse_count"
    }
    return PulseSchedule(
        pulses=PulseBatch(offset=offset, start_min=start_min, duration_min=duration_min),
        passes_event_limit=columns["event_peak_mm"] > demand.event_limit_mm,
        **columns,
    )
