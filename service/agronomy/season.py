"""A past season as the service would have scheduled it: evening plan and balance, day by day.

In go the weather as it was and as it was forecast; out come the ledger, the pulses and the needs of
every day. Each evening knows only what it could have known: the ledger up to the day before and
forecasts from then on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Any, NamedTuple, cast

import numpy as np

from service.agronomy.block_batch import BlockBatch
from service.agronomy.block_days import CropDays, SiteDays, crop_days, days_of, with_alley
from service.agronomy.daily_plan import DailyPlan, plan_tomorrow, ready_min
from service.agronomy.freeze_hold import hold_windows
from service.agronomy.records import Floats, Ints, PulseBatch, WindowBatch
from service.agronomy.water_balance import DayLedger, PulseTimes, step_day, with_use_elsewhere
from service.agronomy.watering_rules import credited_rain_mm


@dataclass(frozen=True, slots=True)
class SeasonRun:
    """A season's days for every block, arrays (days, blocks) unless noted."""

    crop: CropDays
    ledger: DayLedger
    planned_min: Ints
    gross_mm: Floats
    need_mm: Floats
    rain_credit_mm: Floats
    shortfall_mm: Floats
    cause: Ints
    passes_event_limit: Ints
    expected: CropDays
    """The crop's days as their own evenings expected them; ``crop`` where the weather was known."""
    pulses: tuple[PulseBatch, ...]
    """One per day."""
    sunrise_min: Floats
    sunset_min: Floats


def run_season(
    blocks_of_year: Callable[[int], BlockBatch],
    weather: SiteDays,
    forecast: SiteDays,
    *,
    windows_of_day: Sequence[WindowBatch],
    day_length_min: Ints,
    supply_flow_l_per_h: Floats,
    depletion_start_mm: Floats,
    degree_day_start_c_day: Floats | None = None,
    alley_store_start_mm: Floats | None = None,
    progress: Callable[[int], None] | None = None,
) -> SeasonRun:
    """Schedule every day of ``weather`` the evening before, then run the balance of the day.

    Shapes: weather and forecast (days, sites) on the same days; day_length_min (days,);
    depletion_start_mm (blocks,) at the midnight before the first day.
    blocks_of_year: the blocks as they are in a calendar year.
    degree_day_start_c_day: (blocks,) sum at that midnight; not known when None.
    alley_store_start_mm: (blocks,) what the alley holds at that midnight; nothing when None.
    forecast: for each day, what was forecast for it the evening before; ``weather`` itself for a
    perfect forecast.
    Returns: SeasonRun.
    Source: the rules of the daily plan, repeated.
    """
    years = weather.days.astype("datetime64[Y]").astype(np.int64) + 1970
    at_site = blocks_of_year(int(years[0])).site_index
    actual_crop = _crop_days_by_year(blocks_of_year, weather, years, degree_day_start_c_day)
    today_crop = actual_crop
    if forecast is not weather:
        today_crop = _crop_days_by_year(blocks_of_year, forecast, years, degree_day_start_c_day)
    crops = _with_alleys(actual_crop, today_crop, forecast, at_site, alley_store_start_mm)
    plans, ledgers = list[DailyPlan](), list[DayLedger]()
    depletion_mm = expected_mm = depletion_start_mm
    not_before_min = np.zeros(depletion_start_mm.size, dtype=np.int64)
    for day in range(weather.days.size):
        blocks = blocks_of_year(int(years[day]))
        plan = plan_tomorrow(
            blocks,
            days_of(forecast, day, day + 1),
            _crop_on(crops.planned, day, day + 1),
            depletion_midnight_mm=expected_mm,
            windows=_held_windows(windows_of_day[day], forecast, day, blocks),
            supply_flow_l_per_h=supply_flow_l_per_h,
            not_before_min=not_before_min,
        )
        # The evening before day + 1 knows the ledger up to day - 1 and only a forecast of the day.
        water = _water_of(plan, weather, day, at_site)
        expected_mm = day_ledger(depletion_mm, crops.expected, day, water).depletion_end_mm
        ledger = day_ledger(depletion_mm, crops.actual, day, water)
        depletion_mm = ledger.depletion_end_mm
        not_before_min = np.maximum(0, ready_min(plan.schedule) - day_length_min[day])
        plans.append(plan)
        ledgers.append(ledger)
        if progress is not None:
            progress(day + 1)
    return SeasonRun(
        crop=crops.actual,
        expected=crops.expected,
        ledger=stack_ledgers(ledgers),
        planned_min=np.stack([plan.schedule.planned_min for plan in plans]),
        gross_mm=np.stack([plan.gross_mm for plan in plans]),
        need_mm=np.stack([plan.need.need_mm for plan in plans]),
        rain_credit_mm=np.stack([plan.rain_credit_mm for plan in plans]),
        shortfall_mm=np.stack([plan.shortfall_mm for plan in plans]),
        cause=np.stack([plan.schedule.cause for plan in plans]),
        passes_event_limit=np.stack(
            [plan.schedule.passes_event_limit.astype(np.int64) for plan in plans]
        ),
        pulses=tuple(plan.schedule.pulses for plan in plans),
        sunrise_min=weather.sunrise_min[:, at_site],
        sunset_min=weather.sunset_min[:, at_site],
    )


