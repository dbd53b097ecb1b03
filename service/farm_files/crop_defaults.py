"""What a block's crop and mulch give for its numbers, each with its origin in words."""

from __future__ import annotations

from collections.abc import Mapping

from service.agronomy.canopy_density import density_coefficient
from service.agronomy.crop_file import CropRow
from service.agronomy.mulch import mulch_effect, watering_interval_day
from service.agronomy.root_zone import TEXTURE_P_CHANGE, depletion_fraction_on_soil
from service.agronomy.soil import TextureGroup

HUMID_FROM_RHMIN_PCT = 45.0
"""Mean RHmin from which a climate counts as sub-humid: that of FAO-56 Table 12; a choice."""
Default = tuple[float, str]


def crop_defaults(
    crop: CropRow, *, texture_group: float, is_substrate: bool, rhmin_pct: float | None
) -> dict[str, Default]:
    """The numbers that the crop table gives, by their names in the block.

    texture_group: NaN where the soil is not known; is_substrate: a bed of bark or peat, or soil
    full of organic matter; rhmin_pct: mean of the site's normals, or None.
    """
    table = f"crop table, {crop.key}"
    kc_origin = f"{table}: {crop.kc_source}"
    is_humid = rhmin_pct is not None and rhmin_pct >= HUMID_FROM_RHMIN_PCT
    humid = crop.humid_kc_addition if is_humid else 0.0
    if humid > 0.0:
        kc_origin += f"; {humid:g} added for a humid climate, RHmin {rhmin_pct:.0f} %"
    off_season = crop.kc_off_season + (humid if crop.is_evergreen else 0.0)
    reference = f"canopy of the crop table's row, {crop.key}: choice"
    return {
        "kc_initial": (crop.kc_initial + humid, kc_origin),
        "kc_mid": (crop.kc_mid + humid, kc_origin),
        "kc_end": (crop.kc_end + humid, kc_origin),
        "kc_off_season": (off_season, f"{table}: {crop.off_season_source}"),
        "table_height_m": (crop.height_m, f"{table}: {crop.kc_source}"),
        "reference_canopy_ratio": (
            float(
                density_coefficient(
                    crop.reference_cover_fraction,
                    crop.reference_height_m,
                    ml=crop.canopy_density_factor,
                )
            ),
            f"density of the {reference}",
        ),
        "canopy_density_factor": (crop.canopy_density_factor, f"{table}: {crop.density_source}"),
        "ground_kc": (crop.ground_kc, crop.ground_source),
        "depletion_fraction": _depletion(crop, texture_group, is_substrate=is_substrate),
        "years_to_full_size": (
            float(crop.years_to_full_size),
            f"{table}: common practice, no source",
        ),
        "root_depth_m": (
            crop.root_depth_low_m,
            f"lower end of the range in {crop.root_source}",
        ),
        "canopy_cover_fraction": (crop.reference_cover_fraction, reference),
        "canopy_height_m": (crop.reference_height_m, reference),
        "root_share_of_wetted": (1.0, "choice: a full-size planting roots all wetted soil"),
    }


def _depletion(crop: CropRow, texture_group: float, *, is_substrate: bool) -> Default:
    origin = f"crop table, {crop.key}: {crop.root_source}"
    if is_substrate:
        # FAO-56 changes p for mineral textures; for bark and peat nothing was found.
        return crop.depletion_fraction, f"{origin}; the same on bark, peat and organic soil"
    if texture_group not in (TextureGroup.COARSE, TextureGroup.FINE):
        return crop.depletion_fraction, origin
    is_coarse = texture_group == TextureGroup.COARSE
    percent = f"{100.0 * TEXTURE_P_CHANGE:g}"
    change = f"{percent} % more on coarse soil" if is_coarse else f"{percent} % less on fine soil"
    fraction = depletion_fraction_on_soil(crop.depletion_fraction, int(texture_group))
    return float(fraction), f"{origin}; {change}"


def mulch_defaults(
    kind: str, numbers: Mapping[str, float], crop: CropRow | None, *, is_line_above: bool = False
) -> dict[str, Default]:
    """Kc ini and the reduction of Kc under a complete mulch of this kind.

    A drip line above the mulch wets its top every time, and nothing is taken off.
    """
    kc_initial = numbers["kc_initial"]
    if kind == "none":
        return {
            "mulch_kc_initial": (kc_initial, "no mulch"),
            "mulch_kc_reduction_fraction": (0.0, "no mulch"),
        }
    if is_line_above:
        origin = "choice: a line above the mulch keeps its top wet, nothing taken off"
        return {
            "mulch_kc_initial": (kc_initial, origin),
            "mulch_kc_reduction_fraction": (0.0, origin),
        }
    held = 1000.0 * (numbers["field_capacity"] - numbers["wilting_point"]) * numbers["root_depth_m"]
    interval = watering_interval_day(
        held * numbers["root_share_of_wetted"] * numbers["wetted_fraction"],
        numbers["depletion_fraction"],
        numbers["trigger_fraction"],
        kc_mid=numbers["kc_mid"],
    )
    is_bare = crop is None or not (crop.is_evergreen or crop.has_ground_cover)
    effect = mulch_effect(kind, kc_initial, interval_day=interval, is_bare_at_first=is_bare)
    origin = {
        "film": f"FAO-56 (1998) p. 196, plastic film watered every {interval:.1f} days",
        "fabric": f"choice: half of what film takes off, watered every {interval:.1f} days",
        "organic": "FAO-56 (1998) p. 197, organic mulch",
    }[kind]
    return {
        "mulch_kc_initial": (effect.kc_initial, origin),
        "mulch_kc_reduction_fraction": (effect.mulch_kc_reduction_fraction, origin),
    }
