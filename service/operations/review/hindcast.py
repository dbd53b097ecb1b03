"""A past season as it would have been scheduled, block by block, without touching the store.

In: the blocks of a farm and the daily weather of their place. Out: the ledger of every day and the
weekly figures that an adviser compares. The weather must be complete: a gap longer than the service
may fill is an error that names the days.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from service.agronomy.block_batch import BlockBatch, make_block_batch
from service.agronomy.block_days import SiteDays, days_of, past_crop_days
from service.agronomy.civil_day import day_lengths_min
from service.agronomy.past_program import Season
from service.agronomy.records import Days, Floats, Ints, WindowBatch
from service.agronomy.season import SeasonRun, run_season
from service.agronomy.site_weather import SiteWeather, site_weather
from service.agronomy.watering_window import watering_windows
from service.agronomy.weather_day import RawWeather
from service.errors import Fault, InputInvalid, NotFound, WeatherInvalid
from service.operations.evening.site_columns import monthly_normals, site_batch
from service.records.farms import FarmBundle, number_columns

FORECASTS = ("none", "yesterday")
"""``none``: each evening knows the next day's weather; ``yesterday``: it expects the weather of the
last full day it has seen, and no rain."""
DAYS_PER_WEEK = 7
SHOWN_GAP_DAYS = 10
SEEN_DAYS_BEFORE = 2
"""On the evening before a day, the last full day is two days before it."""


@dataclass(frozen=True, slots=True)
class Hindcast:
    """A season of several blocks; arrays (days, blocks)."""

    block_ids: tuple[str, ...]
    days: Days
    season: SeasonRun
    et0_mm: Floats
    rain_mm: Floats


@dataclass(frozen=True, slots=True)
class WeekFigures:
    """One week of one block; the last may be shorter."""

    first_day: date
    day_count: int
    et0_mm: float
    rain_mm: float
    crop_et_mm: float
    """Without stress."""
    actual_crop_et_mm: float
    gross_mm: float


def hindcast(
    bundle: FarmBundle,
    days: Days,
    fields: Mapping[str, Floats],
    *,
    first_day: date,
    last_day: date,
    forecast_error: str = "none",
    progress: Callable[[int], None] | None = None,
) -> Hindcast:
    """Schedule every day from ``first_day`` to ``last_day`` from one place's daily weather.

    Raises WeatherInvalid if the weather does not cover the span, InputInvalid for an impossible
    span or an unknown forecast error.
    """
    if forecast_error not in FORECASTS:
        raise InputInvalid(
            "the hindcast cannot run",
            [Fault("forecast error", repr(forecast_error), " or ".join(FORECASTS))],
        )
    past = past_season(bundle, days, fields, first_day=first_day, last_day=last_day)
    run = past.run(knows_tomorrow=forecast_error == "none", progress=progress)
    at_site = past.blocks.of_year(first_day.year).site_index
    return Hindcast(
        block_ids=tuple(block.block_id for block in bundle.blocks),
        days=past.span.days,
        season=run,
        et0_mm=past.span.et0_mm[:, at_site],
        rain_mm=past.span.rain_mm[:, at_site],
    )


@dataclass(frozen=True, slots=True)
class PastSeason:
    """The blocks of a farm and the weather of a span of days, ready to be run."""

    bundle: FarmBundle
    blocks: BlocksOfSeason
    weather: SiteDays
    """From the first day of the file."""
    first_row: int
    """Its row of the first day of the span."""
    windows: list[WindowBatch]
    """Open times on each day of the span."""

    @property
    def span(self) -> SiteDays:
        """The weather of the days that are run."""
        return days_of(self.weather, self.first_row, self.weather.days.size)

    def run(
        self, *, knows_tomorrow: bool, progress: Callable[[int], None] | None = None
    ) -> SeasonRun:
        """The daily plan, evening after evening; raises WeatherInvalid for unknown stages."""
        span = self.span
        degree_day_sum_c_day, alley_store_mm = self.blocks.state_before(
            self.weather, self.first_row
        )
        run = run_season(
            self.blocks.of_year,
            span,
            span if knows_tomorrow else _yesterday(self.weather, self.first_row),
            windows_of_day=self.windows,
            day_length_min=self.blocks.day_lengths_min(span.days),
            supply_flow_l_per_h=self._supply_flow_l_per_h(),
            depletion_start_mm=self._depletion_start_mm(),
            degree_day_start_c_day=degree_day_sum_c_day,
            alley_store_start_mm=alley_store_mm,
            progress=progress,
        )
        _refuse_unknown_stages(self.bundle, run, span.days)
        return run

    def as_season(self, run: SeasonRun) -> Season:
        """The same days for other programs, as the evenings of a run expected them."""
        days = self.span.days
        return Season(
            days=days,
            crop=run.crop,
            expected=run.expected,
            sunrise_min=run.sunrise_min,
            sunset_min=run.sunset_min,
            windows=self.windows,
            supply_flow_l_per_h=self._supply_flow_l_per_h(),
            depletion_start_mm=self._depletion_start_mm(),
            blocks_of_year=self.blocks.of_year,
        )

    def _supply_flow_l_per_h(self) -> Floats:
        return np.array([supply.flow_l_per_h for supply in self.bundle.supplies])

    def _depletion_start_mm(self) -> Floats:
        first_year = self.span.days[0].item().year
        return np.nan_to_num(self.blocks.of_year(first_year).initial_depletion_mm)


def past_season(
    bundle: FarmBundle,
    days: Days,
    fields: Mapping[str, Floats],
    *,
    first_day: date,
    last_day: date,
) -> PastSeason:
    """A farm and one place's daily weather, checked; raises as :func:`hindcast`."""
    if not bundle.blocks:
        raise InputInvalid("the hindcast cannot run: the farm file holds no block")
    weather, sites = _weather(bundle, days, fields, first_day=first_day, last_day=last_day)
    first_row = int((np.datetime64(first_day) - weather.days.days[0]).astype(np.int64))
    span = days_of(weather.days, first_row, weather.days.days.size)
    _refuse_gaps(span)
    blocks = BlocksOfSeason(bundle, sites)
    windows = [blocks.windows(day) for day in span.days.tolist()]
    return PastSeason(bundle, blocks, weather.days, first_row, windows)


