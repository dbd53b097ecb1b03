"""The records that cross the ports: what a farm is, and the rows a day's run reads and writes.

Definitions are one frozen record per thing, in SI, with every default already filled in and its
origin noted. Tables and rows are column-wise (arrays over blocks or rows), since a run handles all
blocks of a region at once. Neither knows the database, the API or the farm file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import CurveDefinition as CurveDefinition
from service.agronomy.records import Days, Floats, Ints
from service.agronomy.records import NoWaterPeriod as NoWaterPeriod
from service.agronomy.records import WallWindow as WallWindow
from service.waterworks.acid import TitrationPoint
from service.waterworks.block_layout import BlockLayout as BlockLayout
from service.waterworks.fertiliser import Product
from service.waterworks.water_analysis import Reading

# --- definitions -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class MonthlyNormals:
    """Long-term monthly means of a site, January to December; None where not known."""

    u2_m_s: tuple[float, ...] | None = None
    rhmin_pct: tuple[float, ...] | None = None
    et0_mm: tuple[float, ...] | None = None
    """Mean daily reference ET of each month."""


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
    """Height of the anemometer behind imported wind, where the import does not say."""
    krs_per_sqrt_c: float = 0.16
    """Coefficient of FAO-56 Eq. 50; 0.16 interior, 0.19 coastal."""
    normals: MonthlyNormals | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CountyDefinition:
    """A county or like district that an adviser compares; its weather is that of one site."""

    county_code: str
    """Official code as the adviser's country gives it, for example a FIPS code."""
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
    """``us`` or ``si``: how people of this farm read numbers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyDefinition:
    """A pump, well or hydrant that some blocks share."""

    supply_id: str
    farm_id: str
    name: str
    flow_l_per_h: float
    windows: tuple[WallWindow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockDefinition:
    """One irrigated block as it stands from ``valid_from`` on; all numbers SI, defaults filled in.

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
    """First day of the ledger; None: the first day with observed weather, 30 days back at most."""
    origins: Mapping[str, str] = field(default_factory=dict)
    """Where each number comes from: ``given``, or the source of the default."""
    layout: BlockLayout | None = None
    """Its pipes, where the grower described them; plans do without."""

    area_m2: float
    row_spacing_m: float
    emitter_spacing_m: float
    laterals_per_row_count: float
    emitter_flow_l_per_h: float
    emission_uniformity_pct: float
    fill_time_min: float
    longest_pulse_min: float
    daily_maximum_min: float
    off_ratio: float
    valve_gap_s: float
    leaching_fraction: float
    transmission_ratio: float
    trigger_fraction: float
    rain_room_fraction: float
    field_capacity: float
    wilting_point: float
    saturated_conductivity_mm_per_h: float
    texture_group: float
    """0 coarse, 1 medium, 2 fine."""
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
    root_depth_is_scaled: float
    """1: grows with age from the full-size value; 0: the grower's value for this year."""
    root_share_is_scaled: float
    canopy_is_scaled: float
    mulch_cover_fraction: float
    mulch_rain_pass_fraction: float
    kc_initial: float
    kc_mid: float
    kc_end: float
    kc_off_season: float
    table_height_m: float
    reference_canopy_ratio: float
    depletion_fraction: float
    initial_depletion_mm: float
    """NaN: not given, starts at 0 and is flagged."""


BLOCK_NUMBERS: tuple[str, ...] = tuple(
    name for name, kind in BlockDefinition.__annotations__.items() if kind == "float"
)
"""The plain-number fields of a block, in order: one database column each."""


