"""A map in a plane in which areas compare as they do on the ground.

In: longitudes and latitudes. Out: places in a plane, in radii of the Earth. The projection is the
cylindrical equal-area one on a sphere, true to scale along one latitude: put in the middle of a
region of some hundred miles, it also keeps shapes.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from service.geography.records import Floats

EARTH_RADIUS_KM = 6371.0088  # [km] mean radius; Moritz 2000, Geodetic Reference System 1980


def project(
    longitude_deg: ArrayLike, latitude_deg: ArrayLike, *, standard_latitude_deg: float
) -> tuple[Floats, Floats]:
    """Places in the plane, eastward and northward.

    longitude_deg, latitude_deg: positions [deg].
    standard_latitude_deg: latitude whose length is true [deg], -89 to 89.
    Shapes: any, the same for both.
    Returns: x and y in radii of the Earth.
    Source: Snyder 1987, Map Projections: A Working Manual (USGS Professional Paper 1395), eq. 10-1
    and 10-2, p. 77; example on p. 278.

    >>> x, y = project([155.0], [35.0], standard_latitude_deg=30.0)
    >>> round(float(x[0]), 7), round(float(y[0]), 7)
    (2.3428242, 0.6623090)
    """
    shrink = math.cos(math.radians(standard_latitude_deg))
    x = np.radians(np.asarray(longitude_deg, dtype=np.float64)) * shrink
    y = np.sin(np.radians(np.asarray(latitude_deg, dtype=np.float64))) / shrink
    return x, y
