"""The crop coefficient Kc from growth stage, climate, canopy and mulch.

In: the crop batch, the days, the climate of the site and, for blocks on degree days, their sums.
Out: the crop coefficient of every block on every day; crop ET is Kc times reference ET. The
curve and its climate adjustment are FAO-56 (Allen et al. 1998) chapter 6, Eq. 62, 65 and 66; the
canopy reduction is Allen & Pereira 2009, Irrig. Sci. 28:17-34.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import ArrayLike, NDArray

from service.agronomy.canopy_density import density_coefficient
from service.agronomy.records import CropBatch, Days, Floats, Ints

SEASON_BY_DAYS = 0
SEASON_BY_DEGREE_DAYS = 1
SEASON_BY_OWN_TABLE = 2

WIND_LIMITS_M_S = (1.0, 6.0)  # FAO-56 Eq. 62
RHMIN_LIMITS_PCT = (20.0, 80.0)  # FAO-56 Eq. 62
HEIGHT_LIMITS_M = (0.1, 10.0)  # FAO-56 Eq. 62
END_ADJUSTED_FROM_KC = 0.45  # FAO-56 Eq. 65: a lower Kc end is left as it is
BARE_SOIL_KC = 0.15  # Kc_min, FAO-56 Eq. 98, lower end of 0.15-0.20
CLIMATE_WINDOW_DAYS = 30  # choice
CLIMATE_MINIMUM_DAYS = 7  # choice
DAYS_IN_YEAR = 365
RESTING_DAYS = 180  # [CHOICE] d before a season's start in which the crop may be taken as resting
SHORTEST_STAGE = 1e-9  # days or degree days; only keeps a step from a division by zero


def climate_term(u2_m_s: ArrayLike, rhmin_pct: ArrayLike) -> Floats:
    """Addition to a table Kc for air that is windier or drier than the table's, at 3 m height.

    Shapes: any two that broadcast.
    u2_m_s, rhmin_pct: stage means; values outside 1-6 m/s and 20-80 % count as the limit.
    Returns: addition [-]; NaN wherever an input is NaN.
    Equation: 0.04 (u2 - 2) - 0.004 (RHmin - 45). FAO-56 Eq. 62 and 65.
    >>> round(float(climate_term(3.0, 20.0)), 6)
    0.14
    """
    wind, humidity = counted_climate(u2_m_s, rhmin_pct)
    return np.asarray(0.04 * (wind - 2.0) - 0.004 * (humidity - 45.0))


def counted_climate(u2_m_s: ArrayLike, rhmin_pct: ArrayLike) -> tuple[Floats, Floats]:
    """Wind and humidity as the climate term counts them.

    Shapes: any two; results as the inputs.
    Returns: wind [m s⁻¹] within 1 to 6 and humidity [%] within 20 to 80; NaN stays NaN.
    Source: limits of FAO-56 Eq. 62.
    >>> [float(value) for value in counted_climate(0.7, 45.0)]
    [1.0, 45.0]
    """
    wind = np.clip(np.asarray(u2_m_s, dtype=np.float64), *WIND_LIMITS_M_S)
    humidity = np.clip(np.asarray(rhmin_pct, dtype=np.float64), *RHMIN_LIMITS_PCT)
    return wind, humidity


def height_factor(height_m: ArrayLike) -> Floats:
    """Weight of the climate term for a crop of this height.

    Shapes: any; the result has the shape of the input.
    height_m: crop height [m]; values outside 0.1-10 m count as the limit.
    Returns: factor [-]; NaN wherever the input is NaN.
    Equation: (h / 3)^0.3. FAO-56 Eq. 62 and 65.
    >>> float(height_factor(3.0))
    1.0
    """
    height = np.clip(np.asarray(height_m, dtype=np.float64), *HEIGHT_LIMITS_M)
    return np.asarray((height / 3.0) ** 0.3)


def trailing_climate_term(
    u2_m_s: Floats,
    rhmin_pct: Floats,
    *,
    window_days: int = CLIMATE_WINDOW_DAYS,
    minimum_days: int = CLIMATE_MINIMUM_DAYS,
) -> tuple[Floats, Floats, Floats]:
    """Climate term of each day from the days before it, for sites without climate normals.

    Only earlier days count, so a day's Kc never changes when later weather arrives.

    Shapes: inputs and results (days, sites).
    u2_m_s, rhmin_pct: daily values; a day counts where both are known (not NaN).
    window_days, minimum_days: days to look back over, and how many of them must be known.
    Returns: the term [-], 0 where too few days are known, and the mean wind [m s⁻¹] and lowest
    humidity [%] that it is made of, NaN there.
    Equation: FAO-56 Eq. 62 of the means of the window; window and minimum are choices.
    >>> term, wind, _ = trailing_climate_term(np.full((9, 1), 3.0), np.full((9, 1), 20.0))
    >>> [round(float(value), 2) for value in term[5:, 0]]
    [0.0, 0.0, 0.14, 0.14]
    >>> wind[5:, 0].tolist()
    [nan, nan, 3.0, 3.0]
    """
    is_known = np.isfinite(u2_m_s) & np.isfinite(rhmin_pct)
    known_count = _sum_before(is_known.astype(np.float64), window_days)
    is_default = known_count < max(minimum_days, 1)
    divisor = np.where(is_default, 1.0, known_count)
    wind = _sum_before(np.where(is_known, u2_m_s, 0.0), window_days) / divisor
    humidity = _sum_before(np.where(is_known, rhmin_pct, 0.0), window_days) / divisor
    return (
        np.where(is_default, 0.0, climate_term(wind, humidity)),
        np.where(is_default, np.nan, wind),
        np.where(is_default, np.nan, humidity),
    )


def _sum_before(values: Floats, window_days: int) -> Floats:
    # A sum over each window on its own, not a difference of running sums: the same window gives
    # the same bits however long the series before it is.
    days, sites = values.shape
    padded = np.concatenate((np.zeros((window_days, sites)), values))[: days + window_days - 1]
    if days == 0:
        return np.zeros((0, sites))
    total: Floats = sliding_window_view(padded, window_days, axis=0).sum(axis=-1)
    return total


def degree_day_step_c(
    tmax_c: ArrayLike, tmin_c: ArrayLike, degree_day_floor_c: ArrayLike
) -> Floats:
    """Growing degree days that one day adds.

    Shapes: any three that broadcast.
    tmax_c, tmin_c: extremes of the day [°C].
    Returns: degree days [°C d]; NaN wherever an input is NaN.
    Equation: max(0, (Tmax + Tmin) / 2 - floor), the simple average method; common practice.
    >>> float(degree_day_step_c(25.0, 11.0, 10.0))
    8.0
    """
    tmax = np.asarray(tmax_c, dtype=np.float64)
    tmin = np.asarray(tmin_c, dtype=np.float64)
    return np.asarray(np.maximum(0.0, (tmax + tmin) / 2.0 - np.asarray(degree_day_floor_c)))


def degree_day_sums(
    crop: CropBatch,
    *,
    days: Days,
    tmax_c: Floats,
    tmin_c: Floats,
    degree_day_start_c_day: Floats | None = None,
) -> Floats:
    """Degree days of each block since its count was last restarted, each day's own included.

    Shapes: days (days,); tmax_c and tmin_c (days, blocks); degree_day_start_c_day (blocks,).
    tmax_c, tmin_c: extremes of the days gathered to the blocks [°C].
    degree_day_start_c_day: sum at the end of the day before the first [°C d]; 0 when None, which is
    right only where the days begin on the restart or before it.
    Returns: sums [°C d] (days, blocks); a day of unknown temperature leaves them NaN until the
    next restart, and blocks that do not run on degree days are NaN throughout.
    Equation: running sum of ``degree_day_step_c``, restarted on the season start.
    >>> from service.agronomy.records import CropBatch
    >>> one = np.array([1.0])
    >>> vines = CropBatch(*[one] * 13, np.array([1]), np.array([1]), one, 10.0 * one, *[one] * 3)
    >>> days = np.array(["2025-12-31", "2026-01-01", "2026-01-02"], "M8[D]")
    >>> warm, cold = np.full((3, 1), 18.0), np.full((3, 1), 10.0)
    >>> degree_day_sums(vines, days=days, tmax_c=warm, tmin_c=cold)[:, 0].tolist()
    [4.0, 4.0, 8.0]
    """
    step_c = degree_day_step_c(tmax_c, tmin_c, crop.degree_day_floor_c)
    season_day = _season_day(days, crop.season_start_doy)
    running = (
        np.zeros(step_c.shape[1]) if degree_day_start_c_day is None else degree_day_start_c_day
    )
    sums = np.empty(step_c.shape)
    for day in range(days.shape[0]):
        running = np.where(season_day[day] == 1, 0.0, running) + step_c[day]
        sums[day] = running
    return sums


def resting_sum_c_day(crop: CropBatch, day: np.datetime64) -> Floats:
    """Degree days to begin with where those of the season before are not known.

    Shapes: one day; result (blocks,).
    Returns: a sum past the last stage [°C d] where the next season starts within half a year: the
    crop is taken as resting until then [CHOICE]; NaN elsewhere and for blocks on other curves.
    Source: a choice of this service; books that begin before a season know no weather of the last.
    >>> from service.agronomy.records import CropBatch
    >>> one = np.array([1.0])
    >>> knots = np.array([[200.0, 800.0, 2000.0, 3000.0]])
    >>> vines = CropBatch(*[one] * 13, np.array([1]), np.array([60]), knots, 10.0 * one, *[one] * 3)
    >>> resting_sum_c_day(vines, np.datetime64("2026-01-01")).tolist()
    [3001.0]
    """
    season_day = _season_day(np.array([day]), crop.season_start_doy)[0]
    is_resting = season_day > DAYS_IN_YEAR - RESTING_DAYS
    is_counted = crop.curve_basis == SEASON_BY_DEGREE_DAYS
    return np.where(is_resting & is_counted, crop.stage_knot[:, 3] + 1.0, np.nan)


def crop_coefficient(
    crop: CropBatch,
    *,
    days: Days,
    climate_term: Floats,
    degree_day_sum_c_day: Floats | None = None,
) -> Floats:
    """Crop coefficient of every block on every day; crop ET is this times reference ET.

    The day a season starts on is day 1 of it, as in FAO-56; days after the last stage and before
    the next start have the off-season value. A block whose stages fill the whole year has none.
    In season the value between stages is reduced for a canopy that is smaller than the table's,
    down to that of the ground between; and for mulch. A block's own table is used unchanged.

    Shapes: days (days,); climate_term, degree_day_sum_c_day and result (days, blocks).
    climate_term: addition of Eq. 62 gathered to the blocks [-].
    degree_day_sum_c_day: needed only where a block's curve runs on degree days [°C d].
    Returns: Kc [-]; NaN only for a block, and from the day, whose needed input is NaN.
    Equation: FAO-56 Eq. 62, 65, 66; Kg + min(1, Kd / Kd_ref) (Kc - Kg), Kg of the ground between,
    Allen & Pereira 2009. Under a mulch on the share m of the strip Kc ini is (1 - m) Kc ini + m
    Kc ini,mulch, and Kc mid and Kc end are (1 - m r) of themselves, FAO-56 p. 196.
    >>> from service.agronomy.records import CropBatch
    >>> one = np.array([1.0])
    >>> beans = CropBatch(  # FAO-56 Ex. 28
    ...     0.15 * one, 1.19 * one, 0.35 * one, 0.2 * one, 0.4 * one, one, one, one,
    ...     0.4 * one, 0.0 * one, one, one, 0.45 * one, np.array([0]), np.array([143]),
    ...     np.array([[25.0, 50.0, 80.0, 100.0]]), np.nan * one,
    ...     np.full((1, 1), np.nan), np.full((1, 1), np.nan), 0.15 * one)
    >>> day_40 = np.array(["2025-05-23"], "M8[D]") + 39
    >>> round(float(crop_coefficient(beans, days=day_40, climate_term=np.zeros((1, 1)))[0, 0]), 3)
    0.774
    """
    progress = season_progress(crop, days, degree_day_sum_c_day)
    coefficient = _curve(crop, progress, climate_term)

    has_table = crop.curve_basis == SEASON_BY_OWN_TABLE
    if np.any(has_table):
        coefficient[:, has_table] = _own_table(
            crop.kc_table_doy[has_table], crop.kc_table_value[has_table], day_of_plain_year(days)
        )
    return coefficient


def season_progress(
    crop: CropBatch, days: Days, degree_day_sum_c_day: Floats | None = None
) -> Floats:
    """How far each block's season has come on each day.

    Shapes: days (days,); degree_day_sum_c_day and result (days, blocks).
    degree_day_sum_c_day: needed only where a block's curve runs on degree days [°C d].
    Returns: days since the season's start, 1 on the day itself, or degree days.
    """
    progress = _season_day(days, crop.season_start_doy).astype(np.float64)
    if degree_day_sum_c_day is not None:
        return np.where(crop.curve_basis == SEASON_BY_DEGREE_DAYS, degree_day_sum_c_day, progress)
    if np.any(crop.curve_basis == SEASON_BY_DEGREE_DAYS):
        message = "degree_day_sum_c_day is needed: a block's curve runs on degree days"
        raise ValueError(message)
    return progress


def _curve(crop: CropBatch, progress: Floats, climate: Floats) -> Floats:
    stages = stages_of(crop)
    missing_canopy = 1.0 - canopy_share(crop)
    coefficient = np.empty(progress.shape)
    for row, day in enumerate(progress):
        kc = stages.coefficient(crop, day, climate[row])
        # A table value below that of bare ground has no canopy part to reduce.
        canopy_part = np.maximum(kc - stages.bare_ground_kc, 0.0)
        kc -= missing_canopy * canopy_part
        coefficient[row] = np.where(day > stages.season_end, crop.kc_off_season, kc)
    return coefficient


def canopy_share(crop: CropBatch) -> Floats:
    """How much of the canopy that a block's coefficients hold for is there.

    Shapes: result (blocks,).
    Returns: share [-], at most 1; NaN wherever cover or height is not known. A canopy larger than
    the reference counts as it: the published Kc are means over good stands and are not raised for
    one block [CHOICE]; the Kc of a denser stand are its own ``kc.mid`` and ``kc.end``.
    Equation: min(1, Kd / Kd_ref). Allen & Pereira 2009 (second-hand).
    """
    kd = density_coefficient(
        crop.canopy_cover_fraction, crop.canopy_height_m, ml=crop.canopy_density_factor
    )
    return np.asarray(np.minimum(1.0, kd / crop.reference_canopy_ratio))


class Stages(NamedTuple):
    """The stages of a season as the curve of FAO-56 Fig. 34 uses them, arrays (blocks,)."""

    initial_end: Floats
    mid_end: Floats
    rise_length: Floats
    fall_length: Floats
    season_end: Floats
    """Infinite where the stages fill the year."""
    added_per_term: Floats
    """Of the climate term, by the height of the crop."""
    is_end_adjusted: NDArray[np.bool_]
    kc_initial: Floats
    """Kc of the initial stage under the block's mulch."""
    kept_under_mulch: Floats
    """Share of Kc mid and Kc end that the mulch leaves."""
    bare_ground_kc: Floats
    """Kc without leaves: of bare soil, or of what the mulch lets out."""

    def adjusted(self, crop: CropBatch, climate: Floats) -> tuple[Floats, Floats]:
        """Kc of the mid stage and of the season's end in this climate and under the mulch."""
        added = climate * self.added_per_term
        kc_end = np.where(self.is_end_adjusted, crop.kc_end + added, crop.kc_end)
        return (crop.kc_mid + added) * self.kept_under_mulch, kc_end * self.kept_under_mulch

    def coefficient(self, crop: CropBatch, day: Floats, climate: Floats) -> Floats:
        """Kc on a day of the season before the canopy, (blocks,)."""
        kc_mid, kc_end = self.adjusted(crop, climate)
        rise = np.clip((day - self.initial_end) / self.rise_length, 0.0, 1.0)
        fall = np.clip((day - self.mid_end) / self.fall_length, 0.0, 1.0)
        kc = self.kc_initial + rise * (kc_mid - self.kc_initial) + fall * (kc_end - kc_mid)
        # The initial stage does not depend on the climate: it stays known where the climate is not.
        return np.where(rise == 0.0, self.kc_initial, kc)


