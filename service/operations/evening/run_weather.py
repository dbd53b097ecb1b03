"""The weather of a run, gathered once for all groups of farms.

It is read ahead in a unit that only reads, since it takes long and writers would wait meanwhile. A
group that is then planned in a unit of its own asks whether weather has been stored since, by the
change marks, and if so has it read again there: what late weather has reopened must not be settled
with the weather from before.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.crop_water_use import CLIMATE_WINDOW_DAYS
from service.agronomy.records import Ints
from service.agronomy.weather_members import MemberBatch
from service.database.rain_store import FARM_RAIN_TOPIC
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.database.weather_archive import COUNTIES_TOPIC
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
READ_AHEAD_DAYS = 31
"""[CHOICE] How far back ledgers are looked for when weather is read ahead; a ledger that is settled
less far has it read again in its own unit."""
WEATHER_TOPICS = (COUNTIES_TOPIC, FARM_RAIN_TOPIC)
"""Change marks that move with each change of what is gathered here."""


class RunWeather:
    """Weather at the sites of some farms, read and computed once for the span that a run needs."""

    def __init__(
        self,
        on: date,
        now: datetime,
        source_order: Mapping[str, int],
        phases: Phases,
        *,
        farm_keys: Ints,
    ) -> None:
        self._on = on
        self._farm_keys = farm_keys
        self._now = now
        self._source_order = source_order
        self._phases = phases
        self._marks: tuple[int, ...] | None = None
        self._gathered: GatheredWeather | None = None
        self._documents: WeatherDocuments | None = None
        self._members: GatheredMembers | None = None
        self._basis_keys: Ints | None = None

    @property
    def source_order(self) -> Mapping[str, int]:
        """The rank of each source, higher is better."""
        return self._source_order

    def read_ahead(self, unit_of_work: UnitOfWorkFactory, *, makes_plans: bool) -> None:
        """Gather the weather before any farm is locked; store its reasoning if plans are made."""
        plan_day = self._on + ONE_DAY
        with unit_of_work(write=False) as unit:
            drawn_on = unit.blocks.list_site_keys(self._farm_keys, day=plan_day)
            if not drawn_on.size:
                return
            settled = unit.ledger.first_settled_day(self._farm_keys)
            earliest = self._on - timedelta(days=READ_AHEAD_DAYS)
            first_day = earliest if settled is None else max(settled + ONE_DAY, earliest)
            first_day = min(first_day, self._on - ONE_DAY)
            weather = self.since(first_day - timedelta(days=CLIMATE_WINDOW_DAYS), unit)
            if not makes_plans:
                return
            documents = self._phases.timed("documents", self.documents, unit, weather)
        used = np.flatnonzero(np.isin(weather.sites.keys, drawn_on))
        # A short transaction of its own: who stores the same place waits for no evening.
        with unit_of_work(write=True, farm_keys=()) as unit:
            basis_keys = self._phases.timed("writing", self._save_basis, unit, documents, used)
        self._basis_keys = basis_keys

    def since(self, first_day: date, unit: UnitOfWork) -> GatheredWeather:
        """Weather from ``first_day`` or before it to the end of the outlook, as it is now."""
        stored = unit.marks.read_all()
        marks = tuple(stored.get(topic, 0) for topic in WEATHER_TOPICS)
        if (
            self._gathered is None
            or self._gathered.days[0] > np.datetime64(first_day)
            or marks != self._marks
        ):
            self._marks = marks
            site_keys = unit.blocks.list_site_keys(self._farm_keys)
            sites = self._phases.timed("reading weather", unit.blocks.read_site_table, site_keys)
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
            self._documents = self._members = self._basis_keys = None
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

    def basis_keys(self, unit: UnitOfWork, documents: WeatherDocuments, used: Ints) -> Ints:
        """(sites,) key of the reasoning of each of the used sites as stored; others may be 0."""
        if self._basis_keys is None or not self._basis_keys[used].all():
            self._basis_keys = self._save_basis(unit, documents, used)
        return self._basis_keys

    def _save_basis(self, unit: UnitOfWork, documents: WeatherDocuments, used: Ints) -> Ints:
        if self._gathered is None:
            raise RuntimeError("no weather has been gathered whose reasoning could be stored")
        site_keys = self._gathered.sites.keys
        keys = np.zeros(site_keys.size, dtype=np.int64)
        keys[used] = unit.plans.save_basis(
            site_keys[used],
            [documents.documents[site] for site in used.tolist()],
            day=self._on + ONE_DAY,
            issued_at=self._now,
        )
        return keys
