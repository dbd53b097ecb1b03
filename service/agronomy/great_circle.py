"""How far apart places are.

In: coordinates of places. Out: distances along the ground.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.records import Floats

EARTH_RADIUS_KM = 6371.0


def distance_km(
    latitude_deg: Floats, longitude_deg: Floats, to_latitude_deg: Floats, to_longitude_deg: Floats
) -> Floats:
    """Distance from each place to each of the others along the ground.

    Shapes: latitude_deg, longitude_deg (places,); to_latitude_deg, to_longitude_deg (others,);
    result (places, others).
    Returns: distance [km].
    Equation: haversine formula on a sphere of 6,371 km (textbook, from memory).
    >>> one, zero = np.array([1.0]), np.array([0.0])
    >>> round(distance_km(zero, zero, one, zero).item(), 2)  # one degree: 2 pi 6371 / 360
    111.19
    """
    latitude, longitude = np.radians(latitude_deg)[:, None], np.radians(longitude_deg)[:, None]
    other_latitude, other_longitude = np.radians(to_latitude_deg), np.radians(to_longitude_deg)
    half = (
        np.sin((latitude - other_latitude) / 2.0) ** 2
        + np.cos(latitude)
        * np.cos(other_latitude)
        * np.sin((longitude - other_longitude) / 2.0) ** 2
    )
    return np.asarray(2.0 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0))))
