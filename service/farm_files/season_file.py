"""The season of a block in a farm file: stages in days or degree days, or a curve of its own."""

from __future__ import annotations

import math
from itertools import pairwise

from service.agronomy.block_batch import day_of_year
from service.agronomy.crop_file import CropRow
from service.agronomy.crop_table import season_start_at
from service.agronomy.dormancy import WHOLE_YEAR, default_watering_season
from service.agronomy.records import CurveDefinition
from service.farm_files.block_draft import BlockDraft
from service.farm_files.block_keys import GIVEN, WATERING_DAYS, BlockKeys
from service.farm_files.block_part_keys import SeasonKeys, WateringSeasonKeys
from service.farm_files.quantities import show
from service.farm_files.toml_table import TomlTable

_SEASON_ALLOWED = (
    'season = { start = "03-20", lengths = [30, 50, 120, 30] }, days of the initial, development, '
    'mid and late stage; or { start = "01-01", degree_days = [four rising sums such as '
    '"250 degC day"], floor = "10 degC" }; or kc_table = [["03-15", 0.3], ["06-01", 1.0], ...]'
)


def read_curve(
    table: TomlTable, crop: CropRow | None, *, latitude_deg: float
) -> tuple[CurveDefinition | None, str]:
    """The curve of a block, None after a fault, and its origin."""
    origin = GIVEN
    season = table.table(BlockKeys.season)
    is_own_table = table.has(BlockKeys.kc_table)
    start = None
    if season is not None and season.has(SeasonKeys.start):
        start = season.month_day(SeasonKeys.start)
    curve: CurveDefinition | None = None
    if season is not None and season.has(SeasonKeys.degree_days) and not is_own_table:
        curve = _degree_day_curve(season, start)
    elif is_own_table:
        curve = _own_curve(table, start)
    elif crop is not None and not (season is None and table.has(BlockKeys.season)):
        curve, origin = _stage_curve(table, season, start, crop, latitude_deg=latitude_deg)
    if season is not None:
        for key in (SeasonKeys.lengths, SeasonKeys.degree_days, SeasonKeys.floor):
            # Known keys all the same, so that the list of allowed names is complete.
            if season.has(key) and is_own_table:
                season.refuse(key, show(season.value(key)), "either kc_table or stages, not both")
        season.close()
    return curve, origin


def read_watering_season(
    table: TomlTable, draft: BlockDraft, *, crop: CropRow | None, curve: CurveDefinition | None
) -> None:
    """The first and last day on which a block is watered: its own, or by the crop's season."""
    draft.numbers |= dict.fromkeys(WATERING_DAYS, math.nan)
    own = table.table(BlockKeys.watering_season)
    if own is not None:
        for name, key in zip(
            WATERING_DAYS, (WateringSeasonKeys.start, WateringSeasonKeys.end), strict=True
        ):
            found = own.month_day(key)
            draft.numbers[name] = math.nan if found is None else float(day_of_year(*found))
            draft.origins[name] = GIVEN
        own.close()
    elif crop is not None and curve is not None:
        days = default_watering_season(curve, is_evergreen=crop.is_evergreen)
        draft.numbers |= dict(zip(WATERING_DAYS, map(float, days), strict=True))
        draft.origins |= dict.fromkeys(WATERING_DAYS, _watering_origin(days, curve, crop))


def read_last_nitrogen(table: TomlTable, draft: BlockDraft) -> None:
    """The block's own last day for nitrogen; NaN where it follows crop and place."""
    value = table.value(BlockKeys.last_nitrogen)
    found = None if value is None else table.read_month_day(value, BlockKeys.last_nitrogen)
    draft.numbers["last_nitrogen_doy"] = math.nan if found is None else float(day_of_year(*found))
    draft.origins["last_nitrogen_doy"] = "by crop and place" if found is None else GIVEN


def _watering_origin(days: tuple[int, int], curve: CurveDefinition, crop: CropRow) -> str:
    if days != WHOLE_YEAR:
        return "choice: the crop's season with 14 days before and after"
    if crop.is_evergreen:
        return "choice: the whole year, as the crop is evergreen"
    if curve.basis == "degree-days":
        return "choice: the whole year, as the days of stages in degree days are not known before"
    return "choice: the whole year, as the crop's season leaves little of it"


