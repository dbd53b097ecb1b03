"""How far off forecasts were: bars and strokes on one scale."""

from __future__ import annotations

import math
import re

import pytest

from service.drawing.lead_bars import LeadBar, lead_bars

NEXT = LeadBar("Next day", miss=0.5, season_miss=2.0, shown="0.5 mm")
FAR = LeadBar("7 days ahead", miss=math.nan, season_miss=math.nan, shown="?")


def drawn(*leads: LeadBar) -> str:
    return str(lead_bars("Title", "What it says.", leads, name="q"))


def test_a_bar_is_as_long_as_the_miss_and_the_stroke_stands_at_the_season() -> None:
    chart = drawn(NEXT)
    (left, end) = map(float, re.findall(r'class="past" d="M([\d.]+) [\d.]+H([\d.]+)', chart)[0])
    stroke = float(re.findall(r'class="tick-mark" d="M([\d.]+)', chart)[0])
    assert end - left == pytest.approx((stroke - left) * 0.25, abs=0.2)


def test_what_is_not_known_has_its_words_and_no_bar() -> None:
    chart = drawn(FAR)
    assert "past" not in chart and "tick-mark" not in chart and "nan" not in chart
    assert "7 days ahead" in chart