def weekly_figures(result: Hindcast, block: int) -> list[WeekFigures]:
    """The weeks of one block from the first day on."""
    season = result.season
    weeks = []
    for begin in range(0, result.days.size, DAYS_PER_WEEK):
        rows = slice(begin, begin + DAYS_PER_WEEK)
        weeks.append(
            WeekFigures(
                first_day=result.days[begin].item(),
                day_count=result.days[rows].size,
                et0_mm=float(result.et0_mm[rows, block].sum()),
                rain_mm=float(result.rain_mm[rows, block].sum()),
                crop_et_mm=float(season.crop.crop_et_mm[rows, block].sum()),
                actual_crop_et_mm=float(season.ledger.actual_crop_et_mm[rows, block].sum()),
                gross_mm=float(season.gross_mm[rows, block].sum()),
            )
        )
    return weeks


def narrow_bundle(bundle: FarmBundle, block_id: str) -> FarmBundle:
    """The named block and those that share its supply, since they share its water."""
    own = next((block for block in bundle.blocks if block.block_id == block_id), None)
    if own is None:
        known = ", ".join(block.block_id for block in bundle.blocks) or "none"
        raise NotFound(f"block {block_id!r} is not in the farm file; its blocks: {known}")
    return replace(
        bundle, blocks=tuple(each for each in bundle.blocks if each.supply_id == own.supply_id)
    )


class BlocksOfSeason:
    """The bundle's blocks as batches by year and as windows by day."""

    def __init__(self, bundle: FarmBundle, sites: Mapping[str, int]) -> None:
        self._bundle = bundle
        self._supply_of = {supply.supply_id: supply for supply in bundle.supplies}
        supply_row = {supply.supply_id: row for row, supply in enumerate(bundle.supplies)}
        self._zone_of = {site.site_id: site.zone for site in bundle.sites}
        self._site_index = np.array([sites[block.site_id] for block in bundle.blocks])
        self._supply_index = np.array([supply_row[block.supply_id] for block in bundle.blocks])
        self._numbers = number_columns(bundle.blocks)
        self._made: dict[int, BlockBatch] = {}

    def of_year(self, year: int) -> BlockBatch:
        """The blocks with the plant size of a year."""
        if year not in self._made:
            self._made[year] = make_block_batch(
                self._numbers,
                [block.curve for block in self._bundle.blocks],
                site_index=self._site_index,
                supply_index=self._supply_index,
                season_year=year,
            )
        return self._made[year]

    def day_lengths_min(self, days: Days) -> Ints:
        """Length of each civil day at the first block's site, (days,)."""
        zone = self._zone_of[self._bundle.blocks[0].site_id]
        return day_lengths_min(days, [zone])[:, 0].astype(np.int64)

    def state_before(
        self, weather: SiteDays, first_row: int
    ) -> tuple[Floats | None, Floats | None]:
        """Degree days and alley store of the weather before the span, (blocks,); None without."""
        if first_row == 0:
            return None, None
        blocks = self.of_year(weather.days[0].item().year)
        crop = past_crop_days(blocks, days_of(weather, 0, first_row), None, None)
        return crop.degree_day_sum_c_day[-1], crop.alley_store_mm[-1]

    def windows(self, day: date) -> WindowBatch:
        """Open times of every block on a day."""
        blocks = self._bundle.blocks
        return watering_windows(
            [block.windows for block in blocks],
            [self._supply_of[block.supply_id].windows for block in blocks],
            [block.no_water for block in blocks],
            zones=[self._zone_of[block.site_id] for block in blocks],
            day=day,
            visits=[block.visits for block in blocks],
            weekly=[self._supply_of[block.supply_id].weekly_no_water for block in blocks],
        )


