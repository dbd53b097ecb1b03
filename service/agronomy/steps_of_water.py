"""The steps from a crop's water use to the minutes of a plan, as the plan explains them.

This is a table, not a step. In: nothing. Out: label, unit, equation and source of each number, in
order.
"""

from __future__ import annotations

from service.agronomy.root_zone import LEACHING_NEGLIGIBLE_FRACTION
from service.agronomy.step_rule import StepRule, has
from service.agronomy.step_template import Numbers, is_known
from service.agronomy.steps_of_risk import RISK_STEPS, how_credit, is_weighed

_MODEL = "this service's own rule"


def _how_net_rate(numbers: Numbers) -> int:
    leaching = numbers.get("leaching_fraction")
    return int(is_known(leaching) and leaching > LEACHING_NEGLIGIBLE_FRACTION)


def _how_weekly(numbers: Numbers) -> int | None:
    if not is_known(numbers.get("weekly_closed_min")):
        return None
    return int(numbers.get("weekly_effect") or 0)


def _how_start(numbers: Numbers) -> int:
    return int(is_weighed(numbers))


def _how_planned_depletion(numbers: Numbers) -> int:
    if is_weighed(numbers):
        return 2
    return int(is_known(numbers.get("alley_et_mm")))


ZONE_STEPS: tuple[StepRule, ...] = (
    StepRule(
        "root_share_of_wetted", "Share of the wetted soil that roots draw from", "", 3,
        "this service's own rule, no source",
        (
            "as given for the block; else (0.1 + 0.9 x age / years to full size)^0.3, and 1 from"
            " full size on or over a live ground cover",
        ),
    ),
    StepRule(
        "taw_mm", "Water a full root zone holds", "mm", 2, "FAO-56 Eq. 82",
        (
            "1000 x (FC - WP) x root depth x wetted share x rooted share = 1000 x"
            " ({field_capacity:.5f} - {wilting_point:.5f}) x {root_depth_m:.4f} x"
            " {wetted_fraction:.4f} x {root_share_of_wetted:.4f}",
        ),
    ),
    StepRule(
        "depletion_fraction", "Share of it that is easy to take up", "", 4,
        "FAO-56 Tab. 22, p. 167",
        (
            "p of the block at 5 mm/d, + 0.04 x (5 - crop water use), 0.1 to 0.8:"
            " {table_depletion_fraction:.4f} + 0.04 x (5 - {crop_et_mm:.2f})",
        ),
    ),
    StepRule(
        "raw_mm", "Readily available water", "mm", 2, "FAO-56 Eq. 83",
        ("p x TAW = {depletion_fraction:.4f} x {taw_mm:.2f}",),
    ),
    StepRule(
        "depletion_midnight_mm", "Depletion expected at midnight", "mm", 2, "FAO-56 Eq. 85",
        ("the ledger of the days before, and the day of issue with its forecast",),
    ),
    StepRule(
        "rain_credit_mm", "Rain counted on", "mm", 2, _MODEL,
        (
            "chance x what enters the zone, where the chance is 0.3 or more:"
            " {rain_probability_fraction:.2f} x {rain_entering_mm:.2f}",
            "what enters the zone in a forecast that all but {credit_fraction:.3f} of the others"
            " pass; the amount that is forecast would bring {rain_entering_mm:.2f}",
            "what enters the zone in a forecast that nine in ten pass; the amount that is forecast"
            " would bring {rain_entering_mm:.2f}",
            "none, since the block ran short in the last two days",
        ),
        how_credit,
    ),
    StepRule(
        "depletion_start_mm", "Depletion after that rain", "mm", 2, _MODEL,
        (
            "max(0, {depletion_midnight_mm:.2f} - {rain_credit_mm:.2f})",
            "{depletion_midnight_mm:.2f} less the rain of a wet turn, which {credit_fraction:.3f}"
            " of the forecasts pass; pulses before sunrise find this room",
        ),
        _how_start,
    ),
    StepRule(
        "alley_capacity_mm", "Water that roots outside the wet strip can hold ready", "mm", 2,
        "FAO-56 Eq. 82, 83; the share this service's own rule",
        (
            "p x 1000 x (FC - WP) x root depth x share of the ground ="
            " {table_depletion_fraction:.4f} x 1000 x ({field_capacity:.5f} -"
            " {wilting_point:.5f}) x {root_depth_m:.4f} x {alley_share:.4f}, the share being (1 -"
            " {wetted_fraction:.4f}) x {alley_root_fraction:.4f}, less while the canopy is young",
        ),
        has("alley_et_mm"),
    ),
    StepRule(
        "alley_start_mm", "Rain stored there at midnight", "mm", 2, _MODEL,
        (
            "the ledger of the days before: rain in, crop use and what drains out; only rain"
            " fills it",
        ),
        has("alley_et_mm"),
    ),
    StepRule(
        "alley_rain_mm", "Rain counted on there", "mm", 2, _MODEL,
        (
            "chance x what enters the soil x share of the ground, where the chance is 0.3 or more:"
            " {rain_probability_fraction:.2f} of {rain_mm:.2f} mm, without runoff, x"
            " {alley_share:.4f}; 0 for less rain than a fifth of ET0",
        ),
        has("alley_et_mm"),
    ),
    StepRule(
        "alley_et_mm", "Crop use that comes from there", "mm", 2, _MODEL,
        (
            "the crop empties this store first: the smallest of {alley_start_mm:.2f} +"
            " {alley_rain_mm:.2f}, {alley_capacity_mm:.2f} and {crop_et_mm:.2f}",
        ),
        has("alley_et_mm"),
    ),
    StepRule(
        "planned_depletion_mm", "Depletion by the evening if nothing ran", "mm", 2, _MODEL,
        (
            "{depletion_start_mm:.2f} + {crop_et_mm:.2f}",
            "{depletion_start_mm:.2f} + {crop_et_mm:.2f} - {alley_et_mm:.2f} from outside the"
            " strip",
            "what all but {credit_fraction:.3f} of the forecasts stay under, each with its own rain"
            " and use",
        ),
        _how_planned_depletion,
    ),
    StepRule(
        "trigger_mm", "Water from this depletion on", "mm", 2, _MODEL,
        (
            "{trigger_fraction:.2f} x RAW = {trigger_fraction:.2f} x {raw_mm:.2f}",
            "the readily available water at the mean use of the forecasts, or less where later"
            " days could not make it good",
        ),
        _how_start,
    ),
    *RISK_STEPS,
    StepRule(
        "rain_room_mm", "Room left for rain", "mm", 2, _MODEL,
        ("{rain_room_fraction:.2f} x RAW = {rain_room_fraction:.2f} x {raw_mm:.2f}",),
    ),
    StepRule(
        "need_mm", "Net water needed", "mm", 2, _MODEL,
        (
            "{planned_depletion_mm:.2f} - {rain_room_mm:.2f} where {planned_depletion_mm:.2f} is"
            " at least {trigger_mm:.2f}, else 0",
            "{must_mm:.2f} + 0.5 x ({fill_mm:.2f} - {must_mm:.2f}) where that is positive and"
            " something must be given, else 0; never less than the shortest pulse",
        ),
        _how_start,
    ),
)  # fmt: skip

