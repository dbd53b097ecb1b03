"""The part of the nomenclature that is about weather, and what explains a plan.

In: nothing. Out: :data:`WEATHER_NAMES`, one line for each name, as in
:mod:`service.agronomy.units`.
"""

from __future__ import annotations

from math import inf

from service.agronomy.quantity import Quantity

WEATHER_NAMES = (
    Quantity("tmax_c", "degC", -60, 60, "highest air temperature of the day"),
    Quantity("tmin_c", "degC", -60, 60, "lowest air temperature of the day"),
    Quantity("tdew_c", "degC", -60, 60, "dewpoint, mean of the day"),
    Quantity("tdew_offset_c", "degC", -5, 20, "how far the dewpoint lies below the night minimum"),
    Quantity("temperature_c", "degC", -60, 60, "any air temperature"),
    Quantity("measured_mj_m2", "MJ/m2", 0, 60, "solar radiation as measured"),
    Quantity("clear_sky_mj_m2", "MJ/m2", 0, 50, "solar radiation under a clear sky"),
    Quantity("net_shortwave_mj_m2", "MJ/m2", 0, 50, "short-wave radiation less what is reflected"),
    Quantity("net_longwave_mj_m2", "MJ/m2", -5, 20, "long-wave radiation lost"),
    Quantity(
        "net_radiation_mj_m2", "MJ/m2", -20, 50, "net short-wave less net long-wave radiation"
    ),
    Quantity("clearness_ratio", "1", 0.3, 1, "radiation over that of a clear sky, in its limits"),
    Quantity("mean_temperature_c", "degC", -60, 60, "mean of the day's two extremes"),
    Quantity("es_kpa", "kPa", 0, 20, "vapor pressure of saturated air"),
    Quantity("used_ea_kpa", "kPa", 0, 20, "vapor pressure of the air, at most saturated"),
    Quantity("used_u2_m_s", "m/s", 0.5, 60, "wind at 2 m as reference ET counts it"),
    Quantity("slope_kpa_per_c", "kPa/degC", 0, 2, "slope of the saturation curve"),
    Quantity("psychrometric_kpa_per_c", "kPa/degC", 0, 0.1, "psychrometric constant"),
    Quantity("worked_et0_mm", "mm", 0, 30, "reference ET that follows from shown numbers"),
    Quantity("ea_kpa", "kPa", 0, 10, "actual vapor pressure, mean of the day"),
    Quantity("rhmax_pct", "%", 0, 105, "highest relative humidity of the day"),
    Quantity("rhmin_pct", "%", 0, 105, "lowest relative humidity of the day"),
    Quantity("rhmean_pct", "%", 0, 105, "mean relative humidity of the day"),
    Quantity("normal_rhmin_pct", "%", 0, 105, "long-term mean of the lowest humidity of the day"),
    Quantity("wind_m_s", "m/s", 0, 60, "mean wind of the day at the anemometer's height"),
    Quantity("u2_m_s", "m/s", 0, 60, "mean wind of the day at 2 m over grass"),
    Quantity("normal_u2_m_s", "m/s", 0, 60, "long-term mean of the wind at 2 m"),
    Quantity("rs_mj_m2", "MJ/m2", 0, 50, "solar radiation on the level ground in a day"),
    Quantity("extraterrestrial_mj_m2", "MJ/m2", 0, 50, "the same above the air, Ra"),
    Quantity("krs_per_sqrt_c", "degC^-0.5", 0.1, 0.25, "coefficient of FAO-56 Eq. 50"),
    Quantity("sunshine_h", "h", 0, 24, "hours of bright sunshine in a day"),
    Quantity("daylight_h", "h", 0, 24, "hours between sunrise and sunset"),
    Quantity("rain_mm", "mm", 0, 2000, "rain, of a day unless said otherwise"),
    Quantity("model_rain_mm", "mm", 0, 2000, "rain of a day as other sources than a gauge have it"),
    Quantity("model_mm", "mm", 0, 2000, "the same, of the time that a reading covers"),
    Quantity("day_total_mm", "mm", 0, 2000, "rain of a day by all readings of its gauge"),
    Quantity("rain_probability_fraction", "1", 0, 1, "chance of rain; 1 for measured rain"),
    Quantity("et0_mm", "mm", 0, 20, "reference evapotranspiration of short grass in a day"),
    Quantity("normal_et0_mm", "mm", 0, 150, "long-term mean of the reference ET of a week"),
    Quantity("computed_et0_mm", "mm", 0, 20, "reference ET that follows from a day's weather"),
    Quantity("borrowed_mm", "mm", 0, 20, "reference ET after a place nearby"),
    Quantity("neighbour_et0_mm", "mm", 0, 20, "the same at places near a site"),
    Quantity("neighbour_ratio", "1", 0, inf, "reference ET of a site over that of a place nearby"),
    Quantity("measured_days_count", "1", 0, 62, "days of a week whose weather is measured"),
    Quantity("stand_in_days_count", "1", 0, 62, "days of a week with a normal or an estimate"),
    Quantity("unknown_days_count", "1", 0, 62, "days of a week without any weather"),
    Quantity("days_count", "1", 0, 62, "days of a week that one source gave"),
    Quantity("normal_reference_et_mm", "mm", 0, 150, "reference ET of a week by its normals"),
    Quantity("normal_net_need_mm", "mm", 0, 1000, "as normal_need_mm"),
    Quantity("net_need_p10_mm", "mm", 0, 1000, "net need exceeded with a probability of 90 %"),
    Quantity("net_need_p50_mm", "mm", 0, 1000, "net need exceeded with a probability of 50 %"),
    Quantity("net_need_p90_mm", "mm", 0, 1000, "net need exceeded with a probability of 10 %"),
    Quantity("normal_need_mm", "mm", 0, 1000, "net need of a week at its normal ET, without rain"),
    Quantity("common_days_count", "1", 0, 30, "days that both know, from which the ratio is"),
    Quantity("distance_km", "km", 0, 20_100, "distance over land"),
    Quantity("to_latitude_deg", "deg", -90, 90, "latitude of places to measure a distance to"),
    Quantity("to_longitude_deg", "deg", -180, 180, "longitude of places to measure a distance to"),
    Quantity("news_fraction", "1", 0, 1, "share of the need from which missing water is said"),
    Quantity("news_depth_mm", "mm", 0, 50, "depth from which it is said"),
    Quantity("most_pulse_count", "1", 0, 1440, "the same for a day or what is left of it"),
    Quantity("daily_pulse_count", "1", 1, 144, "most pulses of a day"),
    Quantity("visit_count", "1", 0, 24, "visits of a day at which a valve is opened by hand"),
    Quantity("visit_opens_min", "min", 0, 1560, "minute at which such a visit begins"),
    Quantity("visit_closes_min", "min", 0, 1560, "minute at which it ends"),
    Quantity("start_within_min", "min", 0, 2880, "latest start after the opening of a window"),
    Quantity("give_up_min", "min", 0, inf, "minute from which an end is too late to be of use"),
    Quantity("spacing_min", "min", 0, 1440, "from one start of a timer to the next"),
    Quantity("capacity_min", "min", 0, 2880, "most that a block could run on a day, alone"),
    Quantity("carried_l", "L", 0, inf, "volume that a supply gives in its open minutes"),
)
