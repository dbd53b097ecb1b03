"""What is published of each crop's nutrition, read from the data files of this folder.

In: the key of a crop, a tissue, a stage, an extractant. Out: frozen rows with their sources. The
files are part of the program and are read once, like the module that they would otherwise be.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

from service.errors import Fault, InputInvalid

MACROS = ("N", "P", "K", "Ca", "Mg", "S")
MICROS = ("B", "Fe", "Mn", "Zn", "Cu")
BASES = ("read", "second-hand", "memory", "laboratory")
"""How well a number is known; the last: printed by the laboratory that made the test."""
FROM_MEMORY = "from memory"


@dataclass(frozen=True, slots=True, kw_only=True)
class LeafRow:
    """Sufficiency ranges of one tissue at one stage, dry matter: % for macros, ppm for micros."""

    key: str
    crop: str
    tissue: str
    stage: str
    region: str
    source: str
    edition: str
    basis: str
    note: str
    ranges: Mapping[str, tuple[float, float]]
    from_memory: tuple[str, ...] = ()
    deficient_below: Mapping[str, float] = field(default_factory=dict)
    excess_above: Mapping[str, float] = field(default_factory=dict)

    def basis_of(self, nutrient: str) -> str:
        """How well the range of one nutrient is known."""
        return "memory" if nutrient in self.from_memory else self.basis


@dataclass(frozen=True, slots=True, kw_only=True)
class StageAfter:
    """How long a stage comes after another."""

    stage: str
    days: tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class SamplingWindow:
    """When and how much of a tissue to take."""

    tissue: str
    stage: str
    opens: str
    """``MM-DD`` in the north; empty: told by the stage alone."""
    closes: str
    least: int
    """Leaves or petioles that a sample needs."""
    common: int
    source: str
    looked_for: tuple[str, str] | None = None
    """Days in the north in which a stage without dates is commonly reached, ``MM-DD``."""
    looked_for_source: str = ""
    after: StageAfter | None = None
    """Counts the days from a sample of an earlier stage, where there is one."""
    is_usual: bool = True
    """False: asked for only where a block has such a test already."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NitrogenRule:
    """The nitrogen that a crop is given by its age, before any test."""

    base: tuple[tuple[int, float, float], ...]
    """First year of age, and the least and most [kg/ha]."""
    cap: tuple[tuple[int, float], ...]
    """First year of age, and the most that is ever planned [kg/ha]."""
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PhRule:
    """The soil pH that a crop wants."""

    target: float
    low: float
    high: float
    is_acid: bool
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NutritionCrop:
    """What is known of a crop's nutrition beside its leaf ranges."""

    key: str
    name: str
    block_crops: tuple[str, ...]
    tissue_words: str
    windows: tuple[SamplingWindow, ...]
    nitrogen: NitrogenRule | None
    months: Mapping[int, float]
    """Parts of a season's nitrogen by month in the north; empty: not known."""
    months_source: str
    last_nitrogen: tuple[tuple[float, str], ...]
    """Latitude up to which a last date for nitrogen holds, and that date, ``MM-DD``."""
    last_nitrogen_source: str
    ph: PhRule
    is_chloride_sensitive: bool
    is_berry: bool
    prefers_ammonium: bool
    is_stone_fruit: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilRow:
    """Classes of one nutrient in one extract, mg/kg."""

    key: str
    nutrient: str
    extractant: str
    cec_from: float
    cec_to: float
    ph_from: float
    ph_to: float
    edges: tuple[float, float, float, float]
    region: str
    source: str
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilTables:
    """All that the file on soil holds."""

    edition: str
    rows: tuple[SoilRow, ...]
    oxide_kg_per_ha: Mapping[str, tuple[float, ...]]
    sulfur_ph: tuple[float, ...]
    sulfur_lb_per_ac: Mapping[str, tuple[float, ...]]
    sulfur_source: str


@cache
def leaf_rows() -> tuple[LeafRow, ...]:
    """Every row of leaf and petiole ranges, in the order of the file.

    Shapes: rows (rows,).
    Returns: rows; where several suit a sample the first is the default.
    """
    content = _content("leaf_ranges.toml")
    return tuple(
        LeafRow(
            **{
                **row,
                "edition": content["edition"],
                "ranges": {name: (float(a), float(b)) for name, (a, b) in row["ranges"].items()},
                "from_memory": tuple(row.get("from_memory", ())),
            }
        )
        for row in content["rows"]
    )


@cache
def crops() -> Mapping[str, NutritionCrop]:
    """Every crop of the file by its key.

    Shapes: by key.
    Returns: crops, each with its windows, nitrogen and pH.
    """
    return {row["key"]: _crop(row) for row in _content("crops.toml")["crops"]}


