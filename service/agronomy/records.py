"""The records that travel through the agronomy rooms: arrays over blocks, and a day's plan.

A *batch* holds one array per fact, all over the same blocks in the same order, so that a step is
arithmetic on whole arrays. Numbers are float64 unless stated otherwise; NaN means "not known".
Names, units and ranges are those of :mod:`service.agronomy.units`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from service.pulses import Pulse

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Days = NDArray[np.datetime64]


@dataclass(frozen=True, slots=True)
class SiteBatch:
    """Places with weather, arrays (sites,)."""

    latitude_deg: Floats
    longitude_deg: Floats
    elevation_m: Floats
    zones: tuple[str, ...]
    """IANA zone name of each site."""


@dataclass(frozen=True, slots=True)
class CropBatch:
    """What grows in each block and how big it is, arrays (blocks,)."""

    kc_initial: Floats
    kc_mid: Floats
    kc_end: Floats
    kc_off_season: Floats
    table_height_m: Floats
    """Height of the crop table's row, used by the climate adjustment (FAO-56 Eq. 62)."""
    reference_canopy_ratio: Floats
    """Kd of the canopy that the table row describes (density coefficient, dimensionless)."""
    canopy_density_factor: Floats
    """ML: what a small cover is multiplied by in Kd."""
    canopy_cover_fraction: Floats
    """Effective ground cover at full leaf of the year in question."""
    canopy_height_m: Floats
    mulch_cover_fraction: Floats
    """Share of the drip-wetted strip under film, fabric or an organic mulch."""
    mulch_kc_initial: Floats
    """Kc of the initial stage where the mulch covers all of the strip."""
    mulch_kc_reduction_fraction: Floats
    """Share that such a mulch takes off Kc mid and Kc end."""
    depletion_fraction: Floats
    """p of the crop table, at 5 mm/d."""
    curve_basis: Ints
    """0: days since season start; 1: growing degree days; 2: the block's own Kc table."""
    season_start_doy: Ints
    """Day of a 365-day year on which the season (or the degree-day count) starts, 1..365."""
    stage_knot: Floats
    """(blocks, 4) ends of the initial, development, mid and late stage, as days or degree days
    since the season start (NaN for basis 2)."""
    degree_day_floor_c: Floats
    """Temperature below which no degree days are counted (NaN unless basis 1)."""
    kc_table_doy: Floats
    """(blocks, points) day-of-year knots of the block's own table, rising, padded with NaN."""
    kc_table_value: Floats
    """(blocks, points) Kc at those knots, padded with NaN."""
    ground_kc: Floats
    """Kc of the ground between the plants, which a smaller canopy does not reduce."""


@dataclass(frozen=True, slots=True)
class SoilBatch:
    """The soil and the part of it that is managed, arrays (blocks,)."""

    field_capacity: Floats
    wilting_point: Floats
    saturated_conductivity_mm_per_h: Floats
    root_depth_m: Floats
    wetted_fraction: Floats
    """f_w: share of the block's ground wetted by the drip."""
    root_share_of_wetted: Floats
    """g: share of the applied water that reaches rooted soil."""
    mulch_cover_fraction: Floats
    mulch_rain_pass_fraction: Floats
    """phi: share of the rain on mulch that enters the soil under it."""
    curve_number: Floats
    """SCS curve number; NaN where no runoff is computed."""


@dataclass(frozen=True, slots=True)
class SystemBatch:
    """The drip system of each block and the rules of its running, arrays (blocks,)."""

    application_rate_mm_per_h: Floats
    """Gross depth over the whole block area per hour of running."""
    emitter_flow_l_per_h: Floats
    emission_uniformity_pct: Floats
    flow_l_per_h: Floats
    """Flow of the whole block while it runs."""
    fill_time_min: Floats
    grower_longest_pulse_min: Floats
    """The grower's own limit to the length of a pulse."""
    daily_maximum_min: Floats
    off_ratio: Floats
    """Off time after a pulse, as a multiple of its length."""
    valve_gap_s: Floats
    leaching_fraction: Floats
    """0 unless leaching is turned on."""
    transmission_ratio: Floats
    """1 unless a peak-use transmission ratio is turned on."""
    trigger_fraction: Floats
    """Share of RAW at which the evening plan waters."""
    rain_room_fraction: Floats
    """Share of RAW left empty for rain when it waters."""
    freeze_hold_c: Floats
    """No pulse runs in hours expected below this temperature."""
    watering_start_doy: Floats
    """First day of the watering season, in a year of 365 days."""
    watering_end_doy: Floats
    """Last day of the watering season; before its start where it passes the turn of the year."""
    supply_index: Ints
    """Row of the block's supply in the supply arrays."""
    daily_pulse_count: Floats
    """Most pulses of a day; infinite where there is no limit."""
    leakage_fraction: Floats
    """Share of the metered water that does not reach the emitters."""
    priority: Ints
    """Rank on a short supply: the smallest number first, equal numbers in equal shares."""


