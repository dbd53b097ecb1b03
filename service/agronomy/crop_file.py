"""The file of published crop numbers, checked and turned into one row per crop.

In: the text of ``crop_table.toml``, in which every number has its edition, table and page. Out: the
rows of the crop table, each number with the words that cite it; or every fault of the file at once.
A revised edition of a source is a change of that file, not of this code.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass

from service.errors import Fault, InputInvalid

Table = Mapping[str, object]
Limits = tuple[float, float]

BARE_GROUND_KC = 0.15  # Kc_min, FAO-56 Eq. 98
COVER_KC = 0.80  # FAO-56 Table 12: Kc ini of orchards with an active ground cover, no frosts
EVERGREEN_COVER_KC = 0.85  # FAO-56 Table 12: citrus of 20 % canopy, active ground cover
KC_LIMITS: Limits = (0.1, 1.3)
HUMID_LIMITS: Limits = (0.0, 0.5)
HEIGHT_LIMITS_M: Limits = (0.1, 10.0)
ROOT_LIMITS_M: Limits = (0.1, 3.0)
FRACTION_LIMITS: Limits = (0.1, 0.8)
COVER_LIMITS: Limits = (0.05, 1.0)
DENSITY_LIMITS: Limits = (1.0, 2.0)
STAGE_LIMITS_DAY: Limits = (1, 365)
AGE_LIMITS_YEAR: Limits = (1, 30)
PAGE_LIMITS: Limits = (1, 2000)
SALINITY_LIMITS_DS_M: Limits = (0.1, 20.0)
SLOPE_LIMITS_PCT: Limits = (0.1, 100.0)
RATINGS = ("S", "MS", "MT", "T")


@dataclass(frozen=True, slots=True)
class EstimatedSeason:
    """Stages of a crop for which none are published, for questions about a region."""

    stage_lengths_day: tuple[int, int, int, int]
    season_start: str
    """``MM-DD``, in the northern hemisphere."""
    origin: str
    """Where it is from, in words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CropRow:
    """One crop of the table."""

    key: str
    name: str
    kc_initial: float
    kc_mid: float
    kc_end: float
    """Kc before leaf drop."""
    kc_off_season: float
    """Kc outside the stages; that of the initial stage where the leaves do not drop."""
    humid_kc_addition: float
    """What the source adds to Kc in humid climates, the lower end of its range; mostly 0."""
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
    canopy_density_factor: float
    """ML of the density coefficient."""
    stage_lengths_day: tuple[int, int, int, int] | None
    """Initial, development, mid and late stage; examples from elsewhere, not local dates."""
    season_start: str | None
    """``MM-DD``; the table names the month only, the first of it is a choice."""
    estimated_season: EstimatedSeason | None
    """For crops without published stages."""
    years_to_full_size: int
    """Years from planting to a full canopy and root zone. A choice, common practice, no source."""
    salinity_threshold_ds_m: float | None
    """ECe above which yield falls; the more cautious end where the table gives a range."""
    salinity_slope_pct_per_ds_m: float | None
    salinity_rating: str | None
    """S sensitive, MS moderately sensitive, MT moderately tolerant, T tolerant."""
    is_evergreen: bool
    has_ground_cover: bool
    """The row's Kc is that of plants over a live ground cover."""
    kc_source: str
    """Edition, table, page and row, as people cite it; so are the other sources."""
    off_season_source: str
    root_source: str
    density_source: str
    stage_source: str | None
    salinity_source: str | None

    @property
    def ground_kc(self) -> float:
        """Kc of the ground between the plants, which a young canopy does not take with it."""
        if not self.has_ground_cover:
            return BARE_GROUND_KC
        return EVERGREEN_COVER_KC if self.is_evergreen else COVER_KC

    @property
    def ground_source(self) -> str:
        """Where it comes from."""
        if not self.has_ground_cover:
            return "bare soil: FAO-56 Eq. 98, lower end of 0.15-0.20"
        if self.is_evergreen:
            return "choice: live cover under citrus of 20 % canopy, FAO-56 Table 12, p. 113"
        return "choice: live cover under trees without leaves, FAO-56 Table 12, p. 113"


