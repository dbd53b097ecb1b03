"""Farms with their sites, supplies, blocks and counties.

Definitions are one frozen record per thing, in SI, with every default already filled in and its
origin noted. Tables are column-wise (arrays over blocks, sites or supplies), since a run handles
all blocks of a region at once.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from service.agronomy.records import (
    CurveDefinition,
    Days,
    Floats,
    Ints,
    NoWaterPeriod,
    WallWindow,
    WeeklyNoWater,
)
from service.agronomy.risk_attitude import RiskAttitude
from service.agronomy.soil import TextureGroup
from service.records.controllers import ControllerDefinition
from service.records.mail import Person
from service.records.timers import TimerSettings
from service.waterworks.block_layout import BlockLayout


@dataclass(frozen=True, slots=True)
class MonthlyNormals:
    """Long-term monthly means of a site, January to December; None where not known."""

    u2_m_s: tuple[float, ...] | None = None
    rhmin_pct: tuple[float, ...] | None = None
    et0_mm: tuple[float, ...] | None = None
    """Mean daily reference ET of each month."""
    tdew_offset_c: tuple[float, ...] | None = None
    """How far the dewpoint lies below the night minimum, for days without humidity; None: learned
    from days that have it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteDefinition:
    """A place that weather is known for."""

    site_id: str
    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    zone: str
    wind_height_m: float = 2.0
    """Anemometer height for imported wind, if the import does not say."""
    krs_per_sqrt_c: float = 0.16
    """Coefficient of FAO-56 Eq. 50; 0.16 interior, 0.19 coastal."""
    normals: MonthlyNormals | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CountyDefinition:
    """A county or similar district that an adviser compares; its weather is that of one site."""

    county_code: str
    """Official code in the adviser's country, for example a FIPS code."""
    name: str
    site_id: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmDefinition:
    """A farm: the unit that plans are issued for."""

    farm_id: str
    name: str
    zone: str
    issue_wall_min: int = 19 * 60
    """Local time by which tomorrow's plan is issued, minutes since 00:00."""
    unit_system: str = "us"
    """``us`` or ``si``: units for the people of this farm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyDefinition:
    """A pump, well or hydrant that some blocks share."""

    supply_id: str
    farm_id: str
    name: str
    flow_l_per_h: float
    windows: tuple[WallWindow, ...]
    timer: TimerSettings | None = None
    """What blocks have that do not say how they are controlled; None: their plans change daily."""
    weekly_no_water: tuple[WeeklyNoWater, ...] = ()
    """Hours of every week in which it gives no water, whatever its windows say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockDefinition:
    """One irrigated block as of ``valid_from``; all numbers SI, defaults filled in.

    The fields from ``area_m2`` up to ``initial_depletion_mm`` are plain numbers and are stored one
    column each; ``BLOCK_NUMBERS`` lists them.
    """

    block_id: str
    """``farm.block``: unique everywhere."""
    farm_id: str
    supply_id: str
    site_id: str
    name: str
    crop_key: str
    curve: CurveDefinition
    windows: tuple[WallWindow, ...]
    no_water: tuple[NoWaterPeriod, ...] = ()
    balance_start: date | None = None
    """First day of the ledger; None: its first evening, or the day of an earlier reported run."""
    origins: Mapping[str, str] = field(default_factory=dict)
    """Where each number comes from: ``given``, or the source of the default."""
    timer: TimerSettings | None = None
    """Its timer, where one program holds until somebody changes it; None: changed every day."""
    visits: tuple[WallWindow, ...] = ()
    """When somebody is there to open its valve by hand; empty: it opens at any minute."""
    layout: BlockLayout | None = None
    """Its pipes, if the grower described them; plans do not need them."""

    area_m2: float
    row_spacing_m: float
    emitter_spacing_m: float
    laterals_per_row_count: float
    emitter_flow_l_per_h: float
    emission_uniformity_pct: float
    fill_time_min: float
    longest_pulse_min: float
    """As the grower allows; named ``grower_longest_pulse_min`` where a plan computes its own."""
    daily_maximum_min: float
    daily_pulse_count: float
    """Most pulses of a day; NaN: no limit."""
    priority: float
    """Rank on a short supply, 1 to 9, 1 is served first; NaN: in the middle."""
    news_fraction: float
    """Share of the need from which water left out is said; NaN: the default."""
    news_depth_mm: float
    off_ratio: float
    valve_gap_s: float
    leaching_fraction: float
    leakage_fraction: float = math.nan
    """Share of the metered water that does not reach the emitters; NaN: none."""
    transmission_ratio: float
    trigger_fraction: float
    rain_room_fraction: float
    risk_attitude: RiskAttitude = RiskAttitude.CLASSIC
    """What its grower would rather risk; NaN in the database: the evening rule, unasked."""
    freeze_hold_c: float
    watering_start_doy: float
    """First day of the watering season, in a year of 365 days; NaN: the whole year."""
    watering_end_doy: float
    field_capacity: float
    wilting_point: float
    saturated_conductivity_mm_per_h: float
    texture_group: TextureGroup
    curve_number: float
    """NaN: no runoff is computed."""
    wetted_fraction: float
    root_depth_m: float
    root_share_of_wetted: float
    canopy_cover_fraction: float
    canopy_height_m: float
    planting_year: float
    """NaN: full size already. Values below marked scaled are the full-size ones."""
    years_to_full_size: float
    root_depth_is_scaled: bool
    """Grows with age from the full-size value; False: the grower's value for this year."""
    root_share_is_scaled: bool
    canopy_is_scaled: bool
    """The cover; the height has its own."""
    canopy_height_is_scaled: bool
    canopy_measured_year: float = math.nan
    """When cover and height were measured, as a year with its part; NaN: they are of this year."""
    full_cover_fraction: float = math.nan
    """What a measured cover grows to; NaN where none was measured, or its day is not known."""
    full_height_m: float = math.nan
    """The same of the height."""
    mulch_cover_fraction: float
    mulch_rain_pass_fraction: float
    mulch_kc_initial: float
    """Kc of the initial stage where the mulch covers all of the wetted strip."""
    mulch_kc_reduction_fraction: float
    """Share that such a mulch takes off Kc mid and Kc end."""
    kc_initial: float
    kc_mid: float
    kc_end: float
    kc_off_season: float
    table_height_m: float
    reference_canopy_ratio: float
    canopy_density_factor: float
    ground_kc: float
    """Kc of what grows, or does not, between the plants; NaN: bare soil."""
    depletion_fraction: float
    alley_root_fraction: float = 0.0
    """Share of the ground outside the wet strip that full-size plants root; NaN: 0."""
    initial_depletion_mm: float
    """NaN: not given, starts at 0 and is flagged."""
    last_nitrogen_doy: float = math.nan
    """Last day for nitrogen, in a year of 365 days; NaN: the default by crop and place."""

    @property
    def has_stated_attitude(self) -> bool:
        """Whether its grower said what he would rather risk, be it the evening rule."""
        return self.origins.get("risk_attitude") == "given"

    @property
    def flow_l_per_h(self) -> float:
        """Flow of all its emitters: the number along every drip line times the flow of one."""
        ground_m2 = self.row_spacing_m * self.emitter_spacing_m  # of an emitter on one drip line
        emitters_per_m2 = self.laterals_per_row_count / ground_m2
        return self.area_m2 * emitters_per_m2 * self.emitter_flow_l_per_h

    @property
    def texture_key(self) -> str:
        """The texture that the soil's numbers come from; empty where they were measured."""
        match = _TEXTURE_ORIGIN.match(self.origins.get("field_capacity", ""))
        return match[1] if match else ""


