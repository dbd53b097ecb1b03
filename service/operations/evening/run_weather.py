"""The weather of a run, gathered once for all groups of farms."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.records import Ints
from service.agronomy.weather_members import MemberBatch
from service.database.session import UnitOfWork
from service.operations.evening.gather_members import (
    GatheredMembers,
    gather_members,
    with_spread,
)
from service.operations.evening.gather_weather import (
    GatheredWeather,
    WeatherDocuments,
    gather_for_farms,
    weather_documents,
)
from service.operations.evening.phases import Phases

OUTLOOK_DAYS = 7
"""Days from tomorrow on that a plan looks ahead."""


class RunWeather:
    """Weather of all or some sites, read and computed once for the span that a run needs."""

    def __init__(
        self,
        on: date,
        now: datetime,
        source_order: Mapping[str, int],
        phases: Phases,
        *,
        site_keys: Ints | None = None,
    ) -> None:
        self._on = on
        self._site_keys = site_keys
        self._now = now
        self._source_order = source_order
        self._phases = phases
        self._gathered: GatheredWeather | None = None
        self._documents: WeatherDocuments | None = None
        self._members: GatheredMembers | None = None

    @property
    def source_order(self) -> Mapping[str, int]:
        """The rank of each source, higher is better."""
        return self._source_order

    def since(self, first_day: date, unit: UnitOfWork) -> GatheredWeather:
        """Weather from ``first_day`` or before it to the end of the outlook."""
        if self._gathered is None or self._gathered.days[0] > np.datetime64(first_day):
            sites = self._phases.timed(
                "reading weather", unit.blocks.read_site_table, self._site_keys
            )
            self._gathered = self._phases.timed(
                "weather and ET0",
                gather_for_farms,
                unit,
                sites,
                on=self._on,
                now=self._now,
                first_day=first_day,
                last_day=self._on + timedelta(days=OUTLOOK_DAYS),
                source_order=self._source_order,
            )
            self._documents = self._members = None
        return self._gathered

    def members(self, unit: UnitOfWork, weather: GatheredWeather) -> GatheredMembers:
        """The courses that the coming weather may take at all sites."""
        if self._members is None:
            self._members = self._phases.timed(
                "members", gather_members, unit, weather, now=self._now
            )
        return self._members

    def member_batch(self, unit: UnitOfWork, weather: GatheredWeather) -> MemberBatch:
        """Those courses alone."""
        return self.members(unit, weather).batch

    def documents(self, unit: UnitOfWork, weather: GatheredWeather) -> WeatherDocuments:
        """The weather reasoning of all sites, with the spread of the forecast beside it."""
        if self._documents is None:
            plain = weather_documents(weather, first_day=self._on - ONE_DAY)
            self._documents = with_spread(plain, self.members(unit, weather))
        return self._documents
