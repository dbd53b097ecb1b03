"""The order along the pipe as a drawing: numbered, described, the zone set apart."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from service.drawing.frame import WIDTH, as_file, width_of
from service.drawing.pipe_order import Stop, pipe_order

KINDS = ("part", "gauge", "injector", "filter", "by-code")
STOPS = [
    Stop(kind, f"Stop <{kind}>", "A remark that is long enough for two lines of the drawing, or so")
    for kind in KINDS
]


def test_every_stop_is_named_in_its_order_and_the_kinds_look_different() -> None:
    drawn = str(pipe_order("Title", "What it says.", STOPS, ""))
    names = re.findall(r'class="name"[^>]*>([^<]*)<', drawn)
    assert [name for name in names if name != "?"] == [
        f"{number}. Stop &lt;{kind}&gt;" for number, kind in enumerate(KINDS, start=1)
    ]
    words = re.compile(r"<text.*?</text>|<title.*?</desc>")
    alone = {words.sub("", str(pipe_order("", "", [STOPS[0], each], ""))) for each in STOPS}
    assert len(alone) == len(KINDS)


def test_the_zone_begins_once_below_its_label() -> None:
    stops = [*STOPS[:2], Stop("part", "Valve", is_in_zone=True), Stop("part", "Line", "", True)]
    drawn = str(pipe_order("Title", "What it says.", stops, "in each of 3 zones"))
    assert drawn.count("in each of 3 zones") == 1
    assert drawn.index("in each of 3 zones") < drawn.index("3. Valve")
    assert "divide" in drawn
    assert "divide" not in str(pipe_order("Title", "What it says.", STOPS, "in each of 3 zones"))


def test_all_of_it_is_inside_the_frame_and_it_is_a_file_of_its_own() -> None:
    drawn = pipe_order("Title", "What it says.", STOPS, "")
    assert "style=" not in str(drawn)
    root = ElementTree.fromstring(as_file(drawn, is_headed=True))
    height = float(root.attrib["viewBox"].split()[3])
    for each in root.iter("{http://www.w3.org/2000/svg}text"):
        assert float(each.attrib["y"]) < height
        assert float(each.attrib["x"]) < WIDTH


def test_a_long_name_goes_on_in_a_second_line_within_the_frame() -> None:
    stop = Stop("part", "Tubería distribuidora con sus tomas y válvulas", "Remark")
    drawn = str(pipe_order("Title", "What it says.", [stop, stop], ""))
    names = re.findall(r'class="name" x="([0-9.]+)" y="([0-9.]+)"[^>]*>([^<]*)<', drawn)
    assert len(names) == 4
    for x, _, words in names:
        assert float(x) + width_of(words, size=14.0) < WIDTH
    remark = re.search(r'class="small" x="[0-9.]+" y="([0-9.]+)"[^>]*>Remark', drawn)
    assert remark is not None and float(remark[1]) > float(names[1][1])
