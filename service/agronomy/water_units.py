"""The part of the nomenclature that is about water quality, acid, chlorine and fertiliser.

In: nothing. Out: :data:`WATER_GROUPS`, one line for each name, as in :mod:`service.agronomy.units`.
"""

from __future__ import annotations

from math import inf

from service.agronomy.quantity import Quantity

_WATER_QUALITY = (
    Quantity("alkalinity_meq_per_l", "meq/L", -50, 50, "alkalinity of the water"),
    Quantity("calcium_meq_per_l", "meq/L", 0, 500, "calcium"),
    Quantity("magnesium_meq_per_l", "meq/L", 0, 500, "magnesium"),
    Quantity("sodium_meq_per_l", "meq/L", 0, 500, "sodium"),
    Quantity("potassium_meq_per_l", "meq/L", 0, 500, "potassium"),
    Quantity("sulfate_meq_per_l", "meq/L", 0, 500, "sulfate"),
    Quantity("chloride_meq_per_l", "meq/L", 0, 500, "chloride"),
    Quantity("nitrate_meq_per_l", "meq/L", 0, 500, "nitrate"),
    Quantity("ec_ds_m", "dS/m", 0, 60, "electrical conductivity of the water at 25 degC"),
    Quantity("ionic_strength_mol_per_l", "mol/L", 0, 0.5, "ionic strength"),
    Quantity("total_carbonate_mmol_per_l", "mmol/L", 0, 500, "all carbonate species together"),
    Quantity("species_mol_per_l", "mol/L", 0, 10, "concentration of each species"),
    Quantity(
        "proton_deficit_meq_per_l", "meq/L", -500, 500, "protons that the water could take up"
    ),
    Quantity("bicarbonate_meq_per_l", "meq/L", 0, 50, "bicarbonate"),
    Quantity("carbonate_meq_per_l", "meq/L", 0, 50, "carbonate"),
    Quantity("nitrate_nitrogen_mg_per_l", "mg/L", 0, 1000, "nitrogen in nitrate"),
    Quantity("boron_mg_per_l", "mg/L", 0, 100, "boron"),
    Quantity("iron_mg_per_l", "mg/L", 0, 100, "iron"),
    Quantity("manganese_mg_per_l", "mg/L", 0, 100, "manganese"),
    Quantity("hydrogen_sulfide_mg_per_l", "mg/L", 0, 100, "hydrogen sulfide"),
    Quantity("hardness_mg_per_l", "mg/L", 0, 50_000, "hardness as calcium carbonate"),
    Quantity("dissolved_solids_mg_per_l", "mg/L", 0, 50_000, "total dissolved solids"),
    Quantity("suspended_solids_mg_per_l", "mg/L", 0, 50_000, "suspended solids"),
    Quantity("change_meq_per_l", "meq/L", -50, 50, "change of the anions in another form"),
    Quantity("cations_meq_per_l", "meq/L", 0, 1000, "sum of the cations"),
    Quantity("anions_meq_per_l", "meq/L", 0, 1000, "sum of the anions"),
    Quantity("difference_pct", "%", -100, 100, "error of the charge balance"),
    Quantity("alkalinity_mg_per_l", "mg/L", -2500, 2500, "alkalinity as calcium carbonate"),
    Quantity("calcium_hardness_mg_per_l", "mg/L", 0, 50_000, "calcium as calcium carbonate"),
    Quantity("sodium_adsorption_ratio", "1", 0, inf, "SAR of the water"),
    Quantity("water_ec_ds_m", "dS/m", 0, 60, "electrical conductivity of the irrigation water"),
    Quantity("soil_salinity_ds_m", "dS/m", 0, 100, "ECe: conductivity of the saturation extract"),
    Quantity("expected_soil_salinity_ds_m", "dS/m", 0, 100, "ECe that the water leads to in time"),
    Quantity("zero_yield_ec_ds_m", "dS/m", 0, 100, "ECe at which nothing is harvested"),
    Quantity("relative_yield_pct", "%", 0, 100, "yield as a share of that without salt"),
    Quantity("leaching_requirement_fraction", "1", 0, 1, "leaching that keeps ECe at a limit"),
    Quantity("drip_leaching_requirement_fraction", "1", 0, 1, "the same under frequent drip"),
    Quantity("bacteria_per_ml", "1/mL", 0, inf, "bacteria in the water"),
    # A block's pipes as a farm file tells them, field tests, capacity, injections ordered.
    Quantity("lateral_diameter_mm", "mm", 1, 1000, "inner diameter of a drip line"),
    Quantity("manifold_diameter_mm", "mm", 1, 1000, "inner diameter of a block's manifold"),
    Quantity("submain_diameter_mm", "mm", 1, 1000, "inner diameter of the pipe before it"),
    Quantity("submain_length_m", "m", 0, 100_000, "length of the pipe before the manifold"),
    Quantity("regulator_set_head_m", "m", 0.1, 200, "head that a block's regulator holds"),
    Quantity("regulator_loss_head_m", "m", 0, 100, "head that it takes when fully open"),
    Quantity("regulator_lowest_flow_l_per_h", "L/h", 0, inf, "smallest flow it can control"),
    Quantity("regulator_highest_flow_l_per_h", "L/h", 0, inf, "largest flow it can pass"),
    Quantity("regulator_highest_head_m", "m", 0, inf, "largest head before it"),
    Quantity("caught_ml", "mL", 0, 100_000, "water caught at an emitter in a field test"),
    Quantity("plan_uniformity_pct", "%", 40, 100, "emission uniformity that the plan uses"),
    Quantity("plan_leaching_fraction", "1", 0, 0.5, "leaching fraction that the plan uses"),
    Quantity("nitrogen_fraction", "1", 0, 1, "nitrogen of all forms in a product"),
    Quantity("mass_kg", "kg", 0, 100_000, "mass of a product"),
    Quantity("titration_count", "1", 0, 100, "points of a titration"),
    Quantity("charge_difference_pct", "%", -100, 100, "cations less anions over both"),
    Quantity("metered_l", "L", 0, inf, "metered volume of each run"),
    Quantity("span_days", "d", 1, 31, "days in a row"),
    Quantity("open_time_h", "h", 0, 24, "hours of a day in which water may run"),
    Quantity("largest_excess_mm", "mm", -1000, 1000, "largest depletion beyond the allowed one"),
    Quantity("peak_need_mm", "mm", 0, 1000, "largest net need over some days"),
    Quantity("needed_flow_l_per_h", "L/h", 0, inf, "flow that a need asks for"),
    Quantity("injector_lowest_l_per_h", "L/h", 0, inf, "smallest rate of an injector"),
    Quantity("injector_highest_l_per_h", "L/h", 0, inf, "largest rate of an injector"),
)

