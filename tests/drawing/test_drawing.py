"""Drawings: named and described, without inline styles, in a page and as a file; colour alone tells
nothing apart.
"""

from __future__ import annotations

import math
import re
import subprocess
import sys
from collections.abc import Sequence
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import Markup

from service.drawing.bars import WaterBar, ranked, shares, week_bars
from service.drawing.course import Mark, along, over_runs
from service.drawing.day_line import DAY_MIN, Load, Row, day_line, load_steps
from service.drawing.frame import FILE_STYLE, WIDTH, as_file, fitting
from service.drawing.season import curve
from service.pages.look import style

SVG = "{http://www.w3.org/2000/svg}"
TITLE, DESCRIPTION = "A <title> & more", "What it says."
NAN = math.nan


def a_day(name: str = "day") -> Markup:
    rows = [Row("North", ((0.0, 60.0), (1400.0, 1500.0)), "160 min"), Row("South", ())]
    load = Load("well", 100.0, "can give 100", load_steps([(0.0, 60.0, 120.0)]))
    return day_line(TITLE, DESCRIPTION, rows, [load], ["", "6", "12", "18"], name=name)


def some_runs() -> Markup:
    return over_runs(
        TITLE, DESCRIPTION, [1.0, 0.4, 0.8, NAN, 0.8], marks=[Mark(2, "-20 %")], odd_runs=(1,),
        expected_label="as expected", x_label="runs", y_label="ratio", ends=("May 1", "May 9"),
        name="flow",
    )  # fmt: skip


def a_week() -> Markup:
    rows = [WaterBar("North", 10.0, 5.0, 12.0), WaterBar("South", 0.0, 0.0, NAN)]
    return week_bars(TITLE, DESCRIPTION, rows, key=("Watered", "Rain kept", "Crop used"), unit="mm")


DRAWINGS = {
    "day": a_day(),
    "curve": curve(TITLE, DESCRIPTION, ["Mon", "Tue"], [0.3, 1.1], name="kc"),
    "ranked": ranked(TITLE, DESCRIPTION, [("Alder", 10.0, "10 mm"), ("Brack", NAN, "?")]),
    "shares": shares(
        TITLE, DESCRIPTION, [("as it is", 0.5, "50 %"), ("more", None, "not possible")]
    ),
    "week": a_week(),
    "along": along(
        TITLE, DESCRIPTION, [1, 2, 3], [2.0, NAN, 1.8], x_label="m", y_label="L/h", name="row"
    ),
    "runs": some_runs(),
    "nothing at all": along(TITLE, DESCRIPTION, [], [], x_label="m", y_label="L/h", name="row"),
    "no days": curve(TITLE, DESCRIPTION, [], [], name="kc"),
}


def tree(drawn: Markup) -> ElementTree.Element:
    return ElementTree.fromstring(as_file(drawn))


def marks(drawn: Markup, css: str) -> list[ElementTree.Element]:
    return [each for each in tree(drawn).iter() if css in each.get("class", "").split()]


def number(element: ElementTree.Element, name: str) -> float:
    return float(element.get(name, "nan"))


each_drawing = pytest.mark.parametrize("drawn", DRAWINGS.values(), ids=DRAWINGS.keys())


@each_drawing
def test_a_drawing_has_a_role_a_title_and_a_description_that_label_it(drawn: Markup) -> None:
    root = ElementTree.fromstring(drawn)
    title, description = root[0], root[1]
    assert root.get("role") == "img"
    assert (title.tag, title.text) == ("title", TITLE)
    assert (description.tag, description.text) == ("desc", DESCRIPTION)
    assert root.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"
    assert [each.get("aria-hidden") for each in root[2:]] == ["true"]


@each_drawing
def test_a_drawing_in_a_page_obeys_a_policy_without_inline_styles(drawn: Markup) -> None:
    elements = list(ElementTree.fromstring(drawn).iter())
    assert [each for each in elements if "style" in each.attrib or each.tag == "style"] == []
    # Nor does it bring colours of its own, which would not follow dark and print.
    assert re.search(r'(?:fill|stroke)="(?!url\(#|none)', drawn) is None


@each_drawing
def test_a_drawing_holds_no_number_that_is_none(drawn: Markup) -> None:
    assert re.search(r'"[^"]*\b(?:nan|inf)\b[^"]*"', drawn) is None


@each_drawing
def test_every_class_has_a_look_in_the_pages_and_in_a_file(drawn: Markup) -> None:
    pages = set(re.findall(r"\.([a-z][\w-]*)", style().decode()))
    file = set(re.findall(r"\.([a-z][\w-]*)", FILE_STYLE))
    used = {name for names in re.findall(r'class="([^"]+)"', drawn) for name in names.split()}
    without_rule = {"level4"}  # the plain look of a dot
    assert used - pages - without_rule == set()
    assert used - file - without_rule - {"chart"} == set()


@each_drawing
def test_a_file_is_self_contained_and_has_its_heading_on_request(drawn: Markup) -> None:
    plain = ElementTree.fromstring(as_file(drawn))
    headed = ElementTree.fromstring(as_file(drawn, is_headed=True))
    assert plain.tag == headed.tag == f"{SVG}svg"
    assert plain.find(f"{SVG}style") is not None
    assert [each.text for each in headed.iter() if each.get("class") == "heading"] == [TITLE]
    assert [each for each in plain.iter() if each.get("class") == "heading"] == []
    assert headed.get("viewBox", "").startswith("0 -26 ")
    assert as_file(drawn) == as_file(drawn)


