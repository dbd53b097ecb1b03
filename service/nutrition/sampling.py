"""Whether a leaf or petiole sample was taken as the ranges ask for, and when the next is due.

In: crop, tissue, stage, day and number of leaves of a sample, latitude of the block. Out: whether
its values may be classed, what speaks against it, and the days of the coming window. Windows and
their sources are those of ``crops.toml``; how far outside still counts is this project's choice.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from service.nutrition.tables import NutritionCrop, SamplingWindow

TOLERATED_DAYS = 14  # [CHOICE]: a class with a note
SPRAY_DAYS = 14
MICRO_SPRAY_DAYS = 30  # Zn, B, Mn, Cu stay on the surface
SOUTH_SHIFT = timedelta(days=182)


@dataclass(frozen=True, slots=True)
class ProtocolCheck:
    """What may be made of a sample."""

    is_classed: bool
    """False: stored and compared with the block's own history, no class."""
    notes: tuple[str, ...]
    window: SamplingWindow | None
    is_less_certain: bool
    """Early or late: N and K are one step less certain."""


@dataclass(frozen=True, slots=True)
class OpenWindow:
    """Days in which a tissue is to be sampled."""

    window: SamplingWindow
    opens: date
    closes: date


def window_days(window: SamplingWindow, year: int, latitude_deg: float) -> OpenWindow | None:
    """The days of a window in a year, half a year later in the south.

    Shapes: scalars.
    Returns: opening and closing day; None for a window known by its stage.
    Source: ``crops.toml``; half a year is 182 days.
    >>> from service.nutrition.tables import crops
    >>> north = crops()["peach"].windows[0]
    >>> window_days(north, 2026, 34.0).closes.isoformat()
    '2026-08-31'
    >>> window_days(north, 2026, -34.0).opens.isoformat()
    '2026-01-14'
    """
    if not window.opens:
        return None
    return OpenWindow(window, *yearly_days(window.opens, window.closes, year, latitude_deg))


def yearly_days(opens: str, closes: str, year: int, latitude_deg: float) -> tuple[date, date]:
    """The days of a span that every year has, half a year later in the south.

    Shapes: scalars.
    opens, closes: ``MM-DD`` in the north.
    Returns: first and last day; the first is in the year given.
    Source: half a year is 182 days.
    >>> [day.isoformat() for day in yearly_days("07-25", "08-10", 2026, -36.0)]
    ['2026-01-24', '2026-02-09']
    """
    first = date.fromisoformat(f"{year}-{opens}")
    last = date.fromisoformat(f"{year}-{closes}")
    if latitude_deg >= 0.0:
        return first, last
    first, last = first - SOUTH_SHIFT, last - SOUTH_SHIFT
    if first.year < year:
        first, last = first + 2 * SOUTH_SHIFT, last + 2 * SOUTH_SHIFT
    return first, last


def sampling_days(window: SamplingWindow, year: int, latitude_deg: float) -> tuple[date, date]:
    """The days in which a tissue is sampled in a year, or its stage is looked for.

    Shapes: scalars.
    Returns: first and last day, half a year later in the south; of a window that its stage tells,
    the days in which that stage is commonly reached.
    Source: ``crops.toml``.
    >>> from service.nutrition.tables import crops
    >>> bloom = crops()["grape"].windows[0]
    >>> [day.isoformat() for day in sampling_days(bloom, 2026, 38.0)]
    ['2026-05-10', '2026-06-30']
    """
    span = window_days(window, year, latitude_deg)
    if span is not None:
        return span.opens, span.closes
    assert window.looked_for is not None  # every window has the one or the other
    return yearly_days(*window.looked_for, year, latitude_deg)


def next_window(crop: NutritionCrop, day: date, latitude_deg: float) -> OpenWindow | None:
    """The usual window that is open on a day or opens next.

    Shapes: scalars.
    Returns: the first that has not closed, also where a stage tells it; None for a crop without.
    >>> from service.nutrition.tables import crops
    >>> next_window(crops()["highbush-blueberry"], date(2026, 8, 11), 36.0).opens.isoformat()
    '2027-07-25'
    """
    found = [
        OpenWindow(window, *days)
        for window in crop.windows
        if window.is_usual
        for year in (day.year - 1, day.year, day.year + 1)
        if (days := sampling_days(window, year, latitude_deg))[1] >= day
    ]
    return min(found, key=lambda span: span.opens, default=None)


