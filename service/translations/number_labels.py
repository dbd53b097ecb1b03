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
    "emission_uniformity_pct": marked("Evenness of the emitters, %"),
    "fill_time_min": marked("Time to fill the lines, min"),
    "longest_pulse_min": marked("Longest run at a stretch, min"),
    "daily_maximum_min": marked("Most in a day, min"),
    "valve_gap_s": marked("Gap between valves, s"),
    "leaching_fraction": marked("Leaching fraction"),
    "transmission_ratio": marked("Peak-use transmission ratio"),
    "trigger_fraction": marked("Water from this share of the readily available water on"),
    "rain_room_fraction": marked("Share of it left empty for rain"),
    "curve_number": marked("SCS curve number"),
    "planting_year": marked("Year of planting"),
    "initial_depletion_mm": marked("Depletion on the first day, mm"),
    "off_ratio": marked("Off time per pulse time"),
    "wetted_fraction": marked("Share of the ground that is wetted"),
    "field_capacity": marked("Field capacity, m³/m³"),
    "wilting_point": marked("Wilting point, m³/m³"),
    "saturated_conductivity_mm_per_h": marked("Saturated conductivity, mm/h"),
    "texture_group": marked("Texture group"),
    "kc_initial": marked("Kc of the initial stage"),
    "kc_mid": marked("Kc of the mid stage"),
    "kc_end": marked("Kc of the end of the late stage"),
    "kc_off_season": marked("Kc out of season"),
    "table_height_m": marked("Height in the crop table, m"),
    "reference_canopy_ratio": marked("Canopy of the crop table, density coefficient"),
    "depletion_fraction": marked("Share of the soil water that is easy to take up"),
    "years_to_full_size": marked("Years to full size"),
    "root_depth_m": marked("Depth of the roots, m"),
    "canopy_cover_fraction": marked("Share of the ground that the canopy shades"),
    "canopy_height_m": marked("Height of the plants, m"),
    "root_share_of_wetted": marked("Share of the wetted soil that roots reach"),
    "mulch_cover_fraction": marked("Share of the ground under mulch"),
    "mulch_rain_pass_fraction": marked("Share of rain that passes the mulch"),
    "curve": marked("Stages of the season"),
    "windows": marked("Allowed hours"),
}
"""Those with a default; a number that stands here is shown with the unit that its label names."""

UNIT_LABELS: Mapping[str, str] = {
    "in": marked("in"),
    "ft": marked("ft"),
    "gpm": "gal/min",
    "gph": "gal/h",
    "m2": "m²",
    "m3/h": "m³/h",
}
"""Units whose written name is not the one by which forms and files know them; those without a mark
are written alike in every language."""
