"""Columns in a reader's units, and the notes that every table has."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from service.records.export import Cell, ColumnKind, ExportColumn
from service.records.farms import FarmDefinition
from service.translations import Wording
from service.translations.catalogue import marked
from service.translations.wording import US
from service.unit_sizes import L_PER_GALLON, L_PER_M3, MM_PER_INCH

NOTES: Final = marked("Notes")
REFERENCE: Final = marked(
    "Reference ET by FAO-56 Penman-Monteith (Allen et al. 1998); depths are water over the whole"
    " ground of a block, 1 mm is 1 liter on a square meter, 1 in is 25.4 mm."
)


@dataclass(frozen=True, slots=True)
class InUnits:
    """Columns and cells in the language and units of a reader."""

    words: Wording

    @property
    def is_us(self) -> bool:
        """Inches and gallons."""
        return self.words.unit_system == US

    def text(self, heading: str) -> ExportColumn:
        """A column of words."""
        return ExportColumn(self.words.gettext(heading))

    def day(self, heading: str) -> ExportColumn:
        """A column of days."""
        return ExportColumn(self.words.gettext(heading), ColumnKind.DAY)

    def moment(self, heading: str) -> ExportColumn:
        """A column of local times."""
        return ExportColumn(self.words.gettext(heading), ColumnKind.MOMENT)

    def number(self, heading: str, unit: str = "", decimals: int = 0) -> ExportColumn:
        """A column of numbers that have one unit for all readers, or none."""
        return self._number(heading, unit, decimals)

    def depth(self, heading: str) -> ExportColumn:
        """A column of :meth:`depth_cell`."""
        unit, decimals = (self.words.unit("in"), 3) if self.is_us else ("mm", 2)
        return self._number(heading, unit, decimals)

    def volume(self, heading: str) -> ExportColumn:
        """A column of :meth:`volume_cell`."""
        unit, decimals = ("gal", 0) if self.is_us else ("m³", 3)
        return self._number(heading, unit, decimals)

    def _number(self, heading: str, unit: str, decimals: int) -> ExportColumn:
        shown = self.words.gettext(heading)
        return ExportColumn(f"{shown}, {unit}" if unit else shown, ColumnKind.NUMBER, decimals)

    def depth_cell(self, depth_mm: float | None) -> float | None:
        """A depth in the reader's unit; None where it is not known."""
        return known(depth_mm, MM_PER_INCH if self.is_us else 1.0)

    def volume_cell(self, volume_l: float | None) -> float | None:
        """A volume in the reader's unit; None where it is not known."""
        return known(volume_l, L_PER_GALLON if self.is_us else L_PER_M3)

    def notes(
        self,
        farm: FarmDefinition,
        span: tuple[date | None, date | None] = (None, None),
        *more: tuple[str, str],
    ) -> tuple[tuple[str, str], ...]:
        """Farm, days, units, clock and references; ``more`` are texts of the table itself."""
        words = self.words
        days = "–".join("" if each is None else each.isoformat() for each in span)
        found = [(words.gettext(marked("Farm")), f"{farm.name} ({farm.farm_id})")]
        if any(each is not None for each in span):
            found.append((words.gettext(marked("Days")), days))
        units = (
            words.gettext(marked("inches and US gallons, as each heading says"))
            if self.is_us
            else words.gettext(marked("millimeters and cubic meters, as each heading says"))
        )
        found.append((words.gettext(marked("Units")), units))
        found.append((words.gettext(marked("Clock")), farm.zone))
        found.append((words.gettext(marked("References")), words.gettext(REFERENCE)))
        return (*found, *((words.gettext(name), words.gettext(text)) for name, text in more))


def known(value: float | None, size: float = 1.0) -> float | None:
    """A number in a unit of that size; None for one that is not known."""
    return None if value is None or not math.isfinite(value) else value / size


def local(instant: datetime, zone: str) -> Cell:
    """An instant on a zone's clock, without its offset."""
    return instant.astimezone(ZoneInfo(zone)).replace(tzinfo=None)


def file_name(*parts: str) -> str:
    """A name of a file: ``runs-hill-farm``."""
    return "-".join(part.replace(".", "-") for part in parts if part)