@dataclass(frozen=True, slots=True)
class FallbackRun:
    """One opening of the program that a controller runs when nobody tells it what to do."""

    start_wall_min: int
    """Local time of day, minutes since 00:00."""
    duration_min: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelDefinition:
    """An output of a controller: the valve of one block."""

    channel: int
    block_id: str
    """``farm.block``."""
    fallback: tuple[FallbackRun, ...] = ()
    """What runs each day once the last program has run out; empty: nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerDefinition:
    """A controller in the field, and the blocks that its channels open."""

    controller_id: str
    """``farm.controller``: unique everywhere."""
    farm_id: str
    name: str
    policy: str = "fallback"
    """What the controller does once its program has run out: ``fallback`` or ``stop``."""
    channels: tuple[ChannelDefinition, ...] = ()


MAIL_LISTS = ("evening", "weekly")
"""What a person may ask for; an adviser's weekly mail is the bulletin."""
LANGUAGES = ("en", "es")


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who gets mail; the address, in the form that was checked, tells readers of one farm
    apart."""

    mail_address: str
    name: str
    language: str = "en"
    unit_system: str = "us"
    role: str = "grower"
    """``grower`` of farms, or ``adviser`` of counties."""
    receives: tuple[str, ...] = MAIL_LISTS
    reference_block_id: str = ""
    """For an adviser: the block that stands in every county; empty: the first one stored."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownPerson:
    """A person as stored."""

    person_key: int
    person: Person
    farm_id: str
    """The farm that they read of; empty for an adviser."""
    suppressed_at: datetime | None
    """Since then nothing is sent; None: all is well."""
    suppressed_reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmBundle:
    """All that a farm file may hold; a file may hold sites and counties only, without a farm."""

    farm: FarmDefinition | None
    sites: tuple[SiteDefinition, ...] = ()
    counties: tuple[CountyDefinition, ...] = ()
    supplies: tuple[SupplyDefinition, ...] = ()
    blocks: tuple[BlockDefinition, ...] = ()
    people: tuple[Person, ...] = ()
    controllers: tuple[ControllerDefinition, ...] = ()


@dataclass(frozen=True, slots=True)
class LoadOutcome:
    """What a load did, by count of things."""

    created_count: int
    changed_count: int
    unchanged_count: int
    retired_count: int = 0
    first_change: Mapping[int, date] = field(default_factory=dict, compare=False)
    """Of weather: by site key, the first day whose observed or analysed weather changed."""


# --- what a run reads --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SiteTable:
    """Sites as columns; ``keys`` are the database's integer keys, in rising order."""

    keys: Ints
    definitions: tuple[SiteDefinition, ...]


@dataclass(frozen=True, slots=True)
class BlockTable:
    """Blocks as columns, as they stand on one day."""

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


WEATHER_FIELDS: tuple[str, ...] = (
    "tmax_c",
    "tmin_c",
    "tdew_c",
    "ea_kpa",
    "rhmax_pct",
    "rhmin_pct",
    "rhmean_pct",
    "wind_m_s",
    "rs_mj_m2",
    "sunshine_h",
    "rain_mm",
    "rain_probability_fraction",
)
"""The measured or forecast quantities of a weather day; NaN inside, NULL in the database."""


@dataclass(frozen=True, slots=True)
class WeatherRows:
    """Weather days as rows: one per (site, day, source, kind)."""

    site_keys: Ints
    days: Days
    sources: tuple[str, ...]
    kinds: tuple[str, ...]
    """``observed``, ``analysis`` or ``forecast``."""
    issued_at: tuple[datetime, ...]
    """When the values were issued (forecast) or recorded (observed), aware UTC."""
    wind_height_m: Floats
    fields: Mapping[str, Floats]
    """One array per name of ``WEATHER_FIELDS``."""
    field_notes: tuple[Mapping[str, Mapping[str, object]], ...] = ()
    """Per row, notes on single fields, such as ``{"rs_mj_m2": {"hours_present": 24,
    "estimated_from": "sky cover"}}``; an empty tuple: no row has any."""
    fetched_at: tuple[datetime, ...] = ()
    """When each row was stored last, aware UTC; empty for rows that were not read from a store."""

    def __len__(self) -> int:
        return len(self.sources)


