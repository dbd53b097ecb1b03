"""What people call the numbers of a block, by their names in the nomenclature."""

from __future__ import annotations

from collections.abc import Mapping

from service.translations.catalogue import marked

NUMBER_LABELS: Mapping[str, str] = {
    "area_m2": marked("Area, m²"),
    "row_spacing_m": marked("Between rows, m"),
    "emitter_spacing_m": marked("Between emitters, m"),
    "emitter_flow_l_per_h": marked("Flow of one emitter, L/h"),
    "laterals_per_row_count": marked("Drip lines per row"),
    "emission_uniformity_pct": marked("Emission uniformity, %"),
    "fill_time_min": marked("Time to fill the lines, min"),
    "longest_pulse_min": marked("Longest continuous run, min"),
    "daily_maximum_min": marked("Daily maximum, min"),
    "daily_pulse_count": marked("Most pulses a day"),
    "priority": marked("Rank on a short supply, 1 first"),
    "news_fraction": marked("Share of the need from which missing water is said"),
    "news_depth_mm": marked("Depth from which missing water is said, mm"),
    "ground_kc": marked("Kc of the ground between the plants"),
    "valve_gap_s": marked("Gap between valves, s"),
    "leaching_fraction": marked("Leaching fraction"),
    "leakage_fraction": marked("Share of the metered water that leaks"),
    "transmission_ratio": marked("Peak-use transmission ratio"),
    "trigger_fraction": marked("Irrigate from this share of the readily available water"),
    "rain_room_fraction": marked("Share of the readily available water left empty for rain"),
    "risk_attitude": marked("What the grower would rather risk, code"),
    "alley_root_fraction": marked("Rooted share of the ground outside the wet strip"),
    "freeze_hold_c": marked("No water in hours expected below, °C"),
    "watering_start_doy": marked("First day of the watering season, day of the year"),
    "watering_end_doy": marked("Last day of the watering season, day of the year"),
    "curve_number": marked("SCS curve number"),
    "planting_year": marked("Year of planting"),
    "initial_depletion_mm": marked("Depletion on the first day, mm"),
    "off_ratio": marked("Off time as a multiple of pulse time"),
    "wetted_fraction": marked("Wetted share of the ground"),
    "field_capacity": marked("Field capacity, m³/m³"),
    "wilting_point": marked("Wilting point, m³/m³"),
    "saturated_conductivity_mm_per_h": marked("Saturated conductivity, mm/h"),
    "texture_group": marked("Texture group"),
    "kc_initial": marked("Kc of the initial stage"),
    "kc_mid": marked("Kc of the mid stage"),
    "kc_end": marked("Kc at the end of the late stage"),
    "kc_off_season": marked("Kc outside the season"),
    "table_height_m": marked("Plant height in the crop table, m"),
    "reference_canopy_ratio": marked("Canopy of the crop table, density coefficient"),
    "canopy_density_factor": marked("Factor of a small canopy in the density coefficient"),
    "depletion_fraction": marked("Readily available share of the soil water"),
    "years_to_full_size": marked("Years to full size"),
    "root_depth_m": marked("Root depth, m"),
    "canopy_cover_fraction": marked("Share of the ground shaded by the canopy"),
    "canopy_height_m": marked("Plant height, m"),
    "canopy_measured_year": marked("When the canopy was measured, year"),
    "full_cover_fraction": marked("Share of the ground that it grows to shade"),
    "full_height_m": marked("Height that it grows to, m"),
    "root_share_of_wetted": marked("Rooted share of the wetted soil"),
    "mulch_cover_fraction": marked("Mulched share of the ground"),
    "mulch_rain_pass_fraction": marked("Share of rain that gets through the mulch"),
    "mulch_kc_initial": marked("Kc at the start under a complete mulch"),
    "mulch_kc_reduction_fraction": marked("Share that a complete mulch takes off Kc"),
    "curve": marked("Stages of the season"),
    "windows": marked("Allowed hours"),
}
"""Numbers with a default, each shown in the unit named in its label."""

DERIVED_LABELS: Mapping[str, str] = {
    "root_depth_m": marked("Root depth this year"),
    "root_share_of_wetted": marked("Rooted share of the wetted soil this year"),
    "canopy_cover_fraction": marked("Ground shaded this year"),
    "canopy_height_m": marked("Plant height this year"),
    "taw_mm": marked("Total available water"),
    "raw_mm": marked("Readily available water"),
    "trigger_mm": marked("Watered from this depletion"),
    "application_rate_mm_per_h": marked("Application rate"),
    "flow_l_per_h": marked("Flow of the block"),
    "supply_flow_fraction": marked("Share of the supply"),
    "net_rate_mm_per_min": marked("Net rate"),
    "shortest_pulse_min": marked("Shortest pulse"),
    "longest_pulse_min": marked("Longest pulse"),
    "event_limit_mm": marked("Most water at a time"),
    "crop_coefficient": marked("Kc of the day"),
}
"""Numbers that follow from others; a value is written with its own unit."""

UNIT_LABELS: Mapping[str, str] = {
    "in": marked("in"),
    "ft": marked("ft"),
    "fl oz": marked("fl oz"),
    "gpm": "gal/min",
    "gph": "gal/h",
    "m2": "m²",
    "m3/h": "m³/h",
}
"""Units whose display name differs from their name in forms and files; unmarked ones are the
same in every language."""
