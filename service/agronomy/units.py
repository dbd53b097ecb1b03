"""The nomenclature: every name that carries a unit, and the few conversions the project needs.

In: nothing. Out: :data:`NOMENCLATURE`, one line for each name with its unit, the range outside
which a value is a mistake, and its meaning; and the size of customary units in metric ones. One
name has one unit and one meaning, the same as an argument, a field, a column, a JSON key or a
setting. Files that people write are the exception: there the unit is written beside the number
(:mod:`service.farm_files.quantities`) or in the column's heading. The table is checked against
the code by ``tests/test_nomenclature.py``. Sizes of customary units are those of NIST Handbook 44,
Appendix C, and exact unless marked otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import inf
from types import MappingProxyType

from service.agronomy.crop_units import CROP_NAMES
from service.agronomy.nutrition_units import NUTRITION_GROUPS
from service.agronomy.quantity import Quantity
from service.agronomy.season_units import SEASON_GROUP
from service.agronomy.water_units import WATER_GROUPS
from service.agronomy.weather_units import WEATHER_NAMES

# --- conversions -----------------------------------------------------------------------------
# Source, unless the line gives another: NIST Handbook 44, Appendix C, exact.

M_PER_INCH = 0.0254  # [m] international inch
MM_PER_INCH = 25.4  # [mm]
M_PER_FOOT = 0.3048  # [m] international foot, 12 in
M_PER_MILE = 1609.344  # [m] 5280 ft
M_S_PER_MPH = M_PER_MILE / 3600.0  # [m/s] 0.44704
CUBIC_INCHES_PER_GALLON = 231.0  # [in3] US gallon
L_PER_GALLON = 3.785411784  # [L] 231 in3
L_PER_H_PER_GPH = L_PER_GALLON  # [L/h] gallon an hour
L_PER_H_PER_GPM = 60.0 * L_PER_GALLON  # [L/h] 227.125: gallon a minute
SQUARE_FEET_PER_ACRE = 43_560.0  # [ft2] on the international foot, not the survey foot
M2_PER_ACRE = SQUARE_FEET_PER_ACRE * M_PER_FOOT**2  # [m2] 4046.8564224
M2_PER_HECTARE = 10_000.0  # [m2] SI Brochure 9, Table 8
CUBIC_INCHES_PER_ACRE_INCH = SQUARE_FEET_PER_ACRE * 144.0  # [in3] 144 in2 in a square foot
GALLONS_PER_ACRE_INCH = CUBIC_INCHES_PER_ACRE_INCH / CUBIC_INCHES_PER_GALLON  # [gal] 27,154.29
L_PER_ACRE_INCH = GALLONS_PER_ACRE_INCH * L_PER_GALLON  # [L] 102,790
KG_PER_POUND = 0.45359237  # [kg]
KPA_PER_PSI = 6.894757  # [kPa] as Handbook 44 rounds it
FAHRENHEIT_PER_CELSIUS = 1.8  # [degF/degC] size of the degrees
FREEZING_POINT_F = 32.0  # [degF] 0 degC
MINUTES_PER_HOUR = 60.0  # [min]
MINUTES_PER_DAY = 1440  # [min] a civil day without a clock change
SECONDS_PER_DAY = 86_400.0  # [s] the same
KM_PER_DAY_PER_M_S = SECONDS_PER_DAY / 1000.0  # [km/d] 86.4
MJ_M2_DAY_PER_W_M2 = SECONDS_PER_DAY / 1e6  # [MJ/m2] 0.0864: 1 W/m2 as the mean of 24 hours
MJ_M2_PER_LANGLEY = 0.04184  # [MJ/m2] thermochemical calorie, 4.184 J, on a square centimetre

# --- the table -------------------------------------------------------------------------------

SUFFIX_UNITS: Mapping[str, str] = MappingProxyType(
    {
        "mm": "mm",
        "m": "m",
        "km": "km",
        "m2": "m2",
        "m3": "m3",
        "l": "L",
        "ms": "ms",
        "kg": "kg",
        "g_per_kg": "g/kg",
        "per_ml": "1/mL",
        "g": "g",
        "ml": "mL",
        "s": "s",
        "min": "min",
        "h": "h",
        "c": "degC",
        "c_day": "degC d",
        "kpa": "kPa",
        "kpa_per_c": "kPa/degC",
        "per_sqrt_c": "degC^-0.5",
        "mj_m2": "MJ/m2",
        "m3_s": "m3/s",
        "m_s": "m/s",
        "mm_per_h": "mm/h",
        "mm_per_min": "mm/min",
        "l_per_h": "L/h",
        "l_per_1000_gal": "L/1000 gal",
        "ml_per_m3": "mL/m3",
        "ml_per_min": "mL/min",
        "m2_s": "m2/s",
        "kg_per_l": "kg/L",
        "g_per_m3": "g/m3",
        "g_per_mol": "g/mol",
        "mg_per_l": "mg/L",
        "eq_per_l": "eq/L",
        "meq_per_l": "meq/L",
        "mmol_per_l": "mmol/L",
        "mol_per_l": "mol/L",
        "ds_m": "dS/m",
        "pct_per_ds_m": "%/(dS/m)",
        "g_per_l": "g/L",
        "kw": "kW",
        "kwh": "kWh",
        "deg": "deg",
        "rad": "rad",
        "pct": "%",
        "fraction": "1",
        "ratio": "1",
        "count": "1",
        "doy": "d of year",
        "day": "d",
        "days": "d",
        "year": "a",
        "years": "a",
    }
)
"""The unit that each name ending means; the longest matching ending counts."""


_PLACE = (
    Quantity("latitude_deg", "deg", -90, 90, "degrees north of the equator"),
    Quantity("latitudes_deg", "deg", -90, 90, "latitude of every site of a farm"),
    Quantity("longitude_deg", "deg", -180, 180, "degrees east of Greenwich"),
    Quantity("elevation_m", "m", -430, 6000, "height of the ground above sea level"),
    Quantity("wind_height_m", "m", 0.5, 200, "height of the anemometer above the ground"),
)

_DAY_AND_CLOCK = (
    Quantity("season_year", "a", 1900, 2200, "calendar year that a season belongs to"),
    Quantity("planting_year", "a", 1900, 2200, "calendar year in which the block was planted"),
    Quantity("age_years", "a", 0, 300, "years since planting"),
    Quantity("stage_lengths_day", "d", 1, 365, "length of the four growth stages"),
    Quantity("window_days", "d", 1, 366, "days back over which a mean is taken"),
    Quantity("minimum_days", "d", 1, 366, "known days that such a mean needs"),
    Quantity("unwatered_passes_raw_day", "d", -1, 366, "row of the first day past RAW; -1: none"),
    Quantity("max_gap_days", "d", 0, 30, "longest gap that is filled"),
    Quantity("start_epoch_s", "s", 0, inf, "start of a pulse or interval, since 1970-01-01 UTC"),
    Quantity("end_epoch_s", "s", 0, inf, "end of a pulse or interval, since 1970-01-01 UTC"),
    Quantity("issued_epoch_s", "s", 0, inf, "when a program was issued, since 1970-01-01 UTC"),
    Quantity("valid_epoch_s", "s", 0, inf, "beginning and end of validity, since 1970-01-01 UTC"),
    Quantity("valid_from_epoch_s", "s", 0, inf, "when a program begins to count, since 1970 UTC"),
    Quantity("valid_until_epoch_s", "s", 0, inf, "when a program ends to count, since 1970 UTC"),
    Quantity("server_epoch_s", "s", 0, inf, "the server's clock, since 1970-01-01 UTC"),
    Quantity("server_time_epoch_s", "s", 0, inf, "the server's clock, since 1970-01-01 UTC"),
    Quantity("start_wall_min", "min", 0, 1439, "wall-clock time at which a fallback run starts"),
    Quantity("elapsed_min", "min", 0, 2880, "minutes that have passed since local midnight"),
    Quantity("wall_min", "min", 0, 1440, "time on the wall clock, minutes since 00:00"),
    Quantity("opens_wall_min", "min", 0, 1440, "wall-clock time at which a daily window opens"),
    Quantity("closes_wall_min", "min", 0, 1440, "wall-clock time at which a daily window closes"),
    Quantity("issue_wall_min", "min", 0, 1439, "wall-clock time by which a plan is issued"),
    Quantity("midnight_utc_min", "min", -840, 840, "local midnight after 00:00 UTC of that date"),
    Quantity("day_length_min", "min", 0, 2880, "length of a civil day"),
    Quantity("length_h", "h", 0, 48, "the same in hours"),
    Quantity("covered_h", "h", 0, 48, "hours of a civil day that a gauge reading covers"),
    Quantity("step_min", "min", 1, 1440, "usual length of the intervals of a station's file"),
    Quantity("sunrise_min", "min", 0, 1500, "sunrise, minutes elapsed since local midnight"),
    Quantity("sunset_min", "min", 0, 1500, "sunset, minutes elapsed since local midnight"),
    Quantity("durations_min", "min", 0, 1500, "how long each of several pulses runs"),
)

_SOIL = (
    Quantity("sand_fraction", "1", 0, 1, "share of sand in the mineral soil, by weight"),
    Quantity("clay_fraction", "1", 0, 1, "share of clay in the mineral soil, by weight"),
    Quantity("organic_matter_pct", "%", 0, 8, "organic matter by weight"),
    Quantity("saturated_conductivity_mm_per_h", "mm/h", 0.01, 2000, "saturated conductivity"),
    Quantity("root_depth_m", "m", 0.05, 5, "depth that the managed roots reach"),
    Quantity("root_depth_low_m", "m", 0.05, 5, "lower end of the published root depth"),
    Quantity("root_depth_high_m", "m", 0.05, 5, "upper end of the published root depth"),
    Quantity("wetted_fraction", "1", 0, 1, "share of the block's ground that the drip wets"),
    Quantity("mulch_rain_pass_fraction", "1", 0, 1, "share of rain on mulch that reaches the soil"),
    Quantity("depth_m", "m", 0, 10, "depth below the emitter"),
)

_BALANCE = (
    Quantity("taw_mm", "mm", 0, 1000, "total available water of the managed zone"),
    Quantity("raw_mm", "mm", 0, 1000, "readily available water of the managed zone"),
    Quantity("depletion_mm", "mm", 0, 1000, "water missing to field capacity"),
    Quantity("depletion_start_mm", "mm", 0, 1000, "depletion with which a day begins"),
    Quantity(
        "depletion_after_rain_mm", "mm", 0, 1000, "depletion less the rain that a plan counts on"
    ),
    Quantity("depletion_end_mm", "mm", 0, 1000, "depletion with which a day ends"),
    Quantity("depletion_midnight_mm", "mm", 0, 1000, "depletion expected at the coming midnight"),
    Quantity("initial_depletion_mm", "mm", 0, 1000, "depletion with which the ledger begins"),
    Quantity("planned_depletion_mm", "mm", 0, 1000, "end of the coming day without irrigation"),
    Quantity("rain_entering_mm", "mm", 0, 2000, "rain that enters the managed zone"),
    Quantity("rain_credit_mm", "mm", 0, 2000, "forecast rain that a plan counts on"),
    Quantity("rain_drainage_mm", "mm", 0, 2000, "rain that drains from the zone"),
    Quantity("irrigation_drainage_mm", "mm", 0, 500, "irrigation that drains from the zone"),
    Quantity("drainage_mm", "mm", 0, 2000, "rain and irrigation that drain from the zone"),
    Quantity("other_mm", "mm", -1000, 1000, "change of depletion by readings and the zone's size"),
    Quantity("conventional_et_mm", "mm", 0, inf, "crop ET of plants that cover the ground"),
    Quantity("year_count", "1", 1, 15, "calendar years back whose summers are assessed"),
    Quantity("summer_use_mm", "mm", 0, inf, "peak week of crop ET in the summers on record"),
    Quantity("shade_use_mm", "mm", 0, inf, "the same as designers reckon it from the shade"),
    Quantity("excess_mm", "mm", 0, inf, "depletion beyond RAW, summed over some midnights"),
    Quantity("cost_mm", "mm", 0, inf, "cost of a timer's program, in drainage"),
    Quantity("irrigation_gross_mm", "mm", 0, 500, "irrigation of a ledger day as it left the pipe"),
    Quantity("nonuniformity_loss_mm", "mm", 0, 500, "its part that uneven emitters waste"),
    Quantity("unrooted_loss_mm", "mm", 0, 500, "its part that falls where no root is"),
    Quantity("early_net_mm", "mm", 0, 500, "net irrigation of pulses that start before sunrise"),
    Quantity("day_net_mm", "mm", 0, 500, "net irrigation of all other pulses of the day"),
    Quantity("resize_mm", "mm", -1000, 0, "depletion struck off where the zone became smaller"),
    Quantity(
        "correction_mm", "mm", -1000, 1000, "depletion added at a day's end after soil readings"
    ),
    Quantity("depletion_reading_mm", "mm", 0, 1000, "depletion as a soil reading has it"),
    Quantity("compared_mm", "mm", 0, 1000, "computed depletion at the time of a soil reading"),
    Quantity("available_fraction", "1", 0, 1, "share left of the water that plants can take"),
    Quantity("weight_fraction", "1", 0, 1, "how much a soil reading counts beside the balance"),
    Quantity("tension_kpa", "kPa", 0, 1500, "tension that the soil holds its water with"),
    Quantity("reach_m", "m", 0, 1, "how far above and below its middle a soil sensor feels"),
    Quantity("top_depth_m", "m", 0, 5, "upper end of the layer that a soil sensor feels"),
    Quantity("new_plan_count", "1", 0, 1e6, "plans that got a new version after a report"),
    Quantity("data_age_days", "d", -400, 40000, "days since the last observed weather"),
    Quantity("run_count", "1", 0, 1e6, "metered runs that a flow check counts"),
    Quantity("applied_min", "min", 0, inf, "minutes of all runs of a day, by the clock"),
    Quantity("questioned_count", "1", 0, inf, "runs whose volume is not booked"),
    Quantity("expected_volume_l", "L", 0, 1e12, "flow of all emitters times the minutes"),
    Quantity("flow_ratio", "1", 0, 1e6, "metered water over the expected"),
    Quantity("band_fraction", "1", 0, 1, "how far a flow ratio may be from 1 unsuspected"),
    Quantity("bottom_depth_m", "m", 0, 5, "lower end of the layer that a soil sensor feels"),
)

_SYSTEM = (
    Quantity("area_m2", "m2", 1, 5e6, "ground of the block, rows and alleys"),
    Quantity("row_spacing_m", "m", 0.2, 30, "distance between crop rows"),
    Quantity("emitter_spacing_m", "m", 0.05, 15, "distance between emitters on a drip line"),
    Quantity("lateral_gap_m", "m", 0.05, 5, "distance between the drip lines of a row"),
    Quantity("laterals_per_row_count", "1", 0.5, 12, "drip lines per crop row"),
    Quantity("emitter_flow_l_per_h", "L/h", 0.1, 250, "flow of one emitter"),
    Quantity("flow_l_per_h", "L/h", 0, inf, "flow of the block, supply or pipe spoken of"),
    Quantity("supply_flow_l_per_h", "L/h", 0, inf, "flow that a supply gives"),
    Quantity("application_rate_mm_per_h", "mm/h", 0, 100, "gross depth over the block per hour"),
    Quantity("planned_early_net_mm", "mm", 0, 500, "net depth planned before sunrise"),
    Quantity("et_mm", "mm", 0, 30, "water that the crop would use without stress, in any span"),
    Quantity("wanted_mm", "mm", 0, 500, "depletion that is to be reached"),
    Quantity("inflow_mm", "mm", 0, 500, "net depth that enters evenly over the day's ET"),
    Quantity("net_rate_mm_per_min", "mm/min", 0, 2, "net depth per minute of running"),
    Quantity("emission_uniformity_pct", "%", 40, 100, "low-quarter emission uniformity"),
    Quantity("leaching_fraction", "1", 0, 0.9, "share of the water meant to leach salt"),
    Quantity("transmission_ratio", "1", 1, 2, "peak-use ratio for unavoidable deep percolation"),
    Quantity("fill_time_min", "min", 0, 120, "time until the lines are full and under pressure"),
    Quantity("valve_gap_s", "s", 0, 3600, "time after a pulse in which the flow stays taken"),
    Quantity("valve_gap_min", "min", 0, 60, "the same in whole minutes, rounded up"),
    Quantity("trigger_fraction", "1", 0, 1, "share of RAW at which the plan waters"),
    Quantity("rain_room_fraction", "1", 0, 1, "share of RAW left empty for rain"),
)

_NEED = (
    Quantity("need_mm", "mm", 0, 1000, "net depth that the coming day asks for"),
    Quantity("urgent_need_mm", "mm", 0, 1000, "its part without which the block passes RAW"),
    Quantity("trigger_mm", "mm", 0, 1000, "depletion at which the plan waters"),
    Quantity("rain_room_mm", "mm", 0, 1000, "depletion that the plan leaves for rain"),
    Quantity("deferred_mm", "mm", 0, 1000, "need that the plan leaves for later days"),
    Quantity("shortfall_mm", "mm", 0, 1000, "need whose lack takes the block past RAW"),
    Quantity("net_mm", "mm", 0, 500, "net depth of a stored plan"),
    Quantity("gross_mm", "mm", 0, 500, "gross depth of a plan or of an irrigation"),
    Quantity("net_depth_mm", "mm", 0, 1000, "any net depth"),
    Quantity("depth_mm", "mm", 0, 1000, "any depth over the whole block"),
    Quantity("planned_net_mm", "mm", 0, 500, "net depth of the planned pulses"),
    Quantity("reference_et_mm", "mm", 0, 150, "reference ET of a week"),
    Quantity("net_need_mm", "mm", 0, 1000, "net need of a week"),
    Quantity("gross_need_mm", "mm", 0, 2000, "gross need of a week"),
    Quantity("running_h", "h", 0, inf, "hours that a reference system runs for a week's need"),
)

_PULSES = (
    Quantity("off_ratio", "1", 0, 10, "off time after a pulse as a multiple of its length"),
    Quantity("used_off_ratio", "1", 0, 10, "off ratio that the plan came down to"),
    Quantity("alone_off_ratio", "1", 0, 10, "off ratio if the block were alone on its supply"),
    Quantity("shortest_pulse_min", "min", 1, 1440, "shortest pulse that is planned"),
    Quantity("longest_pulse_min", "min", 1, 1440, "longest pulse that is planned"),
    Quantity("grower_longest_pulse_min", "min", 1, 1440, "longest pulse that the grower allows"),
    Quantity("daily_maximum_min", "min", 0, 1500, "most minutes that a block may run in a day"),
    Quantity("depth_limit_min", "min", 0, inf, "pulse that wets down to its share of the roots"),
    Quantity("event_limit_mm", "mm", 0, inf, "net depth of an event that wets all roots"),
    Quantity("event_peak_mm", "mm", 0, 500, "most that a day's pulses hold in the soil above ET"),
    Quantity("opens_min", "min", 0, 2880, "first minute of a window, elapsed since midnight"),
    Quantity("closes_min", "min", 0, 2880, "end of a window, exclusive, elapsed since midnight"),
    Quantity("start_min", "min", 0, 2880, "start of a pulse or run, elapsed since midnight"),
    Quantity("starts_min", "min", 0, 2880, "starts of a block's pulses, in order"),
    Quantity("not_before_min", "min", 0, 2880, "first minute at which a pulse may start"),
    Quantity("now_min", "min", 0, inf, "minute at which a list schedule stands"),
    Quantity("duration_min", "min", 0, 2880, "length of a pulse or run"),
    Quantity("volume_l", "L", 0, inf, "volume of water"),
    Quantity("granted_mm", "mm", 0, 500, "net depth granted by a shared supply so far"),
    Quantity("tier_mm", "mm", 0, 500, "net depth that the tier at hand would add"),
    Quantity("wanted_min", "min", 0, 2880, "whole minutes that the need asks for"),
    Quantity("planned_min", "min", 0, 2880, "minutes of all planned pulses of a day"),
    Quantity("total_min", "min", 0, 2880, "minutes to be laid out as pulses"),
    Quantity("expected_min", "min", 0, 2880, "minutes expected on a coming day"),
    Quantity("outlook_expected_min", "min", 0, 2880, "minutes expected, by coming day"),
    Quantity("outlook_depletion_mm", "mm", 0, 1000, "depletion expected at the end, by coming day"),
    Quantity("early_min", "min", 0, 2880, "minutes of the pulses that start before sunrise"),
    Quantity("day_min", "min", 0, 2880, "minutes of all other pulses of the day"),
    Quantity("ready_min", "min", 0, inf, "minute from which a block may run again"),
    Quantity("pulse_net_mm", "mm", 0, 500, "net depth of one pulse"),
    Quantity("applied_early_net_mm", "mm", 0, 500, "early_net_mm that was given already"),
    Quantity("applied_day_net_mm", "mm", 0, 500, "day_net_mm that was given already"),
    Quantity("pulse_count", "1", 0, 1440, "pulses that make up a total"),
    Quantity("start_count", "1", 0, 24, "starts a day of a timer"),
    Quantity("first_start_min", "min", 0, 1440, "the first of them, since midnight"),
    Quantity("run_step_min", "min", 0.5, 60, "shortest step of a timer's run time"),
    Quantity("step_count", "1", 0, 2880, "such steps in a run time"),
    Quantity("step_net_mm", "mm", 0, 100, "net depth of such a step"),
    Quantity("slot_min", "min", 0, 1440, "hours that a turn on a supply leaves to a block"),
    Quantity("offset_min", "min", 0, 1440, "when a block's turn comes, since the hours begin"),
    Quantity("fixed_min", "min", 0, 1500, "minutes that a timer runs whatever the need"),
    Quantity("interval_days", "d", 1, 7, "from one run of a timer to the next"),
    Quantity("placed_count", "1", 0, 1440, "pulses among them that found a place"),
    Quantity("alone_min", "min", 0, 2880, "minutes if the block were alone on its supply"),
    Quantity("alone_count", "1", 0, 1440, "pulses if the block were alone on its supply"),
    Quantity("at_least_min", "min", 0, 2880, "total that is known to fit"),
    Quantity("at_most_min", "min", 0, 2880, "total above which none is tried"),
)

_SUPPLY = (
    Quantity("latest_min", "min", 0, inf, "last minute at which the next pulse may still start"),
    Quantity("flow_until_min", "min", 0, inf, "minute at which a block gives its flow back"),
    Quantity("remaining_min", "min", 0, inf, "pulses and off times that a block still has to run"),
    Quantity("last_close_min", "min", 0, inf, "end of the last window of a block"),
    Quantity("reserving_at_min", "min", -1, inf, "minute at which flow was held back for a block"),
    Quantity("reserved_min", "min", 0, inf, "minute from which held-back flow is needed"),
    Quantity("free_l_per_h", "L/h", 0, inf, "flow of a supply that no block takes"),
    Quantity("spare_l_per_h", "L/h", 0, inf, "flow left beside the flow held back"),
    Quantity("wanted_l_per_h", "L/h", 0, inf, "flow that a waiting block needs"),
)

_STANDARD_TERMS = (
    Quantity("field_capacity", "m3/m3", 0, 1, "water that a drained soil keeps"),
    Quantity("wilting_point", "m3/m3", 0, 1, "water that roots cannot take up"),
    Quantity("texture_group", "1", 0, 2, "0 coarse, 1 medium, 2 fine"),
    Quantity("curve_number", "1", 30, 100, "SCS curve number"),
    Quantity("root_share_of_wetted", "1", 0, 1, "share of the wetted soil that holds roots"),
    Quantity("years_to_full_size", "a", 1, 50, "years from planting to a full canopy"),
    Quantity("canopy_density_factor", "1", 1, 2, "ML: multiplier on a small cover in Kd"),
    Quantity("mulch_kc_initial", "1", 0, 1.5, "Kc of the initial stage under a complete mulch"),
    Quantity("kc_initial", "1", 0, 1.5, "Kc of the initial stage"),
    Quantity("kc_mid", "1", 0, 1.5, "Kc of the mid stage, of the table's climate"),
    Quantity("kc_end", "1", 0, 1.5, "Kc at the end of the late stage"),
    Quantity("kc_off_season", "1", 0, 1.5, "Kc outside the stages"),
    Quantity("ground_kc", "1", 0, 1.5, "Kc of the ground between the plants"),
    Quantity("kc_table_value", "1", 0, 1.5, "Kc at the knots of a block's own table"),
    Quantity("kc_mid_adjusted", "1", 0, 2, "Kc of the mid stage in the site's climate"),
    Quantity("kc_end_adjusted", "1", 0, 2, "Kc at the end of the late stage in that climate"),
    Quantity("kc_initial_adjusted", "1", 0, 1.5, "Kc of the initial stage under the mulch"),
    Quantity("kc_of_stage", "1", 0, 2, "Kc of a day before the canopy"),
    Quantity("priority", "1", 1, 9, "rank on a short supply, 1 is served first"),
    Quantity("bare_ground_kc", "1", 0, 1, "Kc without leaves, of bare soil or under the mulch"),
    Quantity("crop_coefficient", "1", 0, 2, "Kc of a day: crop ET over reference ET"),
    Quantity("climate_term", "1", -1, 1, "FAO-56 Eq. 62 but for the height: wind and humidity"),
    Quantity("percent_of_normal", "%", 0, inf, "a week's reference ET against its normal"),
)
"""Terms that everybody knows without a unit at their end."""

_PIPES = (
    Quantity("inner_diameter_mm", "mm", 1, 1000, "inner diameter of a pipe"),
    Quantity("roughness_mm", "mm", 0, 1, "height of the wall's roughness, Darcy-Weisbach"),
    Quantity("viscosity_m2_s", "m2/s", 1e-7, 1e-5, "kinematic viscosity of the water"),
    Quantity("viscous_flow_m3_s", "m3/s", 0, 1, "viscosity times diameter"),
    Quantity("nominal_flow_l_per_h", "L/h", 0.1, 250, "flow of an emitter at its nominal head"),
    Quantity("nominal_head_m", "m", 1, 60, "head at which an emitter's flow is stated"),
    Quantity("compensates_from_head_m", "m", 0, 100, "head from which an emitter compensates"),
    Quantity("compensates_to_head_m", "m", 0, inf, "head up to which an emitter compensates"),
    Quantity("manufacturer_variation_ratio", "1", 0, 1, "Cv of new emitters at one pressure"),
    Quantity("emitters_per_plant_count", "1", 0.1, 100, "emitters that share one plant's roots"),
    Quantity("emitter_count", "1", 0, 100_000, "emitters of a lateral"),
    Quantity("search_limit_count", "1", 1, 100_000, "emitters at which a search ends"),
    Quantity("first_segment_m", "m", 0, 100, "pipe from the inlet to the first emitter"),
    Quantity(
        "connection_length_m", "m", 0, 1, "plain tube with the friction of one emitter's barb"
    ),
    Quantity("length_m", "m", 0, 5000, "length of a lateral"),
    Quantity("distance_m", "m", 0, 5000, "distance from the inlet along the row"),
    Quantity("rise_m", "m", -500, 500, "height of an emitter above the inlet"),
    Quantity("head_m", "m", 0, 200, "pressure head"),
    Quantity("inlet_head_m", "m", 0, 200, "pressure head at the inlet of a lateral"),
    Quantity("end_head_m", "m", -500, 200, "pressure head at its closed end"),
    Quantity("emitter_head_m", "m", 0, 200, "pressure head at each emitter"),
    Quantity("limit_m", "m", 0, inf, "head beyond which a march is broken off"),
    Quantity("guess_m", "m", -500, 200, "head with which a search begins"),
    Quantity("inlet_flow_l_per_h", "L/h", 0, inf, "flow into a lateral"),
    Quantity("reached_count", "1", 0, 100_000, "emitters that water reaches, in the kernel"),
    Quantity("reached_emitter_count", "1", 0, 100_000, "emitters that water reaches"),
    Quantity("lowest_over_mean_ratio", "1", 0, 1, "lowest emitter flow over the mean"),
    Quantity("design_uniformity_pct", "%", 0, 100, "EU of a design, Keller and Karmeli 1975"),
    Quantity("target_uniformity_pct", "%", 0, 100, "design uniformity that is asked for"),
    Quantity(
        "low_quarter_uniformity_pct", "%", 0, 100, "DU: mean of the low quarter over the mean"
    ),
    Quantity("takeoff_spacing_m", "m", 0.05, 100, "distance between take-offs of a manifold"),
    Quantity("takeoff_count", "1", 0, 10_000, "take-offs of a manifold"),
    Quantity("laterals_per_takeoff_count", "1", 1, 2, "laterals that leave one take-off"),
    Quantity("reached_takeoff_count", "1", 0, 10_000, "take-offs that water reaches"),
    Quantity("dry_emitter_count", "1", 0, inf, "emitters of a block that water does not reach"),
    Quantity("outside_range_count", "1", 0, inf, "emitters outside their compensating range"),
    Quantity("takeoff_head_m", "m", 0, 200, "pressure head at each take-off"),
    Quantity("takeoff_rise_m", "m", -500, 500, "height of a take-off above the block's inlet"),
    Quantity(
        "submain_rise_m", "m", -500, 500, "height of the manifold's inlet above the submain's"
    ),
    Quantity("lateral_flow_l_per_h", "L/h", 0, inf, "flow into each lateral"),
    Quantity("set_head_m", "m", 0.1, 200, "head that a pressure regulator holds behind it"),
    Quantity("loss_head_m", "m", 0, 100, "head that it takes when fully open"),
    Quantity("lowest_flow_l_per_h", "L/h", 0, inf, "least flow at which it regulates"),
    Quantity("highest_flow_l_per_h", "L/h", 0, inf, "largest flow at which it regulates"),
    Quantity("highest_supply_head_m", "m", 0, inf, "largest head before it"),
    Quantity("supply_head_m", "m", 0, 200, "head before a regulator"),
    Quantity("outlet_head_m", "m", 0, 200, "head behind a regulator"),
    Quantity("takeoff_travel_min", "min", 0, inf, "travel of the water to each take-off"),
    Quantity("emitter_travel_min", "min", 0, inf, "travel of the water to each emitter"),
    Quantity("most_travel_min", "min", 0, inf, "travel to 95 % of the emitters"),
    Quantity("last_travel_min", "min", 0, inf, "travel to the last emitter"),
)

_REPORTS = (
    Quantity("age_h", "h", 0, inf, "age of weather values when a plan was made"),
    Quantity("weather_age_h", "h", 0, inf, "age of the oldest weather behind a plan"),
    Quantity("busy_timeout_ms", "ms", 0, inf, "time for which a locked database is waited for"),
    Quantity("lease_s", "s", 1, inf, "time for which a process holds a duty"),
    Quantity("midnight_epoch_s", "s", -inf, inf, "beginning of a local day, since 1970"),
    Quantity("window_s", "s", 1, inf, "time within which requests are counted together"),
    Quantity("heartbeat_s", "s", 0, inf, "time between two renewals of a lease"),
    Quantity("due_count", "1", 0, inf, "runs of a job that are due and not done"),
    Quantity("observed_age_h", "h", 0, inf, "hours since the last observed day ended"),
    Quantity("forecast_age_h", "h", 0, inf, "hours since the newest forecast was issued"),
    Quantity("duration_s", "s", 0, inf, "time from a request to the end of its answer"),
    Quantity("attempt_count", "1", 1, inf, "times that a duty was taken up"),
    Quantity("evening_lead_min", "min", 0, 720, "time from an evening's run to the issue time"),
    Quantity("change_count", "1", 0, inf, "how often things of a kind have changed"),
    Quantity("request_count", "1", 0, inf, "requests to a weather source"),
    Quantity("failure_count", "1", 0, inf, "requests among them that failed"),
    Quantity("payload_count", "1", 0, inf, "raw answers of weather services"),
    Quantity("job_run_count", "1", 0, inf, "runs of the scheduler's jobs"),
    Quantity("farm_count", "1", 0, inf, "farms"),
    Quantity("block_count", "1", 0, inf, "blocks"),
    Quantity("site_count", "1", 0, inf, "sites"),
    Quantity("county_count", "1", 0, inf, "counties"),
    Quantity("day_count", "1", 0, inf, "days that a figure covers"),
    Quantity("forecast_day_count", "1", 0, inf, "days among them whose weather is forecast"),
    Quantity("without_weather_count", "1", 0, inf, "blocks without a plan for want of weather"),
    Quantity("new_version_count", "1", 0, inf, "plan versions that a run stored"),
    Quantity("created_count", "1", 0, inf, "things that a load created"),
    Quantity("changed_count", "1", 0, inf, "things that a load changed"),
    Quantity("unchanged_count", "1", 0, inf, "things that a load found as they were"),
    Quantity("retired_count", "1", 0, inf, "things that a load took out of force"),
    Quantity("connect_timeout_s", "s", 0, inf, "wait for a connection to a weather source"),
    Quantity("read_timeout_s", "s", 0, inf, "wait for the next bytes of an answer"),
    Quantity("pool_timeout_s", "s", 0, inf, "wait for a free connection"),
    Quantity("total_deadline_s", "s", 0, inf, "time for all attempts of a request"),
    Quantity("batch_deadline_s", "s", 0, inf, "time for all requests of a refresh"),
)

_LETTERS = (
    Quantity("applied_mm", "mm", 0, 1000, "gross irrigation of a block in a week"),
    Quantity("applied_l", "L", 0, inf, "the same as a volume"),
    Quantity("needed_mm", "mm", 0, 200, "water that the crop of a block used in a week"),
    Quantity("rain_kept_mm", "mm", 0, 2000, "rain of a week that stayed in the root zone"),
    Quantity("rain_before_mm", "mm", 0, 2000, "rain of the day before an evening"),
    Quantity("rain_today_mm", "mm", 0, 2000, "rain of the day of an evening"),
    Quantity("rain_tomorrow_mm", "mm", 0, 2000, "rain forecast for the day of a plan"),
    Quantity("before_min", "min", 0, 2880, "minutes of a plan that is to be replaced"),
    Quantity("after_min", "min", 0, 2880, "minutes of the plan that would replace it"),
    Quantity("depths_mm", "mm", -1000, 2000, "any depths, by name"),
    Quantity("short_days_count", "1", 0, 7, "days of a week that ended beyond RAW"),
    Quantity("assumed_days_count", "1", 0, 7, "days of a week whose plan was taken as done"),
    Quantity("unobserved_days_count", "1", 0, 7, "days of a week without observed weather"),
    Quantity("forecast_days_count", "1", 0, 62, "days of a week whose weather is a forecast"),
    Quantity("flow_change_fraction", "1", -1, inf, "change of a block's flow in a season"),
    Quantity("queued_count", "1", 0, inf, "mails that were ordered"),
    Quantity("sent_count", "1", 0, inf, "mails that the relay took"),
    Quantity("put_off_count", "1", 0, inf, "mails to be tried again later"),
    Quantity("failed_count", "1", 0, inf, "mails refused for good"),
    Quantity("dropped_count", "1", 0, inf, "mails that are not wanted or too late"),
    Quantity("late_count", "1", 0, inf, "mails in a row that were put off until too late"),
)

_GROUPS = (
    _PLACE,
    _DAY_AND_CLOCK,
    WEATHER_NAMES,
    CROP_NAMES,
    _SOIL,
    _BALANCE,
    _SYSTEM,
    _NEED,
    _PULSES,
    _SUPPLY,
    _PIPES,
    *WATER_GROUPS,
    *NUTRITION_GROUPS,
    SEASON_GROUP,
    _REPORTS,
    _STANDARD_TERMS,
    _LETTERS,
)

STANDARD_TERMS = frozenset(quantity.name for quantity in _STANDARD_TERMS)
"""Names of the table that do not end in their unit."""

NOMENCLATURE: Mapping[str, Quantity] = MappingProxyType(
    {quantity.name: quantity for group in _GROUPS for quantity in group}
)
"""Every name with a unit, by name."""
