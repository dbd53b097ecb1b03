"""A block's ledger over a span of days: as rows with what calls for water, as sums, as a table."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np

from service.agronomy.records import Floats, Ints
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.reading.read_farms import local_day
from service.ports import Clock
from service.records.ledger import LEDGER_NUMBERS, IrrigationOrigin, LedgerRows
from service.records.plans import PublishedPlan

LONGEST_SPAN_DAYS = 400
DEFAULT_SPAN_DAYS = 30
SAME_DEPTH_MM = 0.005  # [mm] depths that print alike
TABLE_DIGITS = 4
"""Decimals of a depth in a table for spreadsheets."""
TABLE_COLUMNS = ("day", "is_observed", "irrigation_origin", *LEDGER_NUMBERS, "trigger_mm")
"""Columns of :func:`table_rows`."""


@dataclass(frozen=True, slots=True)
class BlockBalance:
    """Days of a block's ledger; days without an entry are left out."""

    block_id: str
    """Full id, ``farm.block``."""
    name: str
    first_day: date
    """First day asked for."""
    last_day: date
    rows: LedgerRows
    trigger_fraction: Floats
    """(days,) share of the readily available water at which the block got water on each day."""

    @property
    def trigger_mm(self) -> Floats:
        """(days,) depletion from which on it got water."""
        return self.trigger_fraction * self.rows.numbers["raw_mm"]


def read_balance(
    block_id: str,
    *,
    first_day: date | None = None,
    last_day: date | None = None,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> BlockBalance:
    """The ledger of a block over a span of at most 400 days.

    Without days up to today at the farm, and from thirty days before the last one. Raises NotFound
    or InputInvalid.
    """
    with unit_of_work(write=False) as unit:
        farm = unit.blocks.get_farm_of(block_id)
        last = last_day or local_day(clock.now(), farm.zone)
        earliest = max(last.toordinal() - DEFAULT_SPAN_DAYS, date.min.toordinal())
        first = first_day or date.fromordinal(earliest)
        _check_span(first, last)
        keys = np.array([unit.blocks.get_block_key(block_id)], dtype=np.int64)
        rows = unit.ledger.read_rows(int(keys[0]), first_day=first, last_day=last)
        labels = unit.blocks.read_labels(keys, day=last)
        full_id = f"{farm.farm_id}.{block_id.rpartition('.')[2]}"
        return BlockBalance(
            full_id,
            labels[int(keys[0])].name if labels else full_id,
            first,
            last,
            rows,
            _trigger_fraction(unit, farm.farm_id, keys, rows),
        )


def _check_span(first_day: date, last_day: date) -> None:
    if last_day < first_day or (last_day - first_day).days > LONGEST_SPAN_DAYS:
        raise InputInvalid(
            f"the span {first_day} to {last_day} cannot be read",
            [
                Fault(
                    "to",
                    last_day.isoformat(),
                    f"the first day or one up to {LONGEST_SPAN_DAYS} days after it",
                )
            ],
        )


def _trigger_fraction(unit: UnitOfWork, farm_id: str, block_key: Ints, rows: LedgerRows) -> Floats:
    """(days,) share of the readily available water at which a block gets water, as of each day.

    Days before its first version are kept by that version, and so are read by it.
    """
    fraction = np.full(rows.days.shape, np.nan)
    if not rows.days.size:
        return fraction
    first = rows.days[0].item()
    farm_keys = np.array([*unit.blocks.farm_keys([farm_id]).values()], dtype=np.int64)
    changes = unit.blocks.list_version_days(farm_keys, first_day=first, last_day=date.max)
    for day in dict.fromkeys((first, *changes)):
        for block, _ in unit.blocks.read_definitions(block_key, day=day).values():
            from_then = (rows.days >= np.datetime64(day)) | np.isnan(fraction)
            fraction[from_then] = block.trigger_fraction
    return fraction


def table_rows(balance: BlockBalance) -> Iterator[list[object]]:
    """The days under ``TABLE_COLUMNS``, depths in mm; None where a value is not known."""
    rows = balance.rows
    columns = [*(rows.numbers[name].tolist() for name in LEDGER_NUMBERS), balance.trigger_mm]
    days: list[date] = rows.days.astype("datetime64[D]").tolist()
    for row, day in enumerate(days):
        origin = IrrigationOrigin(rows.irrigation_origin[row]).name.lower()
        numbers = (float(column[row]) for column in columns)
        yield [
            day.isoformat(),
            bool(rows.is_observed[row]),
            origin,
            *(None if math.isnan(value) else round(value, TABLE_DIGITS) for value in numbers),
        ]


@dataclass(frozen=True, slots=True)
class LedgerLine:
    """A day of a ledger as a sum that a reader can check, depths in mm."""

    day: date
    depletion_start_mm: float
    rain_entering_mm: float
    net_mm: float
    """Net irrigation of the day."""
    drainage_mm: float
    """Rain and irrigation that drain below the zone."""
    stress_ratio: float
    actual_crop_et_mm: float
    other_mm: float
    """Soil readings, and a change of the zone's size."""
    depletion_end_mm: float
    trigger_mm: float
    """Depletion from which on the block gets water."""
    irrigation_origin: str
    """``none``, ``reported``, ``planned`` or ``metered``."""
    alley_et_mm: float
    """The part of the crop's use that came from rain outside the wet strip."""
    alley_store_mm: float | None
    """What was left there at the end; None where the crop has no roots there."""

    def leads_to(self, plan: PublishedPlan) -> bool:
        """Whether a plan begins with the depletion at the end of this day, as it is now."""
        midnight_mm = plan.reasoning.depletion_midnight_mm
        return midnight_mm is None or abs(self.depletion_end_mm - midnight_mm) <= SAME_DEPTH_MM


def ledger_lines(rows: LedgerRows, trigger_fraction: float | Floats) -> tuple[LedgerLine, ...]:
    """The days of a ledger as sums; ``trigger_fraction`` for all of them, or (days,)."""
    trigger_mm = trigger_fraction * rows.numbers["raw_mm"]
    days: list[date] = rows.days.astype("datetime64[D]").tolist()
    numbers = rows.numbers
    return tuple(
        LedgerLine(
            day=day,
            depletion_start_mm=float(numbers["depletion_start_mm"][row]),
            rain_entering_mm=float(numbers["rain_entering_mm"][row]),
            net_mm=float(numbers["early_net_mm"][row] + numbers["day_net_mm"][row]),
            drainage_mm=float(
                numbers["rain_drainage_mm"][row] + numbers["irrigation_drainage_mm"][row]
            ),
            stress_ratio=float(numbers["stress_ratio"][row]),
            actual_crop_et_mm=float(numbers["actual_crop_et_mm"][row]),
            other_mm=float(numbers["resize_mm"][row] + numbers["correction_mm"][row]),
            depletion_end_mm=float(numbers["depletion_end_mm"][row]),
            trigger_mm=float(trigger_mm[row]),
            irrigation_origin=IrrigationOrigin(rows.irrigation_origin[row]).name.lower(),
            alley_et_mm=_or_none(float(numbers["alley_et_mm"][row])) or 0.0,
            alley_store_mm=_or_none(float(numbers["alley_store_mm"][row])),
        )
        for row, day in enumerate(days)
    )


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else value
