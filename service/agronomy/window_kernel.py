"""Compiled arithmetic of the hours in which a block may run: where a pulse fits its windows.

In: the windows of one block and a pulse's length. Out: minutes at which such a pulse may start.
"""

from __future__ import annotations

from service.agronomy.records import Ints
from service.kernels import compiled

NEVER_MIN = 1 << 40  # later than any day's last minute: "there is no such start"


@compiled
def window_start(
    opens_min: Ints, closes_min: Ints, from_min: int, duration_min: int, start_within_min: int
) -> int:
    """First minute from which a pulse lies wholly inside one window of the block's row.

    It starts no more than ``start_within_min`` after the window opens.
    """
    for window in range(opens_min.shape[0]):
        start_min = max(from_min, opens_min[window])
        if start_min - opens_min[window] > start_within_min:
            continue
        if start_min + duration_min <= closes_min[window]:
            return int(start_min)
    return NEVER_MIN


@compiled
def window_latest_start(
    opens_min: Ints, closes_min: Ints, start_min: int, duration_min: int, start_within_min: int
) -> int:
    """Last minute at which the pulse may still start in the window that holds its start."""
    for window in range(opens_min.shape[0]):
        latest_min = min(closes_min[window] - duration_min, opens_min[window] + start_within_min)
        if opens_min[window] <= start_min <= latest_min:
            return int(latest_min)
    return -1
