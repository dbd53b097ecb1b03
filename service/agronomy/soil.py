"""What a soil holds, from its texture or from measured sand, clay and organic matter.

In: the name of a texture class, or sand, clay and organic matter. Out: water at field capacity,
wilting point and saturation, the saturated conductivity that feeds the wetted-bulb formula, and
the texture group that decides the drip strip and the off times. FAO-56 (Allen et al. 1998) Table 19
gives field capacity and wilting point where it has a row; everything else is the regression of
Saxton & Rawls 2006, Soil Sci. Soc. Am. J. 70:1569-1578 (from memory). The smaller conductivities
of the Green-Ampt tables are a different quantity and are never used here. Bark, peat and soils full
of organic matter are outside both: each has its own source, and its own suction at either limit.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from service.agronomy.records import Floats, Ints
from service.errors import Fault, InputInvalid

Numbers: TypeAlias = float | Floats


class TextureGroup(enum.IntEnum):
    """How coarse a soil is, for what water does in it under a dripper."""

    COARSE = 0
    MEDIUM = 1
    FINE = 2


COARSE, MEDIUM, FINE = TextureGroup
TEXTURE_ORGANIC_MATTER_PCT = 2.5  # Saxton & Rawls 2006, Table 3 (from memory)
SMALLEST_ORGANIC_MATTER_PCT = (
    0.1  # below it the value is almost certainly a fraction, not a percent
)
LARGEST_ORGANIC_MATTER_PCT = 8.0  # validity, Saxton & Rawls 2006 (from memory)
LARGEST_CLAY_FRACTION = 0.60  # validity, Saxton & Rawls 2006 (from memory)
SAXTON_RAWLS_SOURCE = "Saxton & Rawls 2006"


@dataclass(frozen=True, slots=True)
class SoilNumbers:
    """A soil's water content at three states and its conductivity; numbers, or arrays of one
    shape."""

    field_capacity: Numbers
    wilting_point: Numbers
    saturation: Numbers
    saturated_conductivity_mm_per_h: Numbers
    texture_group: int | Ints
    """0 coarse, 1 medium, 2 fine."""
    source: str


@dataclass(frozen=True, slots=True)
class _Texture:
    sand_fraction: float
    clay_fraction: float
    group: int
    field_capacity_range: tuple[float, float] | None = None
    wilting_point_range: tuple[float, float] | None = None


# Sand and clay represent the class in Saxton & Rawls 2006, Table 3 (from memory). Ranges of field
# capacity and wilting point are FAO-56 Table 19, whose middle is used. The groups follow the
# heading of the strip-width table (coarse: sands; medium: to loams; fine: clays, from memory);
# loamy sand is counted as coarse by choice, because its bulbs are as narrow as those of sand.
_TEXTURES: Mapping[str, _Texture] = MappingProxyType(
    {
        "sand": _Texture(0.88, 0.05, COARSE, (0.07, 0.17), (0.02, 0.07)),
        "loamy-sand": _Texture(0.80, 0.05, COARSE, (0.11, 0.19), (0.03, 0.10)),
        "sandy-loam": _Texture(0.65, 0.10, MEDIUM, (0.18, 0.28), (0.06, 0.16)),
        "loam": _Texture(0.40, 0.20, MEDIUM, (0.20, 0.30), (0.07, 0.17)),
        "silt-loam": _Texture(0.20, 0.15, MEDIUM, (0.22, 0.36), (0.09, 0.21)),
        "silt": _Texture(0.10, 0.05, MEDIUM, (0.28, 0.36), (0.12, 0.22)),
        "sandy-clay-loam": _Texture(0.60, 0.25, MEDIUM),
        "clay-loam": _Texture(0.30, 0.35, FINE),
        "silty-clay-loam": _Texture(0.10, 0.35, FINE, (0.30, 0.37), (0.17, 0.24)),
        "sandy-clay": _Texture(0.50, 0.40, FINE),
        "silty-clay": _Texture(0.10, 0.45, FINE, (0.30, 0.42), (0.17, 0.29)),
        "clay": _Texture(0.25, 0.50, FINE, (0.32, 0.40), (0.20, 0.24)),
    }
)


@dataclass(frozen=True, slots=True)
class _Substrate:
    upper_limit: float
    """Volumetric water when drained, at the suction that the source says [m³ m⁻³]."""
    lower_limit: float
    saturation: float
    saturated_conductivity_mm_per_h: float
    group: int
    source: str


# For beds that drain into the ground below them. A pot keeps its bottom near saturation: it holds
# water between 1 kPa and 10 kPa that a bed lets go, and what is drier than 10 kPa hardly moves to
# its roots (easily available 1-5 kPa, buffer 5-10 kPa, De Boodt & Verdonck 1972, from memory).
_SUBSTRATES: Mapping[str, _Substrate] = MappingProxyType(
    {
        # Field capacity 0.07 when new, 0.19-0.21 from the second year on; 0.10 after 12 days of
        # drying, bark with sand over drained sand. UGA B1291: aged bark holds 21 %, fresh 13 %.
        # Conductivity: bark doubles to quintuples that of sand (the same group, 2013, abstract),
        # here twice that of the texture sand. Pores 80.5 % (VT 97261, abstract).
        "pine-bark": _Substrate(
            0.21, 0.10, 0.805, 216.0, COARSE,
            "aged pine bark, drained in the field and after 12 dry days, Bandaranayake et al. 2018,"
            " abstract; conductivity twice that of sand",
        ),
        # 32 % at 10 kPa, 25 % at 33 kPa, 15-18 % from 300 to 1500 kPa; pores of peat 98 % (Int. J.
        # Agronomy 2012, 978528, Table 1). No conductivity on the scale of the other textures was
        # found: that of a sandy loam is a [CHOICE].
        "peat-mix": _Substrate(
            0.32, 0.165, 0.98, 50.0, MEDIUM,
            "unused peat substrate at 10 kPa and at 300 to 1500 kPa, Acta agriculturae Slovenica,"
            " abstract of article 1851; conductivity by choice",
        ),
        # Its row of the table, topsoil of 96 % sand, 4 % clay, 20 % organic matter: theta_r 0.01,
        # theta_s 0.53, alpha 0.0242 1/cm, n 1.28, Ks 81.28 cm/d (read in a copy of the table).
        "organic-sand": _Substrate(
            0.296, 0.109, 0.53, 33.9, MEDIUM,
            "sand with 15 to 25 % of organic matter at 33 and 1500 kPa, Staring series B15, Wösten"
            " et al. 2001",
        ),
    }
)  # fmt: skip
SUBSTRATE_KEYS: tuple[str, ...] = tuple(_SUBSTRATES)
"""Beds of bark and peat, and soil full of organic matter."""
WITHOUT_TENSION = frozenset({"pine-bark", "peat-mix"})
"""Substrates whose limits are not those of 33 and 1500 kPa: a tension says nothing of them."""
TEXTURE_KEYS: tuple[str, ...] = (*_TEXTURES, *SUBSTRATE_KEYS)
"""The twelve classes of the USDA triangle, then the substrates."""


def texture_soil(texture_key: str) -> SoilNumbers:
    """Soil properties when only the texture class is known.

    Shapes: scalars.
    texture_key: one of ``TEXTURE_KEYS``, for example ``sandy-loam``.
    Returns: volumetric water [m³ m⁻³], conductivity [mm h⁻¹]; an unknown key raises
    ``InputInvalid``.
    Equation: middle of the range of FAO-56 Table 19 where it has the class, else, and for
    saturation and conductivity always, Saxton & Rawls 2006 at 2.5 % organic matter. A substrate
    has the measured limits of its source.
    >>> round(float(texture_soil("sandy-loam").field_capacity), 3)
    0.23
    >>> texture_soil("pine-bark").field_capacity
    0.21
    """
    substrate = _SUBSTRATES.get(texture_key)
    if substrate is not None:
        return SoilNumbers(
            field_capacity=substrate.upper_limit,
            wilting_point=substrate.lower_limit,
            saturation=substrate.saturation,
            saturated_conductivity_mm_per_h=substrate.saturated_conductivity_mm_per_h,
            texture_group=substrate.group,
            source=substrate.source,
        )
    texture = _TEXTURES.get(texture_key)
    if texture is None:
        raise InputInvalid(
            f"soil texture {texture_key!r} is not known",
            [Fault("soil texture", repr(texture_key), f"one of {', '.join(TEXTURE_KEYS)}")],
        )
    computed = saxton_rawls(
        texture.sand_fraction, texture.clay_fraction, TEXTURE_ORGANIC_MATTER_PCT
    )
    if texture.field_capacity_range is None or texture.wilting_point_range is None:
        field_capacity = float(computed.field_capacity)
        wilting_point = float(computed.wilting_point)
        source = f"{SAXTON_RAWLS_SOURCE}; FAO-56 Table 19 has no such class"
    else:
        field_capacity = sum(texture.field_capacity_range) / 2.0
        wilting_point = sum(texture.wilting_point_range) / 2.0
        source = f"FAO-56 Table 19, middle of the range; conductivity {SAXTON_RAWLS_SOURCE}"
    return SoilNumbers(
        field_capacity=field_capacity,
        wilting_point=wilting_point,
        saturation=float(computed.saturation),
        saturated_conductivity_mm_per_h=float(computed.saturated_conductivity_mm_per_h),
        texture_group=texture.group,
        source=source,
    )


def saxton_rawls(
    sand_fraction: ArrayLike, clay_fraction: ArrayLike, organic_matter_pct: ArrayLike
) -> SoilNumbers:
    """Soil properties from measured sand, clay and organic matter.

    Shapes: any three that broadcast; the fields of the result have that shape.
    sand_fraction, clay_fraction: by weight, 0-1, clay at most 0.60.
    organic_matter_pct: by weight, in PERCENT, 0.1-8; a fraction instead would give a
    plausible but wrong soil, so smaller values are refused.
    Returns: volumetric water [m³ m⁻³], conductivity [mm h⁻¹]; input out of range raises
    ``InputInvalid``.
    Equation: Saxton & Rawls 2006, Eq. 1-5, 15-16, 18 (from memory).
    >>> soil = saxton_rawls(0.65, 0.10, 2.5)
    >>> round(float(soil.field_capacity), 4), round(float(soil.wilting_point), 4)
    (0.1792, 0.0808)
    """
    sand = np.asarray(sand_fraction, dtype=np.float64)
    clay = np.asarray(clay_fraction, dtype=np.float64)
    organic_pct = np.asarray(organic_matter_pct, dtype=np.float64)
    _check_particles(sand, clay, organic_pct)
    sand, clay, organic_pct = np.broadcast_arrays(sand, clay, organic_pct)

    # s, c, om: the paper's symbols for sand, clay (fractions) and organic matter (percent).
    s, c, om = sand, clay, organic_pct
    dry = -0.024 * s + 0.487 * c + 0.006 * om + 0.005 * s * om - 0.013 * c * om + 0.068 * s * c
    dry = dry + 0.031
    wilting_point = dry + (0.14 * dry - 0.02)
    moist = -0.251 * s + 0.195 * c + 0.011 * om + 0.006 * s * om - 0.027 * c * om + 0.452 * s * c
    moist = moist + 0.299
    field_capacity = moist + (1.283 * moist**2 - 0.374 * moist - 0.015)
    wet = 0.278 * s + 0.034 * c + 0.022 * om - 0.018 * s * om - 0.027 * c * om - 0.584 * s * c
    wet = wet + 0.078
    saturation = field_capacity + (wet + (0.636 * wet - 0.107)) - 0.097 * s + 0.043
    is_soil = (wilting_point > 0.0) & (field_capacity > wilting_point)
    if not np.all(is_soil & (saturation > field_capacity)):
        raise InputInvalid(
            "the regression has no sensible result for this soil",
            [
                Fault(
                    "sand, clay, organic matter",
                    f"{sand}, {clay}, {organic_pct}",
                    "0 < WP < FC < SAT",
                )
            ],
        )
    slope = (np.log(field_capacity) - np.log(wilting_point)) / (np.log(1500.0) - np.log(33.0))
    conductivity = 1930.0 * (saturation - field_capacity) ** (3.0 - slope)

    groups = [_TEXTURES[key].group for key in map(usda_texture_class, sand.flat, clay.flat)]
    return SoilNumbers(
        field_capacity=field_capacity,
        wilting_point=wilting_point,
        saturation=saturation,
        saturated_conductivity_mm_per_h=conductivity,
        texture_group=np.array(groups, dtype=np.int64).reshape(sand.shape),
        source=SAXTON_RAWLS_SOURCE,
    )


def _check_particles(sand: Floats, clay: Floats, organic_pct: Floats) -> None:
    faults = []
    # Written as "not inside" so that NaN is a fault too.
    if not np.all((sand >= 0.0) & (sand <= 1.0)):
        faults.append(Fault("sand_fraction", str(sand), "0 to 1, a fraction of the weight"))
    if not np.all((clay >= 0.0) & (clay <= LARGEST_CLAY_FRACTION + 1e-9)):
        faults.append(Fault("clay_fraction", str(clay), f"0 to {LARGEST_CLAY_FRACTION}, by weight"))
    if not faults and not np.all(sand + clay <= 1.0 + 1e-9):
        faults.append(Fault("sand + clay", str(sand + clay), "at most 1 together"))
    is_inside = (organic_pct >= SMALLEST_ORGANIC_MATTER_PCT) & (
        organic_pct <= LARGEST_ORGANIC_MATTER_PCT
    )
    if not np.all(is_inside):
        allowed = (
            f"{SMALLEST_ORGANIC_MATTER_PCT} to {LARGEST_ORGANIC_MATTER_PCT} PERCENT of the "
            "weight; 2.5 % is 2.5, not 0.025"
        )
        faults.append(Fault("organic_matter_pct", str(organic_pct), allowed))
    if faults:
        raise InputInvalid("sand, clay and organic matter do not describe a soil", faults)


def usda_texture_class(sand_fraction: float, clay_fraction: float) -> str:
    """Texture class of a soil, from its place in the USDA triangle.

    Shapes: scalars.
    sand_fraction, clay_fraction: by weight, 0-1, together at most 1; the rest is silt.
    Returns: one of ``TEXTURE_KEYS``.
    Equation: class limits of the USDA Soil Survey Manual (from memory).
    >>> usda_texture_class(0.40, 0.20)
    'loam'
    """
    # Rounded, because 1 - 0.65 - 0.10 is not quite 0.25 and the limits are exact.
    sand, clay = round(float(sand_fraction), 9), round(float(clay_fraction), 9)
    silt = round(1.0 - sand - clay, 9)
    if clay >= 0.40:
        return "silty-clay" if silt >= 0.40 else "clay" if sand <= 0.45 else "sandy-clay"
    if clay >= 0.35 and sand > 0.45:
        return "sandy-clay"
    if clay >= 0.27:
        if sand <= 0.20:
            return "silty-clay-loam"
        return "clay-loam" if sand <= 0.45 else "sandy-clay-loam"
    if clay >= 0.20 and silt < 0.28:
        # More than 45 % sand follows from these two.
        return "sandy-clay-loam"
    if silt >= 0.50:
        return "silt" if silt >= 0.80 and clay < 0.12 else "silt-loam"
    if clay >= 0.07 and sand <= 0.52:
        return "loam"
    return _sandy_class(silt, clay)


def _sandy_class(silt: float, clay: float) -> str:
    if round(silt + 1.5 * clay, 9) < 0.15:
        return "sand"
    return "loamy-sand" if round(silt + 2.0 * clay, 9) < 0.30 else "sandy-loam"
