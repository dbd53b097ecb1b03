"""Import weather for a site into the archive.

Days that change stored weather reopen the ledgers from there on, so that the next evening run
computes them again. The same rows again change nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import numpy as np

from service.agronomy.records import Days, Floats
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.audit.note_at_site import note_at_site
from service.ports import Clock
from service.records.audit import Subject
from service.records.farms import LoadOutcome
from service.records.weather import WEATHER_FIELDS, WeatherRows


def reopen_ledgers(unit: UnitOfWork, outcome: LoadOutcome) -> None:
    """Unsettle the ledgers of the sites whose past weather has changed, from the first day on."""
    for site_key, day in outcome.first_change.items():
        unit.ledger.rewind(site_key=site_key, day=day)


def import_weather(
    site_id: str,
    days: Days,
    fields: Mapping[str, Floats],
    *,
    source: str,
    forecast_from: date | None,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> LoadOutcome:
    """Store one row per day; days from ``forecast_from`` on count as forecast, all else observed.

    The wind is taken to be measured at the site's own anemometer height.
    """
    issued_at = clock.now()
    is_forecast = (
        np.zeros(days.size, dtype=np.bool_)
        if forecast_from is None
        else days >= np.datetime64(forecast_from)
    )
    missing = np.full(days.size, np.nan)
    with unit_of_work(write=True) as unit:
        site_key = unit.blocks.get_site_key(site_id)
        sites = unit.blocks.read_site_table(np.array([site_key], dtype=np.int64))
        rows = WeatherRows(
            site_keys=np.full(days.size, site_key, dtype=np.int64),
            days=days,
            sources=(source,) * days.size,
            kinds=tuple("forecast" if each else "observed" for each in is_forecast.tolist()),
            issued_at=(issued_at,) * days.size,
            wind_height_m=np.full(days.size, sites.definitions[0].wind_height_m),
            fields={name: fields.get(name, missing) for name in WEATHER_FIELDS},
        )
        outcome = unit.weather.save_rows(rows, fetched_at=issued_at)
        reopen_ledgers(unit, outcome)
        note_import(unit, site_id, source, days, outcome)
    return outcome


def note_import(
    unit: UnitOfWork, site_id: str, source: str, days: Days, outcome: LoadOutcome
) -> None:
    """Note that days of weather were brought from a file, if any is new or has changed."""
    if outcome.created_count + outcome.changed_count:
        brought = {
            "source": source,
            "first_day": days.min().item(),
            "last_day": days.max().item(),
            "created_count": outcome.created_count,
            "changed_count": outcome.changed_count,
        }
        note_at_site(unit, Subject.WEATHER, site_id, after=brought)
