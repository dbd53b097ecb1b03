"""The steps from the weather of a day to the water use of a crop, as a plan explains them.

This is a table, not a step. In: nothing. Out: label, unit, equation and source of each number, in
order.
"""

from __future__ import annotations

from service.agronomy.coefficient_steps import KcStage
from service.agronomy.crop_water_use import END_ADJUSTED_FROM_KC
from service.agronomy.step_rule import StepRule, has
from service.agronomy.step_template import Numbers, is_known

SAME_ET0_MM = 0.02  # [mm] ET0 worked again from rounded weather is the stored one within this
_GROWTH = "this service's own rule, no source"
_CANOPY = "Allen & Pereira 2009 (second-hand)"
_KEPT = " x (1 - {mulch_cover_fraction:.3f} x {mulch_kc_reduction_fraction:.4f} under mulch)"

# --- cases -------------------------------------------------------------------------------------


def _how_et0(numbers: Numbers) -> int:
    stored, worked = numbers.get("et0_mm"), numbers.get("worked_et0_mm")
    return 0 if is_known(stored) and is_known(worked) and abs(stored - worked) < SAME_ET0_MM else 1


def _stage(numbers: Numbers) -> KcStage | None:
    stage = numbers.get("kc_stage")
    return KcStage(int(stage)) if is_known(stage) else None


def _is_in_degree_days(numbers: Numbers) -> int:
    return int(numbers.get("season_basis") == 1.0)


def _how_progress(numbers: Numbers) -> int | None:
    return None if _stage(numbers) in (None, KcStage.OWN_TABLE) else _is_in_degree_days(numbers)


def _how_stage(numbers: Numbers) -> int | None:
    stage = _stage(numbers)
    if stage is None or stage >= KcStage.OFF_SEASON:
        return None
    return 4 * _is_in_degree_days(numbers) + stage


def _in_stages(numbers: Numbers) -> int | None:
    return None if _how_stage(numbers) is None else 0


def _how_climate(numbers: Numbers) -> int | None:
    if _in_stages(numbers) is None:
        return None
    return 0 if is_known(numbers.get("climate_u2_m_s")) else 1


def _is_mulched(numbers: Numbers) -> bool:
    cover = numbers.get("mulch_cover_fraction")
    return is_known(cover) and cover > 0.0


def _how_initial(numbers: Numbers) -> int | None:
    return 0 if _is_mulched(numbers) and _in_stages(numbers) is not None else None


def _how_mid(numbers: Numbers) -> int | None:
    return None if _in_stages(numbers) is None else int(_is_mulched(numbers))


def _how_end(numbers: Numbers) -> int | None:
    kc_end = numbers.get("kc_end")
    if _in_stages(numbers) is None or not is_known(kc_end):
        return None
    return 2 * int(kc_end < END_ADJUSTED_FROM_KC) + int(_is_mulched(numbers))


def _how_coefficient(numbers: Numbers) -> int:
    match _stage(numbers):
        case None:
            return 3
        case KcStage.OFF_SEASON:
            return 1
        case KcStage.OWN_TABLE:
            return 2
    return 0


# --- the steps ---------------------------------------------------------------------------------