def stages_of(crop: CropBatch) -> Stages:
    """The stages of every block's season.

    Shapes: all (blocks,).
    Returns: ends and lengths of the stages, in days or degree days.
    Source: FAO-56 Eq. 62, 65, 66; p. 196 for the mulch.
    """
    initial_end, full_cover, mid_end, last = crop.stage_knot.T
    mulch = crop.mulch_cover_fraction
    kc_initial = (1.0 - mulch) * crop.kc_initial + mulch * crop.mulch_kc_initial
    kept = 1.0 - mulch * crop.mulch_kc_reduction_fraction
    under_mulch = np.minimum(crop.ground_kc * kept, kc_initial)
    # A year of 366 days must not fall out of a curve that fills the year.
    fills_year = (crop.curve_basis == SEASON_BY_DAYS) & (last >= DAYS_IN_YEAR)
    return Stages(
        initial_end=initial_end,
        mid_end=mid_end,
        # A stage of zero length is a step: any day past its start is past all of it.
        rise_length=np.maximum(full_cover - initial_end, SHORTEST_STAGE),
        fall_length=np.maximum(last - mid_end, SHORTEST_STAGE),
        season_end=np.where(fills_year, np.inf, last),
        added_per_term=height_factor(crop.table_height_m),
        is_end_adjusted=crop.kc_end >= END_ADJUSTED_FROM_KC,
        kc_initial=kc_initial,
        kept_under_mulch=kept,
        bare_ground_kc=np.where(mulch > 0.0, under_mulch, crop.ground_kc),
    )


