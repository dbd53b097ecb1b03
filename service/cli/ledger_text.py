"""Days of a ledger as lines of a table that add up."""

from __future__ import annotations

from collections.abc import Sequence

from rich.table import Table

from service.cli import shown
from service.cli.terminal import UnitSystem, plain_table
from service.operations.reading.read_balance import LedgerLine
from service.unit_sizes import MM_PER_INCH

OTHER = ("other", "other_mm")
TRIGGER = ("trigger", "trigger_mm")
START = ("start", "depletion_start_mm")
LEDGER_COLUMNS = (
    ("rain", "rain_entering_mm"),
    ("net", "net_mm"),
    ("drains", "drainage_mm"),
    ("Ks", "stress_ratio"),
    ("crop", "actual_crop_et_mm"),
    OTHER,
    ("end", "depletion_end_mm"),
)
ALLEY_COLUMNS = (("outside", "alley_et_mm"), ("stored", "alley_store_mm"))
"""For a block with roots outside the wet strip."""
NET_BY = {"metered": "meter", "reported": "report", "planned": "plan"}
"""What the irrigation of a ledger day was taken from."""


def has_alley(lines: Sequence[LedgerLine]) -> bool:
    """Whether a block has roots outside the wet strip on any of these days."""
    return any(line.alley_store_mm is not None for line in lines)


def ledger_table(
    lines: Sequence[LedgerLine], columns: Sequence[tuple[str, str]], units: UnitSystem
) -> Table:
    """One line a day: headings and names of numbers of a line, and what the water is from."""
    names = (name for name, _ in columns)
    table = plain_table("Day", *names, "by", right=tuple(range(1, len(columns) + 1)))
    for line in lines:
        depths = (getattr(line, name) for _, name in columns)
        table.add_row(
            shown.short_day(line.day),
            *(
                f"{value:.2f}" if name == "Ks" else ledger_depth(value, units)
                for (name, _), value in zip(columns, depths, strict=True)
            ),
            NET_BY.get(line.irrigation_origin, ""),
        )
    return table


def ledger_depth(depth_mm: float | None, units: UnitSystem) -> str:
    """A depth with one decimal more than others have, so that a line adds up."""
    if depth_mm is None:
        return "-"
    return f"{depth_mm / MM_PER_INCH:.3f}" if units is UnitSystem.US else f"{depth_mm:.2f}"
