"""A day's plans turned into the rows that are stored: status, pulses, and the numbers behind them.

The numbers are stored as they are, once per plan; sentences are made from them on request. The
digest covers the content of a plan but not its time, so that publishing the same content again
makes no new version.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date
from itertools import pairwise

import numpy as np
import orjson
from numpy.typing import NDArray

from service.agronomy.block_batch import BlockBatch, young_canopy_is_full
from service.agronomy.block_days import CropDays
from service.agronomy.coefficient_steps import coefficient_steps
from service.agronomy.daily_plan import DailyPlan, ready_min
from service.agronomy.dormancy import dormant_days
from service.agronomy.outlook import NEVER, Outlook
from service.agronomy.reasoning import PlanFlag
from service.agronomy.records import Days, Floats, Ints, PulseBatch
from service.agronomy.week_spread import WeekSpread
from service.operations.evening.gather_weather import GatheredWeather
from service.operations.evening.risk_rows import risk_documents
from service.operations.evening.spread_rows import with_week_spread
from service.records.farms import BlockTable
from service.records.plan_reasoning import StoredInjection, injection_document
from service.records.plans import PlanRows

SHOWN_DECIMALS = 6
"""Decimals kept in the stored numbers: more than the accuracy of any of them."""
DIGEST_LENGTH = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanSituation:
    """Everything that the documents of a chunk of plans are made from."""

    day: date
    table: BlockTable
    blocks: BlockBatch
    weather: GatheredWeather
    site_index: Ints
    crop: CropDays
    plan: DailyPlan
    outlook: Outlook
    ledger_flags: Ints
    settled_day: Days
    taken_full_day: Days
    """First day of the books where their start is assumed, NaT elsewhere."""
    supply_flow_l_per_h: Floats
    """(supplies,)"""
    is_on_timer: NDArray[np.bool_]
    """(blocks,) whether a timer runs the block, whatever it needs."""
    injections: Mapping[int, StoredInjection] = field(default_factory=dict)
    """The fertiliser injections of the plans, by row of the block."""
    spread: WeekSpread | None = None
    """What the members of the forecast say of the week; None: there are none."""
    weekly: Mapping[int, Mapping[str, object]] = field(default_factory=dict)
    """What weekly hours without water did to the plans, by row of the block."""


def plan_rows(
    situation: PlanSituation, *, basis_keys: Ints, basis_digests: Sequence[str]
) -> PlanRows:
    """One row per block, in the order of the table; basis keys and digests are those of the sites.

    The digest of a plan covers the weather it rests on, but not when that was issued: the same
    forecast issued again makes no new version. Nor does it cover how far its members are apart.
    """
    plan = situation.plan
    schedule = plan.schedule
    known = plan.can_be_planned
    planned_min = np.where(known, schedule.planned_min, 0)
    pulses = _pulse_documents(schedule.pulses)
    numbers = _number_documents(situation)
    site_basis = basis_keys[situation.site_index]
    status = np.select([~known, planned_min > 0], ["no-weather", "water"], default="rest").tolist()
    return PlanRows(
        block_keys=situation.table.keys,
        day=situation.day,
        status=tuple(status),
        planned_min=planned_min,
        early_min=_early_minutes(situation),
        ready_min=ready_min(schedule).astype(np.float64),
        gross_mm=np.nan_to_num(plan.gross_mm),
        net_mm=np.nan_to_num(schedule.planned_net_mm),
        pulses=pulses,
        numbers=with_week_spread(numbers, situation.spread),
        basis_keys=site_basis,
        digest=tuple(
            hashlib.sha256(
                b"%s%s%s%s" % (running, behind, basis_digests[site].encode(), state.encode())
            ).hexdigest()[:DIGEST_LENGTH]
            for running, behind, site, state in zip(
                pulses, numbers, situation.site_index.tolist(), status, strict=True
            )
        ),
    )


def pick_rows(rows: PlanRows, chosen: Ints) -> PlanRows:
    """Some of the rows, in the order of ``chosen``."""
    places = chosen.tolist()
    picked = {}
    for part in fields(rows):
        values = getattr(rows, part.name)
        if isinstance(values, tuple):
            values = tuple(values[place] for place in places)
        elif isinstance(values, np.ndarray):
            values = values[chosen]
        picked[part.name] = values
    return PlanRows(**picked)


def plan_flags(situation: PlanSituation) -> Ints:
    """What a reader must know in addition to the minutes, as :class:`PlanFlag` bits, (blocks,)."""
    plan, weather = situation.plan, situation.weather
    at_site = situation.site_index
    tomorrow = int((np.datetime64(situation.day) - weather.days[0]).astype(np.int64))
    raised = {
        PlanFlag.WEATHER_UNKNOWN: ~plan.can_be_planned,
        PlanFlag.FORECAST_MISSING: ~weather.has_temperatures[tomorrow, at_site],
        PlanFlag.FORECAST_OLD: weather.is_old_forecast[tomorrow, at_site],
        PlanFlag.WEATHER_DOUBTFUL: weather.is_doubted(tomorrow)[at_site],
        PlanFlag.SHORTEST_PULSE_PASSES_DEPTH: plan.limits.shortest_passes_depth,
        PlanFlag.STORE_BELOW_PULSE: (
            plan.limits.shortest_pulse_min * plan.net_rate_mm_per_min > plan.raw_mm
        ),
        PlanFlag.EVENT_PASSES_ROOTS: plan.schedule.passes_event_limit,
        PlanFlag.CANNOT_KEEP_UP: ~situation.outlook.keeps_up & ~situation.is_on_timer,
        PlanFlag.TIMER_CANNOT_KEEP_UP: ~situation.outlook.keeps_up & situation.is_on_timer,
        PlanFlag.DEGREE_DAYS_UNKNOWN: (
            np.isnan(plan.crop_coefficient)
            & np.isfinite(weather.weather.days.et0_mm[tomorrow, at_site])
        ),
        PlanFlag.CLIMATE_ADJUSTMENT_MISSING: weather.weather.climate_is_default[tomorrow, at_site],
        PlanFlag.YOUNG_CANOPY_FULL: young_canopy_is_full(
            situation.blocks.crop, situation.table.numbers, season_year=situation.day.year
        ),
    }
    flags = situation.ledger_flags.copy()
    for flag, where in raised.items():
        flags |= np.where(where, int(flag), 0)
    return flags


def _early_minutes(situation: PlanSituation) -> Ints:
    """Minutes of the pulses that start before sunrise, (blocks,)."""
    pulses = situation.plan.schedule.pulses
    tomorrow = int((np.datetime64(situation.day) - situation.weather.days[0]).astype(np.int64))
    sunrise = situation.weather.weather.days.sunrise_min[tomorrow, situation.site_index]
    block_of_pulse = np.repeat(np.arange(sunrise.size), pulses.count())
    early = pulses.start_min < sunrise[block_of_pulse]
    minutes = np.bincount(
        block_of_pulse, weights=pulses.duration_min * early, minlength=sunrise.size
    )
    return minutes.astype(np.int64)


def _pulse_documents(pulses: PulseBatch) -> tuple[bytes, ...]:
    """Each block's pulses as JSON ``[[start, minutes], ...]``."""
    offset = pulses.offset.tolist()
    pairs = np.stack([pulses.start_min, pulses.duration_min], axis=1).tolist()
    return tuple(
        orjson.dumps(pairs[begin:end]) if end > begin else b"[]" for begin, end in pairwise(offset)
    )


