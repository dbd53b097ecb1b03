"""The scale of need that bars, map and weeks share, in the unit of the reader."""

from __future__ import annotations

from collections.abc import Sequence

from service.agronomy.depth_rounding import shown_depth
from service.drawing.frame import most_of
from service.drawing.need_scale import CLASSES, class_width
from service.records.counties import CountyWeek
from service.translations import Wording
from service.translations.wording import US


def shown_need(depth_mm: float, words: Wording) -> float:
    """A depth as it is written, so that no drawing says otherwise than its number."""
    return shown_depth(depth_mm, in_inches=words.unit_system == US)


def need_class_width(rows: Sequence[CountyWeek], words: Wording) -> float:
    """The width of a class, so that five reach the largest need and normal of a week."""
    return class_width(
        most_of(
            [
                shown_need(depth_mm, words)
                for row in rows
                for depth_mm in (row.net_need_mm, row.normal_need_mm)
            ]
        )
    )


def class_marks(rows: Sequence[CountyWeek], words: Wording) -> list[str]:
    """The limits of the classes of a week, the last one with its unit."""
    width = need_class_width(rows, words)
    marks = [scale_mark(width * limit, words) for limit in range(CLASSES + 1)]
    return [*marks[:-1], f"{marks[-1]} {short_unit(words)}"]


def scale_mark(value: float, words: Wording) -> str:
    """A limit of a scale with the decimals that it has."""
    decimals = next(
        count for count in range(4) if count == 3 or round(value, count) == round(value, 3)
    )
    return words.number(value, decimals)


def short_unit(words: Wording) -> str:
    """The unit of depths behind a number."""
    return words.unit("in") if words.unit_system == US else words.gettext("mm")
