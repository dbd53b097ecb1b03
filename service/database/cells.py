"""Where rows of a table belong in an array of days and blocks."""

from __future__ import annotations

import numpy as np

from service.agronomy.records import Days, Ints


class Cells:
    """Finds the (day, block) cell of a row; rows outside the given days have none."""

    def __init__(self, days: Days, block_keys: Ints) -> None:
        self._days, self._keys = days, block_keys
        self._day_order = np.argsort(days, kind="stable")
        self._key_order = np.argsort(block_keys, kind="stable")

    def find(self, days: Days, keys: Ints) -> tuple[Ints, tuple[Ints, Ints]]:
        """Which rows have a cell, and those cells."""
        place = np.searchsorted(self._days, days, sorter=self._day_order)
        day_index = self._day_order[np.minimum(place, self._days.size - 1)]
        rows = np.flatnonzero(self._days[day_index] == days)
        key_place = np.searchsorted(self._keys, keys[rows], sorter=self._key_order)
        return rows, (day_index[rows], self._key_order[key_place])