def check_protocol(
    crop: NutritionCrop,
    *,
    tissue: str,
    stage: str,
    day: date | None,
    leaf_count: int | None,
    latitude_deg: float,
    last_spray_day: date | None = None,
    is_washed: bool = False,
) -> ProtocolCheck:
    """Whether the values of a sample may be classed.

    Shapes: scalars.
    leaf_count: leaves or petioles; None: not known. last_spray_day: of the last foliar spray.
    Returns: in the window full weight; up to 14 days outside a class with a note; farther out,
    another tissue or stage, no day, or fewer than half of the least count: no class.
    Source: windows and counts of ``crops.toml``; the 14 days and the half [CHOICE].
    >>> from service.nutrition.tables import crops
    >>> check_protocol(crops()["highbush-blueberry"], tissue="leaf", stage="mid-season",
    ...     day=date(2026, 8, 1), leaf_count=10, latitude_deg=36.0).is_classed
    False
    """
    notes: list[str] = []
    window = next((w for w in crop.windows if (w.tissue, w.stage) == (tissue, stage)), None)
    if window is None:
        known = "; ".join(f"{each.tissue}, {each.stage}" for each in crop.windows)
        text = f"No class: no range here is for {tissue} at {stage} of this crop, only {known}."
        return ProtocolCheck(False, (text,), None, False)
    is_classed, is_less_certain = True, False
    if day is None:
        return ProtocolCheck(
            False, ("No class: the day of the sample is not known.",), window, False
        )
    away = _days_outside(window, day, latitude_deg)
    if away > TOLERATED_DAYS:
        is_classed = False
        notes.append(
            f"No class: taken {away} days outside of the window ({_window_text(window)});"
            " the values are kept and compared with the block's own."
        )
    elif away > 0:
        is_less_certain = True
        notes.append(
            f"Taken {away} days outside of the window ({_window_text(window)}): N and K are one"
            " step less certain."
        )
    is_enough, said = _count_notes(leaf_count, window)
    notes += said
    if last_spray_day is not None and not is_washed:
        notes += _spray_notes((day - last_spray_day).days)
    return ProtocolCheck(is_classed and is_enough, tuple(notes), window, is_less_certain)


def sampling_error_pct(leaf_count: int, *, leaf_variation_pct: float = 15.0) -> float:
    """How far the mean of a sample is from that of the block.

    Shapes: scalars.
    leaf_variation_pct: from leaf to leaf; 15 % from memory.
    Returns: coefficient of variation of the mean, %.
    Equation: CV / sqrt(n).
    >>> round(sampling_error_pct(40), 1), round(sampling_error_pct(10), 1)
    (2.4, 4.7)
    """
    return float(leaf_variation_pct / leaf_count**0.5)


def _days_outside(window: SamplingWindow, day: date, latitude_deg: float) -> int:
    """Days from the nearest window; 0 inside, and where a stage tells the time."""
    away = []
    for year in (day.year - 1, day.year, day.year + 1):
        span = window_days(window, year, latitude_deg)
        if span is None:
            return 0
        away.append(max((span.opens - day).days, (day - span.closes).days, 0))
    return min(away)


def _window_text(window: SamplingWindow) -> str:
    return f"{window.opens} to {window.closes} in the north"


def _count_notes(leaf_count: int | None, window: SamplingWindow) -> tuple[bool, list[str]]:
    """Whether the leaves suffice for a class, and what is said of their number."""
    if leaf_count is None:
        return True, ["How many leaves were taken is not known."]
    if 2 * leaf_count < window.least:
        text = (
            f"No class: {leaf_count} leaves are fewer than half of the {window.least} that a"
            " sample needs."
        )
        return False, [text]
    if leaf_count < window.least:
        text = (
            f"{leaf_count} leaves: a sample needs {window.least}. Their mean is uncertain by"
            f" {sampling_error_pct(leaf_count):.1f} %, that of {window.least} by"
            f" {sampling_error_pct(window.least):.1f} % (from memory)."
        )
        return True, [text]
    return True, []


def _spray_notes(since_days: int) -> list[str]:
    if 0 <= since_days < SPRAY_DAYS:
        return [f"A spray {since_days} days before the sample: it may be on the leaf, not in it."]
    if 0 <= since_days < MICRO_SPRAY_DAYS:
        text = (
            f"A spray {since_days} days before the sample: Zn, B, Mn and Cu of it may still be on"
            " the leaf."
        )
        return [text]
    return []