def _degree_day_curve(season: TomlTable, start: tuple[int, int] | None) -> CurveDefinition | None:
    keys = SeasonKeys
    sums = season.numbers(keys.degree_days)
    floor_c = season.number(keys.floor)
    if not season.has(keys.start):
        season.refuse(keys.start, "nothing", "the day on which the count starts, such as '01-01'")
    if season.has(keys.lengths):
        found = show(season.value(keys.lengths))
        season.refuse(keys.lengths, found, "either lengths or degree_days, not both")
    if sums and any(later <= earlier for earlier, later in pairwise(sums)):
        found = show(season.value(keys.degree_days))
        season.refuse(keys.degree_days, found, "four sums, each above the one before")
    if not sums or start is None or math.isnan(floor_c):
        return None
    return CurveDefinition(
        basis="degree-days", season_start=start, stage_knots=sums, degree_day_floor_c=floor_c
    )


def _own_curve(table: TomlTable, start: tuple[int, int] | None) -> CurveDefinition | None:
    key = BlockKeys.kc_table
    value = table.value(key)
    allowed = (
        f'{key.fewest} to {key.most} pairs such as [["03-15", 0.3], ["06-01", 1.0]], days rising'
        " from January"
    )
    if not isinstance(value, list) or not key.fewest <= len(value) <= key.most:
        table.refuse(key, show(value), allowed)
        return None
    points: list[tuple[int, int, float]] = []
    for index, pair in enumerate(value, 1):
        place = f"{key.name}[{index}]"
        if not isinstance(pair, list) or len(pair) != 2:
            table.refuse(place, show(pair), 'a pair such as ["03-15", 0.3]')
            continue
        day = table.read_month_day(pair[0], place)
        kc = table.read(pair[1], place, key.value)
        if day is not None and not math.isnan(kc):
            points.append((*day, kc))
    if len(points) < len(value):
        return None
    days = [point[:2] for point in points]
    if any(later <= earlier for earlier, later in pairwise(days)):
        table.refuse(key, show(value), allowed)
        return None
    return CurveDefinition(basis="table", season_start=start or days[0], points=tuple(points))


def _stage_curve(
    table: TomlTable,
    season: TomlTable | None,
    start: tuple[int, int] | None,
    crop: CropRow,
    *,
    latitude_deg: float,
) -> tuple[CurveDefinition | None, str]:
    lengths: tuple[float, ...] = ()
    key = SeasonKeys.lengths
    if season is not None and season.has(key):
        lengths = season.numbers(key)
        if not lengths:
            return None, GIVEN
        if any(length != int(length) for length in lengths) or sum(lengths) > 365.0:
            season.refuse(key, show(season.value(key)), "whole days, at most 365 in sum")
            return None, GIVEN
    is_start_given = season is not None and season.has(SeasonKeys.start)
    if is_start_given and start is None:
        return None, GIVEN
    parts: list[str] = []
    if not lengths and crop.stage_lengths_day is not None:
        lengths = tuple(float(length) for length in crop.stage_lengths_day)
        parts.append(f"stage lengths of {crop.stage_source}")
    if start is None and crop.season_start is not None:
        note = f"season start of {crop.stage_source}"
        if latitude_deg < 0.0:
            note += ", moved by six months for the southern hemisphere"
        start = season_start_at(latitude_deg, crop.season_start)
        parts.append(note)
    if not lengths or start is None:
        table.refuse(
            BlockKeys.season,
            show(table.value(BlockKeys.season)),
            f"{_SEASON_ALLOWED}; no stage dates are published for {crop.key}",
        )
        return None, GIVEN
    origin = "; ".join(parts) + "; local dates are better" if parts else GIVEN
    knots = tuple(sum(lengths[: stage + 1]) for stage in range(4))
    return CurveDefinition(basis="days", season_start=start, stage_knots=knots), origin