_ACID = (
    Quantity("strength_pct", "%", 0, 100, "weight of pure acid in the product"),
    Quantity("density_kg_per_l", "kg/L", 0.5, 3, "density of the product at 20 degC"),
    Quantity("molar_mass_g_per_mol", "g/mol", 1, 1000, "molar mass of the pure acid"),
    Quantity("nutrient_g_per_mol", "g/mol", 0, 1000, "its nutrient's part of that"),
    Quantity("acid_normality_eq_per_l", "eq/L", 0, 50, "protons in a litre of the acid"),
    Quantity("strong_proton_count", "1", 0, 3, "protons that an acid gives off at any pH"),
    Quantity("dose_meq_per_l", "meq/L", 0, 100, "protons added to a litre of water"),
    Quantity("dose_mmol_per_l", "mmol/L", 0, 100, "acid added to a litre of water"),
    Quantity("model_dose_mmol_per_l", "mmol/L", 0, 100, "the same as the model has it"),
    Quantity("acid_g_per_m3", "g/m3", 0, 1e5, "product per volume of irrigation water"),
    Quantity("acid_ml_per_m3", "mL/m3", 0, 1e5, "product per volume of irrigation water"),
    Quantity("acid_l_per_1000_gal", "L/1000 gal", 0, 400, "the same for US labels"),
    Quantity("injector_l_per_h", "L/h", 0, inf, "flow at which an injector gives the product"),
    Quantity("injector_ml_per_min", "mL/min", 0, inf, "the same in the unit of small injectors"),
    Quantity("nutrient_g_per_m3", "g/m3", 0, 1e5, "nutrient that the dose brings along"),
    Quantity("dose_change_pct", "%", -100, 100, "how far a dose is off"),
    Quantity("alkalinity_left_meq_per_l", "meq/L", -50, 50, "alkalinity after the dose"),
    Quantity("alkalinity_removed_fraction", "1", 0, 2, "share of the alkalinity that is gone"),
    Quantity("acid_ml", "mL", 0, inf, "acid added to a sample of the water"),
    Quantity("sample_ml", "mL", 1, 1e5, "sample of the water that is titrated"),
)