def _number_documents(situation: PlanSituation) -> tuple[bytes, ...]:
    """Each block's own numbers as one JSON object."""
    columns = _numbers(situation)
    names = list(columns)
    table = np.stack(list(columns.values()), axis=1)
    rounded = np.round(table, SHOWN_DECIMALS).tolist()
    flags = plan_flags(situation).tolist()
    causes = situation.plan.schedule.cause.tolist()
    expected = np.round(situation.outlook.expected_min, 1).T.tolist()
    depletion = np.round(situation.outlook.depletion_end_mm, 3).T.tolist()
    dry_days = _dry_days(situation)
    settled, full_days = _day_texts(situation.settled_day), _day_texts(situation.taken_full_day)
    return tuple(
        orjson.dumps(
            {
                **dict(zip(names, row, strict=True)),
                "flags": flag,
                "cause": cause,
                "settled_day": day,
                **({} if full is None else {"taken_full_day": full}),
                "outlook_expected_min": minutes,
                "outlook_depletion_mm": level,
                "unwatered_until_day": dry,
                **injection,
                **alley,
                **risk,
                **week,
            }
        )
        for row, flag, cause, day, full, minutes, level, dry, injection, alley, risk, week in zip(
            rounded,
            flags,
            causes,
            settled,
            full_days,
            expected,
            depletion,
            dry_days,
            _injections(situation),
            _alleys(situation),
            risk_documents(situation.plan.risk, len(flags), SHOWN_DECIMALS),
            (situation.weekly.get(row, {}) for row in range(len(flags))),
            strict=True,
        )
    )


