"""The courses that the rain of a coming week may take, with their probabilities.

In: the rain of the forecast and that of days beyond it. Out: courses of the week for the search of
:mod:`service.agronomy.week_program`.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.records import Floats


def week_courses(
    forecast_mm: Floats, wet: Floats, later_mm: Floats, later: Floats
) -> tuple[Floats, Floats]:
    """No rain, the forecast's, that of the days beyond the forecast, and both, with their weights.

    Shapes: forecast_mm and later_mm (days, blocks); wet and later, the probability of each,
    (blocks,).
    Returns: rain of each course [mm] (4, days, blocks), and its probability (4, blocks).
    Equation: the two come together as far as they can, so that rain beyond the forecast is in no
    course drier than one with the forecast's rain alone. With ``later`` at most a half, what all
    but the driest weeks have is then never more than the forecast's rain, and a program does
    without the other.
    Source: a choice of this service.
    >>> one = np.ones((1, 1))
    >>> courses, weight = week_courses(5.0 * one, np.array([0.6]), 3.0 * one, np.array([0.4]))
    >>> courses[:, 0, 0].tolist(), weight[:, 0].round(2).tolist()
    ([0.0, 5.0, 3.0, 8.0], [0.4, 0.2, 0.0, 0.4])
    """
    both = np.minimum(wet, later)
    courses = np.stack([np.zeros_like(forecast_mm), forecast_mm, later_mm, forecast_mm + later_mm])
    return courses, np.stack([1.0 - np.maximum(wet, later), wet - both, later - both, both])