def read_crop_rows(text: str) -> dict[str, CropRow]:
    """The rows of a crop table file, in the order of its crops.

    Shapes: scalar.
    text: TOML as in ``crop_table.toml``.
    Returns: rows by key; a file with faults raises ``InputInvalid``, which lists them all.
    Source: the editions that the file names.
    >>> read_crop_rows("")
    Traceback (most recent call last):
    service.errors.InputInvalid: the crop table cannot be used
      - crops: found nothing; allowed: a table
    """
    reader = _Reader(tomllib.loads(text))
    rows = {key: _crop_row(reader, key) for key in reader.table(reader.content, "crops", "crops")}
    if reader.faults:
        raise InputInvalid("the crop table cannot be used", reader.faults)
    return rows


class _Reader:
    """The content of the file, and the faults that were found in it so far."""

    def __init__(self, content: Table) -> None:
        self.content = content
        self.faults: list[Fault] = []

    def refuse(self, where: str, found: object, allowed: str) -> None:
        self.faults.append(Fault(where, "nothing" if found is None else repr(found), allowed))

    def table(self, within: Table, key: str, where: str) -> Table:
        value = within.get(key)
        if isinstance(value, Mapping):
            return value
        self.refuse(where, value, "a table")
        return {}

    def text(self, row: Table, key: str, where: str) -> str:
        value = row.get(key)
        if isinstance(value, str) and value:
            return value
        self.refuse(f"{where}.{key}", value, "a text")
        return ""

    def flag(self, row: Table, key: str, where: str, *, default: bool = False) -> bool:
        value = row.get(key, default)
        if isinstance(value, bool):
            return value
        self.refuse(f"{where}.{key}", value, "true or false")
        return default

    def number(self, row: Table, key: str, where: str, limits: Limits) -> float:
        return self._checked(row.get(key), f"{where}.{key}", limits)

    def numbers(
        self, row: Table, key: str, where: str, limits: Limits, *, count: int = 2
    ) -> list[float]:
        value = row.get(key)
        if not isinstance(value, list) or len(value) != count:
            self.refuse(f"{where}.{key}", value, f"a list of {count} numbers")
            return [limits[0]] * count
        return [self._checked(each, f"{where}.{key}", limits) for each in value]

    def span(self, row: Table, key: str, where: str, limits: Limits) -> tuple[float, float]:
        """A printed range, low and high; the same number twice where one is printed."""
        low, high = self.numbers(row, key, where, limits)
        if low > high:
            self.refuse(f"{where}.{key}", row.get(key), "the lower number first")
        return low, high

    def only(self, row: Table, where: str, known: tuple[str, ...]) -> None:
        """Refuse keys that nobody reads: a misspelt one would leave its value unused."""
        for key in row:
            if key not in known:
                self.refuse(f"{where}.{key}", row[key], f"one of {', '.join(known)}")

    def row(self, crop: Table, table_key: str, where: str) -> tuple[Table, str, str]:
        """The row of a published table that a crop names, its place in the file and its source."""
        name = self.text(crop, table_key, where)
        table = self.table(self.content, table_key, table_key)
        rows = self.table(table, "rows", f"{table_key}.rows")
        if name and name not in rows:
            self.refuse(f"{where}.{table_key}", name, f"one of {', '.join(rows)}")
        row = self.table(rows, name, f"{table_key}.rows") if name in rows else {}
        place = f"{table_key}.rows.{name}"
        return row, place, self._source(table, row, name, place) if row else ""

    def _source(self, table: Table, row: Table, name: str, place: str) -> str:
        edition_key = self.text({**table, **row}, "edition", place)
        editions = self.table(self.content, "editions", "editions")
        edition = self.table(editions, edition_key, f"editions.{edition_key}")
        cite = self.text(edition, "cite", f"editions.{edition_key}")
        if "page" not in row:
            return cite
        page = self.number(row, "page", place, PAGE_LIMITS)
        printed = str(row.get("table", table.get("table")))
        if "footnote" in row:
            printed += f", footnote {row['footnote']}"
        return f"{cite} Table {printed}, p. {page:g}, '{name}'"

    def _checked(self, value: object, where: str, limits: Limits) -> float:
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if isinstance(value, int | float) and is_number and limits[0] <= value <= limits[1]:
            return float(value)
        self.refuse(where, value, f"a number, {limits[0]:g} to {limits[1]:g}")
        return limits[0]


_CROP_KEYS = (
    "name", "coefficients", "roots", "stages", "salinity", "off_season", "density", "cover",
    "years_to_full_size", "is_evergreen", "has_ground_cover", "has_own_row",
)  # fmt: skip


