"""Water by month on a block's page: irrigation, rain and what the crop used, from its ledger."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from markupsafe import Markup

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.records import Floats
from service.drawing.month_bars import MonthBar, month_bars
from service.operations.reading.water_used import water_used
from service.pages.visit import Visit
from service.records.farms import BlockDefinition
from service.records.ledger import LedgerRows
from service.records.water_use import WaterUse, WaterWish
from service.translations import Wording
from service.unit_sizes import MM_PER_INCH

SHOWN_MONTHS = 6
"""The month of the last day and those before it."""


@dataclass(frozen=True, slots=True)
class MonthsView:
    """The chart and its table."""

    chart: Markup
    table: tuple[tuple[str, ...], ...]
    """Month, volume and depth of irrigation, depths of rain and of what the crop used."""
    total: str
    """All that was irrigated, and since when."""


@dataclass(frozen=True, slots=True)
class _Month:
    first_day: date
    last_day: date
    irrigation_gross_mm: float
    rain_mm: float
    crop_et_mm: float


def first_shown_day(last_day: date) -> date:
    """The first day of the earliest month that is shown.

    >>> first_shown_day(date(2026, 3, 14))
    datetime.date(2025, 10, 1)
    """
    months = last_day.year * 12 + last_day.month - SHOWN_MONTHS
    return date(months // 12, months % 12 + 1, 1)


def used_by_month(visit: Visit, block: BlockDefinition, last_day: date) -> WaterUse:
    """A block's water in the months that are shown."""
    wish = WaterWish(
        farm_id=block.farm_id,
        block_id=block.block_id,
        first_day=first_shown_day(last_day),
        last_day=last_day,
    )
    return water_used(wish, unit_of_work=visit.service.unit_of_work, clock=visit.service.clock)


def months_view(rows: LedgerRows, used: WaterUse, words: Wording) -> MonthsView | None:
    """The months of a ledger; None where it has no day.

    ``used`` is the block's water of the same days by month, as it left the supply: what leaks on
    the way to the emitters is in it.
    """
    months = _months(rows)
    if not months:
        return None
    volume_of = {each.labels[0]: each.volume_l for each in used.sums}
    names = [_name(month, words) for month in months]
    volumes = [words.volume(volume_of.get(f"{each.first_day:%Y-%m}", 0.0)) for each in months]
    scale = 1.0 / MM_PER_INCH if words.unit_system == "us" else 1.0
    return MonthsView(
        chart=month_bars(
            words.gettext("Water by month"),
            " ".join(
                words.gettext(
                    "{month}: irrigation {irrigation}, rain {rain}, the crop used {used}.",
                    month=name,
                    irrigation=words.depth(month.irrigation_gross_mm),
                    rain=words.depth(month.rain_mm),
                    used=words.depth(month.crop_et_mm),
                )
                for name, month in zip(names, months, strict=True)
            ),
            [
                MonthBar(
                    name,
                    month.irrigation_gross_mm * scale,
                    month.rain_mm * scale,
                    month.crop_et_mm * scale,
                    volume,
                )
                for name, month, volume in zip(names, months, volumes, strict=True)
            ],
        ),
        table=tuple(
            (
                name,
                volume,
                words.bare_depth(month.irrigation_gross_mm),
                words.bare_depth(month.rain_mm),
                words.bare_depth(month.crop_et_mm),
            )
            for name, month, volume in zip(names, months, volumes, strict=True)
        ),
        total=words.gettext(
            "{volume} of irrigation since {day}.",
            volume=words.volume(used.total.volume_l),
            day=words.short_day(months[0].first_day),
        ),
    )


def _months(rows: LedgerRows) -> list[_Month]:
    """The ledger's days added up by month, in order of time."""
    month_of = rows.days.astype("datetime64[M]")
    months = []
    for month in np.unique(month_of):
        own = month_of == month
        days = rows.days[own].astype("datetime64[D]")
        months.append(
            _Month(
                first_day=days.min().item(),
                last_day=days.max().item(),
                irrigation_gross_mm=_sum(rows.numbers["irrigation_gross_mm"][own]),
                rain_mm=_sum(rows.numbers["rain_mm"][own]),
                crop_et_mm=_sum(rows.numbers["actual_crop_et_mm"][own]),
            )
        )
    return months


def _sum(depths_mm: Floats) -> float:
    """The sum of the known days; NaN where none is known."""
    return float(np.nansum(depths_mm)) if np.isfinite(depths_mm).any() else float("nan")


def _name(month: _Month, words: Wording) -> str:
    """A whole month by its name, a part of one by its days."""
    first, last = month.first_day, month.last_day
    if first.day == 1 and (last + ONE_DAY).day == 1:
        return words.month(first)
    return words.gettext(
        "{first} to {last}",
        first=words.yearly_day(first.month, first.day),
        last=words.yearly_day(last.month, last.day),
    )
