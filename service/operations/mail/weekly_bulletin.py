"""Last week's counties side by side, for advisers: queued and written like a farm's summary.

Its numbers are those of :func:`compare_counties`, which the pages, the API and the command line
show too.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date, datetime, timedelta

import numpy as np

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import NotFound
from service.operations.evening.own_rain import PLACE
from service.operations.mail.weekly_summary import DAYS_PER_WEEK, WEEKLY, due_week
from service.operations.review.compare_counties import (
    CountyComparison,
    compare_counties,
    county_weeks,
)
from service.operations.weather.read_forecast_quality import quality_of_sites
from service.ports import Clock
from service.records.counties import CountyWeek
from service.records.forecast_quality import SiteQuality
from service.records.letters import BulletinLetter, ForecastNote
from service.records.mail import MailOrder, Person
from service.records.weather import Attribution

BULLETIN = "bulletin"


def queue_weekly_bulletins(unit_of_work: UnitOfWorkFactory, *, now: datetime) -> int:
    """Queue the bulletins that are due and not queued yet; returns how many."""
    with unit_of_work(write=False) as unit:
        orders = _orders(unit, now)
    if not orders:
        return 0
    with unit_of_work(write=True) as unit:
        return unit.outbox.queue(orders, at=now)


def _orders(unit: UnitOfWork, now: datetime) -> list[MailOrder]:
    readers = unit.people.list_readers(WEEKLY, role="adviser")
    if not readers or not unit.blocks.list_counties():
        return []
    week = due_week(_zone(unit), now)
    if week is None:
        return []
    _, sunday, until = week
    known = unit.outbox.list_known(BULLETIN, day=sunday)
    return [
        MailOrder(
            person_key=reader.person_key,
            farm_id="",
            plan_day=sunday,
            kind=BULLETIN,
            expires_at=until,
        )
        for reader in readers
        if (reader.person_key, "") not in known
    ]


def _zone(unit: UnitOfWork) -> str:
    """The clock of the first county's site."""
    county = unit.blocks.list_counties()[0]
    key = unit.blocks.get_site_key(county.site_id)
    return unit.blocks.read_site_table(np.array([key], dtype=np.int64)).definitions[0].zone


def bulletin_letter(
    reader: Person,
    last_day: date,
    *,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    source_order: Mapping[str, int],
    attributions: Mapping[str, Attribution],
) -> BulletinLetter:
    """The seven days up to ``last_day`` in every county, for the reader's reference block.

    Raises NotFound if no block or no county is stored.
    """
    first_day = last_day - timedelta(days=DAYS_PER_WEEK - 1)
    with unit_of_work(write=False) as unit:
        block_id = reader.reference_block_id or _first_block(unit, last_day)
        county_sites = {county.site_id for county in unit.blocks.list_counties()}
        site_keys = np.array(
            sorted(unit.blocks.get_site_key(site_id) for site_id in county_sites), dtype=np.int64
        )
        weather = unit.weather.read_rows(site_keys, first_day=first_day, last_day=last_day)
        quality = quality_of_sites(
            unit,
            site_keys.tolist(),
            farm_key=PLACE,
            clock=clock,
            source_order=source_order,
            lead_days=1,
        )
    comparison = compare_counties(
        block_id,
        first_day=first_day,
        last_day=last_day,
        on=last_day + timedelta(days=1),
        unit_of_work=unit_of_work,
        clock=clock,
        source_order=source_order,
    )
    used = set(weather.sources)
    return BulletinLetter(
        reference_name=comparison.reference.name,
        crop_key=comparison.reference.crop_key,
        first_day=first_day,
        last_day=last_day,
        counties=_by_rank(comparison),
        attributions=tuple(each for name, each in attributions.items() if name in used),
        forecast=_forecast_note(quality),
    )


def _forecast_note(quality: list[SiteQuality]) -> ForecastNote | None:
    """How far off the sources in use were for the next day; None where none can be scored."""
    scored = [
        source.leads[0]
        for site in quality
        for source in site.sources
        if source.is_in_use and source.leads and math.isfinite(source.leads[0].rain.mae_mm)
    ]
    if not scored:
        return None
    et0_mm = [each.et0.mae_mm for each in scored if math.isfinite(each.et0.mae_mm)]
    return ForecastNote(
        county_count=len(scored),
        rain_mae_mm=float(np.mean([each.rain.mae_mm for each in scored])),
        et0_mae_mm=float(np.mean(et0_mm)) if et0_mm else math.nan,
    )


def _first_block(unit: UnitOfWork, day: date) -> str:
    blocks = unit.blocks.list_blocks(farm_id=None, day=day)
    if not blocks:
        raise NotFound("no block is stored that could be put into every county")
    return blocks[0].block_id


def _by_rank(comparison: CountyComparison) -> tuple[CountyWeek, ...]:
    weeks = county_weeks(comparison)
    return tuple(sorted(weeks, key=lambda week: (week.rank == 0, week.rank, week.name)))
