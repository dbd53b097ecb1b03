"""Sites with the weather that is stored for them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from service.database.session import UnitOfWorkFactory
from service.operations.evening.own_rain import freshness_of
from service.ports import Clock
from service.records.farms import SiteDefinition
from service.records.weather import SiteFreshness

FRESHNESS_DAYS = 30
"""How far back the last measured day of each quantity is looked for."""


@dataclass(frozen=True, slots=True)
class WeatherSpan:
    """Days of one kind of weather at a site, without saying that none is missing between them."""

    kind: str
    """``observed``, ``analysis`` or ``forecast``."""
    first_day: date
    last_day: date


@dataclass(frozen=True, slots=True)
class SiteCoverage:
    """A site, and from when to when there is weather for it."""

    site: SiteDefinition
    spans: tuple[WeatherSpan, ...]
    freshness: SiteFreshness


@dataclass(frozen=True, slots=True)
class CountySite:
    """A county, and the site that its weather is of."""

    county_code: str
    name: str
    site: SiteDefinition


def list_counties(*, unit_of_work: UnitOfWorkFactory) -> tuple[CountySite, ...]:
    """All counties by name; none where the operator has loaded none."""
    with unit_of_work(write=False) as unit:
        counties = unit.blocks.list_counties()
        sites = unit.blocks.read_site_table().definitions if counties else ()
    by_id = {site.site_id: site for site in sites}
    found = (CountySite(each.county_code, each.name, by_id[each.site_id]) for each in counties)
    return tuple(sorted(found, key=lambda each: each.name))


def list_sites(
    farm_id: str | None, *, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> list[SiteCoverage]:
    """Sites by id with days that have temperatures: those a farm uses, or (None) all.

    The freshness of rain counts a farm's own gauge; for all farms, the gauges of any.
    """
    with unit_of_work(write=False) as unit:
        table = unit.blocks.read_site_table()
        users = unit.blocks.find_users(table.keys)
        spans = unit.weather.list_spans(table.keys)
        # A key may be bound to a farm that is still to come; it uses no site.
        farm_key = None if farm_id is None else unit.blocks.farm_keys().get(farm_id)
        first_day = clock.now().date() - timedelta(days=FRESHNESS_DAYS)
        fresh = freshness_of(unit, table.keys, first_day=first_day, farm_key=farm_key)
    found = [
        SiteCoverage(site, tuple(WeatherSpan(*span) for span in spans.get(key, ())), freshness)
        for key, site, freshness in zip(table.keys.tolist(), table.definitions, fresh, strict=True)
        if farm_id is None or farm_id in users.get(key, ())
    ]
    return sorted(found, key=lambda each: each.site.site_id)


def list_sites_of_one_farm(
    farm_id: str, *, unit_of_work: UnitOfWorkFactory
) -> tuple[SiteDefinition, ...]:
    """Sites that this farm names or uses and that no other farm and no county draws on."""
    with unit_of_work(write=False) as unit:
        table = unit.blocks.read_site_table()
        users = unit.blocks.find_users(table.keys)
        of_counties = {county.site_id for county in unit.blocks.list_counties()}
    return tuple(
        site
        for key, site in zip(table.keys.tolist(), table.definitions, strict=True)
        if users.get(key) == (farm_id,) and site.site_id not in of_counties
    )