def _day_texts(days: Days) -> list[str | None]:
    return [None if text == "NaT" else text for text in days.astype(str)]


def _injections(situation: PlanSituation) -> list[dict[str, object]]:
    """The injection in each block's document; blocks without one are left out."""
    injections = situation.injections
    return [
        {"fertigation": injection_document(injections[row])} if row in injections else {}
        for row in range(situation.table.keys.size)
    ]


def _alleys(situation: PlanSituation) -> list[dict[str, float]]:
    """The alley store in the document of each block that has one; nothing for the others."""
    crop, blocks = situation.crop, situation.blocks
    found: list[dict[str, float]] = [{} for _ in range(situation.table.keys.size)]
    rows = np.flatnonzero(crop.alley_capacity_mm[0] > 0.0)
    if rows.size:
        columns = {
            "alley_root_fraction": situation.table.numbers["alley_root_fraction"],
            "alley_share": blocks.alley_share,
            "alley_capacity_mm": crop.alley_capacity_mm[0],
            "alley_start_mm": crop.alley_start_mm[0],
            "alley_rain_mm": crop.alley_rain_mm[0],
            "alley_et_mm": crop.alley_et_mm[0],
        }
        table = np.stack([column[rows] for column in columns.values()], axis=1)
        for row, values in zip(rows.tolist(), table.round(SHOWN_DECIMALS).tolist(), strict=True):
            found[row] = dict(zip(columns, values, strict=True))
    return found


def _dry_days(situation: PlanSituation) -> list[str | None]:
    """The day each unwatered block would pass its readily available water, or None."""
    first = int((np.datetime64(situation.day) - situation.weather.days[0]).astype(np.int64))
    names = [str(day) for day in situation.weather.days[first:]]
    return [
        None if index == NEVER else names[index]
        for index in situation.outlook.unwatered_passes_raw_day.tolist()
    ]


def _numbers(situation: PlanSituation) -> Mapping[str, Floats]:
    """The numbers of the reasoning, one array (blocks,) each, named as in the nomenclature."""
    plan, blocks = situation.plan, situation.blocks
    need, limits, schedule = plan.need, plan.limits, plan.schedule
    system, soil, crop = blocks.system, blocks.soil, blocks.crop
    return {
        **_coefficient_numbers(situation),
        **_given_numbers(situation),
        "crop_coefficient": plan.crop_coefficient,
        "canopy_cover_fraction": crop.canopy_cover_fraction,
        "canopy_height_m": crop.canopy_height_m,
        "crop_et_mm": plan.crop_et_mm,
        "taw_mm": plan.taw_mm,
        "depletion_fraction": plan.depletion_fraction,
        "raw_mm": plan.raw_mm,
        "depletion_midnight_mm": plan.depletion_midnight_mm,
        "rain_entering_mm": situation.crop.rain_entering_mm[0],
        "rain_credit_mm": plan.rain_credit_mm,
        "depletion_start_mm": need.depletion_after_rain_mm,
        "planned_depletion_mm": need.planned_depletion_mm,
        "trigger_fraction": system.trigger_fraction,
        "trigger_mm": need.trigger_mm,
        "rain_room_fraction": system.rain_room_fraction,
        "rain_room_mm": need.rain_room_mm,
        "need_mm": need.need_mm,
        "urgent_need_mm": need.urgent_need_mm,
        "emitter_flow_l_per_h": system.emitter_flow_l_per_h,
        "row_spacing_m": situation.table.numbers["row_spacing_m"],
        "emitter_spacing_m": situation.table.numbers["emitter_spacing_m"],
        "laterals_per_row_count": situation.table.numbers["laterals_per_row_count"],
        "application_rate_mm_per_h": system.application_rate_mm_per_h,
        "emission_uniformity_pct": system.emission_uniformity_pct,
        "net_rate_mm_per_min": plan.net_rate_mm_per_min,
        "wanted_min": schedule.wanted_min.astype(np.float64),
        "shortest_pulse_min": limits.shortest_pulse_min.astype(np.float64),
        "longest_pulse_min": limits.longest_pulse_min.astype(np.float64),
        "grower_longest_pulse_min": system.grower_longest_pulse_min,
        "depth_limit_min": limits.depth_limit_min,
        "daily_maximum_min": system.daily_maximum_min,
        "used_off_ratio": schedule.used_off_ratio,
        "alone_share": schedule.alone_share,
        "urgent_share": schedule.urgent_share,
        "rest_share": schedule.rest_share,
        "pulse_count": schedule.pulses.count().astype(np.float64),
        "planned_min": schedule.planned_min.astype(np.float64),
        "net_mm": schedule.planned_net_mm,
        "gross_mm": plan.gross_mm,
        "area_m2": blocks.area_m2,
        "volume_l": plan.gross_mm * blocks.area_m2,
        "deferred_mm": plan.deferred_mm,
        "shortfall_mm": plan.shortfall_mm,
        "event_limit_mm": limits.event_limit_mm,
        "event_peak_mm": schedule.event_peak_mm,
        "unrooted_loss_mm": schedule.planned_net_mm * (1.0 / soil.root_share_of_wetted - 1.0),
        **_season_numbers(situation),
    }


