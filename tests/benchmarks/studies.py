"""Twenty years' capacity of many supplies, here and on processes of this machine.

    python -m tests.benchmarks.studies
    python -m tests.benchmarks.studies --supplies 10 --processes 2

The invented farm, as often as there are supplies. The figures are the wall-clock time and the
processor time of all processes; the load of the machine is printed, since it may have other work.
Run in turn in one call; results are compared.
"""

from __future__ import annotations

import argparse
import os
import resource
import time
from dataclasses import replace

import numpy as np

from service.cluster import Cluster
from service.operations.run_here import RunHere
from service.operations.waterworks.assess_capacity import Capacity, assess_capacity
from service.ports import StudyRunner
from service.records.farms import FarmBundle
from tests.invented_summers import invented_farm, invented_weather

YEARS = 20


def many_supplies(count: int) -> FarmBundle:
    """A farm of so many pumps, each a little smaller than the one before."""
    farm = invented_farm()
    (supply,) = farm.supplies
    names = [f"pump-{number}" for number in range(count)]
    return replace(
        farm,
        supplies=tuple(
            replace(supply, supply_id=name, flow_l_per_h=supply.flow_l_per_h * (1.0 - 0.005 * n))
            for n, name in enumerate(names)
        ),
        blocks=tuple(
            replace(block, block_id=f"{block.block_id}-{name}", supply_id=name)
            for name in names
            for block in farm.blocks
        ),
    )


def timed(bundle: FarmBundle, runner: StudyRunner) -> tuple[Capacity, float, float]:
    """The result, and the seconds of wall clock and processors."""
    began, before = time.perf_counter(), _processor_s()
    days, fields = invented_weather()
    span = np.arange(days[0], days[0] + np.timedelta64(round(YEARS * 365.25), "D"))
    place = (span - days[0]).astype(np.int64) % days.size
    found = assess_capacity(
        bundle, span, {name: values[place] for name, values in fields.items()}, runner=runner
    )
    return found, time.perf_counter() - began, _processor_s() - before


def _processor_s() -> float:
    """Of this process and those that it has waited for."""
    used = [resource.getrusage(each) for each in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in used)


def main() -> None:
    """Print both."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--supplies", type=int, default=50)
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args()
    bundle = many_supplies(asked.supplies)
    timed(many_supplies(1), RunHere())  # kernels are loaded once
    print(f"{asked.supplies} supplies, {YEARS} years; load {os.getloadavg()[0]:.1f}")
    results = []
    for name, runner in (
        ("one process", RunHere()),
        (f"local:{asked.processes}", Cluster(process_count=asked.processes)),
    ):
        found, wall_s, processor_s = timed(bundle, runner)
        results.append([supply.changes for supply in found.supplies])
        print(f"  {name:12} {wall_s:7.1f} s wall {processor_s:7.1f} s processors")
    assert results[0] == results[1]


if __name__ == "__main__":
    main()