_CHLORINE_AND_PUMP = (
    Quantity("free_mg_per_l", "mg/L", 0, 50, "free chlorine wanted at the last emitter"),
    Quantity("product_g_per_l", "g/L", 1, 250, "available chlorine of a product"),
    Quantity("demand_mg_per_l", "mg/L", 0, 10000, "chlorine that the water takes"),
    Quantity("dose_mg_per_l", "mg/L", 0, 10000, "chlorine that is dosed"),
    Quantity("product_ml_per_m3", "mL/m3", 0, inf, "product per volume of water"),
    Quantity("largest_block_flow_l_per_h", "L/h", 0, inf, "flow of a supply's largest block"),
    Quantity("diameter_mm", "mm", 0, 1000, "inside width of a line"),
    Quantity("emitters_flow_l_per_h", "L/h", 0, inf, "all emitters of a line"),
    Quantity("flow_at_hand_l_per_h", "L/h", 0, inf, "flow that can be used for flushing"),
    Quantity("end_flow_l_per_h", "L/h", 0, inf, "flow out of a line's open end"),
    Quantity("line_flow_l_per_h", "L/h", 0, inf, "flow into a line while it is flushed"),
    Quantity("lines_at_once_count", "1", 0, inf, "lines that can be flushed together"),
    Quantity("efficiency_pct", "%", 0, 100, "efficiency of pump and motor together"),
    Quantity("power_kw", "kW", 0, inf, "power that a pump takes"),
    Quantity("energy_kwh", "kWh", 0, inf, "energy that a run takes"),
)

_FERTILISER = (
    Quantity(
        "nitrate_nitrogen_fraction", "1", 0, 1, "nitrogen as nitrate in a fertiliser, by weight"
    ),
    Quantity(
        "ammonium_nitrogen_fraction", "1", 0, 1, "nitrogen as ammonium in a fertiliser, by weight"
    ),
    Quantity("urea_nitrogen_fraction", "1", 0, 1, "nitrogen as urea in a fertiliser, by weight"),
    Quantity("phosphorus_fraction", "1", 0, 1, "phosphorus in a fertiliser, by weight"),
    Quantity("potassium_fraction", "1", 0, 1, "potassium in a fertiliser, by weight"),
    Quantity("calcium_fraction", "1", 0, 1, "calcium in a fertiliser, by weight"),
    Quantity("magnesium_fraction", "1", 0, 1, "magnesium in a fertiliser, by weight"),
    Quantity("sulfur_fraction", "1", 0, 1, "sulfur in a fertiliser, by weight"),
    Quantity("chloride_fraction", "1", 0, 1, "chloride in a fertiliser, by weight"),
    Quantity("nitrate_nitrogen_pct", "%", 0, 100, "nitrogen as nitrate on a label"),
    Quantity("ammonium_nitrogen_pct", "%", 0, 100, "nitrogen as ammonium on a label"),
    Quantity("urea_nitrogen_pct", "%", 0, 100, "nitrogen as urea on a label"),
    Quantity("calcium_pct", "%", 0, 100, "calcium on a label"),
    Quantity("magnesium_pct", "%", 0, 100, "magnesium on a label"),
    Quantity("sulfur_pct", "%", 0, 100, "sulfur on a label"),
    Quantity("chloride_pct", "%", 0, 100, "chloride on a label"),
    Quantity("p2o5_pct", "%", 0, 100, "phosphorus on a label, as P2O5"),
    Quantity("k2o_pct", "%", 0, 100, "potassium on a label, as K2O"),
    Quantity("stock_l", "L", 0, inf, "volume of a stock solution"),
    Quantity("dilution_ratio", "1", 1, inf, "irrigation water to stock solution"),
    Quantity("nutrient_mg_per_l", "mg/L", 0, inf, "nutrients in the irrigation water"),
    Quantity("part_mg_per_l", "mg/L", 0, inf, "one nutrient in the irrigation water"),
    Quantity("ec_rise_ds_m", "dS/m", 0, 60, "conductivity that a fertiliser adds"),
    Quantity(
        "water_calcium_meq_per_l",
        "meq/L",
        0,
        500,
        "calcium of the irrigation water, before the fertiliser",
    ),
    Quantity("solubility_g_per_kg", "g/kg", 0, 1e5, "product that a kilogram of water dissolves"),
    Quantity("product_kg", "kg", 0, inf, "product that is weighed out"),
    Quantity("nutrient_kg", "kg", 0, inf, "nutrient that goes out to the block"),
)

