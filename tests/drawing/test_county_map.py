"""The map of the counties: where things are, what they lead to, and what finds no room."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from markupsafe import Markup

from service.drawing.county_map import (
    EDGE,
    FINE_FROM,
    WIDTH,
    CountyMap,
    MapCounty,
    MapKey,
    county_map,
)
from service.pages.look import style

KEY = MapKey(
    marks=("0", "0.25", "0.5", "0.75", "1", "1.25 in"),
    stand_in="stand-in",
    north="N",
    distance=20.0,
    distance_shown="20 miles",
)


def county(name: str, west: float, *, size: float = 100.0, **values: object) -> MapCounty:
    """A square county with its lower edge on the same line as all others."""
    given: dict[str, object] = {
        "name": name,
        "shown": "0.96",
        "said": f"{name}: 0.96 in",
        "address": f"#{name}",
        "rings": [[(west, 0.0), (west + size, 0.0), (west + size, size), (west, size)]],
        "spot": (west + size / 2, size / 2),
        "half_height": size / 4,
        "need_class": 4,
        "is_stand_in": False,
    }
    return MapCounty(**{**given, **values})  # type: ignore[arg-type]  # passed on


def drawn(*counties: MapCounty) -> CountyMap:
    return county_map("A <title>", "All of it.", counties, KEY)


def tree(found: Markup) -> ElementTree.Element:
    return ElementTree.fromstring(found)


def test_north_is_up_and_one_scale_holds_for_both_ways() -> None:
    svg = drawn(county("A", 0.0), county("B", 100.0)).drawn
    first, second = re.findall(r'<path id="map-\d" d="M([^"]*)z"', svg)
    side = (WIDTH - 2 * EDGE) / 2
    # From the southwest corner: east, north, west, as the ring goes.
    assert first == f"{EDGE:g} {EDGE + side:g}l{side:g} 0 0-{side:g}-{side:g} 0"
    assert second.startswith(f"{EDGE + side:g} {EDGE + side:g}l")
    bar = re.search(r'class="axis" d="M([\d.]+) [\d.]+h([\d.]+)M', svg)
    assert bar is not None and float(bar[2]) == round(20.0 * side / 100.0, 1)


def test_a_neighbor_is_not_drawn_twice_and_every_county_leads_to_its_row() -> None:
    svg = drawn(county("A", 0.0), county("B", 100.0, is_stand_in=True)).drawn
    root = tree(svg)
    links = [each for each in root.iter() if each.tag == "a"]
    assert [each.get("href") for each in links] == ["#A", "#B"]
    assert [each.get("aria-label") for each in links] == ["A: 0.96 in", "B: 0.96 in"]
    assert len([each for each in root.iter("path") if each.get("id")]) == 2
    hatched = [each for each in root.iter("use") if each.get("fill") == "url(#hatch)"]
    assert [each.get("href") for each in hatched] == ["#map-1"]


def test_a_map_with_links_is_no_image_and_is_named_and_described() -> None:
    root = tree(drawn(county("A", 0.0)).drawn)
    assert root.get("role") == "group" and root.get("aria-labelledby") == "map-t map-d"
    assert (root[0].text, root[1].text) == ("A <title>", "All of it.")


def test_names_take_the_room_that_there_is() -> None:
    def looks(name: str, half_height: float) -> tuple[list[str], bool]:
        found = drawn(county(name, 0.0, half_height=half_height))
        texts = re.findall(r'class="(name|tag|value|loud) [^"]*"[^>]*>([^<]*)<', found.drawn)
        return [f"{look} {text}" for look, text in texts], bool(found.unlabeled)

    # The square is 348 wide: a half height of 25 is 87 units of the map, one of 3 is 10.
    assert looks("Dunmere", 25.0) == (["name Dunmere", "value 0.96"], False)
    long = "North Dunmere Valley"
    assert looks(long, 10.0) == (["name North Dunmere", "name Valley", "value 0.96"], False)
    assert looks(long, 8.5) == (["tag North Dunmere", "tag Valley", "loud 0.96"], False)
    assert looks("Dunmere", 5.5) == (["tag Dunmere", "loud 0.96"], False)
    assert looks("Dunmere", 3.0) == (["loud 0.96"], False)
    assert looks("Dunmere", 1.0) == ([], True)


def test_what_is_not_known_says_so_on_the_ground_and_letters_of_a_hatch_have_a_plate() -> None:
    unknown = drawn(county("A", 0.0, need_class=0, shown="no data")).drawn
    assert 'class="county need-0"' in unknown and ">no data</text>" in unknown
    assert "stand-in" not in unknown
    hatched = drawn(county("A", 0.0, is_stand_in=True)).drawn
    assert re.search(r'<path class="need-4" d="[^"]*"/><text class="name on-4', hatched)
    assert ">stand-in</text>" in hatched


def test_many_counties_have_finer_borders_and_steps_that_vanish_are_left_out() -> None:
    many = drawn(*(county(f"C{each}", 100.0 * each) for each in range(FINE_FROM)))
    assert many.drawn.count('class="county fine need-4"') == FINE_FROM
    close = [[(0.0, 0.0), (0.001, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)]]
    assert "l348 0 0-348-348 0z" in drawn(county("A", 0.0, rings=close)).drawn


def test_a_tall_region_fits_and_all_classes_have_a_look() -> None:
    tall = [[(0.0, 0.0), (10.0, 0.0), (10.0, 900.0), (0.0, 900.0)]]
    svg = drawn(county("A", 0.0, rings=tall, spot=(5.0, 450.0), half_height=2.0)).drawn
    box = re.search(r'viewBox="0 0 360 (\d+)"', svg)
    assert box is not None and int(box[1]) < 460
    known = set(re.findall(r"\.([a-z][\w-]*)", style().decode()))
    used = {name for names in re.findall(r'class="([^"]+)"', svg) for name in names.split()}
    assert used - known <= {"map", "on-4"}
