"""Blocks, short and in full."""

from __future__ import annotations

from datetime import date
from typing import Self

from pydantic import Field

from service.agronomy.civil_day import wall_text
from service.agronomy.records import CurveDefinition, NoWaterPeriod, WallWindow
from service.agronomy.risk_attitude import attitude_name
from service.api.schemas.facts import Out, is_absent, known
from service.api.schemas.pages import PageOut
from service.operations.evening.plan_rows import SHOWN_DECIMALS
from service.records.farms import BLOCK_NUMBERS, BlockDefinition
from service.records.timers import TimerSettings


class BlockSummaryOut(Out):
    """A block in a list."""

    block_id: str = Field(description="Full block id, `farm.block`.")
    farm_id: str
    name: str
    crop_key: str = Field(description="Row of the crop table.")
    site_id: str = Field(description="Site whose weather is used.")
    supply_id: str = Field(description="Water supply of the block.")
    area_m2: float = Field(description="Ground area, m².")

    @classmethod
    def from_record(cls, block: BlockDefinition) -> Self:
        """The summary of a definition."""
        return cls(
            block_id=block.block_id,
            farm_id=block.farm_id,
            name=block.name,
            crop_key=block.crop_key,
            site_id=block.site_id,
            supply_id=block.supply_id,
            area_m2=round(block.area_m2, SHOWN_DECIMALS),
        )


class BlockPageOut(PageOut[BlockSummaryOut]):
    """A page of blocks, by id."""

    next: str | None = Field(
        None,
        exclude_if=is_absent,
        description="Address of the next page, relative to this service; absent on the last one.",
    )


class WindowOut(Out):
    """A daily span of local time in which the block may run."""

    opens_local: str = Field(description="HH:MM on the local clock.")
    closes_local: str = Field(description="HH:MM on the local clock, up to 24:00.")

    @classmethod
    def from_record(cls, window: WallWindow) -> Self:
        """The span in clock times."""
        return cls(
            opens_local=wall_text(window.opens_wall_min),
            closes_local=wall_text(window.closes_wall_min),
        )


class NoWaterOut(Out):
    """A span in which the block must not run."""

    starts_local: str = Field(description="Local date and time, without an offset.")
    ends_local: str = Field(description="Local date and time, without an offset.")
    reason: str

    @classmethod
    def from_record(cls, period: NoWaterPeriod) -> Self:
        """The span in clock times."""
        return cls(
            starts_local=period.starts_local.isoformat(),
            ends_local=period.ends_local.isoformat(),
            reason=period.reason,
        )


class CurvePointOut(Out):
    """A point of a crop coefficient curve of the block's own."""

    month_day: str = Field(description="MM-DD.")
    crop_coefficient: float = Field(description="Kc, dimensionless.")


class CurveOut(Out):
    """How the crop coefficient runs through the season."""

    basis: str = Field(
        description="`days`: stages in days since the start; `degree-days`: stages in degree days"
        " since the start; `table`: the block's own points."
    )
    season_start: str = Field(description="MM-DD on which the season or the count starts.")
    stage_ends: list[float] = Field(
        description="Ends of the initial, development, mid and late stage since the start: days,"
        " or degree days in °C day."
    )
    degree_day_floor_c: float | None = Field(
        description="Temperature below which no degree days are counted, °C."
    )
    points: list[CurvePointOut]

    @classmethod
    def from_record(cls, curve: CurveDefinition) -> Self:
        """The curve with its days as MM-DD."""
        return cls(
            basis=curve.basis,
            season_start=_month_day(*curve.season_start),
            stage_ends=list(curve.stage_knots),
            degree_day_floor_c=curve.degree_day_floor_c,
            points=[
                CurvePointOut(month_day=_month_day(month, day), crop_coefficient=value)
                for month, day, value in curve.points
            ],
        )


class TimerSettingsOut(Out):
    """What the timer of a block can be set to."""

    start_count: int = Field(description="Start times a day.")
    run_step_min: float = Field(description="Shortest step of the run time, min.")
    days: str = Field(description="How its days are chosen: `every-day`, `weekdays`, `interval`.")
    set_weekday: int = Field(description="Day on which it is set, 1 Monday to 7 Sunday.")

    @classmethod
    def from_record(cls, timer: TimerSettings) -> Self:
        """The settings."""
        return cls(
            start_count=timer.start_count,
            run_step_min=timer.run_step_min,
            days=timer.day_rule.name.lower().replace("_", "-"),
            set_weekday=timer.set_weekday,
        )