WEATHER_STEPS: tuple[StepRule, ...] = (
    StepRule(
        "latitude_deg", "Latitude", "°", 3, "weather site", ("of the weather site",),
        has("latitude_deg"),
    ),
    StepRule(
        "elevation_m", "Elevation", "m", 1, "weather site", ("of the weather site",),
        has("elevation_m"),
    ),
    StepRule(
        "day_number", "Day of the year", "", 0, "FAO-56 Eq. 22", ("1 on 1 January",),
        has("day_number"),
    ),
    StepRule(
        "tmax_c", "Highest temperature of the day", "°C", 2, "weather source", ("forecast",)
    ),
    StepRule("tmin_c", "Lowest temperature of the day", "°C", 2, "weather source", ("forecast",)),
    StepRule(
        "ea_kpa", "Vapor pressure of the air", "kPa", 3, "FAO-56 Eq. 14, 17, 18, 19 or 48",
        ("from the humidity of the forecast",),
    ),
    StepRule(
        "tdew_offset_c", "Dewpoint below the night minimum, on days without humidity", "°C", 1,
        "FAO-56 Annex 6; this service's own rule",
        (
            "median of Tmin - Tdew over {tdew_offset_days_count:.0f} days with humidity; 0 days: as"
            " given for the site, else 0",
        ),
        has("tdew_offset_c"),
    ),
    StepRule(
        "es_kpa", "Vapor pressure of saturated air", "kPa", 3, "FAO-56 Eq. 11, 12",
        (
            "(e0({tmax_c:.2f}) + e0({tmin_c:.2f})) / 2 with e0(T) = 0.6108 exp(17.27 T /"
            " (T + 237.3))",
        ),
        has("es_kpa"),
    ),
    StepRule(
        "u2_m_s", "Wind at 2 m", "m/s", 2, "FAO-56 Eq. 47", ("wind brought to 2 m height",)
    ),
    StepRule(
        "rs_mj_m2", "Solar radiation", "MJ/m²", 2, "FAO-56 Eq. 35, 50",
        ("forecast or estimated",),
    ),
    StepRule(
        "extraterrestrial_mj_m2", "Radiation outside the atmosphere", "MJ/m²", 2,
        "FAO-56 Eq. 21 to 25",
        (
            "24 x 60 / π x 0.0820 dr (ωs sin φ sin δ + cos φ cos δ sin ωs) for latitude φ ="
            " {latitude_deg:.3f}° and day {day_number:.0f}; dr = 1 + 0.033 cos(2π J / 365), δ ="
            " 0.409 sin(2π J / 365 - 1.39), ωs = arccos(-tan φ tan δ)",
        ),
        has("extraterrestrial_mj_m2"),
    ),
    StepRule(
        "clear_sky_mj_m2", "Radiation under a clear sky", "MJ/m²", 2, "FAO-56 Eq. 37",
        ("(0.75 + 0.00002 x {elevation_m:.1f}) x {extraterrestrial_mj_m2:.2f}",),
        has("clear_sky_mj_m2"),
    ),
    StepRule(
        "net_shortwave_mj_m2", "Net short-wave radiation", "MJ/m²", 2, "FAO-56 Eq. 38",
        ("(1 - 0.23) x {rs_mj_m2:.2f}",), has("net_shortwave_mj_m2"),
    ),
    StepRule(
        "net_longwave_mj_m2", "Net long-wave radiation", "MJ/m²", 2, "FAO-56 Eq. 39",
        (
            "4.903e-9 x [({tmax_c:.2f} + 273.16)^4 + ({tmin_c:.2f} + 273.16)^4] / 2 x (0.34 - 0.14"
            " √{used_ea_kpa:.3f}) x (1.35 x {clearness_ratio:.3f} - 0.35); the ratio is Rs / Rso"
            " within 0.3 and 1",
        ),
        has("net_longwave_mj_m2"),
    ),
    StepRule(
        "net_radiation_mj_m2", "Net radiation", "MJ/m²", 2, "FAO-56 Eq. 40",
        ("{net_shortwave_mj_m2:.2f} - {net_longwave_mj_m2:.2f}",), has("net_radiation_mj_m2"),
    ),
    StepRule(
        "slope_kpa_per_c", "Slope of the saturation curve, Δ", "kPa/°C", 4, "FAO-56 Eq. 13",
        (
            "4098 e0(T) / (T + 237.3)^2 at T = ({tmax_c:.2f} + {tmin_c:.2f}) / 2 ="
            " {mean_temperature_c:.2f}",
        ),
        has("slope_kpa_per_c"),
    ),
    StepRule(
        "psychrometric_kpa_per_c", "Psychrometric constant, γ", "kPa/°C", 4,
        "FAO-56 Eq. 7, 8",
        ("0.000665 x 101.3 x ((293 - 0.0065 x {elevation_m:.1f}) / 293)^5.26",),
        has("psychrometric_kpa_per_c"),
    ),
    StepRule(
        "et0_mm", "Reference ET", "mm", 2, "FAO-56 Eq. 6",
        (
            "[0.408 Δ Rn + γ 900 / (T + 273) u2 (es - ea)] / [Δ + γ (1 + 0.34 u2)] = [0.408 x"
            " {slope_kpa_per_c:.4f} x {net_radiation_mj_m2:.2f} + {psychrometric_kpa_per_c:.4f} x"
            " 900 / ({mean_temperature_c:.2f} + 273) x {used_u2_m_s:.2f} x ({es_kpa:.3f} -"
            " {used_ea_kpa:.3f})] / [{slope_kpa_per_c:.4f} + {psychrometric_kpa_per_c:.4f} x (1 +"
            " 0.34 x {used_u2_m_s:.2f})]",
            "not from the weather of that day, which is not known in full: a mean of other days,"
            " or the normal of the time of year",
        ),
        _how_et0,
    ),
)  # fmt: skip


def _of_stage(spec: str) -> tuple[str, ...]:
    """The equation of each stage, in the order of the stages."""
    day, start = f"{{season_progress:{spec}}}", f"{{initial_stage_end:{spec}}}"
    full, fall, end = (
        f"{{{name}:{spec}}}" for name in ("development_end", "mid_season_end", "late_season_end")
    )
    return (
        "initial stage: {kc_initial_adjusted:.3f}",
        f"development: {{kc_initial_adjusted:.3f}} + ({day} - {start}) / ({full} - {start}) x"
        " ({kc_mid_adjusted:.3f} - {kc_initial_adjusted:.3f})",
        "mid-season: {kc_mid_adjusted:.3f}",
        f"late season: {{kc_mid_adjusted:.3f}} + ({day} - {fall}) / ({end} - {fall}) x"
        " ({kc_end_adjusted:.3f} - {kc_mid_adjusted:.3f})",
    )


