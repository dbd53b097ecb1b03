"""What an exact solver makes of small days on one supply: writes tests/agronomy/supply_optima.json.

Run with ``python -m tests.benchmarks.supply_exact`` where OR-tools is installed besides the tests'
own packages (``pip install ortools==9.15.6755``, its CP-SAT solver); it takes some ten minutes on
two cores. For the short days: the most water when no block gets less than the least share that the
planner reached, or its own cap. For rotations: the earliest end. The solver begins at the planner's
own answer and stops after a while; what it could not prove to be the best is marked.
"""

from __future__ import annotations

import importlib
import json
from pathlib import Path
from typing import Any

import numpy as np

from service.agronomy.supply import schedule_supplies
from tests.agronomy.pulse_demands import pulses_of
from tests.agronomy.supply_cases import demand_of, rotation_case, short_case

cp_model: Any = importlib.import_module("ortools.sat.python.cp_model")

OPTIMA = Path(__file__).parents[1] / "agronomy" / "supply_optima.json"
SHORT_CASES, ROTATION_CASES = 30, 12
SHORT_SECONDS, ROTATION_SECONDS = 10.0, 20.0
FLOW_UNIT_L_PER_H = 100  # all flows of the cases are multiples of it


def solve(model: Any, seconds: float) -> tuple[Any, bool]:
    """The solver after its run, and whether it proved its answer."""
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 4
    return solver, solver.status_name(solver.solve(model)) == "OPTIMAL"


def block_minutes(
    model: Any, block: dict[str, Any], at_least_min: int, hint: list[tuple[int, int]]
) -> tuple[Any, list[Any]]:
    """Minutes of a block as a variable, and its pulses as intervals that need not be there."""
    shortest, longest = block["shortest_pulse_min"], block["longest_pulse_min"]
    opens, closes, wanted = block["opens_min"], block["closes_min"], block["wanted_min"]
    most = min(wanted // shortest, 1 + (closes - opens - shortest) // (2 * shortest))
    intervals, minutes = [], []
    first_length: Any = None
    before: Any = None
    for position in range(most):
        is_there = model.new_bool_var("")
        length = model.new_int_var(shortest, longest, "")
        start = model.new_int_var(opens, closes - shortest, "")
        end = model.new_int_var(opens, closes, "")
        counted = model.new_int_var(0, longest, "")
        model.add(counted == length).only_enforce_if(is_there)
        model.add(counted == 0).only_enforce_if(is_there.negated())
        intervals.append(model.new_optional_interval_var(start, length, end, is_there, ""))
        minutes.append(counted)
        if position < len(hint):
            begin, lasting = hint[position]
            known = ((is_there, 1), (start, begin), (length, lasting), (end, begin + lasting))
            for variable, value in (*known, (counted, lasting)):
                model.add_hint(variable, value)
        else:
            model.add_hint(is_there, 0)
            model.add_hint(counted, 0)
        if before is None:
            first_length = length
        else:
            was_there, last_length, last_end = before
            model.add_implication(is_there, was_there)
            model.add(start >= last_end + last_length).only_enforce_if(is_there)
            model.add(last_length >= length).only_enforce_if(is_there)
            model.add(first_length - length <= 1).only_enforce_if(is_there)
        before = is_there, length, end
    total = model.new_int_var(min(at_least_min, wanted), wanted, "")
    model.add(total == sum(minutes))
    return total, intervals


def most_water(number: int) -> dict[str, Any]:
    """The most water of a short day in which all keep the planner's least share."""
    case = short_case(number)
    demand, supply = demand_of(case)
    schedule = schedule_supplies(demand, supply)
    cap_min = np.round(schedule.alone_share * schedule.wanted_min)
    is_cut = schedule.planned_min < cap_min
    shares = schedule.planned_min / schedule.wanted_min
    least_share = float(shares[is_cut].min()) if is_cut.any() else 1.0
    least_min = np.floor(np.minimum(cap_min, least_share * schedule.wanted_min + 1e-9))
    model = cp_model.CpModel()
    flows = [block["flow_l_per_h"] // FLOW_UNIT_L_PER_H for block in case["blocks"]]
    supply_flow = case["supply_flow_l_per_h"] // FLOW_UNIT_L_PER_H
    intervals, demands, volume = [], [], 0
    for index, (block, flow) in enumerate(zip(case["blocks"], flows, strict=True)):
        own = block_minutes(model, block, int(least_min[index]), pulses_of(schedule, index))
        volume += flow * own[0]
        intervals += own[1]
        demands += [flow] * len(own[1])
    model.add_cumulative(intervals, demands, supply_flow)
    opens = min(block["opens_min"] for block in case["blocks"])
    closes = max(block["closes_min"] for block in case["blocks"])
    model.add(volume <= supply_flow * (closes - opens))
    model.maximize(volume)
    solver, is_proven = solve(model, SHORT_SECONDS)
    return {
        "water_l": FLOW_UNIT_L_PER_H * solver.objective_value / 60.0,
        "least_share": round(least_share, 4),
        "is_proven": is_proven,
    }


def earliest_end(number: int) -> dict[str, Any]:
    """The earliest end of a rotation, all pulses as long as the block's longest."""
    case = rotation_case(number)
    model = cp_model.CpModel()
    end = model.new_int_var(0, 1440, "")
    intervals, demands = [], []
    for block in case["blocks"]:
        length = block["longest_pulse_min"]
        start: Any = None
        for _ in range(block["wanted_min"] // length):
            earlier = start
            start = model.new_int_var(0, 1440 - length, "")
            intervals.append(model.new_fixed_size_interval_var(start, length, ""))
            demands.append(block["flow_l_per_h"])
            if earlier is not None:
                model.add(start >= earlier + 2 * length)
        model.add(end >= start + length)
    model.add_cumulative(intervals, demands, case["supply_flow_l_per_h"])
    model.minimize(end)
    solver, is_proven = solve(model, ROTATION_SECONDS)
    return {"end_min": int(solver.objective_value), "is_proven": is_proven}


def main() -> None:
    """Solve all cases and write the file."""
    optima = {
        "solver": "CP-SAT of OR-tools 9.15.6755",
        "short": [most_water(number) for number in range(SHORT_CASES)],
        "rotation": [earliest_end(number) for number in range(ROTATION_CASES)],
    }
    OPTIMA.write_text(json.dumps(optima, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
