"""Water by month: what came against what the crop used, on one scale."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import pytest

from service.drawing.month_bars import MonthBar, month_bars

JUNE = MonthBar("June 2026", irrigation=60.0, rain=40.0, crop_use=120.0, shown="41,900 gal")
JULY = MonthBar("Jul 1 to Jul 14", irrigation=0.0, rain=math.nan, crop_use=math.nan, shown="0 gal")


def drawn(*months: MonthBar) -> str:
    return str(month_bars("Title", "What it says.", months))


def path(chart: str, css: str) -> list[str]:
    return re.findall(rf'<path class="{css}" d="([^"]*)"', chart)


def test_rain_follows_irrigation_and_a_stroke_stands_where_the_use_ends() -> None:
    chart = drawn(JUNE)
    left, middle = map(float, re.findall(r"M([\d.]+) [\d.]+H([\d.]+)", path(chart, "run")[0])[0])
    begins, end = map(
        float, re.findall(r"M([\d.]+) [\d.]+H([\d.]+)", path(chart, "rain rainfill")[0])[0]
    )
    stroke = float(path(chart, "tick-mark")[0].split()[0][1:])
    assert begins == middle
    # 60 + 40 of 120 came.
    assert end - left == pytest.approx((stroke - left) * 100 / 120, abs=0.2)
    assert middle - left == pytest.approx((stroke - left) * 60 / 120, abs=0.2)


def test_what_is_not_known_or_nothing_has_its_words_and_no_bar() -> None:
    chart = drawn(JULY)
    assert path(chart, "run") == path(chart, "rain rainfill") == path(chart, "tick-mark") == []
    assert "0 gal" in chart and "nan" not in chart


@pytest.mark.parametrize("months", [(), (JUNE,), (JUNE, JULY) * 3])
def test_every_number_of_months_is_a_drawing_within_its_width(months: tuple[MonthBar, ...]) -> None:
    chart = drawn(*months)
    assert ElementTree.fromstring(chart).get("role") == "img"
    assert all(0.0 <= float(x) <= 360.0 for x in re.findall(r"H([\d.]+)", chart))
