"""Simplified outlines: common borders stay common, nothing crosses, nothing loses its area."""

from __future__ import annotations

import math
from collections import Counter
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.geography.borders import kept_corners
from service.geography.geojson import signed_area
from service.geography.label_spot import find_label_spot
from service.geography.outlines import check_places, place_outlines
from service.geography.records import Outline, Position, Ring

COLUMNS, ROWS, BENDS = 3, 2, 6


def bent(one: Position, other: Position, shifts: list[float]) -> list[Position]:
    """A border from one corner to just before the other, with bends to either side.

    The farther from its ends the wider they may be, so that no two borders meet on their way.
    """
    x, y = other[0] - one[0], other[1] - one[1]
    found = [one]
    for place, shift in enumerate(shifts, 1):
        along = place / (BENDS + 1)
        aside = 0.9 * shift * min(along, 1.0 - along)
        found.append((one[0] + x * along - y * aside, one[1] + y * along + x * aside))
    return found


def region(shifts: list[float]) -> dict[str, Outline]:
    """Counties in rows and columns, whose borders bend as told."""
    borders: dict[tuple[Position, Position], list[Position]] = {}
    left = iter(shifts)

    def border(one: Position, other: Position) -> list[Position]:
        if (other, one) in borders:
            return [one, *borders[other, one][:0:-1]]
        if (one, other) not in borders:
            borders[one, other] = bent(one, other, [next(left) for _ in range(BENDS)])
        return borders[one, other]

    found: dict[str, Outline] = {}
    for column in range(COLUMNS):
        for row in range(ROWS):
            west, south = -82.0 + column, 34.0 + row
            corners = [(west, south), (west + 1, south), (west + 1, south + 1), (west, south + 1)]
            ring = [
                place
                for one, other in zip(corners, corners[1:] + corners[:1], strict=True)
                for place in border(one, other)
            ]
            found[f"X{column}{row}"] = ((tuple(ring),),)
    return found


SHIFTS = st.lists(
    st.floats(-1.0, 1.0).map(lambda shift: round(shift, 3)),
    min_size=17 * BENDS,
    max_size=17 * BENDS,
)


def edges(ring: Ring) -> list[frozenset[Position]]:
    return [frozenset(pair) for pair in zip(ring, ring[1:] + ring[:1], strict=True)]


def do_cross(one: frozenset[Position], other: frozenset[Position]) -> bool:
    """Whether two edges without a common end cross."""
    (a, b), (c, d) = one, other

    def turn(p: Position, q: Position, r: Position) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return turn(a, b, c) * turn(a, b, d) < 0.0 and turn(c, d, a) * turn(c, d, b) < 0.0


@given(SHIFTS, st.sampled_from([0.0005, 0.01, 0.3]))
@settings(max_examples=12)
def test_borders_stay_common_and_never_cross(shifts: list[float], smallest_area: float) -> None:
    before = region(shifts)
    kept = kept_corners(list(before.values()), smallest_area=smallest_area, most_corner_count=9999)
    after = [
        tuple(corner for corner in outline[0][0] if corner in kept) for outline in before.values()
    ]
    for corner in ((-82.0 + x, 34.0 + y) for x in range(4) for y in range(3) if x % 3 or y % 2):
        assert corner in kept  # three borders meet there
    count = Counter(edge for ring in after for edge in edges(ring))
    assert set(count.values()) <= {1, 2}
    for ring in after:
        assert len(ring) >= 3 and signed_area(ring) > 0.0
    for one, other in combinations(count, 2):
        assert one & other or not do_cross(one, other)
    # What one county loses its neighbor gains: inner edges are walked once each way.
    inner = sum(number == 2 for number in count.values())
    assert sum(len(ring) for ring in after) == len(count) + inner


