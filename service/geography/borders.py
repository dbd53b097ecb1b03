"""Outlines with fewer corners, in which neighbors keep one border and nothing crosses.

In: outlines in a plane. Out: the corners that are kept. The corners of all rings are one graph: a
corner that two rings share is one node. A node with two neighbors lies within a border, whether one
ring runs along it or two, and is taken out for all of them at once; nodes where three borders meet
stay. The flattest goes first, as Visvalingam and Whyatt proposed. It goes only if the triangle that
it forms with its neighbors holds no other corner and the new edge is not there yet: then no two
borders can come to cross, and no ring can lose its area.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator, Sequence

from service.geography.records import Outline, Position, Ring


def kept_corners(
    outlines: Sequence[Outline], *, smallest_area: float, most_corner_count: int
) -> set[Position]:
    """The corners that remain when the flattest ones are taken out, border by border.

    outlines: in a plane; corners that are shared are exactly equal.
    smallest_area: no triangle of a corner and its neighbors is left that is smaller, if it can go.
    most_corner_count: corners that may remain; below that, larger triangles stay.
    Shapes: one outline for each county.
    Returns: the corners kept; a ring without the others has at least 3.
    Source: Visvalingam and Whyatt 1993, Line generalisation by repeated elimination of points, The
    Cartographic Journal 30(1). That an empty triangle keeps lines from crossing: common knowledge.

    >>> bent = ((0.0, 0.0), (2.0, 0.01), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0))
    >>> sorted(kept_corners([((bent,),)], smallest_area=0.1, most_corner_count=99))
    [(0.0, 0.0), (0.0, 4.0), (4.0, 0.0), (4.0, 4.0)]
    """
    graph = _Borders(ring for outline in outlines for polygon in outline for ring in polygon)
    graph.thin(smallest_area, most_corner_count)
    return graph.corners


class _Borders:
    """The corners that are left, who is next to whom, and which of them are near a place."""

    def __init__(self, rings: Iterator[Ring]) -> None:
        self._next_to: dict[Position, set[Position]] = {}
        for ring in rings:
            for one, other in zip(ring, ring[1:] + ring[:1], strict=True):
                self._next_to.setdefault(one, set()).add(other)
                self._next_to.setdefault(other, set()).add(one)
        self._cells = _Cells(self._next_to)

    @property
    def corners(self) -> set[Position]:
        return set(self._next_to)

    def thin(self, smallest_area: float, most_corner_count: int) -> None:
        """Take corners out until none is left that may go."""
        while self._pass(smallest_area, most_corner_count):
            # What was in the way of some may be gone.
            pass

    def _pass(self, smallest_area: float, most_corner_count: int) -> bool:
        """Look at every corner once, the flattest first; whether any was in the way of others."""
        queue = [
            (self._area(corner), corner) for corner in self._next_to if self._is_within(corner)
        ]
        heapq.heapify(queue)
        was_any_taken = was_any_blocked = False
        while queue:
            area, corner = heapq.heappop(queue)
            if area > smallest_area and len(self._next_to) <= most_corner_count:
                break
            if not self._is_within(corner) or area < self._area(corner):
                continue  # gone meanwhile, or in the queue again with its new neighbors
            if not self._may_go(corner):
                was_any_blocked = True
                continue
            for each in self._take_out(corner):
                if self._is_within(each):
                    # What is left of a detail counts as much as the detail itself.
                    heapq.heappush(queue, (max(area, self._area(each)), each))
            was_any_taken = True
        return was_any_taken and was_any_blocked

    def _is_within(self, corner: Position) -> bool:
        return len(self._next_to.get(corner, ())) == 2

    def _area(self, corner: Position) -> float:
        one, other = sorted(self._next_to[corner])
        return abs(_turn(one, corner, other)) / 2.0

    def _may_go(self, corner: Position) -> bool:
        one, other = self._next_to[corner]
        if other in self._next_to[one]:
            return False
        triangle = (one, corner, other)
        return not any(
            each not in triangle and _is_inside(each, triangle)
            for each in self._cells.near(triangle)
        )

    def _take_out(self, corner: Position) -> tuple[Position, Position]:
        one, other = self._next_to.pop(corner)
        for here, there in ((one, other), (other, one)):
            self._next_to[here].remove(corner)
            self._next_to[here].add(there)
        self._cells.remove(corner)
        return one, other


class _Cells:
    """Corners by the square of a grid that they are in, about two to a square at the beginning."""

    def __init__(self, corners: dict[Position, set[Position]]) -> None:
        across, up = zip(*corners, strict=True) if corners else ((0.0,), (0.0,))
        self._left, self._bottom = min(across), min(up)
        size = max(max(across) - self._left, max(up) - self._bottom) or 1.0
        self._size = size / max(math.sqrt(len(corners) / 2.0), 1.0)
        self._in: dict[tuple[int, int], set[Position]] = {}
        for corner in corners:
            self._in.setdefault(self._cell(corner), set()).add(corner)

    def near(self, corners: Sequence[Position]) -> Iterator[Position]:
        """What is in the squares that a shape reaches over."""
        across, up = zip(*map(self._cell, corners), strict=True)
        for column in range(min(across), max(across) + 1):
            for row in range(min(up), max(up) + 1):
                yield from self._in.get((column, row), ())

    def remove(self, corner: Position) -> None:
        self._in[self._cell(corner)].remove(corner)

    def _cell(self, corner: Position) -> tuple[int, int]:
        return (
            int((corner[0] - self._left) / self._size),
            int((corner[1] - self._bottom) / self._size),
        )


def _turn(one: Position, middle: Position, other: Position) -> float:
    """Twice the area of a triangle; positive where it turns counterclockwise."""
    return (middle[0] - one[0]) * (other[1] - one[1]) - (other[0] - one[0]) * (middle[1] - one[1])


def _is_inside(place: Position, triangle: tuple[Position, Position, Position]) -> bool:
    """Whether a place is in a triangle or on its edge."""
    one, two, three = triangle
    # Three corners in line turn nowhere, so that the box has to tell what is between them.
    for axis in (0, 1):
        ends = (one[axis], two[axis], three[axis])
        if not min(ends) <= place[axis] <= max(ends):
            return False
    turns = (_turn(one, two, place), _turn(two, three, place), _turn(three, one, place))
    return min(turns) >= 0.0 or max(turns) <= 0.0
