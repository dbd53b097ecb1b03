"""All measured weather of a stored farm's site: what past seasons are run on by default."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.records import Days, Floats
from service.database.session import UnitOfWorkFactory
from service.errors import Fault, WeatherInvalid
from service.operations.evening.measured_weather import last_measured_day, measured_weather
from service.operations.reading.read_farms import today_at
from service.ports import Clock

EARLIEST_DAY = date(1850, 1, 1)
WHAT_TO_DO = (
    "days of daily weather: `rillwright weather-import {site} FILE.csv` stores them, or give the"
    " file with --weather"
)


@dataclass(frozen=True, slots=True)
class StoredWeather:
    """Weather as it was measured, its wind at the standard height; NaN where a day has none."""

    site_id: str
    days: Days
    fields: Mapping[str, Floats]

    @property
    def years(self) -> tuple[int, ...]:
        """The years with at least one day whose temperatures are known."""
        known = self.days[np.isfinite(self.fields["tmax_c"])]
        return tuple((np.unique(known.astype("datetime64[Y]")).astype(np.int64) + 1970).tolist())


def read_stored_weather(
    farm_id: str,
    site_id: str,
    *,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    source_order: Mapping[str, int],
) -> StoredWeather:
    """All of it, up to yesterday at most, with the rain of the farm's own gauge.

    Raises NotFound, and WeatherInvalid that says what to do where nothing was measured.
    """
    with unit_of_work(write=False) as unit:
        yesterday = today_at(unit, farm_id, clock.now()) - ONE_DAY
        newest = last_measured_day(unit, site_id)
        if newest is None:
            raise WeatherInvalid(
                f"no measured weather of site {site_id} is stored",
                [Fault("weather", "nothing", WHAT_TO_DO.format(site=site_id))],
            )
        days, fields = measured_weather(
            unit, site_id, farm_id=farm_id, first_day=EARLIEST_DAY,
            last_day=min(newest, yesterday), clock=clock, source_order=source_order,
        )  # fmt: skip
    return StoredWeather(site_id, days, fields)
