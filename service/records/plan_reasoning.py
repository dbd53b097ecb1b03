"""The reasoning behind a plan: its own numbers.

They are stored as JSON, once, when the plan is published, like the weather that the blocks of a
site share (:mod:`service.records.weather_basis`). They are read here into one typed form, and here
alone; everything that explains, shows or mails a plan works with these records. A number
that an earlier version of the service did not store yet is None, like one that is not known.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import Any, NamedTuple

import orjson

from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.reasoning import PlanFlag
from service.agronomy.step_template import Numbers
from service.agronomy.weekly_hours import ClosedHours


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredInjection:
    """The fertiliser that a plan injects; without spans if it does not fit into the day."""

    order_key: str
    """Identifies the order that the plan answers."""
    is_possible: bool
    products: tuple[tuple[str, float], ...]
    """Name and mass in kg."""
    stock_l: float
    spans: tuple[tuple[int, int], ...]
    """Start and end of each injection, in minutes since local midnight."""
    advisories: tuple[str, ...]
    cautions: tuple[str, ...]
    injector_l_per_h: float | None = None
    dilution_ratio: float | None = None
    ec_rise_ds_m: float | None = None
    nutrient_kg: Mapping[str, float] = field(default_factory=dict)
    nutrient_mg_per_l: Mapping[str, float] = field(default_factory=dict)
    merged_count: int = 0
    """Number of pulses joined to make room for it."""
    added_min: int = 0
    saturation_share: float | None = None
    """Of the stock solution."""


class PlanReasoning(NamedTuple):
    """The numbers behind the plan of one block, by their names in the nomenclature.

    A named tuple, because an evening reads one per plan: a frozen dataclass with as many fields
    takes four times as long to make.
    """

    crop_coefficient: float | None
    canopy_cover_fraction: float | None
    canopy_height_m: float | None
    crop_et_mm: float | None
    field_capacity: float | None
    wilting_point: float | None
    root_depth_m: float | None
    wetted_fraction: float | None
    root_share_of_wetted: float | None
    taw_mm: float | None
    depletion_fraction: float | None
    raw_mm: float | None
    depletion_midnight_mm: float | None
    rain_entering_mm: float | None
    rain_credit_mm: float | None
    depletion_start_mm: float | None
    """Depletion after the expected rain."""
    planned_depletion_mm: float | None
    trigger_fraction: float | None
    trigger_mm: float | None
    rain_room_fraction: float | None
    rain_room_mm: float | None
    need_mm: float | None
    urgent_need_mm: float | None
    emitter_flow_l_per_h: float | None
    row_spacing_m: float | None
    emitter_spacing_m: float | None
    laterals_per_row_count: float | None
    application_rate_mm_per_h: float | None
    emission_uniformity_pct: float | None
    net_rate_mm_per_min: float | None
    wanted_min: float | None
    shortest_pulse_min: float | None
    longest_pulse_min: float | None
    """The longest pulse that the plan allows."""
    grower_longest_pulse_min: float | None
    depth_limit_min: float | None
    daily_maximum_min: float | None
    used_off_ratio: float | None
    alone_share: float | None
    urgent_share: float | None
    rest_share: float | None
    pulse_count: float | None
    planned_min: float | None
    net_mm: float | None
    gross_mm: float | None
    area_m2: float | None
    volume_l: float | None
    deferred_mm: float | None
    shortfall_mm: float | None
    event_limit_mm: float | None
    event_peak_mm: float | None
    flags: PlanFlag
    cause: ShortfallCause
    """Why less is planned than the need."""
    settled_day: date | None
    """Last day whose weather was observed."""
    outlook_expected_min: Sequence[float | None]
    """Minutes expected on each of the coming days, the day planned first."""
    outlook_depletion_mm: Sequence[float | None]
    """Depletion expected at the end of each of those days."""
    unwatered_until_day: date | None
    """The day on which the block would run short if nothing ran; None: not within the outlook."""
    fertigation: StoredInjection | None
    unrooted_loss_mm: float | None = None
    """Of the depth that runs, after uneven emitters: what falls where no root draws."""
    taken_full_day: date | None = None
    """Day on which the root zone was taken as full, for want of an answer; None: it is known."""
    kc_stage: float | None = None
    """Code of :class:`service.agronomy.coefficient_steps.KcStage`."""
    season_basis: float | None = None
    season_progress: float | None = None
    initial_stage_end: float | None = None
    development_end: float | None = None
    mid_season_end: float | None = None
    late_season_end: float | None = None
    kc_initial: float | None = None
    kc_mid: float | None = None
    kc_end: float | None = None
    kc_off_season: float | None = None
    table_height_m: float | None = None
    kc_initial_adjusted: float | None = None
    kc_mid_adjusted: float | None = None
    kc_end_adjusted: float | None = None
    kc_of_stage: float | None = None
    bare_ground_kc: float | None = None
    canopy_density_factor: float | None = None
    canopy_density_ratio: float | None = None
    reference_canopy_ratio: float | None = None
    canopy_ratio: float | None = None
    mulch_cover_fraction: float | None = None
    mulch_kc_initial: float | None = None
    mulch_kc_reduction_fraction: float | None = None
    table_depletion_fraction: float | None = None
    saturated_conductivity_mm_per_h: float | None = None
    transmission_ratio: float | None = None
    leaching_fraction: float | None = None
    flow_l_per_h: float | None = None
    supply_flow_l_per_h: float | None = None
    watering_start_doy: float | None = None
    watering_end_doy: float | None = None
    dormant_days: float | None = None
    """Days until the watering season; 0 within it."""
    freeze_hold_c: float | None = None
    held_min: float | None = None
    """Minutes of the windows that are too cold for a pulse."""
    daily_pulse_count: float | None = None
    news_fraction: float | None = None
    news_depth_mm: float | None = None
    priority: float | None = None
    """Rank on a short supply, 1 to 9; 1 is served first."""
    alley_root_fraction: float | None = None
    """None here and below: the crop has no roots outside the wet strip."""
    alley_share: float | None = None
    alley_capacity_mm: float | None = None
    alley_start_mm: float | None = None
    """What rain has stored there by midnight."""
    alley_rain_mm: float | None = None
    """Rain counted on there."""
    alley_et_mm: float | None = None
    """The part of the crop's water use that comes from there."""
    visit_count: float | None = None
    """Visits of a day at which the valve is opened by hand; None where it opens by itself."""
    risk_attitude: float | None = None
    """Code of :class:`service.agronomy.risk_attitude.RiskAttitude`; None here and below: the
    evening rule."""
    risk_guard: float | None = None
    """Code of :class:`service.agronomy.risk_guard.RiskGuard`; 0 where the safe depth decides."""
    credit_fraction: float | None = None
    must_mm: float | None = None
    fill_mm: float | None = None
    member_count: float | None = None
    """Courses that the weather may take, from which the chances and bands below are; None: the
    forecast has none, or the plan was made before they were looked at."""
    short_tomorrow_fraction: float | None = None
    """Chance that the block, without water, runs short tomorrow."""
    short_horizon_fraction: float | None = None
    """The same on any of the first five days."""
    outlook_band_min: Sequence[Sequence[float | None]] = ()
    """Minutes of the days of the outlook that one course in ten, half and nine in ten do not pass:
    three rows, or none."""
    outlook_band_depletion_mm: Sequence[Sequence[float | None]] = ()
    """The same of the depletion at the end of each day."""
    weekly_closed_min: float | None = None
    """Minutes that weekly hours without water take from the windows; None here and below: none."""
    weekly_effect: float | None = None
    """Code of :class:`service.agronomy.weekly_hours.WeeklyEffect`."""
    weekly_hours: tuple[ClosedHours, ...] = ()

    @property
    def quantities(self) -> Numbers:
        """The numbers and the cause by name, as the steps of an explanation name them."""
        return _Quantities(self)