@dataclass(frozen=True, slots=True)
class SiteFreshness:
    """How far the weather of one site reaches, as stored."""

    last_measured_day: date | None
    """Last day with an observation or analysis."""
    forecast_until_day: date | None
    forecast_issued_at: datetime | None
    """When the newest forecast was issued."""


STATION_FIELDS: tuple[str, ...] = (
    "temperature_c",
    "tmax_c",
    "tmin_c",
    "tdew_c",
    "ea_kpa",
    "rhmean_pct",
    "rhmax_pct",
    "rhmin_pct",
    "wind_m_s",
    "rs_mj_m2",
    "rain_mm",
)
"""What a grower's station may measure in an interval: means, extremes, and totals of radiation and
rain."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StationSetup:
    """What must be known of a grower's station before its files can be read; None: not said yet."""

    clock: str | None = None
    """IANA zone that the logger's clock follows, or its fixed offset such as ``-06:00``."""
    stamp: str | None = None
    """``start`` or ``end``: which end of its interval a time names."""
    wind_height_m: float | None = None
    radiation: str | None = None
    """``w-m2`` for means, ``mj-m2`` for totals of the interval."""
    columns: Mapping[str, str] = field(default_factory=dict)
    """For columns of the station's files, the name with the unit that this service gives them."""


@dataclass(frozen=True, slots=True)
class StationIntervals:
    """What a station measured, by interval: arrays over intervals that rise and do not overlap,
    but for whole days beside the intervals that make them up."""

    start_epoch_s: Ints
    end_epoch_s: Ints
    fields: Mapping[str, Floats]
    """One array per name of ``STATION_FIELDS``."""

    def __len__(self) -> int:
        return self.start_epoch_s.size


@dataclass(frozen=True, slots=True)
class Attribution:
    """Whom to thank for weather data, wherever they are shown."""

    source: str
    text: str
    url: str
    licence: str


@dataclass(frozen=True, slots=True)
class SourceProblem:
    """Why a source gave nothing, or less than was asked, for a site or for all."""

    source: str
    site_id: str | None
    """None: all sites of the request."""
    reason: str
    """Short and stable: ``timeout``, ``http-502``, ``quota``, ``bad-json``, ``wrong-unit``,
    ``wrong-shape``, ``too-large``, ``breaker-open``, ``stale``, ``no-cover``, ..."""
    message: str
    retry_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class SourceAnswer:
    """What one call of a source brought."""

    rows: WeatherRows
    problems: tuple[SourceProblem, ...] = ()
    request_count: int = 0


@dataclass(frozen=True, slots=True)
class BreakerState:
    """A breaker of one host or one grid cell."""

    key: str
    failure_count: int
    """Failures within the window that began at ``window_began_at``."""
    window_began_at: datetime | None
    open_until: datetime | None
    """None: closed."""
    last_reason: str = ""


@dataclass(frozen=True, slots=True)
class JobRun:
    """One run of a job as the ledger of runs has it."""

    run_key: str
    job: str
    due_at: datetime
    state: str
    """``claimed``, ``waiting`` or ``done``."""
    owner: str
    """The process that claimed it last."""
    held_until: datetime
    """End of the lease, or the instant from which it may be tried again."""
    attempt_count: int
    changed_at: datetime
    outcome: str | None
    """What came of it, once it is done."""


@dataclass(frozen=True, slots=True)
class StoredPayload:
    """A raw answer kept for replay, proof and conditional requests; the body is gzipped."""

    url_digest: str
    source: str
    url: str
    fetched_at: datetime
    etag: str | None
    last_modified: str | None
    expires_at: datetime | None
    body_digest: str
    body: bytes


@dataclass(frozen=True, slots=True)
class BalanceState:
    """Where each block's ledger is settled, arrays (blocks,) aligned with the keys asked for."""

    settled_day: Days
    """Last day whose weather was observed, with all days before it; NaT: nothing settled yet."""
    depletion_mm: Floats
    """Depletion at the end of that day."""
    degree_day_sum_c_day: Floats
    flags: Ints
    """What a reader of the next plan must know of that day, 0 where nothing is settled yet."""


