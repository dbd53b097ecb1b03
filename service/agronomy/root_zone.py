"""The part of the soil that is managed, and what a drip emitter does to it.

In: how the drip wets the ground, how old the plants are, what the soil holds. Out: the wetted
share of the block, the water the root zone can hold and give, the rate and depth of an
irrigation, and how deep a pulse wets. Depths are block millimetres: 1 mm is 1 L per m² of the
block's whole ground. Sources: FAO-56 (Allen et al. 1998) chapter 8; Keller & Karmeli 1975 for the
wetted strip; Schwartzman & Zur 1986 for the wetted bulb; NEH 623 chapter 7 for the gross depth.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from service.agronomy.records import Floats, Ints, SoilBatch, SystemBatch
from service.unit_sizes import M_PER_FOOT

# Keller & Karmeli 1975, from memory (no copy was found to read): rows by emitter flow, columns
# coarse, medium, fine soil. Straight lines between the rows, and the end rows beyond them, are
# choices of this project.
STRIP_FLOW_L_PER_H = np.array([1.5, 2.0, 4.0, 8.0, 12.0])
RECALLED_STRIP_WIDTH_M = np.array(
    [[0.3, 0.7, 1.1], [0.4, 0.8, 1.2], [0.8, 1.2, 1.6], [1.2, 1.6, 2.0], [1.6, 2.0, 2.4]]
)
# Widest that one emitter wets, read in a manufacturer's irrigation design manual, Table 3-3: 1 to 3
# ft on coarse soil (sandy loam), 2 to 4 ft on medium (loam), 3 to 6 ft on fine (clay loam). What
# the recalled table has beyond it, from between 4 and 8 L/h on, is cut off [CHOICE]: a narrower
# strip holds less water and is watered more often.
STRIP_WIDTH_RANGE_M = np.array([[1.0, 2.0, 3.0], [3.0, 4.0, 6.0]]) * M_PER_FOOT
STRIP_WIDTH_M = np.minimum(RECALLED_STRIP_WIDTH_M, STRIP_WIDTH_RANGE_M[1])
RECOMMENDED_SPACING_M = np.array(
    [[0.2, 0.5, 0.9], [0.3, 0.7, 1.0], [0.6, 1.0, 1.3], [1.0, 1.3, 1.7], [1.3, 1.6, 2.0]]
)

DEPLETION_LIMITS = (0.1, 0.8)  # FAO-56 Eq. 83 and its note on p
DEPLETION_PER_MM = 0.04  # FAO-56, p of Table 22 is given at 5 mm/d
TABLE_CROP_ET_MM = 5.0
TEXTURE_P_CHANGE = (
    0.075  # FAO-56 p. 167: 5-10 % less on fine, more on coarse soil; the middle, choice
)

# Schwartzman & Zur 1986, from memory: V in L, q in L/h, Ks in m/s, results in m.
BULB_DEPTH = (29.2, 0.63, 0.45)
MM_PER_H_IN_M_PER_S = 3.6e6

PULSE_DEPTH_SHARE = 0.6  # choice: a pulse may wet this share of the root depth
LEACHING_NEGLIGIBLE_FRACTION = 0.1  # NEH 623 ch. 7: at or below, uneven wetting leaches enough

YOUNG_ROOT_DEPTH_SHARE = 0.40  # choice: share of full size at planting
YOUNG_ROOT_SHARE = 0.10  # choice: share of the wet strip inside the plants' own root balls
ROOT_SHARE_POWER = 0.3  # choice, no source: roots draw from wet soil beside them
YOUNG_CANOPY_SHARE = 0.02  # choice
CANOPY_GROWTH_POWER = 1.5  # choice: cover grows slowly at first


class SizeShares(NamedTuple):
    """Size of a young planting as shares of its full size, each 0-1."""

    root_depth_share: Floats
    root_share_of_wetted: Floats
    canopy_share: Floats


def wetted_fraction(
    emitter_flow_l_per_h: ArrayLike,
    emitter_spacing_m: ArrayLike,
    texture_group: ArrayLike,
    *,
    row_spacing_m: ArrayLike,
    laterals_per_row_count: ArrayLike,
    lateral_gap_m: ArrayLike | None = None,
) -> Floats:
    """Share of the block's ground that the drip wets.

    Shapes: any that broadcast.
    texture_group: 0 coarse, 1 medium, 2 fine.
    lateral_gap_m: distance between the laterals of a row; a wider gap than one strip counts as
    one strip, and so does a gap that is not given [m].
    Returns: fraction, at most 1; NaN wherever an input is NaN.
    Equation: (w + (n - 1) min(d, w)) min(1, spacing_rec / spacing) / row spacing. Keller &
    Karmeli 1975 strip widths w and spacings (from memory), w at most the widest that a design
    manual which was read gives for one emitter.
    >>> float(wetted_fraction(4.0, 1.0, 1, row_spacing_m=3.0, laterals_per_row_count=1))
    0.4
    """
    flow = np.asarray(emitter_flow_l_per_h, dtype=np.float64)
    group = np.asarray(texture_group, dtype=np.int64)
    strip_m = _by_flow_and_texture(flow, group, STRIP_WIDTH_M)
    gap_m = strip_m if lateral_gap_m is None else np.asarray(lateral_gap_m, dtype=np.float64)
    extra_laterals = np.asarray(laterals_per_row_count, dtype=np.float64) - 1.0
    width_m = strip_m + extra_laterals * np.minimum(gap_m, strip_m)
    recommended_m = _by_flow_and_texture(flow, group, RECOMMENDED_SPACING_M)
    unbroken = np.minimum(1.0, recommended_m / np.asarray(emitter_spacing_m, dtype=np.float64))
    return np.asarray(np.minimum(1.0, width_m * unbroken / np.asarray(row_spacing_m)))


def _by_flow_and_texture(flow: Floats, group: Ints, table: Floats) -> Floats:
    by_group = [np.interp(flow, STRIP_FLOW_L_PER_H, table[:, column]) for column in range(3)]
    return np.asarray(np.choose(group, by_group))


def size_by_age(age_years: ArrayLike, years_to_full_size: ArrayLike) -> SizeShares:
    """Root depth, rooted strip and canopy of a planting of this age, as shares of full size.

    Shapes: any two that broadcast.
    age_years: years since planting, >= 0; years_to_full_size: 0 counts as full from the start.
    Returns: shares [-], rising with age, 1 from full size on; NaN wherever an input is NaN.
    Equation: with s = min(1, age / full): 0.4 + 0.6 s, (0.1 + 0.9 s)^0.3, 0.02 + 0.98 s^1.5;
    choices. No source gives the share of a wet strip that young roots draw from; the power says
    that they draw from wet soil beside them too.
    >>> [round(float(share), 2) for share in size_by_age(2, 5)]
    [0.64, 0.79, 0.27]
    """
    full = np.asarray(years_to_full_size, dtype=np.float64)
    age = np.asarray(age_years, dtype=np.float64)
    grown = np.where(full > 0.0, np.minimum(1.0, age / np.where(full > 0.0, full, 1.0)), 1.0)
    grown = np.where(np.isnan(full) | np.isnan(age), np.nan, grown)

    def from_young(share: float, growth: Floats) -> Floats:
        return np.asarray(share + (1.0 - share) * growth)

    return SizeShares(
        root_depth_share=from_young(YOUNG_ROOT_DEPTH_SHARE, grown),
        root_share_of_wetted=np.asarray(from_young(YOUNG_ROOT_SHARE, grown) ** ROOT_SHARE_POWER),
        canopy_share=from_young(YOUNG_CANOPY_SHARE, grown**CANOPY_GROWTH_POWER),
    )


def grown_from_measured(
    measured: ArrayLike,
    full_size: ArrayLike,
    *,
    measured_share: ArrayLike,
    share: ArrayLike,
) -> Floats:
    """Size of a canopy that was measured in one year, in another.

    Shapes: any four that broadcast.
    measured, full_size: in one unit; measured_share, share: shares of full size by age, that of the
    year of the measurement and that wanted [-].
    Returns: size in the same unit: the measured one in its year, full size at full age, never
    smaller with age, never above full size unless it was measured so; NaN wherever an input is NaN.
    Equation: m + max(0, F - m) (s - s_m) / (1 - s_m) from that year on, m s / s_m before; a choice.
    A ratio s / s_m after it would run away: a tree of one year measured at 1.5 m would reach 19 m.
    >>> grown_from_measured(1.5, 3.0, measured_share=0.2, share=[0.1, 0.2, 0.6, 1.0]).tolist()
    [0.75, 1.5, 2.25, 3.0]
    """
    size, now, then = (np.asarray(each, np.float64) for each in (measured, share, measured_share))
    missing = np.maximum(0.0, np.asarray(full_size, dtype=np.float64) - size)
    rest = np.where(then < 1.0, 1.0 - then, 1.0)
    return np.asarray(np.where(now < then, size * now / then, size + missing * (now - then) / rest))


def total_available_water_mm(soil: SoilBatch) -> Floats:
    """Water that the managed root zone holds for the crop when full, TAW.

    Shapes: result (blocks,).
    Returns: block depth [mm]; NaN wherever an input is NaN.
    Equation: 1000 (FC - WP) Zr g f_w. FAO-56 Eq. 82 on the managed part of the ground.
    >>> from service.agronomy.records import SoilBatch
    >>> one = np.array([1.0])
    >>> zone = SoilBatch(0.18 * one, 0.08 * one, one, 0.45 * one, 0.33 * one, one, one, one, one)
    >>> round(float(total_available_water_mm(zone)[0]), 2)
    14.85
    """
    held = 1000.0 * (soil.field_capacity - soil.wilting_point) * soil.root_depth_m
    taw_mm: Floats = held * soil.root_share_of_wetted * soil.wetted_fraction
    return taw_mm


def depletion_fraction(table_fraction: ArrayLike, crop_et_mm: ArrayLike) -> Floats:
    """Share of TAW that a crop takes up without stress on a day of this demand, p.

    Shapes: any two that broadcast.
    table_fraction: p of the crop table, at 5 mm/d; crop_et_mm: Kc ET0, block average, no stress.
    Returns: fraction, 0.1-0.8; NaN wherever an input is NaN.
    Equation: p + 0.04 (5 - ETc). FAO-56 ch. 8, note to Table 22.
    >>> round(float(depletion_fraction(0.5, 3.0)), 2)
    0.58
    """
    table = np.asarray(table_fraction, dtype=np.float64)
    demand_mm = np.asarray(crop_et_mm, dtype=np.float64)
    adjusted = table + DEPLETION_PER_MM * (TABLE_CROP_ET_MM - demand_mm)
    return np.asarray(np.clip(adjusted, *DEPLETION_LIMITS))


def depletion_fraction_on_soil(table_fraction: ArrayLike, texture_group: ArrayLike) -> Floats:
    """p of the crop table on a soil of this texture.

    Shapes: any two that broadcast.
    texture_group: 0 coarse, 1 medium, 2 fine.
    Returns: fraction, 0.1-0.8; NaN wherever an input is NaN.
    Equation: p (1 + 0.075) on coarse, p (1 - 0.075) on fine soil. FAO-56 ch. 8, p. 167: 5-10 %.
    >>> [round(float(p), 4) for p in depletion_fraction_on_soil(0.5, [0, 1, 2])]
    [0.5375, 0.5, 0.4625]
    """
    change = TEXTURE_P_CHANGE * (1.0 - np.asarray(texture_group, dtype=np.float64))
    fraction = np.asarray(table_fraction, dtype=np.float64) * (1.0 + change)
    return np.asarray(np.clip(fraction, *DEPLETION_LIMITS))


def readily_available_water_mm(taw_mm: ArrayLike, depletion_fraction: ArrayLike) -> Floats:
    """Water that the crop can take before it is stressed, RAW.

    Shapes: any two that broadcast.
    depletion_fraction: p of the day [-].
    Returns: block depth [mm]; NaN wherever an input is NaN.
    Equation: p TAW. FAO-56 Eq. 83.
    >>> float(readily_available_water_mm(160.0, 0.4))
    64.0
    """
    return np.asarray(np.asarray(depletion_fraction) * np.asarray(taw_mm, dtype=np.float64))


def _conductivity_ratio(
    conductivity_mm_per_h: ArrayLike, emitter_flow_l_per_h: ArrayLike
) -> Floats:
    conductivity_m_per_s = np.asarray(conductivity_mm_per_h, dtype=np.float64) / MM_PER_H_IN_M_PER_S
    return np.asarray(conductivity_m_per_s / np.asarray(emitter_flow_l_per_h, dtype=np.float64))


def volume_at_depth_l(
    depth_m: ArrayLike, emitter_flow_l_per_h: ArrayLike, saturated_conductivity_mm_per_h: ArrayLike
) -> Floats:
    """Volume from one emitter that wets down to this depth.

    Shapes: any three that broadcast.
    depth_m: below the emitter [m].
    Returns: volume [L]; NaN wherever an input is NaN.
    Equation: inverse of depth = 29.2 V^0.63 (Ks / q)^0.45, V in L, q in L/h, Ks in m/s.
    Schwartzman & Zur 1986 (from memory).
    >>> round(float(volume_at_depth_l(0.30, 2.0, 50.3)), 2)
    3.36
    """
    scale, volume_power, ratio_power = BULB_DEPTH
    depth = np.asarray(depth_m, dtype=np.float64)
    ratio = _conductivity_ratio(saturated_conductivity_mm_per_h, emitter_flow_l_per_h)
    return np.asarray((depth / scale / ratio**ratio_power) ** (1.0 / volume_power))


def depth_limit_min(
    system: SystemBatch, soil: SoilBatch, *, depth_share: float = PULSE_DEPTH_SHARE
) -> Floats:
    """Length of a pulse that wets down to a share of the root depth.

    Shapes: result (blocks,).
    depth_share: share of the root depth that one pulse may wet.
    Returns: minutes; NaN wherever an input is NaN.
    Equation: 60 V / q with V from ``volume_at_depth_l``; the share 0.6 is a choice.
    >>> round(60.0 * float(volume_at_depth_l(0.6 * 0.5, 2.0, 50.3)) / 2.0)  # Zr 0.5 m
    101
    """
    emitter_flow_l_per_h = system.emitter_flow_l_per_h
    volume_l = volume_at_depth_l(
        depth_share * soil.root_depth_m, emitter_flow_l_per_h, soil.saturated_conductivity_mm_per_h
    )
    minutes: Floats = 60.0 * volume_l / emitter_flow_l_per_h
    return minutes


def event_volume_limit_mm(system: SystemBatch, soil: SoilBatch) -> Floats:
    """Net depth at which one irrigation event wets the whole root depth, pulses together.

    Shapes: result (blocks,).
    Returns: net block depth [mm], that of the low quarter of emitters; NaN where an input is.
    Equation: V_max(Zr) EU / 100 over the ground of one emitter, q / application rate.
    >>> volume_l = float(volume_at_depth_l(0.45, 2.0, 50.3))
    >>> round(volume_l / 0.69 * 0.90, 2)  # over 0.69 m2 an emitter at EU 90
    8.34
    """
    volume_l = volume_at_depth_l(
        soil.root_depth_m, system.emitter_flow_l_per_h, soil.saturated_conductivity_mm_per_h
    )
    gross_mm = volume_l * system.application_rate_mm_per_h / system.emitter_flow_l_per_h
    net_mm: Floats = gross_mm * system.emission_uniformity_pct / 100.0
    return net_mm


def application_rate_mm_per_h(
    emitter_flow_l_per_h: ArrayLike,
    emitter_spacing_m: ArrayLike,
    row_spacing_m: ArrayLike,
    *,
    laterals_per_row_count: ArrayLike,
) -> Floats:
    """Gross depth that the system applies over the whole block in an hour.

    Shapes: any four that broadcast.
    Returns: rate [mm h⁻¹]; NaN wherever an input is NaN.
    Equation: q / A, A = row spacing x emitter spacing / laterals per row.
    >>> float(application_rate_mm_per_h(2.0, 0.5, 4.0, laterals_per_row_count=2))
    2.0
    """
    ground_m2 = (
        np.asarray(row_spacing_m, dtype=np.float64)
        * np.asarray(emitter_spacing_m, dtype=np.float64)
        / np.asarray(laterals_per_row_count, dtype=np.float64)
    )
    return np.asarray(np.asarray(emitter_flow_l_per_h, dtype=np.float64) / ground_m2)


def gross_depth_mm(
    net_depth_mm: ArrayLike,
    emission_uniformity_pct: ArrayLike,
    root_share_of_wetted: ArrayLike,
    *,
    transmission_ratio: ArrayLike = 1.0,
    leaching_fraction: ArrayLike = 0.0,
) -> Floats:
    """Depth to apply so that this net depth reaches rooted soil at the low quarter of emitters.

    Shapes: any five that broadcast.
    net_depth_mm: block depth wanted in the root zone; transmission_ratio: 1 unless enabled;
    leaching_fraction: 0 unless enabled; up to 0.1 uneven wetting leaches enough.
    Returns: gross block depth [mm]; NaN wherever an input is NaN.
    Equation: LF <= 0.1: Fn Tr / (EU/100 g); else Fn / (EU/100 g (1 - LF)). NEH 623 ch. 7 (from
    memory), and g, the rooted share of the wetted soil, of this project.
    >>> float(gross_depth_mm(4.5, 90.0, 1.0))
    5.0
    """
    net = np.asarray(net_depth_mm, dtype=np.float64)
    reaching = np.asarray(emission_uniformity_pct) / 100.0 * np.asarray(root_share_of_wetted)
    leaching = np.asarray(leaching_fraction, dtype=np.float64)
    is_leached = leaching > LEACHING_NEGLIGIBLE_FRACTION
    factor = np.where(is_leached, 1.0 / (1.0 - leaching), transmission_ratio)
    return np.asarray(net * factor / reaching)


def running_min(gross_mm: ArrayLike, application_rate_mm_per_h: ArrayLike) -> Floats:
    """Run time that applies a gross depth.

    Shapes: any two that broadcast.
    gross_mm: gross block depth [mm].
    Returns: minutes, not rounded; NaN wherever an input is NaN.
    Equation: 60 Fg / AR.
    >>> float(running_min(5.0, 2.5))
    120.0
    """
    gross = np.asarray(gross_mm, dtype=np.float64)
    return np.asarray(60.0 * gross / np.asarray(application_rate_mm_per_h, dtype=np.float64))