_NOT_QUANTITIES = frozenset(
    {
        "flags", "settled_day", "outlook_expected_min", "outlook_depletion_mm",
        "unwatered_until_day", "fertigation", "taken_full_day",
        "outlook_band_min", "outlook_band_depletion_mm", "weekly_hours",
    }
)  # fmt: skip
QUANTITIES: tuple[str, ...] = tuple(
    name for name in PlanReasoning._fields if name not in _NOT_QUANTITIES
)
_ROWS_OF_DAYS = (
    "outlook_expected_min", "outlook_depletion_mm", "outlook_band_min", "outlook_band_depletion_mm",
)  # fmt: skip
_IS_QUANTITY = frozenset(QUANTITIES)
_cause_of = cache(ShortfallCause)  # an enumeration finds its members slowly, for one per plan
_flags_of = cache(PlanFlag)


class _Quantities(Mapping[str, float | None]):
    """The quantities of a plan by name, without a copy: most readers want a handful of them."""

    __slots__ = ("_reasoning",)

    def __init__(self, reasoning: PlanReasoning) -> None:
        self._reasoning = reasoning

    def __getitem__(self, name: str) -> float | None:
        if name not in _IS_QUANTITY:
            raise KeyError(name)
        value: float | None = getattr(self._reasoning, name)
        return value

    def __iter__(self) -> Iterator[str]:
        return iter(QUANTITIES)

    def __len__(self) -> int:
        return len(QUANTITIES)