@dataclass(frozen=True, slots=True)
class AppliedWater:
    """Irrigation by (day, block) of a window of days, arrays (days, blocks)."""

    early_min: Floats
    """Minutes of pulses that started before sunrise."""
    day_min: Floats
    is_reported: NDArray[np.bool_]
    """True: from reported runs; False: from the published plan, assumed carried out (or none)."""
    ready_min: Floats
    """Minute from which the block may run again, elapsed since the day's local midnight: the end of
    its last pulse and as long again, or less by its plan; NaN: did not run."""


@dataclass(frozen=True, slots=True)
class RunRows:
    """Runs that somebody reported, as rows."""

    block_keys: Ints
    days: Days
    """Local civil day on which each run started."""
    started_at: tuple[datetime, ...]
    """Aware UTC."""
    start_min: Ints
    """Minutes elapsed since local midnight."""
    duration_min: Floats
    volume_l: Floats
    """Metered volume; NaN where there is no meter."""
    is_early: NDArray[np.bool_]
    """Started before sunrise."""
    reporter: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeReading:
    """One hand-read rain gauge reading."""

    site_id: str
    read_at: datetime
    covers_from: datetime
    rain_mm: float
    kind: str
    """``measured``, ``trace``, ``none`` or ``multi-day``."""
    note: str = ""
    reporter: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilReading:
    """One soil reading of a block and what it makes of the balance."""

    block_id: str
    read_at: datetime
    day: date
    """Local civil day of the reading: the ledger day that the correction is booked on."""
    is_evening: bool
    """Read at noon or later: compared with the end of its day; else with the day's start."""
    kind: str
    """``volumetric`` or ``tension``."""
    volumetric_water: float
    """Given, or worked out from the tension."""
    tension_kpa: float | None = None
    top_depth_m: float
    bottom_depth_m: float
    depletion_reading_mm: float
    """Depletion of the managed root zone, if all of it were as the soil that was read."""
    weight_fraction: float
    """How much the reading counts beside the computed balance."""
    note: str = ""
    reporter: str = ""


@dataclass(frozen=True, slots=True)
class DepletionReadings:
    """Soil readings as the balance takes them, as rows by day; several of a day in order."""

    block_keys: Ints
    days: Days
    is_evening: NDArray[np.bool_]
    depletion_reading_mm: Floats
    weight_fraction: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Pause:
    """A time without water that somebody asked for; counts at once, without a block version."""

    pause_id: str
    block_id: str
    period: NoWaterPeriod
    reporter: str
    recorded_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ApiKey:
    """A bearer key as it is stored; the key itself is known to its holder alone."""

    key_id: str
    """The part of the key that may be shown."""
    name: str
    """The person or device that holds it."""
    farm_id: str | None
    """The farm it is bound to, which need not be stored yet; None: the whole region."""
    scopes: frozenset[str]
    sha256: str
    """Of the whole key, in hexadecimal."""
    created_at: datetime
    expires_at: datetime | None = None
    revoked_at: datetime | None = None
    last_used_at: datetime | None = None

    def is_live(self, at: datetime) -> bool:
        """Whether it opens anything at an instant."""
        return self.revoked_at is None and (self.expires_at is None or at < self.expires_at)


@dataclass(frozen=True, slots=True)
class StoredAnswer:
    """The answer that a request with an idempotency key got."""

    request_digest: str
    status: int
    body: bytes
    stored_at: datetime


@dataclass(frozen=True, slots=True)
class MeteredRuns:
    """Metered runs of one block, arrays over runs by time."""

    days: Days
    duration_min: Floats
    volume_l: Floats


# --- what a run writes -------------------------------------------------------------------------