@dataclass(frozen=True, slots=True)
class WindowBatch:
    """When each block may run on one civil day, in minutes elapsed since local midnight."""

    opens_min: Ints
    """(blocks, windows) first minute of each window; unused slots have opens = closes = 0."""
    closes_min: Ints
    """(blocks, windows) end of each window, exclusive; windows of a block rise and do not touch."""
    is_outage: NDArray[np.bool_]
    """(blocks,) a no-water period or hours of every week without water remove part of that day."""
    held_min: Floats | None = None
    """(blocks,) minutes that a freeze hold has taken from the windows; None: from no block."""
    visit_opens_min: Ints | None = None
    """(blocks, visits) when somebody comes to open a valve by hand; unused slots have opens =
    closes = 0, and a block without a visit opens by itself; None: no block has one."""
    visit_closes_min: Ints | None = None
    """(blocks, visits) when they leave; the windows stay the hours in which the block may run."""
    dry_spans: tuple[tuple[tuple[int, int], ...], ...] = ()
    """(blocks,) what has no water whatever the windows say: no-water periods and weekly hours, in
    minutes of that day; empty: no block has any."""


@dataclass(frozen=True, slots=True)
class PulseBatch:
    """Pulses of many blocks on one day, as one flat list per quantity.

    The pulses of block ``b`` are the entries ``offset[b]:offset[b + 1]``, in order of time.
    """

    offset: Ints
    """(blocks + 1,)"""
    start_min: Ints
    """(pulses,) minutes elapsed since local midnight."""
    duration_min: Ints
    """(pulses,)"""

    @classmethod
    def of_rows(cls, rows: Iterable[Sequence[Pulse]]) -> PulseBatch:
        """The pulses of blocks that are given one after the other."""
        pulses: list[Pulse] = []
        ends = [0]
        for own in rows:
            pulses.extend(own)
            ends.append(len(pulses))
        table = np.array(pulses, dtype=np.int64).reshape(-1, 2)
        return cls(
            offset=np.array(ends, dtype=np.int64),
            start_min=table[:, 0].copy(),
            duration_min=table[:, 1].copy(),
        )

    def of_block(self, block: int) -> tuple[Pulse, ...]:
        """The pulses of one block (row number)."""
        own = slice(self.offset[block], self.offset[block + 1])
        return tuple(map(Pulse, self.start_min[own].tolist(), self.duration_min[own].tolist()))

    def count(self) -> Ints:
        """Number of pulses of each block, (blocks,)."""
        return np.diff(self.offset)

    def total_min(self) -> Ints:
        """Minutes of running of each block, (blocks,)."""
        running = np.concatenate(([0], np.cumsum(self.duration_min)))
        total: Ints = running[self.offset[1:]] - running[self.offset[:-1]]
        return total


@dataclass(frozen=True, slots=True)
class WallWindow:
    """A daily span of wall-clock time, in minutes since 00:00; closes up to 1440."""

    opens_wall_min: int
    closes_wall_min: int


@dataclass(frozen=True, slots=True)
class NoWaterPeriod:
    """A span without irrigation (harvest, spraying, maintenance), local wall-clock times."""

    starts_local: datetime
    ends_local: datetime
    reason: str


@dataclass(frozen=True, slots=True)
class WeeklyNoWater:
    """Hours of every week in which a supply gives no water, in local wall-clock time."""

    weekdays: tuple[int, ...]
    """The days on which they begin, 1 Monday to 7 Sunday."""
    starts_wall_min: int
    ends_wall_min: int
    """1 to 1440; on the next day where it is not after the start."""
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveDefinition:
    """How a block's crop coefficient runs through the season."""

    basis: str
    """``days``, ``degree-days`` or ``table``."""
    season_start: tuple[int, int]
    """(month, day) of the season's start, or of the start of the degree-day count."""
    stage_knots: tuple[float, ...] = ()
    """Ends of initial, development, mid and late stage since the start: days or degree days."""
    degree_day_floor_c: float | None = None
    points: tuple[tuple[int, int, float], ...] = ()
    """(month, day, Kc) of the block's own table, for basis ``table``."""
