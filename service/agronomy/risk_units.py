"""The part of the nomenclature that is about a plan that weighs the risk of a forecast.

In: nothing. Out: :data:`RISK_GROUP`, one line for each name, as in :mod:`service.agronomy.units`.
"""

from __future__ import annotations

from math import inf

from service.agronomy.quantity import Quantity

RISK_GROUP = (
    Quantity("water_cost_ratio", "1", 0, inf, "cost of a millimeter of water"),
    Quantity("drainage_cost_ratio", "1", 0, inf, "cost of a millimeter that drains"),
    Quantity("stress_cost_ratio", "1", 0, inf, "cost of a millimeter of lost transpiration"),
    Quantity("later_day_mm", "mm", 0, inf, "net depth that a later day can add"),
    Quantity("classic_mm", "mm", 0, inf, "rain that the evening rule counts on"),
    Quantity("smallest_mm", "mm", 0, inf, "net depth of the shortest pulse"),
    Quantity("must_mm", "mm", 0, inf, "least net depth that keeps the coming days safe"),
    Quantity("fill_mm", "mm", 0, inf, "net depth that fits and leaves the room for rain"),
    Quantity("credit_fraction", "1", 0, 0.5, "share of members that may turn out drier"),
    Quantity("wet_depletion_mm", "mm", 0, inf, "depletion after the rain of a wet turn"),
    Quantity("highest_crop_et_mm", "mm", 0, inf, "use that one member day in ten passes"),
    Quantity("mean_crop_et_mm", "mm", 0, inf, "mean use of tomorrow over the members"),
    Quantity("dry_credit_mm", "mm", 0, inf, "entering rain that nine members in ten pass"),
    Quantity("short_fraction", "1", 0, 1, "chance of running short without water"),
    Quantity("short_tomorrow_fraction", "1", 0, 1, "chance of it tomorrow"),
    Quantity("short_horizon_fraction", "1", 0, 1, "chance of it by the last day looked at"),
    Quantity("rule_mm", "mm", 0, inf, "rain that the evening rule counts on by itself"),
    Quantity("most_mm", "mm", 0, inf, "net depth that a block asks for at most"),
    Quantity("horizon_days", "d", 1, 16, "days that tomorrow's water answers for"),
    Quantity("safe_mm", "mm", 0, inf, "depletion that only the share q* of the members passes"),
    Quantity("expected_band_min", "min", 0, inf, "minutes of a day by share of the members"),
    Quantity("depletion_band_mm", "mm", 0, inf, "depletion of an evening by share of them"),
    Quantity("rain_band_mm", "mm", 0, inf, "rain of a day by share of the members"),
    Quantity("counted_fraction", "1", 0, 1, "share of members whose rain counts for the roots"),
    Quantity("rain_counts_fraction", "1", 0, 1, "chance of rain that counts for the root zone"),
    Quantity("needed_min", "min", 0, inf, "minutes that the rule asks for in hindsight"),
    Quantity("not_needed_min", "min", 0, inf, "minutes that rain made needless"),
    Quantity("lacking_min", "min", 0, inf, "minutes by which a plan was too short in hindsight"),
    Quantity("fullest_mm", "mm", 0, inf, "depletion that one member in ten does not pass"),
    Quantity("driest_mm", "mm", 0, inf, "depletion that nine members in ten do not pass"),
    Quantity("supply_count", "1", 0, inf, "number of supplies"),
    Quantity("effective_mm", "mm", 0, inf, "rain that enters bare ground"),
    Quantity("entering_ratio", "1", 0, 1, "share of it that enters the managed zone"),
    Quantity("band_min", "min", 0, inf, "minutes that shares of the members do not pass"),
    Quantity("band_depletion_mm", "mm", 0, inf, "depletion that shares of them do not pass"),
    Quantity("outlook_band_min", "min", 0, inf, "minutes by share of the members and day"),
    Quantity("outlook_band_depletion_mm", "mm", 0, inf, "depletion by share and day"),
    Quantity("dry_mm", "mm", 0, inf, "depletion of a member without water"),
    Quantity("given_min", "min", 0, inf, "minutes that a block gets in a member"),
    Quantity("level_mm", "mm", 0, inf, "depletion of members at the end of a day"),
    Quantity("left_mm", "mm", 0, inf, "depletion of members without water"),
    Quantity("decided_mm", "mm", 0, inf, "net depth that a rule decided for a day"),
    Quantity("lost_et_mm", "mm", 0, inf, "transpiration lost to dry soil"),
    Quantity("short_day_count", "1", 0, inf, "days that end beyond readily available water"),
    Quantity("spread_day_count", "1", 0, inf, "days whose forecast had a spread"),
    Quantity("weighed_day_count", "1", 0, inf, "days on which no guard kept the evening rule"),
    Quantity("told_count", "1", 0, inf, "growers told that a block will weigh the forecast"),
    Quantity("turned_count", "1", 0, inf, "blocks that began to weigh it unasked"),
    Quantity("risk_cost_mm", "mm", 0, inf, "water, drainage and lost transpiration, as water"),
)