LEDGER_NUMBERS: tuple[str, ...] = (
    "et0_mm",
    "rain_mm",
    "rain_entering_mm",
    "rain_drainage_mm",
    "crop_coefficient",
    "crop_et_mm",
    "stress_ratio",
    "actual_crop_et_mm",
    "irrigation_gross_mm",
    "early_net_mm",
    "day_net_mm",
    "nonuniformity_loss_mm",
    "unrooted_loss_mm",
    "irrigation_drainage_mm",
    "resize_mm",
    "correction_mm",
    "taw_mm",
    "raw_mm",
    "depletion_start_mm",
    "depletion_end_mm",
    "degree_day_sum_c_day",
)


@dataclass(frozen=True, slots=True)
class LedgerRows:
    """Ledger days as rows: one per (block, day)."""

    block_keys: Ints
    days: Days
    is_observed: NDArray[np.bool_]
    """False: the day's weather is still forecast or filled in."""
    irrigation_origin: Ints
    """0 none, 1 reported runs, 2 published plan assumed carried out."""
    flags: Ints
    numbers: Mapping[str, Floats]
    """One array per name of ``LEDGER_NUMBERS``."""


@dataclass(frozen=True, slots=True)
class PlanRows:
    """New plan versions as rows: one per block, all for one day."""

    block_keys: Ints
    day: date
    status: tuple[str, ...]
    """``water``, ``rest`` or ``no-weather``."""
    planned_min: Ints
    early_min: Ints
    ready_min: Floats
    """As in :class:`AppliedWater`."""
    gross_mm: Floats
    net_mm: Floats
    pulses: tuple[bytes, ...]
    """JSON ``[[start_min, duration_min], ...]``."""
    numbers: tuple[bytes, ...]
    """JSON object: every number of the reasoning that is the block's own."""
    basis_keys: Ints
    """Row of the site's weather reasoning, shared by the blocks of a site."""
    digest: tuple[str, ...]
    """Hash of what the plan says, without the time it was said."""


@dataclass(frozen=True, slots=True)
class NewVersions:
    """Which of the rows that were to be published became new versions."""

    rows: Ints
    """Their places among the rows."""
    versions: Ints

    @property
    def count(self) -> int:
        """How many there are."""
        return int(self.rows.size)


@dataclass(frozen=True, slots=True)
class BlockLabel:
    """What a plan calls its block."""

    block_id: str
    name: str
    farm_id: str


@dataclass(frozen=True, slots=True)
class PlanText:
    """A plan as it is read, and the farm it belongs to."""

    farm_id: str
    text: bytes


@dataclass(frozen=True, slots=True)
class PlansInForce:
    """The plans in force for a day, in the order of the blocks asked for."""

    planned_min: Floats
    """NaN where a block has no plan for that day."""
    pulses: tuple[tuple[tuple[int, int], ...], ...]
    """Start and length of each pulse, in minutes."""
    need_mm: Floats
    """Net need that the plan answers; NaN where there is none or it was not known."""
    order_keys: tuple[str, ...]
    """Which injection order the plan answers; empty where there was none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedPlan:
    """One stored version of one block's plan for one day."""

    plan_key: int
    block_id: str
    day: date
    version: int
    status: str
    issued_at: datetime
    superseded_at: datetime | None
    planned_min: int
    gross_mm: float
    net_mm: float
    pulses: tuple[tuple[int, int], ...]
    numbers: Mapping[str, object]
    basis: Mapping[str, object]
    """The site's weather reasoning."""


# --- what controllers are told -------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredController:
    """A controller as it is stored."""

    controller_key: int
    definition: ControllerDefinition
    retired_at: datetime | None
    """When it was taken out of its farm; None: in use."""


