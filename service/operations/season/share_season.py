"""The season of a farm behind the secret link of its calendar."""

from __future__ import annotations

from service.database.session import UnitOfWorkFactory
from service.operations.access.share_calendar import find_farm_behind
from service.operations.reading.read_farms import today_at
from service.operations.season.plan_season import plan_season
from service.ports import Clock
from service.records.season import SeasonCalendar


def read_season(token: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> SeasonCalendar:
    """The coming twelve months as of today; raises NotFound for an unknown link."""
    with unit_of_work(write=False) as unit:
        farm_id = find_farm_behind(unit, token)
        today = today_at(unit, farm_id, clock.now())
    return plan_season(farm_id, on=today, unit_of_work=unit_of_work)