def _weather(
    bundle: FarmBundle, days: Days, fields: Mapping[str, Floats], *, first_day: date, last_day: date
) -> tuple[SiteWeather, dict[str, int]]:
    """The file's weather at every site of the blocks, from its first day to the last asked."""
    if last_day < first_day:
        raise InputInvalid(f"the span {first_day} to {last_day} ends before it begins")
    if days.size == 0 or days[0] > np.datetime64(first_day) or days[-1] < np.datetime64(last_day):
        covered = "nothing" if days.size == 0 else f"{days[0]} to {days[-1]}"
        raise WeatherInvalid(f"the weather covers {covered}, not all of {first_day} to {last_day}")
    used_ids = {block.site_id for block in bundle.blocks}
    sites = [site for site in bundle.sites if site.site_id in used_ids]
    every_day = np.arange(days[0], np.datetime64(last_day) + 1, dtype="datetime64[D]")
    raw = RawWeather.empty(every_day, len(sites))
    known = days <= np.datetime64(last_day)
    rows = (days[known] - days[0]).astype(np.int64)
    for name, values in fields.items():
        getattr(raw, name)[rows, :] = values[known][:, None]
    raw = replace(raw, wind_height_m=np.array([site.wind_height_m for site in sites]))
    weather = site_weather(
        raw,
        site_batch(sites),
        krs_per_sqrt_c=np.array([site.krs_per_sqrt_c for site in sites]),
        is_measured_rain=np.ones((every_day.size, len(sites)), dtype=np.bool_),
        normal_u2_m_s=monthly_normals(sites, "u2_m_s"),
        normal_rhmin_pct=monthly_normals(sites, "rhmin_pct"),
        normal_et0_mm=np.full((12, len(sites)), np.nan),
        first_future_row=every_day.size,
        own_tdew_offset_c=monthly_normals(sites, "tdew_offset_c"),
    )
    if weather.unit_faults:
        raise WeatherInvalid(
            "the weather looks like another unit: " + "; ".join(weather.unit_faults.values())
        )
    return weather, {site.site_id: column for column, site in enumerate(sites)}


def _refuse_gaps(span: SiteDays) -> None:
    """Raise an error naming the days whose reference ET could neither be computed nor filled."""
    missing = np.flatnonzero(np.isnan(span.et0_mm).any(axis=1))
    if missing.size:
        shown = ", ".join(str(day) for day in span.days[missing[:SHOWN_GAP_DAYS]])
        more = f" and {missing.size - SHOWN_GAP_DAYS} more" if missing.size > SHOWN_GAP_DAYS else ""
        raise WeatherInvalid(
            f"reference ET cannot be computed for {shown}{more}: temperatures are missing"
        )


def _refuse_unknown_stages(bundle: FarmBundle, run: SeasonRun, days: Days) -> None:
    """Raise an error naming the blocks whose degree days began before the weather."""
    unknown = np.isnan(run.crop.crop_coefficient)
    if not unknown.any():
        return
    names = ", ".join(bundle.blocks[row].block_id for row in np.flatnonzero(unknown.any(axis=0)))
    raise WeatherInvalid(
        f"the degree days of {names} are not known on {days[np.argmax(unknown.any(axis=1))]}:"
        " give weather from the day on which their count starts"
    )


def _yesterday(weather: SiteDays, first_row: int) -> SiteDays:
    """What each evening expects of the next day: the last full day it has seen, without rain."""
    rows = np.arange(first_row, weather.days.size)
    seen = np.maximum(rows - SEEN_DAYS_BEFORE, 0)
    span = days_of(weather, first_row, weather.days.size)
    return replace(
        span,
        et0_mm=weather.et0_mm[seen],
        rain_mm=np.zeros_like(span.rain_mm),
        tmax_c=weather.tmax_c[seen],
        tmin_c=weather.tmin_c[seen],
    )