@dataclass(frozen=True, slots=True)
class ChannelPlans:
    """Plans in force behind the channels of some controllers: one row per channel and day."""

    block_keys: Ints
    days: Days
    status: tuple[str, ...]
    pulses: tuple[str, ...]
    """JSON ``[[start_min, duration_min], ...]``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramRow:
    """A controller's program, ready to be sent: all but the server's time stands in the texts."""

    controller_key: int
    version: int
    issued_at: datetime
    digest: str
    """Hash of what the program says, without when it was said."""
    json_text: str
    csv_text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredProgram:
    """What a poll is answered from."""

    controller_id: str
    farm_id: str
    is_retired: bool
    program: ProgramRow | None
    """None: nothing was published for this controller yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanVersion:
    """The pulses of one version of a block's plan, for a calendar."""

    block_id: str
    block_name: str
    is_retired: bool
    """The block is out of force on that day."""
    day: date
    version: int
    status: str
    issued_at: datetime
    superseded_at: datetime | None
    pulses: tuple[tuple[int, int], ...]


# --- the pipes and the water -------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class CatchTest:
    """Volumes caught in equal times at emitters spread over a block."""

    block_id: str
    day: date
    caught_ml: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterSample:
    """A laboratory's report on the water of a supply, as it was written."""

    farm_id: str
    supply_id: str
    day: date
    """On which the sample was taken."""
    laboratory: str
    readings: tuple[Reading, ...]
    temperature_c: float
    """Of the water in the pipes."""
    titration: tuple[TitrationPoint, ...] = ()
    """Of the same water with strong acid, where somebody made one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowFinding:
    """What the metered runs of a block showed on a day."""

    block_id: str
    day: date
    """Of the last run looked at."""
    verdict: str
    """Name of a flow verdict."""
    document: Mapping[str, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class FertigationOrder:
    """What is to be injected into one block on one day, and with which means."""

    block_id: str
    day: date
    product_kg: tuple[tuple[Product, float], ...]
    """What goes in that day."""
    stock_l: float
    """Litres of stock solution that hold it."""
    temperature_c: float
    """Lowest that the tank sees."""
    injector_lowest_l_per_h: float
    injector_highest_l_per_h: float
    largest_added_min: int = 0
    """Minutes of water that may be added to make the injection fit."""
    fill_min: float | None = None
    """None: from the block's pipes."""
    travel_min: float | None = None
    """None: from the block's pipes."""
    water_ec_ds_m: float = 0.0
    is_ammonium_preferred: bool = False
    last_nitrogen_day: date | None = None


# --- mail --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanMark:
    """A farm's plans for a day, as far as it matters for mailing them."""

    farm_id: str
    zone: str
    plan_version: int
    """1 and one more for each plan of a block that has been replaced."""
    minutes: Mapping[str, int | None]
    """Planned minutes by block id; None: nothing could be planned."""
    injections: Mapping[str, str] = field(default_factory=dict)
    """By block id the order that is injected and when, as ``0f3c 360-420 600-630``, in minutes of
    the day; without times it does not fit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MailOrder:
    """A mail to be written and sent: one per (person, farm, day, kind, version)."""

    person_key: int
    farm_id: str
    """Empty for a mail that is about no single farm."""
    plan_day: date
    """Day of the plan, or last day of the week."""
    kind: str
    plan_version: int = 1
    said: Mapping[str, int | str | None] = field(default_factory=dict)
    """The minutes and injections that the mail tells, to see later whether they changed."""
    expires_at: datetime
    """After this it is of no use any more and is dropped."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QueuedMail:
    """An order that a sender has taken."""

    mail_key: int
    order: MailOrder
    person: KnownPerson
    attempt_count: int
    """This attempt included."""
    message_id: str
    """Empty until it is written."""
    message: bytes
    """The bytes to send; empty until it is written."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MailRow:
    """An order and what became of it, for looking at."""

    mail_key: int
    mail_address: str
    farm_id: str
    plan_day: date
    kind: str
    plan_version: int
    state: str
    """``queued``, ``sending``, ``sent``, ``failed`` or ``dropped``."""
    attempt_count: int
    queued_at: datetime
    changed_at: datetime
    last_reply: str
