"""Whether a stored supply keeps up, by the weather that the service has measured at its blocks.

Every summer is scheduled several times over, which takes seconds: it runs on request, not every
time a page is viewed.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from threading import Lock

from service.agronomy.civil_day import ONE_DAY
from service.database.session import UnitOfWorkFactory
from service.errors import Fault, InputInvalid, NotFound
from service.operations.evening.measured_weather import (
    at_standard_wind_height,
    main_site,
    measured_weather,
)
from service.operations.reading.one_at_a_time import one_at_a_time
from service.operations.reading.read_farms import today_at
from service.operations.waterworks.assess_capacity import (
    Capacity,
    assess_capacity,
    of_supply,
)
from service.operations.waterworks.past_summers import READ_BACK_DAYS
from service.ports import Clock
from service.records.farms import FarmBundle

COMMON_YEAR_COUNT = 5
MOST_YEAR_COUNT = 15
MOST_BLOCKS = 60
"""Most blocks on one supply; more would take minutes, which is a job for the command."""
_one_at_a_time = Lock()
"""One assessment keeps a core busy for seconds; other callers are asked to come back later."""


def assess_supply(
    farm_id: str,
    supply_id: str,
    *,
    year_count: int = COMMON_YEAR_COUNT,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    source_order: Mapping[str, int],
) -> Capacity:
    """Capacity of one supply over the last summers.

    Weather is that measured at the site of most of its ground. Raises NotFound for no such supply,
    InputInvalid for one without blocks or with very many, or for years out of range,
    WeatherInvalid where not one summer is whole, and Busy while another is assessed.
    """
    if not 1 <= year_count <= MOST_YEAR_COUNT:
        raise InputInvalid(
            "the supply cannot be assessed",
            [Fault("years", f"{year_count}", f"1 to {MOST_YEAR_COUNT}")],
        )
    with one_at_a_time(_one_at_a_time, "another supply is being assessed; ask again in a minute"):
        with unit_of_work(write=False) as unit:
            today = today_at(unit, farm_id, clock.now())
            bundle = _of_one_supply(unit.blocks.get_bundle(farm_id, day=today), supply_id)
            days, fields = measured_weather(
                unit,
                main_site(bundle),
                farm_id=farm_id,
                first_day=date(today.year - year_count, 1, 1) - timedelta(days=READ_BACK_DAYS),
                last_day=today - ONE_DAY,
                clock=clock,
                source_order=source_order,
            )
        return assess_capacity(bundle, days, fields, season_year=today.year)


def _of_one_supply(bundle: FarmBundle, supply_id: str) -> FarmBundle:
    supply = next((each for each in bundle.supplies if each.supply_id == supply_id), None)
    if supply is None:
        known = ", ".join(each.supply_id for each in bundle.supplies) or "none"
        raise NotFound(f"supply {supply_id!r} is not one of this farm; its supplies: {known}")
    own = of_supply(bundle, supply)
    if not 1 <= len(own.blocks) <= MOST_BLOCKS:
        raise InputInvalid(
            "the supply cannot be assessed",
            [
                Fault(
                    "blocks",
                    f"{len(own.blocks)} on it",
                    f"1 to {MOST_BLOCKS}; for more there is `rillwright capacity`",
                )
            ],
        )
    return at_standard_wind_height(own)