WATER_STEPS: tuple[StepRule, ...] = (
    StepRule(
        "dormant_days", "Days until water may be planned again", "", 0, _MODEL,
        (
            "0 within the watering season, which lasts from day {watering_start_doy:.0f} to day"
            " {watering_end_doy:.0f} of the year",
        ),
        has("dormant_days"),
    ),
    StepRule(
        "held_min", "Minutes of the allowed hours that are too cold", "min", 0,
        "Parton & Logan 1981 (coefficients as quoted by others)",
        (
            "hours expected below {freeze_hold_c:.1f} °C between {tmin_c:.1f} and {tmax_c:.1f} °C;"
            " the whole day where the highest is less than 3 °C above it",
        ),
        has("held_min"),
    ),
    StepRule(
        "weekly_closed_min", "Minutes of the allowed hours without water every week", "min", 0,
        "as given for the supply",
        (
            "hours in which the supply gives no water; without them the plan would be the same",
            "hours in which the supply gives no water; without them pulses would run at other"
            " times",
            "hours in which the supply gives no water; without them more would run",
        ),
        _how_weekly,
    ),
    StepRule(
        "application_rate_mm_per_h", "Depth the emitters give per hour", "mm/h", 3, "geometry",
        (
            "emitter flow / area of one emitter = {emitter_flow_l_per_h:.4f} L/h / "
            "({row_spacing_m:.4f} m x {emitter_spacing_m:.4f} m / {laterals_per_row_count:.0f})",
        ),
    ),
    StepRule(
        "net_rate_mm_per_min", "Net depth per minute", "mm/min", 5,
        "NEH 623 ch. 7 (from memory)",
        (
            "rate / 60 x uniformity x rooted share / transmission ratio ="
            " {application_rate_mm_per_h:.3f} / 60 x {emission_uniformity_pct:.1f} % x"
            " {root_share_of_wetted:.4f} / {transmission_ratio:.2f}",
            "rate / 60 x uniformity x rooted share x (1 - leaching) ="
            " {application_rate_mm_per_h:.3f} / 60 x {emission_uniformity_pct:.1f} % x"
            " {root_share_of_wetted:.4f} x (1 - {leaching_fraction:.2f})",
        ),
        _how_net_rate,
    ),
    StepRule(
        "wanted_min", "Minutes that the need asks for", "min", 0, "arithmetic",
        ("{need_mm:.2f} / {net_rate_mm_per_min:.5f}, rounded down",),
    ),
    StepRule(
        "saturated_conductivity_mm_per_h", "Intake of the saturated soil", "mm/h", 2,
        "as given for the block, or by its texture", ("saturated conductivity of the soil",),
        has("saturated_conductivity_mm_per_h"),
    ),
    StepRule(
        "depth_limit_min", "Time to wet 0.6 of the root depth", "min", 1,
        "Schwartzman & Zur 1986 (from memory); the share this service's own rule",
        (
            "60 x V / q with V = [0.6 x {root_depth_m:.4f} / 29.2 /"
            " ({saturated_conductivity_mm_per_h:.2f} / 3600000 / q)^0.45]^(1 / 0.63) and q ="
            " {emitter_flow_l_per_h:.3f} L/h",
        ),
        has("saturated_conductivity_mm_per_h"),
    ),
    StepRule(
        "longest_pulse_min", "Longest pulse", "min", 0,
        "Schwartzman & Zur 1986 (from memory); shares this service's own rule",
        (
            "the smaller of the grower's longest ({grower_longest_pulse_min:.0f}) and the time to"
            " wet 0.6 of the root depth ({depth_limit_min:.1f}), but not under the shortest"
            " ({shortest_pulse_min:.0f})",
        ),
    ),
    StepRule(
        "flow_l_per_h", "Flow of the block", "L/h", 0, "1 mm on 1 m² is 1 L",
        ("{application_rate_mm_per_h:.3f} mm/h x {area_m2:.1f} m²",), has("flow_l_per_h"),
    ),
    StepRule(
        "supply_flow_l_per_h", "Flow of its supply", "L/h", 0, "as given",
        ("shared by the blocks that run at the same time",), has("supply_flow_l_per_h"),
    ),
    StepRule(
        "alone_share", "Share of the need that it could have alone", "", 3, _MODEL,
        ("what windows, soil and pulse lengths let through, without the other blocks",),
    ),
    StepRule(
        "priority", "Rank on a short supply", "", 0, "as given for the block, else 5",
        (
            "1 is served first, 9 last: blocks of a higher number wait until those of a lower one"
            " have all that they need or can take; equal numbers share alike",
        ),
        has("priority"),
    ),
    StepRule(
        "rest_share", "Share of the need that its supply gives", "", 3, _MODEL,
        (
            "{urgent_share:.3f} of the {urgent_need_mm:.2f} mm that cannot wait and"
            " {rest_share:.3f} of the rest; below 1 the supply's flow in the block's hours binds,"
            " and blocks that can have more in theirs go on",
        ),
    ),
    StepRule(
        "visit_count", "Visits at which the valve is opened by hand", "", 0, "as given",
        ("each pulse starts during one of them, and the valve is closed after its minutes",),
        has("visit_count"),
    ),
    StepRule(
        "planned_min", "Minutes planned", "min", 0, _MODEL,
        (
            "{pulse_count:.0f} pulses within the windows, the day's maximum"
            " ({daily_maximum_min:.0f} min, {daily_pulse_count:.0f} pulses) and the block's share"
            " of the supply",
        ),
    ),
    StepRule(
        "net_mm", "Net water that the roots get", "mm", 2, "arithmetic",
        ("{planned_min:.0f} x {net_rate_mm_per_min:.5f}",),
    ),
    StepRule(
        "gross_mm", "Depth that runs", "mm", 2, "arithmetic",
        ("{planned_min:.0f} / 60 x {application_rate_mm_per_h:.3f}",),
    ),
    StepRule(
        "unrooted_loss_mm", "Water that misses the roots", "mm", 2, "arithmetic",
        (
            "{net_mm:.2f} / {root_share_of_wetted:.4f} - {net_mm:.2f}; emitters set at the plants"
            " waste less of it",
        ),
    ),
    StepRule(
        "volume_l", "Water that runs", "L", 0, "1 mm on 1 m² is 1 L",
        ("{gross_mm:.4f} mm x {area_m2:.1f} m²",),
    ),
    StepRule(
        "deferred_mm", "Net water left for later days", "mm", 2, _MODEL,
        (
            "{need_mm:.2f} - {net_mm:.2f}; worth a caution from {news_depth_mm:.2f} mm and"
            " {news_fraction:.2f} of the need on",
        ),
    ),
    StepRule(
        "shortfall_mm", "Water missing below the readily available", "mm", 2, _MODEL,
        (
            "min(need - net, planned depletion - net - RAW), where positive:"
            " min({need_mm:.2f} - {net_mm:.2f}, {planned_depletion_mm:.2f} - {net_mm:.2f} -"
            " {raw_mm:.2f})",
        ),
    ),
)  # fmt: skip