def read_reasoning(text: str | bytes) -> PlanReasoning:
    """The reasoning of a plan out of its stored JSON."""
    stored: dict[str, Any] = orjson.loads(text)
    stored["flags"] = _flags_of(stored.get("flags") or 0)
    stored["cause"] = _cause_of(stored.get("cause") or 0)
    stored["settled_day"] = _day(stored.get("settled_day"))
    stored["unwatered_until_day"] = _day(stored.get("unwatered_until_day"))
    stored["taken_full_day"] = _day(stored.get("taken_full_day"))
    for name in _ROWS_OF_DAYS:
        stored[name] = stored.get(name) or ()
    if "fertigation" in stored:
        stored["fertigation"] = _injection(stored["fertigation"])
    stored["weekly_hours"] = tuple(ClosedHours(*each) for each in stored.get("weekly_hours") or ())
    return PlanReasoning._make(map(stored.get, PlanReasoning._fields))


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def _injection(stored: Mapping[str, Any]) -> StoredInjection:
    return StoredInjection(
        order_key=stored.get("order_key", ""),
        is_possible=stored["is_possible"],
        products=tuple((name, mass_kg) for name, mass_kg in stored["products"]),
        stock_l=stored["stock_l"],
        spans=tuple((start_min, end_min) for start_min, end_min in stored["spans"]),
        advisories=tuple(stored["advisories"]),
        cautions=tuple(stored["cautions"]),
        injector_l_per_h=stored.get("injector_l_per_h"),
        dilution_ratio=stored.get("dilution_ratio"),
        ec_rise_ds_m=stored.get("ec_rise_ds_m"),
        nutrient_kg=stored.get("nutrient_kg", {}),
        nutrient_mg_per_l=stored.get("nutrient_mg_per_l", {}),
        merged_count=stored.get("merged_count", 0),
        added_min=stored.get("added_min", 0),
        saturation_share=stored.get("saturation_share"),
    )


def injection_document(injection: StoredInjection) -> dict[str, object]:
    """An injection as stored among the numbers of its plan."""
    ordered: dict[str, object] = {
        "order_key": injection.order_key,
        "products": injection.products,
        "stock_l": injection.stock_l,
        "is_possible": injection.is_possible,
        "spans": injection.spans,
    }
    found = {
        "injector_l_per_h": injection.injector_l_per_h,
        "dilution_ratio": injection.dilution_ratio,
        "ec_rise_ds_m": injection.ec_rise_ds_m,
        "nutrient_kg": injection.nutrient_kg,
        "nutrient_mg_per_l": injection.nutrient_mg_per_l,
        "merged_count": injection.merged_count,
        "added_min": injection.added_min,
        "saturation_share": injection.saturation_share,
    }
    return {
        **ordered,
        **(found if injection.is_possible else {}),
        "advisories": injection.advisories,
        "cautions": injection.cautions,
    }


# --- the weather behind it ---------------------------------------------------------------------
