"""A season's nitrogen over its months, and the last date for it.

In: the total, a crop with the parts of its months, the place, the largest single application. Out:
dated parts that sum to the total, none after the last date. Southern months are half a year away.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from service.nutrition.tables import NutritionCrop, crops_of_block

LARGEST_DRY_KG_PER_HA = 45.0  # [CHOICE]: one application of nitrogen
LARGEST_DRIP_ON_SAND_KG_PER_HA = 12.0  # [CHOICE]: through drip on sand
MONTHS_TO_SOUTH = 6
PLAIN_YEAR = 2001  # without 29 February
GIVEN = "given"


@dataclass(frozen=True, slots=True)
class LastNitrogen:
    """The last day for nitrogen and where that comes from."""

    day: date
    origin: str


@dataclass(frozen=True, slots=True)
class DatedPart:
    """Nitrogen of one day."""

    day: date
    kg_per_ha: float


def last_nitrogen_day(
    crop: NutritionCrop, year: int, latitude_deg: float, *, own_day: date | None = None
) -> LastNitrogen | None:
    """The last day of a season on which nitrogen should be given.

    Shapes: scalars.
    year: in which the season ends. own_day: the block's own, before the table's.
    Returns: the day with its origin; None where nothing is known of the crop.
    >>> from service.nutrition.tables import crops
    >>> last_nitrogen_day(crops()["rabbiteye-blueberry"], 2026, 33.0).day.isoformat()
    '2026-07-31'
    """
    if own_day is not None:
        return LastNitrogen(own_day, GIVEN)
    text = next((day for limit, day in crop.last_nitrogen if abs(latitude_deg) <= limit), None)
    if text is None:
        return None
    day = date.fromisoformat(f"{year}-{text}")
    if latitude_deg < 0.0:
        day -= timedelta(days=182)
        day = day if day.year == year else day + timedelta(days=365)
    return LastNitrogen(day, crop.last_nitrogen_source)


def block_last_nitrogen(
    crop_key: str, day: date, latitude_deg: float, *, last_nitrogen_doy: float = math.nan
) -> LastNitrogen | None:
    """The last day for nitrogen of the season that a day is in, for a block.

    A season is a calendar year in the north, and July to June in the south. Where the farm file's
    crop may be several kinds, there is a default only if each of them has one: the earliest.

    Shapes: scalars.
    crop_key: of the farm file; last_nitrogen_doy: the block's own day of a year of 365
    days, NaN for the default by crop and place.
    Returns: the day with its origin; None where no last day is known.
    Source: ``last_nitrogen_day``.
    >>> late = date(2026, 8, 20)
    >>> block_last_nitrogen("blueberry", late, 33.0).day.isoformat()
    '2026-07-31'
    >>> block_last_nitrogen("blueberry", late, 33.0, last_nitrogen_doy=258.0).day.isoformat()
    '2026-09-15'
    """
    if not math.isnan(last_nitrogen_doy):
        own = date(PLAIN_YEAR, 1, 1) + timedelta(days=int(last_nitrogen_doy) - 1)
        return LastNitrogen(_in_season_of(day, own, latitude_deg), GIVEN)
    kinds = [last_nitrogen_day(each, PLAIN_YEAR, latitude_deg) for each in crops_of_block(crop_key)]
    known = [each for each in kinds if each is not None]
    if not known or len(known) < len(kinds):
        return None
    first = min(known, key=lambda each: each.day)
    return LastNitrogen(_in_season_of(day, first.day, latitude_deg), first.origin)


def _in_season_of(day: date, every_year: date, latitude_deg: float) -> date:
    """The month and day of every year, in the season that a day is in."""
    if latitude_deg >= 0.0:
        return every_year.replace(year=day.year)
    ends_in = day.year + (day.month > MONTHS_TO_SOUTH)
    return every_year.replace(year=ends_in - (every_year.month > MONTHS_TO_SOUTH))


def date_nitrogen(
    total_kg_per_ha: float,
    crop: NutritionCrop,
    *,
    year: int,
    latitude_deg: float,
    last_day: date | None = None,
    largest_kg_per_ha: float = LARGEST_DRY_KG_PER_HA,
) -> tuple[DatedPart, ...]:
    """A season's nitrogen over its days.

    Shapes: scalars.
    last_day: none is planned after it.
    largest_kg_per_ha: of one application.
    Returns: parts by day that sum to the total, none above the largest; empty where the crop has no
    months or none is left. A month too short for its parts holds what fits.
    Equation: part of a month = its weight / sum of the weights left; equal parts within a month.
    >>> from service.nutrition.tables import crops
    >>> parts = date_nitrogen(40.4, crops()["highbush-blueberry"], year=2027, latitude_deg=35.0,
    ...     last_day=date(2027, 7, 31))
    >>> [round(each.kg_per_ha, 1) for each in parts]
    [8.1, 10.1, 10.1, 8.1, 4.0]
    """
    spans = [
        (weight, span)
        for month, weight in sorted(_months(crop.months, latitude_deg).items())
        if (span := _span(year, month, last_day)) is not None
    ]
    if total_kg_per_ha <= 0.0 or not spans:
        return ()
    left = sum(weight for weight, _ in spans)
    parts: list[DatedPart] = []
    for weight, (first, length) in spans:
        amount = total_kg_per_ha * weight / left
        count = min(max(1, math.ceil(amount / largest_kg_per_ha - 1e-9)), length)
        parts += [
            DatedPart(
                first + timedelta(days=int((2 * place + 1) * length / (2 * count))),
                min(amount / count, largest_kg_per_ha),
            )
            for place in range(count)
        ]
    return tuple(parts)


def cut_to(parts: tuple[DatedPart, ...], most_kg_per_ha: float) -> tuple[DatedPart, ...]:
    """Parts shortened from the last backwards to a total.

    Shapes: parts (parts,).
    Returns: the parts that are left, the last of them perhaps smaller.
    >>> cut_to((DatedPart(date(2026, 3, 1), 8.0), DatedPart(date(2026, 4, 1), 8.0)), 10.0)[-1]
    DatedPart(day=datetime.date(2026, 4, 1), kg_per_ha=2.0)
    """
    room = most_kg_per_ha
    kept = []
    for each in parts:
        if room <= 1e-9:
            break
        kept.append(DatedPart(each.day, min(each.kg_per_ha, room)))
        room -= each.kg_per_ha
    return tuple(kept)


def _months(months: Mapping[int, float], latitude_deg: float) -> dict[int, float]:
    if latitude_deg >= 0.0:
        return dict(months)
    return {(month + MONTHS_TO_SOUTH - 1) % 12 + 1: part for month, part in months.items()}


def _span(year: int, month: int, last_day: date | None) -> tuple[date, int] | None:
    """The days of a month, 28 at most, up to the last day: the first and how many."""
    first, last = date(year, month, 1), date(year, month, 28)
    last = last if last_day is None else min(last, last_day)
    return (first, (last - first).days + 1) if first <= last else None
