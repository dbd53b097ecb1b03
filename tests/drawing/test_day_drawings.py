"""The board of a farm and the day against its supplies."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import pytest

from service.drawing.board import WIDTH, BoardBar, board_axis, board_bar
from service.drawing.frame import narrow_width
from service.drawing.supply_day import Lane, SupplyDay, supply_day
from service.pages.look import style

SVG = "{http://www.w3.org/2000/svg}"
HOURS = ("12 AM", "6 AM", "noon", "6 PM", "12 AM")
LONG = "The long rows behind the packing shed, towards the old orchard"


def paths(drawn: str, css: str) -> list[str]:
    """What is drawn with a class."""
    return re.findall(rf'<path class="{css}" d="([^"]*)"', drawn)


def a_day(*lanes: Lane, closed: tuple[tuple[float, float], ...] = ()) -> str:
    """A supply of 10 with what its blocks take."""
    supply = SupplyDay(
        name="Well",
        notes=("gives 10", "takes 8 at most"),
        capacity=10.0,
        steps=((0.0, 8.0), (720.0, 0.0)),
        closed=closed,
        lanes=lanes or (Lane("North", ((0.0, 720.0),)),),
    )
    return str(supply_day("Title", "What it says.", [supply], hours=HOURS, closed_word="closed"))


def test_bars_of_blocks_are_shares_whose_limits_stand_in_one_line() -> None:
    # 130 % of the readily available water is 320 wide: suffering begins at 320 / 1.3 = 246.
    first = str(board_bar(BoardBar(missing=1.0, put_back=0.5, trigger=0.65)))
    assert paths(first, "was") == ["M0 4h123v10H0z"]
    assert paths(first, "backed") == ["M123 4.75H246V13.25H123z"]
    assert paths(first, "tick-mark") == ["M160 0v18"]
    for missing in (0.1, 5.0, math.nan):
        drawn = str(board_bar(BoardBar(missing=missing, put_back=0.0, trigger=math.nan)))
        assert paths(drawn, "tick-stress") == ["M246 0v18"]
        assert paths(drawn, "backed") == paths(drawn, "tick-mark") == []
        assert bool(paths(drawn, "was")) is math.isfinite(missing)
    assert f"M0 4h{WIDTH}v10H0z" in str(board_bar(BoardBar(5.0, 0.0, math.nan)))


def test_the_words_over_the_bars_bring_the_hatch_of_all_bars() -> None:
    axis = str(board_axis("full", "water <from> here", "suffers", trigger=0.7))
    assert 'id="hatch"' in axis and "water &lt;from&gt; here" in axis
    assert 'fill="url(#hatch)"' in str(board_bar(BoardBar(1.0, 0.5, 0.7)))


def test_bars_and_flow_are_at_their_hours() -> None:
    drawn = a_day()
    # The gutter ends at 118 and midnight is at 396: noon is at 257.
    assert re.match(r"M118\.0 \d+H256\.2V", paths(drawn, "run")[0])
    flow = paths(drawn, "flow")[0]
    assert flow.startswith("M118.0 ") and "H257.0" in flow and flow.endswith("z")
    base = float(flow.split()[1].split("V")[0])
    top = float(re.findall(r"V([\d.]+)", flow)[0])
    cap = float(paths(drawn, "cap")[0].split()[1].split("H")[0])
    assert (base - top) / (base - cap) == pytest.approx(0.8, abs=0.01)  # 8 of 10


def test_closed_hours_have_a_word_where_it_fits() -> None:
    drawn = a_day(closed=((720.0, 1020.0), (1380.0, 1440.0)))
    assert len(paths(drawn, "closed")) == 2 and drawn.count(">closed<") == 1


def test_a_long_name_has_lines_of_its_own_and_none_is_cut() -> None:
    drawn = a_day(Lane("North", ((0.0, 60.0),)), Lane(LONG, ((60.0, 120.0),)))
    shown = " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", drawn))
    assert LONG in shown and "…" not in drawn
    assert narrow_width(LONG, size=13.0) > 118


def test_they_are_labelled_and_every_class_has_a_look() -> None:
    sheet = set(re.findall(r"\.([a-z][\w-]*)", style().decode()))
    drawn = a_day(closed=((720.0, 1020.0),))
    root = ElementTree.fromstring(drawn)
    assert root.get("role") == "img" and (root[0].text, root[1].text) == ("Title", "What it says.")
    for each in (drawn, str(board_axis("a", "b", "c", trigger=0.7)), str(
        board_bar(BoardBar(1.0, 0.5, 0.7)))):  # fmt: skip
        used = {name for names in re.findall(r'class="([^"]+)"', each) for name in names.split()}
        assert used <= sheet
        assert re.search(r'(?:fill|stroke)="(?!url\(#|none)', each) is None
