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
from service.agronomy.county_need import (
    CountyNeed,
    DaysByBasis,
    days_by_basis,
    net_need_band_mm,
    weekly_need,
)
from service.agronomy.records import Days, Floats, Ints, SoilBatch
from service.agronomy.watering_rules import credited_rain_mm
from service.agronomy.weather_choice import NO_ROW
from service.agronomy.weather_flags import OF_LONG_OUTAGE
from service.agronomy.weather_members import MemberBatch
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import InputInvalid, NotFound
from service.operations.evening.gather_members import gather_members
from service.operations.evening.gather_weather import GatheredWeather, gather_weather
from service.operations.evening.run_weather import OUTLOOK_DAYS
from service.operations.evening.site_columns import monthly_normals
from service.operations.exports.columns import known
from service.operations.reading.read_farms import local_day
from service.ports import Clock
from service.records.counties import CountyWeek
from service.records.farms import (
    BlockDefinition,
    CountyDefinition,
    SiteDefinition,
    SiteTable,
    number_columns,
)
from service.records.weather import SiteFreshness
from service.records.weather_basis import whole_band

Span = tuple[date, date]
"""First and last day."""
CLIMATE_DAYS = 30
"""Days before the span whose wind and humidity adjust the crop coefficient."""
LONGEST_SPAN_DAYS = 62


@dataclass(frozen=True, slots=True)
class SourceDays:
    """Days of a county whose temperatures come from one source."""

    source: str
    kind: str
    """``observed``, ``analysis`` or ``forecast``."""
    days_count: int
    issued_at: datetime
    """When the oldest of them was issued or recorded, UTC."""


@dataclass(frozen=True, slots=True)
class CountyComparison:
    """Counties side by side; ``need`` has arrays (counties,) in the order of ``counties``."""

    reference: BlockDefinition
    counties: tuple[CountyDefinition, ...]
    first_day: date
    last_day: date
    days: DaysByBasis
    """(counties,) what the days of the span rest on."""
    rain_mm: Floats
    """(counties,) all rain that fell or is forecast; NaN if that of a day is not known."""
    need: CountyNeed
    net_need_band_mm: Floats
    """(3, counties) net needs that one in ten, half and nine in ten of the courses of the coming
    weather do not pass; NaN where none covers all coming days, or where there are none."""
    sources: tuple[tuple[SourceDays, ...], ...]
    """By county, where the temperatures of its days come from."""
    freshness: tuple[SiteFreshness, ...]
    """By county, how far its measured weather reaches."""

    @property
    def forecast_day_count(self) -> Ints:
        """(counties,) days of the span that are not measured, on whatever else they rest."""
        return (self.last_day - self.first_day).days + 1 - self.days.measured_days_count

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
    spans: Sequence[Span],
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
    _check_spans(spans)
    with unit_of_work(write=False) as unit:
        block = (
            unit.blocks.get_block(reference, day=on) if isinstance(reference, str) else reference
        )
        weather = gather_counties(unit, spans, on=on, now=clock.now(), source_order=source_order)
    return compare_in(weather, block)


@dataclass(frozen=True, slots=True)
class CountyWeather:
    """The weather of every county over some spans, ready for any reference block."""

    counties: tuple[CountyDefinition, ...]
    spans: tuple[Span, ...]
    gathered: GatheredWeather
    column: Ints
    """(counties,) the column of each county's site."""
    freshness: tuple[SiteFreshness, ...]
    members: MemberBatch | None
    """Courses of the coming days at each column; None: all spans are over."""


def gather_counties(
    unit: UnitOfWork,
    spans: Sequence[Span],
    *,
    on: date,
    now: datetime,
    source_order: Mapping[str, int],
) -> CountyWeather:
    """The weather of all counties, from the climate before the first span to the last one's end.

    Raises NotFound if no county is stored, InputInvalid for a bad span.
    """
    _check_spans(spans)
    counties = tuple(unit.blocks.list_counties())
    if not counties:
        raise NotFound("no county is stored; a farm file with [[county]] tables brings them")
    sites, column = _county_sites(unit.blocks.read_site_table(), counties)
    gathered = gather_weather(
        unit,
        sites,
        on=on,
        now=now,
        first_day=min(first for first, _ in spans) - timedelta(days=CLIMATE_DAYS),
        last_day=max(last for _, last in spans),
        source_order=source_order,
    )
    of_sites = unit.weather.list_freshness(sites.keys, first_day=on - timedelta(days=CLIMATE_DAYS))
    freshness = tuple(of_sites[site] for site in column.tolist())
    members = None
    if any(last > on for _, last in spans):
        # Its own weather, since courses need more days than a week may have left.
        ahead = gather_weather(
            unit,
            sites,
            on=on,
            now=now,
            first_day=on,
            last_day=on + timedelta(days=OUTLOOK_DAYS),
            source_order=source_order,
        )
        members = gather_members(unit, ahead, now=now).batch
    return CountyWeather(counties, tuple(spans), gathered, column, freshness, members)


def compare_in(weather: CountyWeather, block: BlockDefinition) -> list[CountyComparison]:
    """The need of a reference block in every county, span by span."""
    return [_compare(block, weather, span) for span in weather.spans]