def test_the_flattest_bend_goes_first_and_a_border_goes_for_both_neighbors() -> None:
    bend, dent, flat = (1.0, 0.4), (0.9, 0.7), (1.0, 1.01)
    west: Ring = ((0.0, 0.0), bend, dent, flat, (1.0, 2.0), (0.0, 2.0))
    east: Ring = ((0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (1.0, 2.0), flat, dent, bend)
    outlines: list[Outline] = [((west,),), ((east,),)]
    all_corners = {*west, *east}
    assert kept_corners(outlines, smallest_area=0.0, most_corner_count=99) == all_corners
    one_less = kept_corners(outlines, smallest_area=0.0, most_corner_count=len(all_corners) - 1)
    # By hand: the triangles have areas 0.175 (bend), 0.0305 (dent) and 0.0495 (flat).
    assert all_corners - one_less == {dent}


def test_a_corner_stays_where_taking_it_out_would_swallow_a_neighbor() -> None:
    # A thin cape of the mainland around an island: the island is within the cape's triangle.
    mainland: Ring = ((0.0, -9.0), (4.0, -9.0), (4.0, 1.0), (2.0, 3.0), (0.0, 1.0))
    island: Ring = ((1.9, 2.0), (2.1, 2.0), (2.0, 2.2))
    outlines: list[Outline] = [((mainland, island[::-1]),), ((island,),)]
    kept = kept_corners(outlines, smallest_area=5.0, most_corner_count=99)
    assert kept == {*mainland, *island}
    alone = kept_corners([((mainland,),)], smallest_area=5.0, most_corner_count=99)
    assert {*mainland} - alone == {(2.0, 3.0)}


def test_no_ring_falls_below_a_triangle_however_few_corners_may_remain() -> None:
    circle = tuple(
        (math.cos(math.radians(turn)), math.sin(math.radians(turn))) for turn in range(0, 360, 5)
    )
    kept = kept_corners([((circle,),)], smallest_area=99.0, most_corner_count=0)
    assert len(kept) == 3


def test_outlines_keep_what_is_seen_and_lose_islands_that_are_not() -> None:
    def square(west: float, south: float, size: float) -> Ring:
        return (
            (west, south), (west + size, south), (west + size, south + size), (west, south + size),
        )  # fmt: skip

    placed = place_outlines(
        {
            "X1": ((square(-82.0, 34.0, 3.6), square(-81.0, 35.0, 0.001)[::-1]),),
            "X2": ((square(-78.0, 34.0, 0.5),), (square(-77.0, 34.0, 0.001),)),
            "X3": ((square(-76.0, 34.0, 0.001),),),
        }
    )
    assert [len(placed[code].outline) for code in ("X1", "X2", "X3")] == [1, 1, 1]
    assert len(placed["X1"].outline[0]) == 1 and len(placed["X3"].outline[0][0]) == 3


def test_a_label_stands_in_the_widest_part_and_never_in_a_hole() -> None:
    # An L: its foot, 6 by 2, has more room for words than its stem, 2 by 6.
    spot = find_label_spot(
        (((0.0, 0.0), (6.0, 0.0), (6.0, 2.0), (2.0, 2.0), (2.0, 6.0), (0.0, 6.0)),)
    )
    assert 2.0 <= spot.x <= 4.0 and spot.y == pytest.approx(1.0, abs=0.1)
    assert spot.half_height == pytest.approx(1.0, abs=0.05)
    hole: Ring = ((3.0, 3.0), (3.0, 7.0), (7.0, 7.0), (7.0, 3.0))
    frame: Ring = ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))
    spot = find_label_spot((frame, hole))
    assert not (3.0 < spot.x < 7.0 and 3.0 < spot.y < 7.0)
    assert spot.half_height == pytest.approx(1.5, abs=0.1)  # between the hole and the edge


@pytest.mark.parametrize(
    ("rings", "words"),
    [
        ({"A": -179.0, "B": 178.0}, "180th meridian"),
        ({"A": 10.0}, "up to 85"),
    ],
)
def test_places_where_no_flat_map_is_drawn_are_refused(rings: dict[str, float], words: str) -> None:
    south = 86.0 if len(rings) == 1 else 40.0
    outlines: dict[str, Outline] = {
        code: ((((west, south), (west + 1, south), (west + 1, south + 1)),),)
        for code, west in rings.items()
    }
    with pytest.raises(InputInvalid, match=words):
        place_outlines(outlines)


def test_outlines_far_from_all_weather_sites_are_refused_and_exchanged_axes_are_told() -> None:
    here: Outline = ((((-82.0, 34.0), (-81.0, 34.0), (-81.0, 35.0)),),)
    check_places({"X1": here}, {"X1": (-80.0, 36.0)})
    with pytest.raises(InputInvalid, match="within 3 degrees") as refused:
        check_places({"X1": here}, {"X1": (12.0, 47.0)})
    assert "exchanged" not in str(refused.value)
    exchanged: Outline = ((((34.0, -82.0), (34.0, -81.0), (35.0, -81.0)),),)
    with pytest.raises(InputInvalid, match="seem to be exchanged"):
        check_places({"X1": exchanged}, {"X1": (-81.5, 34.5)})
