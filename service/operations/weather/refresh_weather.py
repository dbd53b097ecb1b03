"""Ask one weather service for news of some sites and store what it says, forecasts as issued too.

Each request reaches back to the last known day, so that downtime is caught up with. Past days that
change reopen the ledgers from there on. A provider's mistakes leave this module only as problems: a
site without news keeps what it had.
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from service.agronomy.records import Ints
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.reading.read_farms import local_day
from service.operations.weather.archive_forecasts import archive_forecasts, fresh_forecasts
from service.operations.weather.import_weather import reopen_ledgers
from service.ports import WeatherSource
from service.records.farms import SiteTable
from service.records.weather import SourceProblem

FORECAST_DAYS = 7
LONGEST_CATCH_UP_DAYS = 60
NEVER_COVERED = "no-cover"
"""The reason of a source that has nothing for a site, however often it is asked."""
PAST_KINDS = ("observed", "analysis")


@dataclass(frozen=True, slots=True)
class WeatherRefresh:
    """A weather service together with the archive its news goes into; see ports.RefreshWeather."""

    source: WeatherSource
    unit_of_work: UnitOfWorkFactory
    days_back: int
    """How many past days are requested again each time, since late values still come in."""
    forecasts: bool
    """Whether the service has forecasts."""

    def __call__(self, site_keys: Ints, *, now: datetime) -> Sequence[SourceProblem]:
        """Store the news; the same news again changes nothing."""
        if site_keys.size == 0:
            return ()
        with self.unit_of_work(write=False) as unit:
            sites = unit.blocks.read_site_table(np.unique(site_keys))
            first_day = self._first_day(unit, sites, now)
        last_day = max(local_day(now, site.zone) for site in sites.definitions)
        answer = asyncio.run(
            self.source.fetch(
                sites.definitions,
                first_day=first_day,
                last_day=last_day + timedelta(days=FORECAST_DAYS if self.forecasts else 0),
                now=now,
            )
        )
        if len(answer.rows):
            rows = replace(answer.rows, site_keys=sites.keys[answer.rows.site_keys])
            fresh = fresh_forecasts(sites, rows, now=now)
            with self.unit_of_work(write=True) as unit:
                reopen_ledgers(unit, unit.weather.save_rows(rows, fetched_at=now))
                archive_forecasts(unit, sites, fresh)
        answered = {sites.definitions[place].site_id for place in answer.rows.site_keys.tolist()}
        return [
            replace(
                problem,
                gave_nothing=problem.site_id not in answered and problem.reason != NEVER_COVERED,
            )
            for problem in answer.problems
        ]

    def _first_day(self, unit: UnitOfWork, sites: SiteTable, now: datetime) -> date:
        """First day to request: some days back, or the first that any site lacks."""
        today = min(local_day(now, site.zone) for site in sites.definitions)
        usual = today - timedelta(days=self.days_back)
        earliest = today - timedelta(days=LONGEST_CATCH_UP_DAYS)
        wanted = usual
        for site_key in sites.keys.tolist():
            spans = [unit.weather.find_span(site_key, kind=kind) for kind in PAST_KINDS]
            known = [span[1] for span in spans if span is not None]
            wanted = min(wanted, max(known) + timedelta(days=1) if known else earliest)
        return max(wanted, earliest)
