"""The part of the nomenclature that is about the seasons of a block and about cold.

In: nothing. Out: :data:`SEASON_GROUP`, one line for each name, as in :mod:`service.agronomy.units`.
"""

from __future__ import annotations

from math import inf

from service.agronomy.quantity import Quantity

SEASON_GROUP = (
    Quantity("tdew_offset_days_count", "1", 0, inf, "days that the offset was learned from"),
    Quantity("measured_ea_kpa", "kPa", 0, 6, "vapor pressure of days with humidity"),
    Quantity("own_tdew_offset_c", "degC", -5, 20, "offsets that were given for a site"),
    Quantity("own_c", "degC", -5, 20, "offsets of the dewpoint that were given"),
    Quantity("season_start_doy", "d of year", 1, 365, "start of the season or degree-day count"),
    Quantity("last_nitrogen_doy", "d of year", 1, 365, "last day for nitrogen"),
    Quantity("watering_start_doy", "d of year", 1, 365, "first day of the watering season"),
    Quantity("watering_end_doy", "d of year", 1, 365, "last day of the watering season"),
    Quantity("kc_table_doy", "d of year", 1, 365, "knots of a block's own Kc table"),
    Quantity("dormant_days", "d", 0, 365, "days until the watering season; 0 within it"),
    Quantity("early_days", "d", 0, 365, "days before a window in which a test counts for it"),
    Quantity("freeze_hold_c", "degC", -40, 10, "no pulse in hours expected below this"),
    Quantity("held_min", "min", 0, 1500, "minutes of the windows that are too cold for a pulse"),
    Quantity(
        "weekly_closed_min", "min", 0, 1500, "minutes of windows in weekly hours without water"
    ),
    Quantity("season_count", "1", 0, inf, "earlier seasons that are counted"),
    Quantity("starts_wall_min", "min", 0, 1439, "start on the clock, since 00:00"),
    Quantity("ends_wall_min", "min", 1, 1440, "end on the clock, since 00:00"),
    Quantity("closed_min", "min", 0, 1500, "minutes of windows that have no water"),
    Quantity("from_min", "min", 0, inf, "minute from which something is held, or looked for"),
    Quantity("until_min", "min", 0, inf, "end of the cold morning"),
    Quantity("again_min", "min", 0, inf, "start of the cold evening"),
    Quantity("held_mm", "mm", 0, 3000, "water of the managed zone at field capacity"),
    Quantity("rate_mm_per_h", "mm/h", 0, 100, "gross depth that a block gets in an hour"),
    Quantity("volume_m3", "m3", 0, 1e7, "irrigation of a year"),
    Quantity("stress_day_count", "1", 0, 366, "days that end below readily available water"),
    Quantity("season_day_count", "1", 0, 366, "days of the watering season of a year"),
    Quantity("known_day_count", "1", 0, 366, "those of which it is known what ran"),
    Quantity("pump_down_days_count", "1", 1, 7, "coming days without water from a supply"),
    Quantity("supply_flow_fraction", "1", 0.01, 10, "share of its flow that a supply gives"),
    Quantity("stored_count", "1", 0, inf, "observations of a request that are stored"),
    Quantity("refused_count", "1", 0, inf, "observations of a request that were refused"),
    Quantity("normal_day_count", "1", 0, 7, "days of a week whose weather is the normal"),
    Quantity("forecast_mm", "mm", 0, 3000, "rain of the forecast that enters"),
    Quantity("later_mm", "mm", 0, 3000, "rain of days beyond the forecast that enters"),
    Quantity("earlier_year_count", "1", 0, 10, "years that days without a forecast rest on"),
    Quantity("safety_fraction", "1", 0, 1, "share of weeks in which a program has to do"),
    Quantity("room_min", "min", 0, 1440, "minutes that turns have together in a cycle"),
    Quantity("gap_min", "min", 0, 60, "from the end of a turn to the next"),
    Quantity("begins_min", "min", 0, 1440, "from the start of a cycle to a turn"),
    Quantity("lengths_min", "min", 0, 1440, "how long turns last"),
    Quantity("most_min", "min", 0, 1440, "the longest that a turn may last"),
    Quantity("cycle_min", "min", 0, 1440, "from one start of a day to the next"),
    Quantity("saving_mm", "mm", 0, inf, "what a program has to save to be chosen"),
    Quantity("spare_mm", "mm", 0, inf, "what a program that is easier to set may cost more"),
    Quantity("lost_crop_et_mm", "mm", 0, 3000, "water that a crop did not use for want of it"),
)
"""Days of the year, and hours that are too cold for water."""