_TEXTURE_ORIGIN = re.compile(r"texture ([a-z-]+):")
"""How the origin of a number begins that a texture gave."""


_KINDS_OF_NUMBER: Mapping[str, Callable[[float], Any]] = {
    "float": float,
    "bool": bool,
    "TextureGroup": lambda code: TextureGroup(int(code)),
    "RiskAttitude": lambda code: RiskAttitude(0 if math.isnan(code) else int(code)),
}
BLOCK_NUMBERS: tuple[str, ...] = tuple(
    name for name, kind in BlockDefinition.__annotations__.items() if kind in _KINDS_OF_NUMBER
)
"""The plain-number fields of a block, in order: one database column each."""


def typed_numbers(numbers: Mapping[str, float]) -> dict[str, Any]:
    """The numbers of a block, stored or read as floats, as its fields take them."""
    kinds = BlockDefinition.__annotations__
    return {name: _KINDS_OF_NUMBER[kinds[name]](numbers[name]) for name in BLOCK_NUMBERS}


def number_columns(blocks: Sequence[BlockDefinition]) -> dict[str, Floats]:
    """The numbers of some blocks as columns, one array (blocks,) per name of ``BLOCK_NUMBERS``."""
    return {
        name: np.array([getattr(block, name) for block in blocks], dtype=np.float64)
        for name in BLOCK_NUMBERS
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmBundle:
    """Everything that a farm file may hold; it may hold only sites and counties, without a farm."""

    farm: FarmDefinition | None
    sites: tuple[SiteDefinition, ...] = ()
    counties: tuple[CountyDefinition, ...] = ()
    supplies: tuple[SupplyDefinition, ...] = ()
    blocks: tuple[BlockDefinition, ...] = ()
    people: tuple[Person, ...] = ()
    controllers: tuple[ControllerDefinition, ...] = ()


@dataclass(frozen=True, slots=True)
class LoadOutcome:
    """What a load did, as counts."""

    created_count: int
    changed_count: int
    unchanged_count: int
    retired_count: int = 0
    first_change: Mapping[int, date] = field(default_factory=dict, compare=False)
    """Of weather: by site key, the first day whose observed or analysed weather changed."""


@dataclass(frozen=True, slots=True)
class SiteTable:
    """Sites as columns; ``keys`` are the database's integer keys, in rising order."""

    keys: Ints
    definitions: tuple[SiteDefinition, ...]


@dataclass(frozen=True, slots=True)
class BlockTable:
    """Blocks as columns, as of one day."""

    keys: Ints
    block_ids: tuple[str, ...]
    farm_keys: Ints
    site_keys: Ints
    supply_keys: Ints
    numbers: Mapping[str, Floats]
    """One array per name of ``BLOCK_NUMBERS``."""
    curves: tuple[CurveDefinition, ...]
    windows: tuple[tuple[WallWindow, ...], ...]
    no_water: tuple[tuple[NoWaterPeriod, ...], ...]
    timers: tuple[TimerSettings | None, ...]
    visits: tuple[tuple[WallWindow, ...], ...]
    """When somebody is there to open each valve by hand; empty: it opens at any minute."""
    balance_start: Days
    """NaT where not given."""
    valid_from: Days
    """First day of the version shown."""


@dataclass(frozen=True, slots=True)
class SupplyTable:
    """Supplies as columns."""

    keys: Ints
    supply_ids: tuple[str, ...]
    farm_keys: Ints
    flow_l_per_h: Floats
    windows: tuple[tuple[WallWindow, ...], ...]
    weekly_no_water: tuple[tuple[WeeklyNoWater, ...], ...]


@dataclass(frozen=True, slots=True)
class BlockPlace:
    """The name of a block, and the clock of its site."""

    block_id: str
    name: str
    zone: str


@dataclass(frozen=True, slots=True)
class BlockLabel:
    """The name of a block in its plan."""

    block_id: str
    name: str
    farm_id: str
