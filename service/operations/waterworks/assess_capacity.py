"""Whether pump and windows keep up in the summers on record, and what would help.

Each summer is scheduled as :mod:`service.operations.review.hindcast` does, once for the farm as it
is and once for each change; years whose weather has a gap are left out and named. All summers have
the plants of one year: a young planting was not there in most of the summers, and it will grow.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from service.agronomy.block_batch import canopy_size
from service.agronomy.capacity import keeps_below_allowed, peak_over_days
from service.agronomy.records import Days, Floats, WallWindow
from service.agronomy.root_zone import size_by_age, wetted_fraction
from service.errors import InputInvalid
from service.operations.reading.block_pipes import expected_flow_l_per_h
from service.operations.review.hindcast import Hindcast
from service.operations.run_here import RunHere
from service.operations.waterworks import pump_sizes
from service.operations.waterworks.past_summers import Past, Summers
from service.operations.waterworks.peak_needs import (
    PEAK_SPANS_DAYS,
    DesignPeak,
    PeakRow,
    design_peak,
    open_time_h,
    peak_rows,
    use_cautions,
)
from service.ports import StudyRunner
from service.records.farms import BlockDefinition, FarmBundle, SupplyDefinition, number_columns
from service.records.studies import Study, Tick
from service.translations.catalogue import marked

NORTHERN_SUMMER = ((4, 1), (10, 31))
SOUTHERN_SUMMER = ((10, 1), (4, 30))
FEW_YEARS = 10
WHOLE_DAY = (WallWindow(0, 1440),)
MONTH_DAY = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Summer:
    """One summer of the farm as it is; arrays (blocks,)."""

    first_day: date
    last_day: date
    keeps_up: tuple[bool, ...]
    largest_excess_mm: Floats
    """Largest depletion of an evening beyond the readily available water; negative: below it."""
    peak_need_mm: Mapping[int, Floats]
    """Net need, by number of consecutive days."""


@dataclass(frozen=True, slots=True)
class Change:
    """A change that could be made to a supply, and what it would bring."""

    name: str
    text: str
    kept_share: float | None
    """Share of summers in which every block keeps up; None if the change is impossible."""
    kept_by_block: tuple[float, ...]
    reason: str = ""
    """Why the change is impossible."""


@dataclass(frozen=True, slots=True)
class SupplyCapacity:
    """One supply with its blocks over the summers on record."""

    supply_id: str
    flow_l_per_h: float
    area_ha: float
    open_time_h: float
    block_ids: tuple[str, ...]
    summers: tuple[Summer, ...]
    changes: tuple[Change, ...]
    """The first is the supply as it is."""
    peaks: tuple[PeakRow, ...]
    design_peak: DesignPeak
    largest: pump_sizes.LargestBlock


@dataclass(frozen=True, slots=True)
class Capacity:
    """All supplies of a farm."""

    supplies: tuple[SupplyCapacity, ...]
    left_out: tuple[str, ...]
    """Summers whose weather is unusable, with the reason."""
    cautions: tuple[str, ...]


def assess_capacity(
    bundle: FarmBundle,
    days: Days,
    fields: Mapping[str, Floats],
    *,
    season_year: int | None = None,
    summer: tuple[MONTH_DAY, MONTH_DAY] | None = None,
    progress: Callable[[int], None] | None = None,
    runner: StudyRunner | None = None,
) -> Capacity:
    """Capacity of a farm's supplies over the years of one place's weather.

    season_year: calendar year whose plant size counts in every summer; None: the last one of the
    weather. runner: what the supplies are run by; None: this process. Raises WeatherInvalid if no
    summer is complete, InputInvalid for a farm without blocks.
    """
    if not bundle.blocks:
        raise InputInvalid("there is nothing to assess: the farm holds no block")
    past = Past(
        days=days,
        fields=fields,
        spans=_summers(days, *(summer or _summer_of(bundle))),
        season_year=_season_year(days, season_year),
    )
    parts = _parts(bundle)
    found = (runner or RunHere()).run(
        Study(
            work=_work,
            shared=past,
            parts=parts,
            step_counts=[len(past.spans) * _runs_each(each, past.season_year) for each in parts],
        ),
        progress=progress,
    )
    supplies = [supply for supply, _ in found]
    left_out = dict.fromkeys(text for _, texts in found for text in texts)
    cautions = _cautions(bundle, supplies, past.season_year)
    return Capacity(tuple(supplies), tuple(left_out), tuple(cautions))


_Part = tuple[FarmBundle, SupplyDefinition]
"""A supply with the farm of its blocks alone."""


def _parts(bundle: FarmBundle) -> list[_Part]:
    used = {block.supply_id for block in bundle.blocks}
    return [
        (of_supply(bundle, supply), supply)
        for supply in bundle.supplies
        if supply.supply_id in used
    ]


def _work(past: Past, part: _Part, tick: Tick) -> tuple[SupplyCapacity, tuple[str, ...]]:
    """One supply, and the summers that were left out."""
    record = Summers(past=past, progress=tick)
    return _assess_supply(*part, record), tuple(record.left_out)


def _cautions(
    bundle: FarmBundle, supplies: Sequence[SupplyCapacity], season_year: int
) -> list[str]:
    """Cautions to read with the figures."""
    cautions = [
        marked(
            "Shares count summers in which every block stays within its readily available water"
            " each evening, if nothing breaks and each evening knows the next day's weather."
        ),
        marked(
            "Flow and area assume that water runs in every open hour; keep a reserve for repairs."
        ),
    ]
    if not all(math.isnan(block.planting_year) for block in bundle.blocks):
        cautions.append(f"The plants count in every summer as large as they are in {season_year}.")
    in_inches = bundle.farm is not None and bundle.farm.unit_system == "us"
    for each in supplies:
        cautions += use_cautions(each.supply_id, each.design_peak, in_inches=in_inches)
        cautions += pump_sizes.block_cautions(bundle, each.supply_id, each.largest, each.peaks)
    year_count = min(len(each.summers) for each in supplies)
    if year_count < FEW_YEARS:
        cautions.append(
            f"{year_count} {'summer is' if year_count == 1 else 'summers are'} few: what 90 or 95 %"
            " of years stay below is then hardly more than the largest one seen."
        )
    return cautions


def run_count(bundle: FarmBundle, days: Days, season_year: int | None = None) -> int:
    """Number of seasons that :func:`assess_capacity` will run, for a progress bar."""
    year = _season_year(days, season_year)
    summer_count = len(_summers(days, *_summer_of(bundle)))
    return summer_count * sum(_runs_each(part, year) for part in _parts(bundle))


def _runs_each(part: _Part, season_year: int) -> int:
    """How often each summer of a supply is run."""
    bundle, supply = part
    is_young = any(_is_growing(block, season_year) for block in bundle.blocks)
    return 3 + len(pump_sizes.PUMP_FACTORS) + is_young + bool(supply.weekly_no_water)


def _season_year(days: Days, season_year: int | None) -> int:
    if season_year is not None or days.size == 0:
        return season_year or 0
    last_day: date = days[-1].item()
    return last_day.year


def _assess_supply(bundle: FarmBundle, supply: SupplyDefinition, record: Summers) -> SupplyCapacity:
    year = record.past.season_year
    growing = bundle if any(_is_growing(each, year) for each in bundle.blocks) else None
    bundle = replace(bundle, blocks=tuple(_as_of_year(each, year) for each in bundle.blocks))
    runs = record.whole_summers(bundle)
    summers = tuple(_summer(first, last, run) for first, last, run in runs)
    changes = [_kept("now", "pump and windows as they are", summers)]
    for name, text, changed, reason in _changed_bundles(bundle, supply, growing):
        if reason:
            record.pass_over(runs)
            changes.append(Change(name, text, None, (), reason))
            continue
        tried = [_summer(first, last, record.run(changed, first, last)) for first, last, _ in runs]
        changes.append(_kept(name, text, tried))
    open_h = open_time_h(bundle, supply)
    return SupplyCapacity(
        supply_id=supply.supply_id,
        flow_l_per_h=supply.flow_l_per_h,
        area_ha=sum(block.area_m2 for block in bundle.blocks) / 1e4,
        open_time_h=open_h,
        block_ids=tuple(block.block_id for block in bundle.blocks),
        summers=summers,
        changes=tuple(changes),
        peaks=peak_rows(bundle, supply, runs, open_h),
        design_peak=design_peak(bundle, runs),
        largest=pump_sizes.largest_block(bundle),
    )


def _summer(first_day: date, last_day: date, run: Hindcast) -> Summer:
    rows = run.days >= np.datetime64(first_day)
    depletion, raw = run.season.ledger.depletion_end_mm[rows], run.season.crop.raw_mm[rows]
    need = (run.season.crop.zone_et_mm - run.season.crop.rain_entering_mm)[rows]
    return Summer(
        first_day=first_day,
        last_day=last_day,
        keeps_up=tuple(keeps_below_allowed(depletion, raw).tolist()),
        largest_excess_mm=np.asarray((depletion - raw).max(axis=0)),
        peak_need_mm={span: peak_over_days(need, span) for span in PEAK_SPANS_DAYS},
    )


def _kept(name: str, text: str, summers: Sequence[Summer]) -> Change:
    kept = np.array([summer.keeps_up for summer in summers], dtype=np.float64)
    return Change(
        name,
        text,
        kept_share=float(kept.min(axis=1).mean()),
        kept_by_block=tuple(kept.mean(axis=0).tolist()),
    )


def _changed_bundles(
    bundle: FarmBundle, supply: SupplyDefinition, growing: FarmBundle | None
) -> list[tuple[str, str, FarmBundle, str]]:
    """Name, words, changed farm and, where it cannot be done, the reason."""
    found = pump_sizes.pump_changes(bundle, supply)
    always = replace(
        bundle,
        supplies=(replace(supply, windows=WHOLE_DAY),),
        blocks=tuple(replace(block, windows=WHOLE_DAY) for block in bundle.blocks),
    )
    found.append(("windows-24-h", "windows open day and night", always, ""))
    if supply.weekly_no_water:
        text = "water in the weekly hours without it too"
        delivered = replace(bundle, supplies=(replace(supply, weekly_no_water=()),))
        found.append(("weekly-hours", text, delivered, ""))
    doubled = tuple(_second_line(block) for block in bundle.blocks)
    reason = ""
    for block in doubled:
        flow = expected_flow_l_per_h(replace(block, layout=None))[0]
        if flow > supply.flow_l_per_h * (1.0 + 1e-9):
            flows = (flow, supply.flow_l_per_h)
            takes, gives = (pump_sizes.flow_words(each, bundle) for each in flows)
            reason = f"block {block.block_id} would take {takes}, the supply gives {gives}: "
            reason += "split the block or enlarge the pump"
    text = "a second drip line in each row"
    found.append(("second-line", text, replace(bundle, blocks=doubled), reason))
    if growing is not None:
        blocks = tuple(_as_of_year(block, date.max.year) for block in growing.blocks)
        full = replace(growing, blocks=blocks)
        found.append(("full-grown", "plants at their full size, nothing else changed", full, ""))
    return found


def _is_growing(block: BlockDefinition, season_year: int) -> bool:
    """Whether the plants are below full size in a year."""
    return season_year - block.planting_year < block.years_to_full_size  # NaN: full-grown


def _as_of_year(block: BlockDefinition, season_year: int) -> BlockDefinition:
    """The block with the plants of one year, whatever summer it is scheduled in."""
    if math.isnan(block.planting_year):
        return block
    share = size_by_age(max(0.0, season_year - block.planting_year), block.years_to_full_size)
    cover, height_m = canopy_size(number_columns([block]), season_year)
    roots = float(share.root_depth_share) if block.root_depth_is_scaled else 1.0
    rooted = float(share.root_share_of_wetted) if block.root_share_is_scaled else 1.0
    return replace(
        block,
        planting_year=math.nan,
        root_depth_m=roots * block.root_depth_m,
        root_share_of_wetted=rooted * block.root_share_of_wetted,
        canopy_cover_fraction=float(cover[0]),
        canopy_height_m=float(height_m[0]),
    )


def _second_line(block: BlockDefinition) -> BlockDefinition:
    """A block with twice the drip lines; its wetted strip widens unless the grower measured it."""
    lines = 2.0 * block.laterals_per_row_count
    wetted = block.wetted_fraction
    if block.origins.get("wetted_fraction") != "given":
        wetted = max(
            wetted,
            float(
                wetted_fraction(
                    block.emitter_flow_l_per_h,
                    block.emitter_spacing_m,
                    block.texture_group,
                    row_spacing_m=block.row_spacing_m,
                    laterals_per_row_count=lines,
                    lateral_gap_m=None,
                )
            ),
        )
    return replace(block, laterals_per_row_count=lines, wetted_fraction=wetted)


def of_supply(bundle: FarmBundle, supply: SupplyDefinition) -> FarmBundle:
    """One supply of a farm with its blocks."""
    return replace(
        bundle,
        supplies=(supply,),
        blocks=tuple(block for block in bundle.blocks if block.supply_id == supply.supply_id),
    )


def _summer_of(bundle: FarmBundle) -> tuple[MONTH_DAY, MONTH_DAY]:
    used = {block.site_id for block in bundle.blocks}
    is_southern = any(site.latitude_deg < 0.0 for site in bundle.sites if site.site_id in used)
    return SOUTHERN_SUMMER if is_southern else NORTHERN_SUMMER


def _summers(days: Days, first: MONTH_DAY, last: MONTH_DAY) -> list[tuple[date, date]]:
    """Complete summers within the weather."""
    if days.size == 0:
        return []
    begin, end = days[0].item(), days[-1].item()
    spans = []
    for year in range(begin.year, end.year + 1):
        first_day = date(year, *first)
        last_day = date(year if last >= first else year + 1, *last)
        if begin <= first_day and last_day <= end:
            spans.append((first_day, last_day))
    return spans
