"""What a supply needs at its peak, from summers that were scheduled day by day.

In: the blocks of a supply and the schedules of its summers. Out: the need over consecutive days
that a share of the years stays below, and crop use over a week by the designer's rule.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from service.agronomy.capacity import (
    carried_area_ha,
    needed_flow_l_per_h,
    not_passed_in,
    peak_over_days,
    peak_transpiration_mm,
)
from service.agronomy.depth_rounding import bare_depth_text
from service.agronomy.root_zone import gross_depth_mm
from service.agronomy.sparse_canopy import full_cover_basal_coefficient
from service.agronomy.weekly_hours import WEEKDAYS, open_minutes
from service.operations.review.hindcast import Hindcast
from service.records.farms import BlockDefinition, FarmBundle, SupplyDefinition
from service.unit_sizes import MINUTES_PER_DAY

PEAK_SPANS_DAYS = (3, 7)
YEAR_SHARES = (0.50, 0.80, 0.90, 0.95)
DESIGN_SPAN_DAYS = 7
DESIGN_YEAR_SHARE = 0.90
DESIGN_DISAGREEMENT = 0.25
"""Ratio between the two peak figures beyond which Kc, canopy or weather deserve a second look."""


@dataclass(frozen=True, slots=True)
class PeakRow:
    """Need of a supply over consecutive days, not exceeded in a share of years."""

    span_days: int
    year_share: float
    net_mm: float
    """Total over these days, mean over the area of the supply's blocks."""
    gross_mm: float
    needed_flow_l_per_h: float
    carried_ha: float


@dataclass(frozen=True, slots=True)
class DesignPeak:
    """Peak crop use in the summers, and by the designer's rule from shade.

    Both over a week that nine of ten years stay below, mean over the area of a supply's blocks.
    """

    summer_use_mm: float
    shade_use_mm: float
    """Keller & Bliesner 1990: use of a closed canopy times a tenth of the root of percent shade."""

    @property
    def is_far_apart(self) -> bool:
        """Whether the two differ so much that one may rest on a wrong number."""
        apart = abs(self.summer_use_mm - self.shade_use_mm)
        return apart > DESIGN_DISAGREEMENT * self.shade_use_mm


def peak_rows(
    bundle: FarmBundle,
    supply: SupplyDefinition,
    runs: Sequence[tuple[date, date, Hindcast]],
    open_time_h: float,
) -> tuple[PeakRow, ...]:
    """What a supply needs at its peak, for each span of days and share of years."""
    area = np.array([block.area_m2 for block in bundle.blocks])
    gross_per_net = np.array([_gross_per_net(block) for block in bundle.blocks])
    rows = []
    for span in PEAK_SPANS_DAYS:
        net_peaks, gross_peaks = [], []
        for first_day, _, run in runs:
            own = run.days >= np.datetime64(first_day)
            need = (run.season.crop.zone_et_mm - run.season.crop.rain_entering_mm)[own]
            mean = np.asarray(need @ area / area.sum())
            net_peaks.append(float(peak_over_days(mean, span)))
            weighed = np.asarray(need * gross_per_net @ area / area.sum())
            gross_peaks.append(float(peak_over_days(weighed, span)))
        net = not_passed_in(net_peaks, YEAR_SHARES)
        gross = not_passed_in(gross_peaks, YEAR_SHARES)
        flow = needed_flow_l_per_h(gross, area.sum(), open_time_h, span)
        carried = carried_area_ha(supply.flow_l_per_h, gross, open_time_h, span)
        rows += [
            PeakRow(
                span_days=span,
                year_share=share,
                net_mm=float(net[place]),
                gross_mm=float(gross[place]),
                needed_flow_l_per_h=float(flow[place]),
                carried_ha=float(carried[place]),
            )
            for place, share in enumerate(YEAR_SHARES)
        ]
    return tuple(rows)


def design_peak(bundle: FarmBundle, runs: Sequence[tuple[date, date, Hindcast]]) -> DesignPeak:
    """Peak crop use in these summers, and by the rule from shade."""
    area = np.array([block.area_m2 for block in bundle.blocks])
    height_m = np.array([block.canopy_height_m for block in bundle.blocks])
    cover = np.array([block.canopy_cover_fraction for block in bundle.blocks])
    closed_kc = full_cover_basal_coefficient(height_m, 0.0)
    simulated, by_shade = [], []
    for first_day, _, run in runs:
        own = run.days >= np.datetime64(first_day)
        use = run.season.crop.crop_et_mm[own] @ area / area.sum()
        shade = peak_transpiration_mm(closed_kc * run.et0_mm[own], cover) @ area / area.sum()
        simulated.append(float(peak_over_days(use, DESIGN_SPAN_DAYS)))
        by_shade.append(float(peak_over_days(shade, DESIGN_SPAN_DAYS)))
    return DesignPeak(
        summer_use_mm=float(not_passed_in(simulated, DESIGN_YEAR_SHARE)),
        shade_use_mm=float(not_passed_in(by_shade, DESIGN_YEAR_SHARE)),
    )


def use_cautions(supply_id: str, peak: DesignPeak, *, in_inches: bool) -> list[str]:
    """Said where the two figures of the peak differ much."""
    if not peak.is_far_apart:
        return []
    shade, summer = (
        f"{bare_depth_text(depth_mm, in_inches=in_inches)} {'in' if in_inches else 'mm'}"
        for depth_mm in (peak.shade_use_mm, peak.summer_use_mm)
    )
    return [
        f"{supply_id}: the peak week of crop use by shade (Keller & Bliesner 1990) is {shade}, that"
        f" of the summers {summer}: look at crop coefficients and canopy."
    ]


def _gross_per_net(block: BlockDefinition) -> float:
    return float(
        gross_depth_mm(
            1.0,
            block.emission_uniformity_pct,
            block.root_share_of_wetted,
            transmission_ratio=block.transmission_ratio,
            leaching_fraction=block.leaching_fraction,
        )
    )


def open_time_h(bundle: FarmBundle, supply: SupplyDefinition) -> float:
    """Hours of a day, as the mean of a week, in which at least one block of a supply may run."""
    open_min = 0
    for weekday in WEEKDAYS:
        is_open = np.zeros(MINUTES_PER_DAY, dtype=np.bool_)
        for block in bundle.blocks:
            is_open |= open_minutes(block.windows, supply.windows, supply.weekly_no_water, weekday)
        open_min += int(is_open.sum())
    return open_min / len(WEEKDAYS) / 60.0