_FERTIGATION = (
    Quantity("span_count", "1", 0, 100, "pulses over which an injection is split"),
    Quantity("most_min", "min", 0, 1440, "longest injection that is allowed"),
    Quantity("water_l", "L", 0, inf, "water that a fertiliser goes into"),
    Quantity("end_min", "min", 0, 2880, "end of a pulse or an injection, exclusive"),
    Quantity("run_min", "min", 0, 2880, "length of a single run"),
    Quantity("fill_min", "min", 0, 1440, "time until a block is full and its water even"),
    Quantity("travel_min", "min", 0, 1440, "travel from the injector to the last emitter"),
    Quantity("injection_min", "min", 0, 1440, "minutes that an injector needs"),
    Quantity("shortest_injection_min", "min", 0, 1440, "fewest minutes worth injecting"),
    Quantity("added_min", "min", 0, 1440, "water added so that an injection fits"),
    Quantity("largest_added_min", "min", 0, 1440, "most water that may be added for it"),
    Quantity("merged_count", "1", 0, 1440, "pulses that were joined to one"),
    Quantity("lowest_l_per_h", "L/h", 0, inf, "least that an injector can give"),
    Quantity("highest_l_per_h", "L/h", 0, inf, "most that an injector can give"),
)

_FLOW_CHECK = (
    Quantity("counted_flow_l_per_h", "L/h", 0, inf, "flow of a block that doses count with"),
    Quantity("change_fraction", "1", -1, inf, "change of a flow against its expected level"),
    Quantity("change_per_100_runs_fraction", "1", -10, 10, "trend of the flow in 100 runs"),
    Quantity("fitted_ratio", "1", 0, inf, "fitted over expected flow"),
    Quantity("level_ratio", "1", 0, inf, "level of metered over expected flow"),
    Quantity("noise_fraction", "1", 0, 1, "scatter of that ratio"),
    Quantity("spread_fraction", "1", 0, inf, "the same, of one series of runs"),
    Quantity("sudden_run_count", "1", 3, 100, "runs until a sudden loss shows"),
    Quantity("slow_run_count", "1", 0, 150, "runs until a slow loss shows"),
    Quantity("loss_fraction", "1", 0, 1, "size of a fault that is looked for"),
    Quantity("flowing_min", "min", 0, 2880, "minutes of a metered run in which water flowed"),
    Quantity("design_min", "min", 0, inf, "minutes that a volume takes at the design flow"),
    Quantity("design_l_per_h", "L/h", 0, inf, "flow that a block is designed for"),
    Quantity("pipes_l_per_h", "L/h", 0, inf, "flow that intact lines pass at the supply's head"),
    Quantity("supply_l_per_h", "L/h", 0, inf, "flow that the supply of a block gives"),
    Quantity("least_l_per_h", "L/h", 0, inf, "least mean flow of a run that is believed"),
    Quantity("most_l_per_h", "L/h", 0, inf, "largest mean flow of a run that is believed"),
    Quantity("metered_volume_l", "L", 0, inf, "volume by the meter"),
    Quantity("expected_l", "L", 0, inf, "volume that a run should have given"),
)

_FIELD_TEST = (
    Quantity("sample_count", "1", 0, inf, "emitters that were measured"),
    Quantity("statistical_uniformity_pct", "%", 0, 100, "100 (1 - coefficient of variation)"),
    Quantity("christiansen_uniformity_pct", "%", 0, 100, "100 (1 - mean deviation over mean)"),
    Quantity("emission_uniformity_low_pct", "%", 0, 100, "lower end of the interval of EU"),
    Quantity("emission_uniformity_high_pct", "%", 0, 100, "upper end of the interval of EU"),
    Quantity("confidence_pct", "%", 50, 100, "confidence of that interval"),
    Quantity("resample_count", "1", 1, inf, "resamples from which it is taken"),
)

WATER_GROUPS = (
    _WATER_QUALITY,
    _ACID,
    _CHLORINE_AND_PUMP,
    _FERTILISER,
    _FERTIGATION,
    _FLOW_CHECK,
    _FIELD_TEST,
)
"""Names of the waterworks, by subject."""
