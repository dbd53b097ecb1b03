"""How much water a farm used: by month, season, block or supply, against a permit or a budget.

Counted is what left the supply, as the ledgers have it: metered volumes, minutes of reported runs,
and where nobody reported, the plan. Where a share of a block's metered water leaks before the
emitters, that share is counted too, since a permit does.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.records import Days, Floats, Ints
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.reading.read_farms import today_at
from service.ports import Clock
from service.records.ledger import GrossDays, IrrigationOrigin
from service.records.water_use import Grouping, WaterLimit, WaterSum, WaterUse, WaterWish
from service.unit_sizes import L_PER_ACRE_FOOT, L_PER_GALLON, MM_PER_INCH

LONGEST_SPAN_DAYS = 3_660
SOUTHERN_SEASON_MONTH = 7
"""[CHOICE] Where January is summer, a season begins in July."""


@dataclass(frozen=True, slots=True)
class WaterCourse:
    """The water of a span of days, added up and day by day."""

    use: WaterUse
    days: Days
    """Those that have a ledger, in order."""
    volume_l: Floats
    """Of each of these days."""


def water_used(wish: WaterWish, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> WaterUse:
    """The water of a span of days, added up; raises NotFound or InputInvalid."""
    return water_course(wish, unit_of_work=unit_of_work, clock=clock).use


def water_course(wish: WaterWish, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> WaterCourse:
    """The same with its days; raises as above."""
    found = _gathered(wish, unit_of_work, clock)
    blocks, water = found.blocks, found.water
    labels = water.labels(wish.by, blocks.ids, blocks.supply_ids, found.starts_in)
    (total,) = water.sums([()] * water.day_count, else_empty=True)
    use = WaterUse(
        farm_id=wish.farm_id,
        by=wish.by,
        first_day=found.first_day,
        last_day=found.last_day,
        supply_id=wish.supply_id,
        sums=water.sums(labels),
        total=total,
        limit_volume_l=_limit_l(wish.limit, blocks.area_m2(found.last_day, found.supply_key)),
    )
    return WaterCourse(use, *water.by_day())


def water_by_day(
    wish: WaterWish, *, unit_of_work: UnitOfWorkFactory, clock: Clock
) -> tuple[Days, Floats]:
    """The days and volumes alone, where nothing is to be added up; raises as above."""
    return _gathered(wish, unit_of_work, clock).water.by_day()


@dataclass(frozen=True, slots=True)
class _Gathered:
    """What a wish is answered from."""

    first_day: date
    last_day: date
    starts_in: int
    supply_key: int | None
    blocks: _BlocksOverTime
    water: _Water


def _gathered(wish: WaterWish, unit_of_work: UnitOfWorkFactory, clock: Clock) -> _Gathered:
    with unit_of_work(write=False) as unit:
        today = today_at(unit, wish.farm_id, clock.now())
        farm_keys = np.array([*unit.blocks.farm_keys([wish.farm_id]).values()], dtype=np.int64)
        starts_in = season_month(unit, farm_keys)
        last = wish.last_day or today
        first = wish.first_day or season_start(last, starts_in)
        _check_span(first, last)
        supply_key = _supply_key(unit, farm_keys, wish.supply_id)
        blocks = _BlocksOverTime(unit, farm_keys, first, max(last, today))
        keys = blocks.keys
        if wish.block_id is not None:
            own = [blocks.ids[key] == wish.block_id for key in keys.tolist()]
            keys = keys[np.array(own, dtype=np.bool_)]
        rows = unit.ledger.read_gross_days(keys, first_day=first, last_day=last)
    of_row = blocks.of(rows)
    chosen = np.ones(rows.days.shape, dtype=np.bool_)
    if supply_key is not None:
        chosen = of_row["supply_key"] == supply_key
    return _Gathered(first, last, starts_in, supply_key, blocks, _Water(rows, of_row, chosen))


def _check_span(first: date, last: date) -> None:
    if not 0 <= (last - first).days < LONGEST_SPAN_DAYS:
        allowed = f"the first day or one up to {LONGEST_SPAN_DAYS - 1} days after it"
        raise InputInvalid(
            f"the span {first} to {last} cannot be added up",
            [Fault("to", last.isoformat(), allowed)],
        )


def season_month(unit: UnitOfWork, farm_keys: Ints) -> int:
    """The month in which a season begins at a farm."""
    sites = unit.blocks.read_site_table(unit.blocks.list_site_keys(farm_keys)).definitions
    is_southern = bool(sites) and sum(site.latitude_deg for site in sites) < 0.0
    return SOUTHERN_SEASON_MONTH if is_southern else 1


def season_start(day: date, starts_in: int) -> date:
    """The first day of the season that a day is in."""
    return date(day.year if day.month >= starts_in else day.year - 1, starts_in, 1)


def _season_label(day: date, starts_in: int) -> str:
    """``2026``, or ``2026-27`` for one that passes the turn of the year."""
    year = season_start(day, starts_in).year
    return str(year) if starts_in == 1 else f"{year}-{(year + 1) % 100:02}"


def _supply_key(unit: UnitOfWork, farm_keys: Ints, supply_id: str | None) -> int | None:
    if supply_id is None:
        return None
    table = unit.blocks.read_supply_table(farm_keys)
    if supply_id not in table.supply_ids:
        known = ", ".join(sorted(table.supply_ids))
        raise InputInvalid(
            "there is no such supply", [Fault("supply", supply_id, f"one of {known}")]
        )
    return int(table.keys[table.supply_ids.index(supply_id)])


def _limit_l(limit: WaterLimit | None, area_m2: float) -> float | None:
    if limit is None:
        return None
    return limit.volume_l if limit.gross_mm is None else limit.gross_mm * area_m2


class _BlocksOverTime:
    """The blocks of a farm as they were on each day of a span, retired ones too."""

    def __init__(self, unit: UnitOfWork, farm_keys: Ints, first: date, last: date) -> None:
        changes = unit.blocks.list_version_days(farm_keys, first_day=first, last_day=last)
        self._starts = sorted({first, *changes})
        self._tables = [
            unit.blocks.read_block_table(day, farm_keys=farm_keys) for day in self._starts
        ]
        self.ids: dict[int, str] = {}
        for table in self._tables:
            self.ids.update(zip(table.keys.tolist(), table.block_ids, strict=True))
        supplies = unit.blocks.read_supply_table(farm_keys)
        self.supply_ids = dict(zip(supplies.keys.tolist(), supplies.supply_ids, strict=True))
        self.keys = np.array(sorted(self.ids), dtype=np.int64)

    def of(self, rows: GrossDays) -> Mapping[str, Floats]:
        """Area, leakage and supply of each ledger day; days before a block's first version are
        those of that version.
        """
        names = ("area_m2", "leakage_fraction", "supply_key")
        found = {name: np.full(rows.days.shape, np.nan) for name in names}
        for start, table in zip(self._starts, self._tables, strict=True):
            if not table.keys.size:
                continue
            place = np.minimum(np.searchsorted(table.keys, rows.block_keys), table.keys.size - 1)
            own = table.keys[place] == rows.block_keys
            own &= np.isnan(found["area_m2"]) | (rows.days >= np.datetime64(start))
            for name in ("area_m2", "leakage_fraction"):
                found[name][own] = table.numbers[name][place[own]]
            found["supply_key"][own] = table.supply_keys[place[own]]
        found["leakage_fraction"] = np.nan_to_num(found["leakage_fraction"])
        return found

    def area_m2(self, day: date, supply_key: int | None) -> float:
        """Ground of the blocks on a day, of one supply or of all."""
        places = [place for place, start in enumerate(self._starts) if start <= day]
        table = self._tables[places[-1]]
        own = np.ones(table.keys.shape, dtype=np.bool_)
        if supply_key is not None:
            own = table.supply_keys == supply_key
        return float(table.numbers["area_m2"][own].sum())


class _Water:
    """The chosen ledger days with their volumes."""

    def __init__(
        self, rows: GrossDays, of_row: Mapping[str, Floats], chosen: NDArray[np.bool_]
    ) -> None:
        self._keys = rows.block_keys[chosen]
        self._days = rows.days[chosen]
        self._origin = rows.irrigation_origin[chosen]
        self._area_m2 = of_row["area_m2"][chosen]
        self._supply_keys = of_row["supply_key"][chosen]
        emitters_l = rows.irrigation_gross_mm[chosen] * self._area_m2
        self._volume_l = emitters_l / (1.0 - of_row["leakage_fraction"][chosen])

    @property
    def day_count(self) -> int:
        """Ledger days, of all blocks."""
        return int(self._days.size)

    def by_day(self) -> tuple[Days, Floats]:
        """Days in order, and the volume of each."""
        days, place = np.unique(self._days, return_inverse=True)
        return days, np.bincount(place, self._volume_l, minlength=days.size).astype(np.float64)

    def labels(
        self,
        by: Sequence[Grouping],
        block_ids: Mapping[int, str],
        supply_ids: Mapping[int, str],
        starts_in: int,
    ) -> list[tuple[str, ...]]:
        """Of each day, one label for each grouping."""
        days: list[date] = self._days.astype("datetime64[D]").tolist()
        columns = {
            Grouping.MONTH: lambda: [f"{day:%Y-%m}" for day in days],
            Grouping.SEASON: lambda: [_season_label(day, starts_in) for day in days],
            Grouping.BLOCK: lambda: [block_ids[key] for key in self._keys.tolist()],
            Grouping.SUPPLY: lambda: [supply_ids[int(key)] for key in self._supply_keys],
        }
        return list(zip(*(columns[each]() for each in by), strict=True))

    def sums(
        self, labels: Sequence[tuple[str, ...]], *, else_empty: bool = False
    ) -> list[WaterSum]:
        """The water by label, in their order; one sum of nothing where asked for."""
        groups = sorted(set(labels)) or ([()] if else_empty else [])
        place = {label: index for index, label in enumerate(groups)}
        group = np.array([place[label] for label in labels], dtype=np.int64)
        gross_mm = self._depths_mm(group, len(groups))

        def volumes_l(*origins: IrrigationOrigin) -> Floats:
            counted = np.isin(self._origin, origins) if origins else np.ones(group.shape)
            counted_l = np.bincount(group, self._volume_l * counted, minlength=len(groups))
            return np.asarray(counted_l, dtype=np.float64)

        volume_l = volumes_l()
        metered_l = volumes_l(IrrigationOrigin.METERED)
        reported_l = volumes_l(IrrigationOrigin.REPORTED)
        assumed_l = volumes_l(IrrigationOrigin.PLANNED)
        return [
            WaterSum(
                labels=label,
                volume_l=float(volume_l[row]),
                gross_mm=float(gross_mm[row]),
                metered_volume_l=float(metered_l[row]),
                reported_volume_l=float(reported_l[row]),
                assumed_volume_l=float(assumed_l[row]),
            )
            for row, label in enumerate(groups)
        ]

    def _depths_mm(self, group: Ints, group_count: int) -> Floats:
        """Each day's volume over the ground of the blocks that day, added up over the days."""
        if not group.size:
            return np.zeros(group_count)
        day = (self._days - self._days.min()) // np.timedelta64(ONE_DAY.days, "D")
        cells, of_cell = np.unique(group * (day.max() + 1) + day, return_inverse=True)
        depth_mm = np.bincount(of_cell, self._volume_l) / np.bincount(of_cell, self._area_m2)
        sums_mm = np.bincount(cells // (day.max() + 1), depth_mm, minlength=group_count)
        return np.asarray(sums_mm, dtype=np.float64)


VOLUME_COLUMNS = (
    "volume_l", "volume_gal", "volume_ac_ft", "gross_mm", "gross_in", "metered_volume_l",
    "reported_volume_l", "assumed_volume_l",
)  # fmt: skip


def table_columns(use: WaterUse) -> tuple[str, ...]:
    """The columns of :func:`table_rows`: the labels, then water in SI and in US units."""
    return (*(each.value for each in use.by), *VOLUME_COLUMNS)


def table_rows(use: WaterUse) -> Iterator[list[object]]:
    """The sums as rows of a table for spreadsheets."""
    for each in use.sums:
        yield [
            *each.labels,
            round(each.volume_l, 1),
            round(each.volume_l / L_PER_GALLON, 1),
            round(each.volume_l / L_PER_ACRE_FOOT, 5),
            round(each.gross_mm, 2),
            round(each.gross_mm / MM_PER_INCH, 3),
            round(each.metered_volume_l, 1),
            round(each.reported_volume_l, 1),
            round(each.assumed_volume_l, 1),
        ]
