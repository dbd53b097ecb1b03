"""Normals for the time of year: a site's monthly means interpolated to days.

In go twelve monthly means per site and the days asked for; out comes one value per day. It is
used where there is neither a measurement nor a forecast, and a week is compared with it.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.records import Days, Floats

MONTHS_PER_YEAR = 12


def normals_on(monthly: Floats, days: Days) -> Floats:
    """Monthly means interpolated to single days, without steps between months.

    Shapes: monthly (12, sites); result (days, sites).
    monthly: means of January to December, taken as the value at the middle of each month.
    Returns: values in the unit of the means; NaN at sites without normals.
    Equation: linear between the middles of two months, December joined to January.
    >>> means = np.arange(1.0, 13.0)[:, None]
    >>> days = np.array(["2026-01-16", "2026-02-01"], "M8[D]")
    >>> np.round(normals_on(means, days)[:, 0], 1).tolist()
    [1.0, 1.5]
    """
    month = days.astype("datetime64[M]")
    length_days = ((month + 1).astype(days.dtype) - month.astype(days.dtype)).astype(np.float64)
    into_month = ((days - month.astype(days.dtype)).astype(np.float64) + 0.5) / length_days
    row = month.astype(np.int64) % MONTHS_PER_YEAR
    share = into_month - 0.5
    neighbour = np.where(share < 0.0, row - 1, row + 1) % MONTHS_PER_YEAR
    weight = np.abs(share)[:, None]
    between: Floats = (1.0 - weight) * monthly[row] + weight * monthly[neighbour]
    return between