CROP_STEPS: tuple[StepRule, ...] = (
    StepRule(
        "season_progress", "Day of the season", "", 0, "as given for the block, or FAO-56 Tab. 11",
        (
            "day 1 is the season's start; initial stage to day {initial_stage_end:.0f}, development"
            " to {development_end:.0f}, mid-season to {mid_season_end:.0f}, late season to"
            " {late_season_end:.0f}",
            "degree days since the season's start; initial stage to {initial_stage_end:.1f},"
            " development to {development_end:.1f}, mid-season to {mid_season_end:.1f}, late season"
            " to {late_season_end:.1f}",
        ),
        _how_progress,
    ),
    StepRule(
        "climate_term", "Adjustment of Kc to the climate, at 3 m height", "", 4,
        "FAO-56 Eq. 62",
        (
            "0.04 x (u2 - 2) - 0.004 x (RHmin - 45) of the normals or the last 30 days, within 1-6"
            " m/s and 20-80 %: 0.04 x ({climate_u2_m_s:.3f} - 2) - 0.004 x"
            " ({climate_rhmin_pct:.2f} - 45)",
            "none: too few days of wind and humidity are known",
        ),
        _how_climate,
    ),
    StepRule(
        "kc_initial_adjusted", "Kc of the initial stage under the mulch", "", 3, "FAO-56 p. 196",
        (
            "(1 - {mulch_cover_fraction:.3f}) x {kc_initial:.3f} + {mulch_cover_fraction:.3f} x"
            " {mulch_kc_initial:.4f} under mulch",
        ),
        _how_initial,
    ),
    StepRule(
        "kc_mid_adjusted", "Kc of the mid-season in this climate", "", 3,
        "FAO-56 Eq. 62, Tab. 12",
        (
            "{kc_mid:.3f} + {climate_term:.4f} x ({table_height_m:.2f} / 3)^0.3",
            "[{kc_mid:.3f} + {climate_term:.4f} x ({table_height_m:.2f} / 3)^0.3]" + _KEPT,
        ),
        _how_mid,
    ),
    StepRule(
        "kc_end_adjusted", "Kc of the season's end in this climate", "", 3,
        "FAO-56 Eq. 65, Tab. 12",
        (
            "{kc_end:.3f} + {climate_term:.4f} x ({table_height_m:.2f} / 3)^0.3",
            "[{kc_end:.3f} + {climate_term:.4f} x ({table_height_m:.2f} / 3)^0.3]" + _KEPT,
            "{kc_end:.3f}, below 0.45 and so not adjusted",
            "{kc_end:.3f}, below 0.45 and so not adjusted," + _KEPT,
        ),
        _how_end,
    ),
    StepRule(
        "kc_of_stage", "Kc of the stage", "", 3, "FAO-56 Eq. 66",
        (*_of_stage(".0f"), *_of_stage(".1f")), _how_stage,
    ),
    StepRule(
        "canopy_cover_fraction", "Share of the ground shaded at full leaf", "", 3, _GROWTH,
        (
            "as given for this year; measured on a day, it grows from there to full size; else the"
            " crop table's x (0.02 + 0.98 (age / years to full size)^1.5)",
        ),
        _in_stages,
    ),
    StepRule(
        "canopy_height_m", "Height of the plants", "m", 2, _GROWTH,
        ("grows as the shade, by itself",), _in_stages,
    ),
    StepRule(
        "canopy_density_ratio", "Density of the canopy, Kd", "", 4, _CANOPY,
        (
            "the smallest of 1, {canopy_density_factor:.2f} x {canopy_cover_fraction:.4f} and"
            " {canopy_cover_fraction:.4f}^(1 / (1 + {canopy_height_m:.3f}))",
        ),
        _in_stages,
    ),
    StepRule(
        "canopy_ratio", "Of the canopy that the published Kc hold for", "", 4, _CANOPY,
        (
            "the smaller of 1 and {canopy_density_ratio:.4f} / {reference_canopy_ratio:.4f}; a"
            " canopy beyond the reference is given the published Kc and no more",
        ),
        _in_stages,
    ),
    StepRule(
        "crop_coefficient", "Crop coefficient", "", 3,
        "FAO-56 Eq. 62, 66; Allen & Pereira 2009 (second-hand)",
        (
            "{kc_of_stage:.3f} - (1 - {canopy_ratio:.4f}) x ({kc_of_stage:.3f} -"
            " {bare_ground_kc:.4f} without leaves), the bracket at least 0",
            "outside the season: {kc_off_season:.3f}",
            "from the block's own table of Kc, by straight lines between its days",
            "stage value, adjusted to the climate, the canopy and the mulch",
        ),
        _how_coefficient,
    ),
    StepRule(
        "crop_et_mm", "Crop water use of the day", "mm", 2, "FAO-56 Eq. 58",
        ("Kc x ET0 = {crop_coefficient:.3f} x {et0_mm:.2f}",),
    ),
)  # fmt: skip