def _crop_row(reader: _Reader, key: str) -> CropRow:
    place = f"crops.{key}"
    crop = reader.table(reader.table(reader.content, "crops", "crops"), key, place)
    reader.only(crop, place, _CROP_KEYS)
    kc, kc_place, kc_source = reader.row(crop, "coefficients", place)
    initial, mid, end = (
        reader.number(kc, part, kc_place, KC_LIMITS) for part in ("initial", "mid", "end")
    )
    humid = "humid_addition"
    height_m = sum(reader.span(kc, "height_m", kc_place, HEIGHT_LIMITS_M)) / 2.0
    roots, roots_place, root_source = reader.row(crop, "roots", place)
    root_low_m, root_high_m = reader.span(roots, "depth_m", roots_place, ROOT_LIMITS_M)
    off, off_place, off_source = reader.row(crop, "off_season", place)
    density, density_place, density_source = reader.row(crop, "density", place)
    lengths, start, stage_source = _stages(reader, crop, place)
    threshold, slope, rating, salinity_source = _salinity(reader, crop, place)
    if not reader.flag(crop, "has_own_row", place, default=True):
        kc_source += "; the crop has no row of its own"
    return CropRow(
        key=key,
        name=reader.text(crop, "name", place),
        kc_initial=initial,
        kc_mid=mid,
        kc_end=end,
        kc_off_season=reader.number(off, "kc", off_place, KC_LIMITS) if "kc" in off else initial,
        humid_kc_addition=(
            reader.span(kc, humid, kc_place, HUMID_LIMITS)[0] if humid in kc else 0.0
        ),
        height_m=height_m,
        root_depth_low_m=root_low_m,
        root_depth_high_m=root_high_m,
        depletion_fraction=reader.number(roots, "depletion_fraction", roots_place, FRACTION_LIMITS),
        reference_cover_fraction=reader.number(crop, "cover", place, COVER_LIMITS),
        reference_height_m=height_m,
        canopy_density_factor=reader.number(density, "ml", density_place, DENSITY_LIMITS),
        stage_lengths_day=lengths,
        season_start=start,
        estimated_season=None if lengths else _estimated_season(reader, key),
        years_to_full_size=int(reader.number(crop, "years_to_full_size", place, AGE_LIMITS_YEAR)),
        salinity_threshold_ds_m=threshold,
        salinity_slope_pct_per_ds_m=slope,
        salinity_rating=rating,
        is_evergreen=reader.flag(crop, "is_evergreen", place),
        has_ground_cover=reader.flag(crop, "has_ground_cover", place),
        kc_source=kc_source,
        off_season_source=off_source,
        root_source=root_source,
        density_source=density_source,
        stage_source=stage_source,
        salinity_source=salinity_source,
    )


def _stages(
    reader: _Reader, crop: Table, place: str
) -> tuple[tuple[int, int, int, int] | None, str | None, str | None]:
    if "stages" not in crop:
        return None, None, None
    row, where, source = reader.row(crop, "stages", place)
    lengths, start = _days_and_start(reader, row, where)
    return lengths, start, source


def _estimated_season(reader: _Reader, key: str) -> EstimatedSeason:
    table = "estimated_seasons"
    place = f"{table}.{key}"
    row = reader.table(reader.table(reader.content, table, table), key, place)
    lengths, start = _days_and_start(reader, row, place)
    return EstimatedSeason(lengths, start, reader.text(row, "origin", place))


def _days_and_start(
    reader: _Reader, row: Table, where: str
) -> tuple[tuple[int, int, int, int], str]:
    initial, development, mid, late = reader.numbers(row, "days", where, STAGE_LIMITS_DAY, count=4)
    start = reader.text(row, "start", where)
    month, _, day = start.partition("-")
    if not (month.isdigit() and day.isdigit() and 1 <= int(month) <= 12 and 1 <= int(day) <= 28):
        reader.refuse(f"{where}.start", start, "a month and day such as '03-01', up to the 28th")
    return (int(initial), int(development), int(mid), int(late)), start


def _salinity(
    reader: _Reader, crop: Table, place: str
) -> tuple[float | None, float | None, str | None, str | None]:
    if "salinity" not in crop:
        return None, None, None, None
    row, where, source = reader.row(crop, "salinity", place)
    rating = reader.text(row, "rating", where)
    if rating not in RATINGS:
        reader.refuse(f"{where}.rating", rating, f"one of {', '.join(RATINGS)}")
    if "threshold_ds_m" not in row:
        return None, None, rating, source
    threshold, _ = reader.span(row, "threshold_ds_m", where, SALINITY_LIMITS_DS_M)
    _, slope = reader.span(row, "slope_pct_per_ds_m", where, SLOPE_LIMITS_PCT)
    return threshold, slope, rating, source
