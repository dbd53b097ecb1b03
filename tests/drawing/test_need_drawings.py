"""The drawings of county need: bars and small weeks say what their numbers say."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import Markup

from service.drawing.need_bars import NeedBar, need_bars
from service.drawing.need_scale import CLASSES, class_width, need_class
from service.drawing.need_weeks import NeedWeek, WeekScale, need_weeks
from service.pages.look import style

NAN = math.nan
MARKS = ("0", "0.25", "0.5", "0.75", "1", "1.25 in")


def bar(name: str, need: float, *, normal: float = NAN, is_stand_in: bool = False) -> NeedBar:
    return NeedBar(
        rank="1",
        name=name,
        need=need,
        shown="?" if math.isnan(need) else f"{need:.2f}",
        normal=normal,
        hours="23.2 h",
        rests_on="rain 0.19 in",
        is_stand_in=is_stand_in,
    )


def bars(*rows: NeedBar) -> Markup:
    return need_bars("A <title>", "All of it.", rows, class_width=0.25, marks=MARKS)


def weeks(*needs: float, stand_ins: tuple[int, ...] = ()) -> Markup:
    return need_weeks(
        "Alder",
        "Week by week.",
        [NeedWeek(need, 1.0, place in stand_ins) for place, need in enumerate(needs)],
        scale=WeekScale(top=2.0, mark="2 in", ends=("May 18", "Jul 13")),
        last=(4, "0.96"),
        name="w0",
    )


def widths(drawn: Markup, css: str) -> list[float]:
    """How far the bars of a class reach."""
    found = re.findall(rf'<path class="{css}" d="M0 [\d.]+H([\d.]+)v', drawn)
    return [float(each) for each in found]


def test_a_bar_is_as_long_as_its_need_and_coloured_by_its_class() -> None:
    drawn = bars(bar("Dunmere", 1.0), bar("Cresthollow", 0.5))
    (most,), (least,) = widths(drawn, "need-4"), widths(drawn, "need-2")
    assert most == pytest.approx(2 * least, abs=0.11)
    marks = re.findall(r'<text class="say mid" x="([\d.]+)" y="12">1</text>', drawn)
    assert [float(each) for each in marks] == [most]


def test_only_a_stand_in_is_hatched_and_an_unknown_need_has_no_bar() -> None:
    drawn = bars(bar("A", 1.0), bar("B", 0.9, is_stand_in=True), bar("C", NAN))
    assert drawn.count('fill="url(#hatch)"') == 1
    assert len(re.findall(r'class="need-\d"', drawn)) == 2
    assert ">?</text>" in drawn


def test_the_value_steps_aside_for_the_stroke_of_the_normal() -> None:
    def places(normal: float) -> tuple[float, float]:
        drawn = bars(bar("A", 0.5, normal=normal))
        stroke = re.search(r'class="normal" d="M([\d.]+)', drawn)
        value = re.search(r'class="loud halo" x="([\d.]+)"', drawn)
        assert stroke is not None and value is not None
        return float(stroke[1]), float(value[1])

    stroke, value = places(0.55)
    assert value > stroke
    stroke, value = places(1.2)
    assert value < stroke


def test_a_long_name_is_wrapped_and_nothing_of_it_is_cut() -> None:
    name = "San Bernardino del Río Grande de la Sierra Madre Occidental"
    root = ElementTree.fromstring(bars(bar(name, 1.0)))
    lines = [each.text or "" for each in root.iter() if each.get("class") == "name"]
    assert len(lines) == 2 and " ".join(lines) == name


def test_the_small_weeks_stand_on_one_scale_and_say_what_is_not_known() -> None:
    drawn = weeks(1.0, NAN, 0.0, 2.0, 0.96, stand_ins=(0,))
    (past,) = re.findall(r'class="past" d="([^"]+)"', drawn)
    tops = [float(each) for each in re.findall(r"V([\d.]+)h", past)]
    assert tops == [50.0, 22.0]  # half way and at the upper line of a scale that ends at 2
    assert ">?</text>" in drawn and ">0</text>" in drawn
    assert drawn.count('class="need-4"') == 1 and drawn.count("url(#hatch)") == 1


@pytest.mark.parametrize("drawn", [bars(bar("A", 1.0, normal=0.9)), weeks(1.0, NAN), weeks()])
def test_drawings_are_described_and_have_a_look(drawn: Markup) -> None:
    root = ElementTree.fromstring(drawn)
    assert root.get("role") == "img" and root[0].tag == "title" and root[1].tag == "desc"
    assert re.search(r'"[^"]*\b(?:nan|inf)\b[^"]*"', drawn) is None
    known = set(re.findall(r"\.([a-z][\w-]*)", style().decode()))
    used = {name for names in re.findall(r'class="([^"]+)"', drawn) for name in names.split()}
    assert used - known == set()


@given(st.floats(0.001, 10_000.0))
def test_five_classes_reach_the_largest_need_and_the_last_is_not_empty_by_far(most: float) -> None:
    width = class_width(most)
    assert width * CLASSES >= most * (1 - 1e-9)
    assert need_class(most, width) >= 2  # a scale is at most 2.5 times as long as it has to be