def county_weeks(found: CountyComparison) -> list[CountyWeek]:
    """The counties of a comparison one by one, in the order of their codes."""
    need, days = found.need, found.days
    return [
        CountyWeek(
            county_code=county.county_code,
            name=county.name,
            site_id=county.site_id,
            rank=int(need.rank[place]),
            reference_et_mm=float(need.reference_et_mm[place]),
            percent_of_normal=float(need.percent_of_normal[place]),
            crop_et_mm=float(need.crop_et_mm[place]),
            rain_mm=float(found.rain_mm[place]),
            net_need_mm=float(need.net_need_mm[place]),
            gross_need_mm=float(need.gross_need_mm[place]),
            running_h=float(need.running_h[place]),
            normal_need_mm=float(need.normal_need_mm[place]),
            net_need_band_mm=whole_band(*map(known, found.net_need_band_mm[:, place].tolist())),
            measured_days_count=int(days.measured_days_count[place]),
            forecast_days_count=int(days.forecast_days_count[place]),
            stand_in_days_count=int(days.stand_in_days_count[place]),
            unmeasured_days_count=int(found.forecast_day_count[place]),
            basis=days.of(place),
            observed_until=found.freshness[place].last_measured_day,
            rain_until=found.freshness[place].measured_until.get("rain"),
        )
        for place, county in enumerate(found.counties)
    ]


def _check_spans(spans: Sequence[Span]) -> None:
    for first_day, last_day in spans:
        if not 0 <= (last_day - first_day).days < LONGEST_SPAN_DAYS:
            raise InputInvalid(
                f"counties cannot be compared over {first_day} to {last_day}: the span must rise"
                f" and hold at most {LONGEST_SPAN_DAYS} days"
            )


def _compare(block: BlockDefinition, weather: CountyWeather, span: Span) -> CountyComparison:
    first_day, last_day = span
    gathered, column = weather.gathered, weather.column
    first_row, last_row = np.searchsorted(gathered.days, np.array(span, dtype="datetime64[D]"))
    rows = slice(int(first_row), int(last_row) + 1)
    days = days_of(gathered.weather.days, rows.start, rows.stop)
    blocks = _copies(block, column, season_year=first_day.year)
    rain_mm = days.rain_mm[:, column]
    normal_mm = normals_on(monthly_normals(gathered.sites.definitions, "et0_mm"), days.days)
    flags = gathered.weather.et0_flags[rows, column]
    # Blocks are planned by what a place had in other years; to rank its week by that says nothing.
    is_of_outage = (flags & np.int32(OF_LONG_OUTAGE)) != 0
    et0_mm = np.where(is_of_outage, np.nan, days.et0_mm[:, column])
    credited_mm = credited_rain_mm(rain_mm, days.rain_probability_fraction[:, column])
    crop_coefficient = crop_days(blocks, days).crop_coefficient
    soil = take_rows(blocks.soil, np.array([0]))
    need = weekly_need(
        et0_mm,
        credited_mm,
        crop_coefficient,
        soil=soil,
        system=take_rows(blocks.system, np.array([0])),
        normal_et0_mm=normal_mm[:, column],
    )
    # Elsewhere a day without any rain report counts as dry; here that would be shown as a fact.
    is_rain_known = np.isfinite(gathered.chosen.raw.rain_mm[rows, column]).all(axis=0)
    return CountyComparison(
        reference=block,
        counties=weather.counties,
        first_day=first_day,
        last_day=last_day,
        days=days_by_basis(et0_mm, flags, gathered.is_observed[rows, column]),
        rain_mm=np.where(
            is_rain_known & np.isfinite(need.reference_et_mm), rain_mm.sum(axis=0), np.nan
        ),
        need=need,
        net_need_band_mm=_band_mm(
            weather, days.days, (et0_mm, credited_mm, crop_coefficient), soil
        ),
        sources=_sources(gathered, rows, column),
        freshness=weather.freshness,
    )


def _band_mm(
    weather: CountyWeather, days: Days, expected: tuple[Floats, Floats, Floats], soil: SoilBatch
) -> Floats:
    """The band of the need; ``expected`` are reference ET, rain and crop coefficient."""
    members, column = weather.members, weather.column
    if members is None:
        return np.full((3, column.size), np.nan)
    place = (days - members.days[0]).astype(np.int64)
    inside = (place >= 0) & (place < members.days.size)
    courses_mm = []
    for of_site_mm in (members.et0_mm, members.rain_mm):
        by_day_mm = of_site_mm[column].transpose(2, 0, 1)
        own_mm = np.full((days.size, *by_day_mm.shape[1:]), np.nan)
        own_mm[inside] = by_day_mm[place[inside]]
        courses_mm.append(own_mm)
    et0_mm, rain_mm, crop_coefficient = expected
    return net_need_band_mm(
        et0_mm,
        rain_mm,
        crop_coefficient,
        soil=soil,
        is_coming=days > np.datetime64(weather.gathered.on),
        member_et0_mm=courses_mm[0],
        member_rain_mm=courses_mm[1],
        weights=members.weights[column],
    )


def _sources(
    gathered: GatheredWeather, rows: slice, column: Ints
) -> tuple[tuple[SourceDays, ...], ...]:
    """By county, the sources of its days, in the order of the days."""
    stored = gathered.rows
    of_site: dict[int, tuple[SourceDays, ...]] = {}
    for site in np.unique(column).tolist():
        issues: dict[tuple[str, str], list[datetime]] = {}
        for row in gathered.chosen.row_of["tmax_c"][rows, site].tolist():
            if row != NO_ROW:
                issued = issues.setdefault((stored.sources[row], stored.kinds[row]), [])
                issued.append(stored.issued_at[row])
        of_site[site] = tuple(
            SourceDays(source, kind, len(times), min(times))
            for (source, kind), times in issues.items()
        )
    return tuple(of_site[site] for site in column.tolist())


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