@cache
def soil_tables() -> SoilTables:
    """Soil classes and the sulfur table.

    Shapes: rows (rows,), sulfur (textures, pH).
    Returns: the tables.
    """
    content = _content("soil.toml")
    sulfur = content["sulfur"]
    return SoilTables(
        edition=content["edition"],
        rows=tuple(
            SoilRow(**{**row, "edges": tuple(float(each) for each in row["edges"])})
            for row in content["rows"]
        ),
        oxide_kg_per_ha={
            name: tuple(float(each) for each in values)
            for name, values in content["oxide_kg_per_ha"].items()
        },
        sulfur_ph=tuple(float(each) for each in sulfur["ph"]),
        sulfur_lb_per_ac={
            name: tuple(float(each) for each in values)
            for name, values in sulfur["lb_per_ac"].items()
        },
        sulfur_source=sulfur["source"],
    )


def find_nutrition_crop(key: str) -> NutritionCrop:
    """The crop of that key.

    Shapes: one.
    Returns: its row; another key raises ``InputInvalid`` with all that there are.
    >>> find_nutrition_crop("peach").is_stone_fruit
    True
    """
    known = crops()
    if key not in known:
        raise InputInvalid(
            "this crop's nutrition is not known",
            [Fault("crop", key, f"one of {', '.join(known)}")],
        )
    return known[key]


def crops_of_block(crop_key: str) -> tuple[NutritionCrop, ...]:
    """The crops of nutrition that a block's crop may be.

    Shapes: (crops,).
    Returns: none for a crop without tests here, several where the farm file's crop is wider: a
    blueberry may be highbush, southern highbush or rabbiteye.
    >>> [each.key for each in crops_of_block("peach-bare-frost")]
    ['peach']
    """
    return tuple(
        each
        for each in crops().values()
        if any(crop_key == name or crop_key.startswith(f"{name}-") for name in each.block_crops)
    )


def leaf_row(crop: str, tissue: str, stage: str, *, chosen: Iterable[str] = ()) -> LeafRow | None:
    """The ranges of a tissue at a stage.

    Shapes: one.
    chosen: keys of rows to prefer over the default.
    Returns: the chosen row that suits, or the first that does; None where nothing is published.
    >>> leaf_row("highbush-blueberry", "leaf", "mid-season").key
    'highbush-georgia'
    >>> leaf_row("highbush-blueberry", "leaf", "mid-season", chosen=["highbush-michigan"]).region
    'Michigan, USA'
    """
    fitting = [
        row for row in leaf_rows() if (row.crop, row.tissue, row.stage) == (crop, tissue, stage)
    ]
    wanted = set(chosen)
    return next((row for row in fitting if row.key in wanted), fitting[0] if fitting else None)


def _content(name: str) -> dict[str, Any]:
    return tomllib.loads(files("service.nutrition").joinpath(name).read_text(encoding="utf-8"))


def _crop(row: Mapping[str, Any]) -> NutritionCrop:
    nitrogen = row.get("nitrogen")
    return NutritionCrop(
        key=row["key"],
        name=row["name"],
        block_crops=tuple(row["block_crops"]),
        tissue_words=row["tissue_words"],
        windows=tuple(_window(each) for each in row["windows"]),
        nitrogen=None
        if nitrogen is None
        else NitrogenRule(
            base=tuple((int(year), float(a), float(b)) for year, a, b in nitrogen["base"]),
            cap=tuple((int(year), float(most)) for year, most in nitrogen["cap"]),
            source=nitrogen["source"],
        ),
        months={int(month): float(part) for month, part in row.get("months", {}).items()},
        months_source=row.get("months_source", ""),
        last_nitrogen=tuple((float(lat), day) for lat, day in row.get("last_nitrogen", ())),
        last_nitrogen_source=row.get("last_nitrogen_source", ""),
        ph=PhRule(**row["ph"]),
        is_chloride_sensitive=row["is_chloride_sensitive"],
        is_berry=row["is_berry"],
        prefers_ammonium=row["prefers_ammonium"],
        is_stone_fruit=row.get("is_stone_fruit", False),
    )


def _window(row: Mapping[str, Any]) -> SamplingWindow:
    looked_for, after = row.get("looked_for"), row.get("after")
    return SamplingWindow(
        **{
            **row,
            "looked_for": None if looked_for is None else (looked_for[0], looked_for[1]),
            "after": None
            if after is None
            else StageAfter(stage=after["stage"], days=(after["days"][0], after["days"][1])),
        }
    )