def _season_numbers(situation: PlanSituation) -> Mapping[str, Floats]:
    """What season and frost have to do with the plan, arrays (blocks,)."""
    system = situation.blocks.system
    return {
        "watering_start_doy": system.watering_start_doy,
        "watering_end_doy": system.watering_end_doy,
        "dormant_days": dormant_days(
            situation.day, system.watering_start_doy, system.watering_end_doy
        ),
        "freeze_hold_c": system.freeze_hold_c,
        "held_min": situation.plan.held_min,
    }


def _coefficient_numbers(situation: PlanSituation) -> Mapping[str, Floats]:
    """The way to the crop coefficient of the day planned, one array (blocks,) each."""
    crop = situation.blocks.crop
    weather = situation.weather.weather.days
    tomorrow = int((np.datetime64(situation.day) - weather.days[0]).astype(np.int64))
    steps = coefficient_steps(
        crop,
        days=weather.days[tomorrow : tomorrow + 1],
        climate_term=weather.climate_term[tomorrow : tomorrow + 1, situation.site_index],
        degree_day_sum_c_day=situation.crop.degree_day_sum_c_day[:1],
    )
    return {
        **{part.name: getattr(steps, part.name) for part in fields(steps)},
        "kc_initial": crop.kc_initial,
        "kc_mid": crop.kc_mid,
        "kc_end": crop.kc_end,
        "kc_off_season": crop.kc_off_season,
        "table_height_m": crop.table_height_m,
        "reference_canopy_ratio": crop.reference_canopy_ratio,
        "canopy_density_factor": crop.canopy_density_factor,
        "mulch_cover_fraction": crop.mulch_cover_fraction,
        "mulch_kc_initial": crop.mulch_kc_initial,
        "mulch_kc_reduction_fraction": crop.mulch_kc_reduction_fraction,
    }


def _given_numbers(situation: PlanSituation) -> Mapping[str, Floats]:
    """Numbers of soil, system and supply that the steps begin with, one array (blocks,) each."""
    system, soil = situation.blocks.system, situation.blocks.soil
    return {
        "table_depletion_fraction": situation.blocks.crop.depletion_fraction,
        "field_capacity": soil.field_capacity,
        "wilting_point": soil.wilting_point,
        "root_depth_m": soil.root_depth_m,
        "wetted_fraction": soil.wetted_fraction,
        "root_share_of_wetted": soil.root_share_of_wetted,
        "saturated_conductivity_mm_per_h": soil.saturated_conductivity_mm_per_h,
        "transmission_ratio": system.transmission_ratio,
        "leaching_fraction": system.leaching_fraction,
        "flow_l_per_h": system.flow_l_per_h,
        "daily_pulse_count": system.daily_pulse_count,
        "priority": system.priority.astype(np.float64),
        "visit_count": np.array([len(own) or np.nan for own in situation.table.visits]),
        "news_fraction": situation.table.numbers["news_fraction"],
        "news_depth_mm": situation.table.numbers["news_depth_mm"],
        "supply_flow_l_per_h": situation.supply_flow_l_per_h[system.supply_index],
    }