def test_a_long_heading_is_made_to_fit() -> None:
    drawn = shares("word " * 20, DESCRIPTION, [])
    heading = next(e for e in ElementTree.fromstring(as_file(drawn, is_headed=True)).iter()
                   if e.get("class") == "heading")  # fmt: skip
    assert number(heading, "font-size") * 0.6 * 100 <= WIDTH


def test_two_drawings_of_one_page_keep_their_names_apart() -> None:
    ids = re.findall(r'id="([^"]+)"', a_day("first") + a_day("second") + a_week())
    assert len(ids) == len(set(ids))


def test_bars_of_a_day_are_at_their_hours_and_end_at_midnight() -> None:
    first, last = [each for each in marks(a_day(), "water") if each.tag == f"{SVG}rect"]
    assert number(first, "x") == 4.0
    assert number(first, "width") == pytest.approx(352.0 / 24.0, abs=0.1)
    assert number(last, "x") + number(last, "width") == pytest.approx(356.0, abs=0.1)


def test_the_hours_are_ticks_whose_look_does_not_hide_in_the_definitions() -> None:
    # A browser applies no page rules inside a ``use`` element: the class must be outside it.
    ticks = [each for each in marks(a_day(), "axis") if each.tag == f"{SVG}use"]
    defined = [each for part in tree(a_day()).iter(f"{SVG}defs") for each in part.iter()]
    assert len(ticks) == 2
    assert {each.get("href") for each in ticks} == {"#day-hours"}
    assert [each.get("id") for each in defined if each.get("id")] == ["day-hours"]
    assert [each for each in defined if each.get("class")] == []


def test_what_runs_shows_without_colour_it_is_taller_than_its_track() -> None:
    bar, track = marks(a_day(), "water")[0], marks(a_day(), "track")[0]
    assert number(bar, "height") > number(track, "height")


def test_a_load_above_what_the_supply_gives_crosses_the_dashed_line() -> None:
    drawn = a_day()
    step = marks(drawn, "water")[-1].get("d", "")
    limit = marks(drawn, "limit")[0].get("d", "")
    highest = min(float(y) for y in re.findall(r"V([\d.]+)", step))
    assert highest < float(limit.split()[1].split("H")[0])


def test_a_share_that_is_not_known_has_its_words_and_no_bar() -> None:
    drawn = DRAWINGS["shares"]
    assert len(marks(drawn, "water")) == 1
    assert "not possible" in drawn


def test_a_change_of_the_flow_is_a_stroke_with_words_and_an_odd_run_a_cross() -> None:
    drawn = some_runs()
    assert len(marks(drawn, "mark")) == len(marks(drawn, "odd")) == 1
    assert len([each for each in marks(drawn, "water") if each.tag == f"{SVG}circle"]) == 3
    assert "-20 %" in drawn and "as expected" in drawn


def test_ends_of_an_axis_are_no_powers_of_ten() -> None:
    drawn = str(
        along(
            TITLE, DESCRIPTION, [1.5, 4_000.0], [0.01, 1.0], x_label="ft", y_label="gal/h", name="x"
        )
    )
    assert ">4000<" in drawn and ">1.5<" in drawn and "e+" not in drawn


def test_names_are_escaped_and_cut_to_their_room() -> None:
    drawn = ranked(TITLE, DESCRIPTION, [("<b>" + "x" * 80, 1.0, "1 mm")])
    assert "<b>" not in drawn and "&lt;b&gt;" in drawn
    assert "x" * 40 not in drawn and "…" in drawn


@given(st.text(min_size=0, max_size=60), st.floats(1.0, 400.0))
def test_a_cut_name_keeps_its_beginning(name: str, room: float) -> None:
    cut = fitting(name, room=room)
    assert cut == name or (cut.endswith("…") and name.startswith(cut[:-1]))
    assert len(cut) <= max(len(name), 2)


spans = st.lists(
    st.tuples(st.integers(0, DAY_MIN), st.integers(1, 300), st.sampled_from([0.1, 0.2, 1.0, 3.0])),
    max_size=12,
)


@given(spans)
def test_the_load_is_what_runs_at_each_moment(drawn: Sequence[tuple[int, int, float]]) -> None:
    runs = [(begins, begins + lasts, amount) for begins, lasts, amount in drawn]
    for moment, amount in load_steps(runs):
        together = math.fsum(each for begins, ends, each in runs if begins <= moment < ends)
        assert amount == pytest.approx(together, abs=1e-12)
    assert [amount for _, amount in load_steps(runs)[-1:]] in ([], [0.0])


def test_a_hundred_rows_take_a_third_of_what_a_page_may_weigh() -> None:
    rows = [Row(f"Block {n}", ((n, n + 60), (n + 400, n + 460)), "120 min") for n in range(100)]
    assert len(day_line(TITLE, DESCRIPTION, rows, [], ["", "6", "12", "18"])) < 50_000


def test_a_process_that_draws_for_pages_loads_no_picture_library() -> None:
    code = (
        "import sys, service.pages.mount, service.delivery.message;"
        "import service.operations.waterworks.draw_figures;"
        "print(sorted({'matplotlib', 'PIL', 'resvg_py'} & set(sys.modules)))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
