"""The clock of the demonstration: its weather ends, so its day never does.

Whoever looks at its pages months later should see a plan for tomorrow, as on the day when
it was made. The clock stands for as long as the invented farm is the only one in the database.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

from service.bootstrap import Service
from service.demo_farm import DEMO_DAY, FARM_ID
from service.operations.reading.read_farms import list_farms

EVENING = time(19, 30)
"""When the plans of the demonstration's evening are half an hour old."""


class StandingClock:
    """A clock stopped at a set time."""

    def __init__(self, instant: datetime) -> None:
        self.instant = instant

    def now(self) -> datetime:
        """The time it was set to, UTC."""
        return self.instant


def in_its_own_time(service: Service) -> Service:
    """The service as it is, or with the demonstration's clock where it holds nothing else."""
    farms = list_farms(unit_of_work=service.unit_of_work)
    if [farm.farm_id for farm in farms] != [FARM_ID]:
        return service
    evening = datetime.combine(DEMO_DAY, EVENING, ZoneInfo(farms[0].zone)).astimezone(UTC)
    return replace(service, clock=StandingClock(evening), is_demonstration=True)