def day_of_plain_year(days: Days) -> Ints:
    """Number of each day in a year of 365 days, 29 February counting as the 28th.

    Shapes: days and result (days,).
    Returns: count, 1 on 1 January, 60 on 1 March, 365 on 31 December, in every year.
    >>> day_of_plain_year(np.array(["2024-02-29", "2024-03-01", "2025-03-01"], "M8[D]")).tolist()
    [59, 60, 60]
    """
    index, is_leap, _ = _year_facts(days)
    return index + 1 - (is_leap & (index >= 59))


def _year_facts(days: Days) -> tuple[Ints, NDArray[np.bool_], NDArray[np.bool_]]:
    """Days since 1 January, whether that year is a leap year, whether the year before was."""
    year = days.astype("M8[Y]")
    index = (days.astype("M8[D]") - year.astype("M8[D]")).astype(np.int64)
    length = ((year + 1).astype("M8[D]") - year.astype("M8[D]")).astype(np.int64)
    length_before = (year.astype("M8[D]") - (year - 1).astype("M8[D]")).astype(np.int64)
    return index, length == 366, length_before == 366


def _season_day(days: Days, season_start_doy: Ints) -> Ints:
    """Real days since the latest season start, 1 on the start itself, (days, blocks)."""
    index, is_leap, was_leap = (fact[:, np.newaxis] for fact in _year_facts(days))
    starts_after_february = season_start_doy >= 60
    this_start = season_start_doy - 1 + (is_leap & starts_after_february)
    start_before = season_start_doy - 1 + (was_leap & starts_after_february)
    since = index - this_start
    since_before = index + DAYS_IN_YEAR + was_leap - start_before
    return np.where(since >= 0, since, since_before) + 1


def _own_table(knot_doy: Floats, knot_kc: Floats, doy: Ints) -> Floats:
    """Periodic linear interpolation, one table a block: (days, blocks)."""
    count = np.isfinite(knot_doy).sum(axis=1)
    last_knot = np.maximum(count - 1, 0)
    passed = (knot_doy <= doy[:, np.newaxis, np.newaxis]).sum(axis=2)
    left = np.where(passed > 0, passed - 1, last_knot)
    right = np.where(passed <= last_knot, passed, 0)
    block = np.arange(knot_doy.shape[0])
    left_doy = knot_doy[block, left] - np.where(passed > 0, 0, DAYS_IN_YEAR)
    right_doy = knot_doy[block, right] + np.where(passed <= last_knot, 0, DAYS_IN_YEAR)
    share = (doy[:, np.newaxis] - left_doy) / (right_doy - left_doy)
    left_kc = knot_kc[block, left]
    value: Floats = left_kc + share * (knot_kc[block, right] - left_kc)
    return value
