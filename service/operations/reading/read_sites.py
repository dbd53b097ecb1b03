"""Sites with the weather that is stored for them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from service.database.session import UnitOfWorkFactory
from service.records.farms import SiteDefinition


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


def list_sites(farm_id: str | None, *, unit_of_work: UnitOfWorkFactory) -> list[SiteCoverage]:
    """Sites by id with days that have temperatures: those a farm uses, or (None) all."""
    with unit_of_work(write=False) as unit:
        table = unit.blocks.read_site_table()
        users = unit.blocks.find_users(table.keys)
        spans = unit.weather.list_spans(table.keys)
    found = [
        SiteCoverage(site, tuple(WeatherSpan(*span) for span in spans.get(key, ())))
        for key, site in zip(table.keys.tolist(), table.definitions, strict=True)
        if farm_id is None or farm_id in users.get(key, ())
    ]
    return sorted(found, key=lambda each: each.site.site_id)
