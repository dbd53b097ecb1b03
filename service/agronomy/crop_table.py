"""Published crop numbers: the perennial fruit rows of FAO-56, one frozen record per crop.

This is a table, not a step. In: the key of a crop. Out: its row, which the farm loader uses to
fill the gaps of a block. Sources are Allen et al. 1998, FAO Irrigation and Drainage Paper 56:
Table 12 (Kc and height), Table 22 (root depth, depletion fraction), Table 11 (stage lengths) and
Table 23 (salinity). Columns without a published number are this project's own choices and are
marked so on the field; every one of them can be overridden by the grower.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from types import MappingProxyType

from service.errors import Fault, InputInvalid

BARE_OFF_SEASON_KC = 0.20  # FAO-56 Table 12 footnotes: bare soil or dead cover after leaf drop
COVER_OFF_SEASON_KC = 0.50  # FAO-56 Table 12 footnotes: live cover, lower end of 0.50-0.80


@dataclass(frozen=True, slots=True)
class CropRow:
    """One crop of the table."""

    key: str
    name: str
    kc_initial: float
    kc_mid: float
    kc_end: float
    """Kc before leaf drop."""
    kc_off_season: float
    """Kc outside the stages: 0.20 over bare ground, 0.50 over a live ground cover."""
    height_m: float
    """Height of the row; the middle where the table gives a range."""
    root_depth_low_m: float
    """Lower end of the published range, the value meant for irrigation scheduling."""
    root_depth_high_m: float
    depletion_fraction: float
    """p at 5 mm/d."""
    reference_cover_fraction: float
    """Effective ground cover that the row's Kc applies to. A choice, except where the row names
    its canopy (citrus, olive)."""
    reference_height_m: float
    """Height of that reference canopy."""
    stage_lengths_day: tuple[int, int, int, int] | None
    """Initial, development, mid and late stage; examples from elsewhere, not local dates."""
    season_start: str | None
    """``MM-DD``; the table names the month only, the first of it is a choice."""
    stage_region: str | None
    """Where the stage lengths come from."""
    years_to_full_size: int
    """Years from planting to a full canopy and root zone. A choice, common practice, no source."""
    salinity_threshold_ds_m: float | None
    """ECe above which yield falls; the more cautious end where the table gives a range."""
    salinity_slope_pct_per_ds_m: float | None
    salinity_rating: str | None
    """S sensitive, MS moderately sensitive, MT moderately tolerant, T tolerant."""
    source: str


_SOURCE = "FAO-56 Tables 12, 22, 23"
_SOURCE_WITH_STAGES = "FAO-56 Tables 11, 12, 22, 23"
_GROUND_NAMES = {
    "bare-frost": "bare ground, killing frost",
    "bare-no-frost": "bare ground, no frost",
    "cover-frost": "active ground cover, killing frost",
    "cover-no-frost": "active ground cover, no frost",
}

_BERRY = CropRow(
    key="berry-bush",
    name="Berries (bushes)",
    kc_initial=0.30,
    kc_mid=1.05,
    kc_end=0.50,
    kc_off_season=BARE_OFF_SEASON_KC,
    height_m=1.5,
    root_depth_low_m=0.6,
    root_depth_high_m=1.2,
    depletion_fraction=0.50,
    reference_cover_fraction=0.60,
    reference_height_m=1.5,
    stage_lengths_day=None,
    season_start=None,
    stage_region=None,
    years_to_full_size=5,
    salinity_threshold_ds_m=None,
    salinity_slope_pct_per_ds_m=None,
    salinity_rating=None,
    source="FAO-56 Tables 12, 22; Table 11 has no stage lengths for berries",
)
_BERRY_SHARED = "FAO-56 Tables 12, 22, the row Berries (bushes): the crop has no row of its own"

_STRAWBERRY = replace(
    _BERRY,
    key="strawberry",
    name="Strawberry",
    kc_initial=0.40,
    kc_mid=0.85,
    kc_end=0.75,
    height_m=0.2,
    root_depth_low_m=0.2,
    root_depth_high_m=0.3,
    depletion_fraction=0.20,
    reference_cover_fraction=0.50,
    reference_height_m=0.2,
    years_to_full_size=1,
    salinity_threshold_ds_m=1.0,
    salinity_slope_pct_per_ds_m=33.0,
    salinity_rating="S",
    source=_SOURCE,
)

_GRAPE_TABLE = CropRow(
    key="grape-table",
    name="Grapes, table or raisin",
    kc_initial=0.30,
    kc_mid=0.85,
    kc_end=0.45,
    kc_off_season=BARE_OFF_SEASON_KC,
    height_m=2.0,
    root_depth_low_m=1.0,
    root_depth_high_m=2.0,
    depletion_fraction=0.35,
    reference_cover_fraction=0.50,
    reference_height_m=2.0,
    stage_lengths_day=(20, 50, 75, 60),
    season_start="03-01",
    stage_region="California",
    years_to_full_size=4,
    salinity_threshold_ds_m=1.5,
    salinity_slope_pct_per_ds_m=9.6,
    salinity_rating="MS",
    source=_SOURCE_WITH_STAGES,
)

_HOPS = replace(
    _GRAPE_TABLE,
    key="hops",
    name="Hops",
    kc_mid=1.05,
    kc_end=0.85,
    height_m=5.0,
    root_depth_high_m=1.2,
    depletion_fraction=0.50,
    reference_height_m=5.0,
    stage_lengths_day=(25, 40, 80, 10),
    season_start="04-01",
    stage_region="Idaho, USA",
    years_to_full_size=3,
    salinity_threshold_ds_m=None,
    salinity_slope_pct_per_ds_m=None,
    salinity_rating=None,
    source="FAO-56 Tables 11, 12, 22",
)

_APPLE = CropRow(
    key="apple",
    name="Apple",
    kc_initial=0.45,
    kc_mid=0.95,
    kc_end=0.70,
    kc_off_season=BARE_OFF_SEASON_KC,
    height_m=4.0,
    root_depth_low_m=1.0,
    root_depth_high_m=2.0,
    depletion_fraction=0.50,
    reference_cover_fraction=0.50,
    reference_height_m=4.0,
    stage_lengths_day=(30, 50, 130, 30),
    season_start="03-01",
    stage_region="deciduous orchard, California",
    years_to_full_size=6,
    salinity_threshold_ds_m=None,
    salinity_slope_pct_per_ds_m=None,
    salinity_rating="S",
    source=_SOURCE_WITH_STAGES,
)
_POME_KC = {
    "bare-frost": (0.45, 0.95, 0.70),
    "bare-no-frost": (0.60, 0.95, 0.75),
    "cover-frost": (0.50, 1.20, 0.95),
    "cover-no-frost": (0.80, 1.20, 0.85),
}
_STONE_KC = {
    "bare-frost": (0.45, 0.90, 0.65),
    "bare-no-frost": (0.55, 0.90, 0.65),
    "cover-frost": (0.50, 1.15, 0.90),
    "cover-no-frost": (0.80, 1.15, 0.85),
}

_ALMOND = replace(
    _APPLE,
    key="almond",
    name="Almond, no ground cover",
    kc_initial=0.40,
    kc_mid=0.90,
    kc_end=0.65,
    height_m=5.0,
    depletion_fraction=0.40,
    reference_height_m=5.0,
    stage_lengths_day=None,
    season_start=None,
    stage_region=None,
    years_to_full_size=7,
    salinity_threshold_ds_m=1.5,
    salinity_slope_pct_per_ds_m=19.0,
    source=_SOURCE,
)

_AVOCADO = replace(
    _ALMOND,
    key="avocado",
    name="Avocado, no ground cover",
    kc_initial=0.60,
    kc_mid=0.85,
    kc_end=0.75,
    height_m=3.0,
    root_depth_low_m=0.5,
    root_depth_high_m=1.0,
    depletion_fraction=0.70,
    reference_height_m=3.0,
    salinity_threshold_ds_m=None,
    salinity_slope_pct_per_ds_m=None,
)

_KIWI = replace(
    _AVOCADO,
    key="kiwi",
    name="Kiwi",
    kc_initial=0.40,
    kc_mid=1.05,
    kc_end=1.05,
    root_depth_low_m=0.7,
    root_depth_high_m=1.3,
    depletion_fraction=0.35,
    years_to_full_size=6,
    salinity_rating=None,
    source="FAO-56 Tables 12, 22",
)

_OLIVE = replace(
    _APPLE,
    key="olive",
    name="Olive, 40 to 60 % ground cover by the canopy",
    kc_initial=0.65,
    kc_mid=0.70,
    kc_end=0.70,
    height_m=4.0,
    root_depth_low_m=1.2,
    root_depth_high_m=1.7,
    depletion_fraction=0.65,
    stage_lengths_day=(30, 90, 60, 90),
    season_start="03-01",
    stage_region="Mediterranean",
    years_to_full_size=8,
    salinity_rating="MT",
)

_PISTACHIO = replace(
    _APPLE,
    key="pistachio",
    name="Pistachio, no ground cover",
    kc_initial=0.40,
    kc_mid=1.10,
    kc_end=0.45,
    root_depth_high_m=1.5,
    depletion_fraction=0.40,
    stage_lengths_day=(20, 60, 30, 40),
    season_start="02-01",
    stage_region="Mediterranean",
    years_to_full_size=10,
    salinity_rating=None,
    source="FAO-56 Tables 11, 12, 22",
)

_WALNUT = replace(
    _APPLE,
    key="walnut",
    name="Walnut",
    kc_initial=0.50,
    kc_mid=1.10,
    kc_end=0.65,
    height_m=4.5,
    root_depth_low_m=1.7,
    root_depth_high_m=2.4,
    reference_height_m=4.5,
    stage_lengths_day=(20, 10, 130, 30),
    season_start="04-01",
    stage_region="Utah, USA",
    years_to_full_size=10,
    salinity_rating=None,
    source="FAO-56 Tables 11, 12, 22",
)

_BANANA_FIRST = replace(
    _APPLE,
    key="banana-first-year",
    name="Banana, first year",
    kc_initial=0.50,
    kc_mid=1.10,
    kc_end=1.00,
    height_m=3.0,
    root_depth_low_m=0.5,
    root_depth_high_m=0.9,
    depletion_fraction=0.35,
    reference_height_m=3.0,
    stage_lengths_day=(120, 90, 120, 60),
    season_start="03-01",
    stage_region="Mediterranean",
    years_to_full_size=1,
    salinity_rating="MS",
)

_BANANA_SECOND = replace(
    _BANANA_FIRST,
    key="banana-second-year",
    name="Banana, second year",
    kc_initial=1.00,
    kc_mid=1.20,
    kc_end=1.10,
    height_m=4.0,
    reference_height_m=4.0,
    stage_lengths_day=(120, 60, 180, 5),
    season_start="02-01",
)

_DATE_PALM = replace(
    _AVOCADO,
    key="date-palm",
    name="Date palm",
    kc_initial=0.90,
    kc_mid=0.95,
    kc_end=0.95,
    height_m=8.0,
    root_depth_low_m=1.5,
    root_depth_high_m=2.5,
    depletion_fraction=0.50,
    reference_height_m=8.0,
    years_to_full_size=8,
    salinity_threshold_ds_m=4.0,
    salinity_slope_pct_per_ds_m=3.6,
    salinity_rating="T",
)


def _berries() -> list[CropRow]:
    blackberry = replace(
        _BERRY,
        key="blackberry",
        name="Blackberry",
        years_to_full_size=3,
        salinity_threshold_ds_m=1.5,
        salinity_slope_pct_per_ds_m=22.0,
        salinity_rating="S",
        source=f"{_BERRY_SHARED}; Table 23",
    )
    return [
        _BERRY,
        replace(_BERRY, key="blueberry", name="Blueberry", source=_BERRY_SHARED),
        replace(
            _BERRY,
            key="raspberry",
            name="Raspberry",
            years_to_full_size=3,
            source=_BERRY_SHARED,
        ),
        blackberry,
        replace(blackberry, key="boysenberry", name="Boysenberry"),
    ]


def _orchard_rows(
    crop: CropRow, kc_by_ground: Mapping[str, tuple[float, float, float]]
) -> list[CropRow]:
    return [
        replace(
            crop,
            key=f"{crop.key}-{ground}",
            name=f"{crop.name}, {_GROUND_NAMES[ground]}",
            kc_initial=kc_initial,
            kc_mid=kc_mid,
            kc_end=kc_end,
            kc_off_season=(
                COVER_OFF_SEASON_KC if ground.startswith("cover") else BARE_OFF_SEASON_KC
            ),
        )
        for ground, (kc_initial, kc_mid, kc_end) in kc_by_ground.items()
    ]


def _pome_and_cherry() -> list[CropRow]:
    return [
        row
        for key, name in (("apple", "Apple"), ("cherry", "Cherry"), ("pear", "Pear"))
        for row in _orchard_rows(replace(_APPLE, key=key, name=name), _POME_KC)
    ]


def _stone_fruit() -> list[CropRow]:
    salinity: tuple[tuple[str, str, float | None, float | None, str | None], ...] = (
        ("stone-fruit", "Stone fruit", None, None, "S"),
        ("peach", "Peach", 1.7, 21.0, "S"),
        ("apricot", "Apricot", 1.6, 24.0, "S"),
        ("plum", "Plum", 1.5, 18.0, "S"),
        ("pecan", "Pecan", None, None, None),
    )
    return [
        row
        for key, name, threshold, slope, rating in salinity
        for row in _orchard_rows(
            replace(
                _APPLE,
                key=key,
                name=name,
                height_m=3.0,
                reference_height_m=3.0,
                years_to_full_size=8 if key == "pecan" else 5,
                salinity_threshold_ds_m=threshold,
                salinity_slope_pct_per_ds_m=slope,
                salinity_rating=rating,
            ),
            _STONE_KC,
        )
    ]


def _citrus() -> list[CropRow]:
    # Canopy share, height, root depths, then Kc over bare ground and over a live cover.
    sizes = (
        (70, 4.0, 1.2, 1.5, (0.70, 0.65, 0.70), (0.75, 0.70, 0.75)),
        (50, 3.0, 1.1, 1.5, (0.65, 0.60, 0.65), (0.80, 0.80, 0.80)),
        (20, 2.0, 0.8, 1.1, (0.50, 0.45, 0.55), (0.85, 0.85, 0.85)),
    )
    return [
        replace(
            _APPLE,
            key=f"citrus-{canopy_pct}-{ground}",
            name=f"Citrus, {canopy_pct} % canopy, {ground_name}",
            kc_initial=kc[0],
            kc_mid=kc[1],
            kc_end=kc[2],
            kc_off_season=off_season,
            height_m=height_m,
            root_depth_low_m=root_low_m,
            root_depth_high_m=root_high_m,
            reference_cover_fraction=canopy_pct / 100.0,
            reference_height_m=height_m,
            stage_lengths_day=(60, 90, 120, 95),
            season_start="01-01",
            stage_region="Mediterranean",
            years_to_full_size=8,
            # Orange; the table gives grapefruit 1.8 dS/m at the same slope.
            salinity_threshold_ds_m=1.7,
            salinity_slope_pct_per_ds_m=16.0,
        )
        for canopy_pct, height_m, root_low_m, root_high_m, bare, cover in sizes
        for ground, ground_name, kc, off_season in (
            ("bare", "bare ground", bare, BARE_OFF_SEASON_KC),
            ("cover", "active ground cover", cover, COVER_OFF_SEASON_KC),
        )
    ]


def _rows() -> list[CropRow]:
    grape_wine = replace(
        _GRAPE_TABLE,
        key="grape-wine",
        name="Grapes, wine",
        kc_mid=0.70,
        height_m=1.75,
        depletion_fraction=0.45,
        reference_cover_fraction=0.45,
        reference_height_m=1.75,
        stage_lengths_day=(30, 60, 40, 80),
        season_start="04-01",
        stage_region="mid latitudes",
    )
    return [
        *_berries(),
        _STRAWBERRY,
        _GRAPE_TABLE,
        grape_wine,
        _HOPS,
        _ALMOND,
        *_pome_and_cherry(),
        *_stone_fruit(),
        _AVOCADO,
        *_citrus(),
        _KIWI,
        _OLIVE,
        _PISTACHIO,
        _WALNUT,
        _BANANA_FIRST,
        _BANANA_SECOND,
        _DATE_PALM,
    ]


CROPS: Mapping[str, CropRow] = MappingProxyType({row.key: row for row in _rows()})
"""Every crop of the table by its key."""


def find_crop(key: str) -> CropRow:
    """The table's row of a crop, by its key.

    Shapes: scalar.
    key: a key of ``CROPS``, for example ``blueberry`` or ``apple-bare-frost``.
    Returns: the row; an unknown key raises ``InputInvalid``, which lists the closest keys.
    Source: Allen et al. 1998, FAO-56, Tables 11, 12, 22, 23.
    >>> find_crop("grape-wine").kc_mid
    0.7
    """
    row = CROPS.get(key)
    if row is not None:
        return row
    wanted = key.strip().lower().replace("_", "-").replace(" ", "-")
    close = [known for known in CROPS if wanted and known.startswith(wanted)]
    close += [known for known in get_close_matches(wanted, CROPS, n=6) if known not in close]
    allowed = f"did you mean {', '.join(close)}" if close else f"one of {', '.join(CROPS)}"
    raise InputInvalid(
        f"crop {key!r} is not in the crop table", [Fault("crop", repr(key), allowed)]
    )
