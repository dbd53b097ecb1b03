"""The water need of a span of days in every county, for a reference block that the adviser chooses.

The reference block is put into each county: same crop, soil and drip system, with the weather of
the county's site. Nothing is stored. Coming days use their forecast, and only the likely part of
their rain, as in the evening's plan.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from service.agronomy.block_batch import BlockBatch, make_block_batch, take_rows
from service.agronomy.block_days import crop_days, days_of
from service.agronomy.climatology import normals_on
from service.agronomy.county_need import CountyNeed, weekly_need
from service.agronomy.records import Days, Floats, Ints
from service.agronomy.watering_rules import credited_rain_mm
from service.database.session import UnitOfWorkFactory
from service.errors import InputInvalid, NotFound
from service.operations.evening.gather_weather import GatheredWeather, gather_weather
from service.operations.evening.site_columns import monthly_normals
from service.operations.reading.read_farms import local_day
from service.ports import Clock
from service.records.farms import (
    BlockDefinition,
    CountyDefinition,
    SiteDefinition,
    SiteTable,
    number_columns,
)
from service.records.weather import SiteFreshness

CLIMATE_DAYS = 30
"""Days before the span whose wind and humidity adjust the crop coefficient."""
LONGEST_SPAN_DAYS = 62


@dataclass(frozen=True, slots=True)
class CountyComparison:
    """Counties side by side; ``need`` has arrays (counties,) in the order of ``counties``."""

    reference: BlockDefinition
    counties: tuple[CountyDefinition, ...]
    first_day: date
    last_day: date
    forecast_day_count: Ints
    """(counties,) days of the span whose weather is a forecast."""
    rain_mm: Floats
    """(counties,) all rain that fell or is forecast; NaN if a day is not known."""
    need: CountyNeed
    freshness: tuple[SiteFreshness, ...]
    """By county, how far its measured weather reaches."""

    @property
    def observed_until(self) -> tuple[date | None, ...]:
        """By county, the last day on which what reference ET needs was measured."""
        return tuple(each.last_measured_day for each in self.freshness)


def compare_counties(
    reference: str | BlockDefinition,
    *,
    first_day: date,
    last_day: date,
    on: date,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    source_order: Mapping[str, int],
) -> CountyComparison:
    """The need of every county from ``first_day`` to ``last_day`` as known on ``on``.

    ``reference`` is a stored block's name, or a block that is not stored.

    Raises NotFound for an unknown block or if no county is stored, InputInvalid for a bad span.
    """
    (found,) = compare_spans(
        reference,
        [(first_day, last_day)],
        on=on,
        unit_of_work=unit_of_work,
        clock=clock,
        source_order=source_order,
    )
    return found


def compare_spans(
    reference: str | BlockDefinition,
    spans: Sequence[tuple[date, date]],
    *,
    on: date,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    source_order: Mapping[str, int],
) -> list[CountyComparison]:
    """:func:`compare_counties` for several spans, each given by its first and last day.

    The weather is gathered once for all of them, so that nine weeks cost little more than one. A
    gap in the weather is therefore filled from both sides, also across the edge of a span.
    """
    for first_day, last_day in spans:
        if not 0 <= (last_day - first_day).days < LONGEST_SPAN_DAYS:
            raise InputInvalid(
                f"counties cannot be compared over {first_day} to {last_day}: the span must rise"
                f" and hold at most {LONGEST_SPAN_DAYS} days"
            )
    with unit_of_work(write=False) as unit:
        block = (
            unit.blocks.get_block(reference, day=on) if isinstance(reference, str) else reference
        )
        counties = tuple(unit.blocks.list_counties())
        if not counties:
            raise NotFound("no county is stored; a farm file with [[county]] tables brings them")
        sites, column = _county_sites(unit.blocks.read_site_table(), counties)
        gathered = gather_weather(
            unit,
            sites,
            on=on,
            now=clock.now(),
            first_day=min(first for first, _ in spans) - timedelta(days=CLIMATE_DAYS),
            last_day=max(last for _, last in spans),
            source_order=source_order,
        )
        of_sites = unit.weather.list_freshness(
            sites.keys, first_day=on - timedelta(days=CLIMATE_DAYS)
        )
    freshness = tuple(of_sites[site] for site in column.tolist())
    return [
        _compare(
            block,
            counties,
            span,
            gathered=gathered,
            column=column,
            freshness=freshness,
        )
        for span in spans
    ]


def _compare(
    block: BlockDefinition,
    counties: tuple[CountyDefinition, ...],
    span: tuple[date, date],
    *,
    gathered: GatheredWeather,
    column: Ints,
    freshness: tuple[SiteFreshness, ...],
) -> CountyComparison:
    first_day, last_day = span
    first_row, last_row = np.searchsorted(gathered.days, np.array(span, dtype="datetime64[D]"))
    days = days_of(gathered.weather.days, int(first_row), int(last_row) + 1)
    blocks = _copies(block, column, season_year=first_day.year)
    rain_mm = days.rain_mm[:, column]
    need = weekly_need(
        days.et0_mm[:, column],
        credited_rain_mm(rain_mm, days.rain_probability_fraction[:, column]),
        crop_days(blocks, days).crop_coefficient,
        soil=take_rows(blocks.soil, np.array([0])),
        system=take_rows(blocks.system, np.array([0])),
        normal_et0_mm=_normal_mm(gathered.sites, days.days)[column],
    )
    is_observed = gathered.is_observed[first_row : last_row + 1, column]
    return CountyComparison(
        reference=block,
        counties=counties,
        first_day=first_day,
        last_day=last_day,
        forecast_day_count=(~is_observed).sum(axis=0),
        # Elsewhere a day without any rain report counts as dry; here that would be shown as a fact.
        rain_mm=np.where(np.isfinite(need.reference_et_mm), rain_mm.sum(axis=0), np.nan),
        need=need,
        freshness=freshness,
    )


def _county_sites(
    stored: SiteTable, counties: Sequence[CountyDefinition]
) -> tuple[SiteTable, Ints]:
    """The sites that counties draw on, by key, and which of them each county has."""
    row_of = {site.site_id: row for row, site in enumerate(stored.definitions)}
    rows, column = np.unique([row_of[county.site_id] for county in counties], return_inverse=True)
    definitions = tuple(stored.definitions[row] for row in rows.tolist())
    return SiteTable(keys=stored.keys[rows], definitions=definitions), column.astype(np.int64)


def counties_today(sites: Sequence[SiteDefinition], now: datetime) -> date:
    """The day that counties are compared on: the latest that has begun at every site.

    A region may span several zones; this way no county's coming day is taken for a past one.
    """
    return min(local_day(now, site.zone) for site in sites)


def list_county_sites(*, unit_of_work: UnitOfWorkFactory) -> tuple[SiteDefinition, ...]:
    """The sites that counties take their weather from; raises NotFound if there are no counties."""
    with unit_of_work(write=False) as unit:
        wanted = {county.site_id for county in unit.blocks.list_counties()}
        if not wanted:
            raise NotFound("no county is stored; a farm file with [[county]] tables brings them")
        stored = unit.blocks.read_site_table().definitions
    return tuple(site for site in stored if site.site_id in wanted)


def _copies(reference: BlockDefinition, column: Ints, *, season_year: int) -> BlockBatch:
    """One copy of the reference block for each county."""
    count = column.size
    return make_block_batch(
        number_columns([reference] * count),
        [reference.curve] * count,
        site_index=column.astype(np.int64),
        supply_index=np.zeros(count, dtype=np.int64),
        season_year=season_year,
    )


def _normal_mm(sites: SiteTable, days: Days) -> Floats:
    """(sites,) normal reference ET of the days from the monthly normals; NaN where none are."""
    total: Floats = normals_on(monthly_normals(sites.definitions, "et0_mm"), days).sum(axis=0)
    return total
