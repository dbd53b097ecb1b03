"""Questions about the coming week of forty blocks: ``python -m tests.benchmarks.what_if``.

Nothing is stored, so one farm is asked again and again. Processor time, the best of five; the goal
is under a second.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from service.operations.review.what_if import what_if
from service.records.what_if import Change
from tests.api.invented_farm import bring_weather, invented_service, load, plan_evening
from tests.pages.conftest import farm_of_many

BLOCK_COUNT, TIMES = 40, 5
CHANGES = {
    "pump down for two days": Change(pump_down_days_count=2),
    "half of the flow": Change(supply_flow_fraction=0.5),
    "emitters twice as strong": Change(emitter_flow_l_per_h=4.0),
    "half an inch of rain": Change(rain_mm=12.7),
}


def main() -> None:
    """Print the time of each question."""
    with tempfile.TemporaryDirectory() as folder, invented_service(Path(folder)) as service:
        load(service, farm_of_many(BLOCK_COUNT, depletion_mm=20.0))
        bring_weather(service)
        assert plan_evening(service) == []
        print(f"{BLOCK_COUNT} blocks on one supply, ms a question")
        for name, change in CHANGES.items():
            spent = []
            for _ in range(TIMES):
                started = time.process_time()
                what_if(
                    "many",
                    change,
                    unit_of_work=service.unit_of_work,
                    clock=service.clock,
                    source_order=service.source_order,
                )
                spent.append((time.process_time() - started) * 1000.0)
            print(f"  {name:<26} {min(spent):6.0f}")


if __name__ == "__main__":
    main()