class BlockOut(Out):
    """A block as of a day: every number the plans are computed with, and its origin."""

    block_id: str = Field(description="Full block id, `farm.block`.")
    farm_id: str
    name: str
    crop_key: str = Field(description="Row of the crop table.")
    site_id: str = Field(description="Site whose weather is used.")
    supply_id: str = Field(description="Water supply of the block.")
    balance_start: date | None = Field(
        description="First day of the ledger as given; null: from the first evening, or from an"
        " earlier reported run."
    )
    curve: CurveOut
    windows: list[WindowOut]
    no_water: list[NoWaterOut]
    timer: TimerSettingsOut | None = Field(
        description="Its timer, where one program holds until somebody changes it; null: the plan"
        " may change every day."
    )
    visits: list[WindowOut] = Field(
        description="When somebody is there to open its valve by hand: every pulse starts within"
        " one of these; empty: it opens at any minute."
    )
    area_m2: float | None = Field(description="Ground area, m².")
    row_spacing_m: float | None = Field(description="Distance between rows, m.")
    emitter_spacing_m: float | None = Field(description="Distance between emitters, m.")
    laterals_per_row_count: float | None = Field(description="Drip lines per row.")
    emitter_flow_l_per_h: float | None = Field(description="Flow of one emitter, L/h.")
    emission_uniformity_pct: float | None = Field(description="Emission uniformity, %.")
    fill_time_min: float | None = Field(description="Fill time, until all emitters drip, min.")
    longest_pulse_min: float | None = Field(description="The grower's longest pulse, min.")
    daily_maximum_min: float | None = Field(description="Maximum run time per day, min.")
    daily_pulse_count: float | None = Field(
        description="Most pulses of a day; null: no limit, of a block stored before there was one."
    )
    priority: float | None = Field(
        description="Rank on a short supply, 1 to 9: 1 is served first, 9 last, equal numbers share"
        " alike; null: as 5, of a block stored before there were ranks."
    )
    news_fraction: float | None = Field(
        description="Share of the need from which water that has to wait is worth a caution."
    )
    news_depth_mm: float | None = Field(description="Depth from which it is, mm.")
    off_ratio: float | None = Field(
        description=("Off time after a pulse, as a multiple of its length.")
    )
    valve_gap_s: float | None = Field(description="Gap for valve switching after a pulse, s.")
    leakage_fraction: float | None = Field(
        description="Share of the metered water that does not reach the emitters; null: none."
    )
    leaching_fraction: float | None = Field(
        description=("Leaching fraction, extra water against salt; 0: off.")
    )
    transmission_ratio: float | None = Field(description="Peak-use transmission ratio; 1: off.")
    trigger_fraction: float | None = Field(
        description="Share of the readily available water depleted at which irrigation starts."
    )
    rain_room_fraction: float | None = Field(
        description="Share of the readily available water left empty for rain."
    )
    risk_attitude: str = Field(
        description="What the grower would rather risk: `classic` (the evening rule of trigger and"
        " rain room), `careful-crop`, `balanced` or `careful-water` (the least water that a"
        " forecast with a spread calls for)."
    )
    freeze_hold_c: float | None = Field(
        description="No water in hours expected below this temperature, °C."
    )
    watering_start_doy: int | None = Field(
        description="First day of the watering season, in a year of 365 days; null: all year."
    )
    watering_end_doy: int | None = Field(
        description="Last day of the watering season; before the start: across the turn of the"
        " year."
    )
    field_capacity: float | None = Field(description="Soil water at field capacity, m³/m³.")
    wilting_point: float | None = Field(description="Soil water at wilting point, m³/m³.")
    saturated_conductivity_mm_per_h: float | None = Field(
        description="Saturated conductivity of the soil, mm/h."
    )
    grain: str | None = Field(description="Texture group: `coarse`, `medium` or `fine`.")
    curve_number: float | None = Field(description="SCS curve number; null: no runoff is computed.")
    wetted_fraction: float | None = Field(description="Share of the ground that the drip wets.")
    root_depth_m: float | None = Field(description="Depth of the managed root zone, m.")
    root_depth_is_scaled: bool = Field(
        description="True: the full-size depth, reached with age; false: this year's."
    )
    root_share_of_wetted: float | None = Field(
        description="Share of the applied water that reaches rooted soil."
    )
    alley_root_fraction: float | None = Field(
        description="Share of the ground outside the wet strip that full-size plants root; rain"
        " stored there is used first. Null: 0, of a block stored before there was one."
    )
    root_share_is_scaled: bool = Field(
        description="True: the full-size share, reached with age; false: this year's."
    )
    canopy_cover_fraction: float | None = Field(description="Ground shaded at full leaf.")
    canopy_height_m: float | None = Field(description="Height of the canopy, m.")
    canopy_is_scaled: bool = Field(
        description="True: the full-size cover, reached with age; false: as measured."
    )
    canopy_height_is_scaled: bool = Field(
        description="True: the full-size height, reached with age; false: as measured."
    )
    canopy_measured_year: float | None = Field(
        description="When cover and height were measured, as a year with the part that had passed:"
        " they grow from there; null: they are this year's."
    )
    full_cover_fraction: float | None = Field(description="What a measured cover grows to.")
    full_height_m: float | None = Field(description="What a measured height grows to, m.")
    planting_year: int | None = Field(
        description=("Calendar year of planting; null: already full size.")
    )
    years_to_full_size: float | None = Field(description="Years from planting to full size.")
    mulch_cover_fraction: float | None = Field(
        description="Share of the wetted strip under film, fabric or an organic mulch."
    )
    mulch_rain_pass_fraction: float | None = Field(
        description="Share of the rain on the mulch that enters the soil under it."
    )
    mulch_kc_initial: float | None = Field(
        description="Crop coefficient of the initial stage if the mulch covered the whole strip."
    )
    mulch_kc_reduction_fraction: float | None = Field(
        description="Share that such a mulch takes off the later crop coefficients."
    )
    kc_initial: float | None = Field(description="Crop coefficient of the initial stage.")
    kc_mid: float | None = Field(description="Crop coefficient of the mid season.")
    kc_end: float | None = Field(description="Crop coefficient at the end of the late stage.")
    kc_off_season: float | None = Field(description="Crop coefficient outside the season.")
    table_height_m: float | None = Field(
        description="Height of the crop that the coefficients were measured on, m."
    )
    reference_canopy_ratio: float | None = Field(
        description="Density coefficient of the crop that the coefficients were measured on."
    )
    canopy_density_factor: float | None = Field(
        description="ML: what the cover of a small canopy is multiplied by in its density."
    )
    ground_kc: float | None = Field(
        description="Crop coefficient of the ground between the plants; null: bare soil."
    )
    depletion_fraction: float | None = Field(
        description=(
            "Depletion fraction p: share of the stored water that is readily available at 5 mm/d."
        )
    )
    initial_depletion_mm: float | None = Field(
        description="Depletion on the first morning of the ledger, mm; null: assumed to be 0."
    )
    last_nitrogen_doy: int | None = Field(
        description="The block's own last day for nitrogen, in a year of 365 days; null: the"
        " default by crop and place."
    )
    origins: dict[str, str] = Field(
        description="Where each number comes from: `given`, or the source of the default."
    )

    @classmethod
    def from_record(cls, block: BlockDefinition) -> Self:
        """The definition without NaN and codes."""
        numbers = {name: known(getattr(block, name)) for name in BLOCK_NUMBERS}
        whole = (
            "planting_year", "watering_start_doy", "watering_end_doy", "last_nitrogen_doy",
        )  # fmt: skip
        counts = {name: numbers.pop(name) for name in whole}
        del numbers["texture_group"], numbers["risk_attitude"]
        facts: dict[str, object] = {
            **numbers,
            **{name: None if count is None else int(count) for name, count in counts.items()},
            "grain": block.texture_group.name.lower(),
            "risk_attitude": attitude_name(block.risk_attitude),
            "balance_start": block.balance_start,
            "curve": CurveOut.from_record(block.curve),
            "windows": [WindowOut.from_record(window) for window in block.windows],
            "timer": None if block.timer is None else TimerSettingsOut.from_record(block.timer),
            "visits": [WindowOut.from_record(visit) for visit in block.visits],
            "no_water": [NoWaterOut.from_record(period) for period in block.no_water],
            "origins": {
                "grain" if name == "texture_group" else name: origin
                for name, origin in block.origins.items()
            },
        }
        for name in ("block_id", "farm_id", "name", "crop_key", "site_id", "supply_id"):
            facts[name] = getattr(block, name)
        for name in (name for name in BLOCK_NUMBERS if name.endswith("_is_scaled")):
            facts[name] = getattr(block, name)
        return cls.model_validate(facts)


def _month_day(month: int, day: int) -> str:
    return f"{month:02d}-{day:02d}"
