"""Size of the bulb that one emitter wets: the published forms of the law that the service inverts.

Schwartzman & Zur 1986, from memory: V in L, q in L/h, Ks in m/s, results in m.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from service.agronomy.records import Floats

BULB_WIDTH = (0.031, 0.22, -0.17)
BULB_DEPTH = (29.2, 0.63, 0.45)
MM_PER_H_IN_M_PER_S = 3.6e6


def wetted_depth_m(
    volume_l: ArrayLike, emitter_flow_l_per_h: ArrayLike, saturated_conductivity_mm_per_h: ArrayLike
) -> Floats:
    """Depth of the bulb that one emitter wets with this volume in one go.

    Shapes: any three that broadcast.
    volume_l: water from the emitter since the event began [L].
    Returns: depth below the emitter [m]; NaN wherever an input is NaN.
    Equation: 29.2 V^0.63 (Ks / q)^0.45, V in L, q in L/h, Ks in m/s. Schwartzman & Zur 1986
    (from memory).
    >>> round(float(wetted_depth_m(4.0, 2.0, 50.3)), 2)
    0.33
    """
    return _bulb_m(volume_l, emitter_flow_l_per_h, saturated_conductivity_mm_per_h, law=BULB_DEPTH)


def wetted_width_m(
    volume_l: ArrayLike, emitter_flow_l_per_h: ArrayLike, saturated_conductivity_mm_per_h: ArrayLike
) -> Floats:
    """Width of the bulb that one emitter wets with this volume in one go.

    Shapes: any three that broadcast.
    volume_l: water from the emitter since the event began [L].
    Returns: width [m]; NaN wherever an input is NaN.
    Equation: 0.031 V^0.22 (Ks / q)^-0.17, V in L, q in L/h, Ks in m/s. Schwartzman & Zur 1986
    (from memory).
    >>> round(float(wetted_width_m(4.0, 2.0, 50.3)), 2)
    0.32
    """
    return _bulb_m(volume_l, emitter_flow_l_per_h, saturated_conductivity_mm_per_h, law=BULB_WIDTH)


def _bulb_m(
    volume_l: ArrayLike,
    emitter_flow_l_per_h: ArrayLike,
    conductivity_mm_per_h: ArrayLike,
    *,
    law: tuple[float, float, float],
) -> Floats:
    scale, volume_power, ratio_power = law
    volume = np.asarray(volume_l, dtype=np.float64)
    ratio = (
        np.asarray(conductivity_mm_per_h) / MM_PER_H_IN_M_PER_S / np.asarray(emitter_flow_l_per_h)
    )
    return np.asarray(scale * volume**volume_power * ratio**ratio_power)