def _held_windows(
    windows: WindowBatch, forecast: SiteDays, day: int, blocks: BlockBatch
) -> WindowBatch:
    """The day's windows without the hours that are forecast near freezing."""
    return hold_windows(
        windows,
        forecast,
        day,
        site_index=blocks.site_index,
        freeze_hold_c=blocks.system.freeze_hold_c,
    )


def _water_of(plan: DailyPlan, weather: SiteDays, day: int, at_site: Ints) -> DayWater:
    """The water of a day's plan."""
    schedule = plan.schedule
    times = PulseTimes.of_day(
        schedule.pulses,
        sunrise_min=weather.sunrise_min[day, at_site],
        sunset_min=weather.sunset_min[day, at_site],
    )
    return DayWater(times, schedule.early_net_mm, schedule.day_net_mm)


class DayWater(NamedTuple):
    """Irrigation of one day, net depths of (blocks,) and when they were given."""

    times: PulseTimes
    early_net_mm: Floats
    """Of pulses that start before sunrise."""
    day_net_mm: Floats


def day_ledger(depletion_mm: Floats, crop: CropDays, day: int, water: DayWater) -> DayLedger:
    """The ledger of one day of a season.

    Shapes: depletion_mm and the result (blocks,); crop (days, blocks), ``day`` its row.
    Returns: DayLedger with the crop's whole use, also that from the alley.
    Source: the balance of FAO-56 Eq. 84 and 85.
    """
    ledger = step_day(
        depletion_mm,
        times=water.times,
        taw_mm=crop.taw_mm[day],
        raw_mm=crop.raw_mm[day],
        rain_entering_mm=crop.rain_entering_mm[day],
        crop_et_mm=crop.zone_et_mm[day],
        early_net_mm=water.early_net_mm,
        day_net_mm=water.day_net_mm,
    )
    return with_use_elsewhere(
        ledger, crop_et_mm=crop.crop_et_mm[day], elsewhere_et_mm=crop.alley_et_mm[day]
    )


class _Courses(NamedTuple):
    """The crop's days as three evenings know them."""

    actual: CropDays
    expected: CropDays
    """Of their own evening, from the state of the morning and the forecast."""
    planned: CropDays
    """Of the evening before."""


def _with_alleys(
    actual: CropDays,
    forecast: CropDays,
    weather: SiteDays,
    at_site: Ints,
    store_start_mm: Floats | None,
) -> _Courses:
    """The crop's days with what it takes from the alley; ``weather`` is that of the forecast.

    No alley store depends on the water given, so that all evenings can be worked out at once: each
    knows the store as it was at the start of its day, and expects what the forecasts lead to.
    """
    if not np.any(actual.alley_capacity_mm > 0.0):
        return _Courses(actual, forecast, forecast)
    first_mm = np.nan_to_num(
        np.zeros(actual.crop_et_mm.shape[1]) if store_start_mm is None else store_start_mm
    )
    was = with_alley(actual, first_mm, rain_mm=actual.alley_rain_mm)
    today = was
    if forecast is not actual:
        start_mm = np.vstack((first_mm, was.alley_store_mm[:-1]))
        today = with_alley(forecast, start_mm, rain_mm=forecast.alley_rain_mm)
    expected_mm = np.vstack((first_mm, today.alley_store_mm[:-1]))
    chance = weather.rain_probability_fraction[:, at_site]
    counted_mm = credited_rain_mm(forecast.alley_rain_mm, chance)
    return _Courses(was, today, with_alley(forecast, expected_mm, rain_mm=counted_mm))


def _crop_days_by_year(
    blocks_of_year: Callable[[int], BlockBatch],
    weather: SiteDays,
    years: Ints,
    start_sum: Floats | None,
) -> CropDays:
    """Crop water use with the plant size of each calendar year; degree days carry on."""
    parts: list[CropDays] = []
    for year in np.unique(years):
        rows = np.flatnonzero(years == year)
        part = crop_days(
            blocks_of_year(int(year)),
            days_of(weather, int(rows[0]), int(rows[-1]) + 1),
            degree_day_start_c_day=start_sum,
        )
        start_sum = part.degree_day_sum_c_day[-1]
        parts.append(part)
    return CropDays(
        **{
            field.name: np.concatenate([getattr(part, field.name) for part in parts])
            for field in fields(CropDays)
        }
    )


def _crop_on(crop: CropDays, first: int, last: int) -> CropDays:
    return CropDays(
        **{field.name: getattr(crop, field.name)[first:last] for field in fields(CropDays)}
    )


def stack_ledgers(ledgers: Sequence[DayLedger]) -> DayLedger:
    """The ledgers of days one after the other as one.

    Shapes: (blocks,) each; result (days, blocks).
    Returns: DayLedger.
    Source: arrangement only.
    """
    return DayLedger(
        **{
            field.name: cast(Any, np.stack([getattr(day, field.name) for day in ledgers]))
            for field in fields(DayLedger)
        }
    )
