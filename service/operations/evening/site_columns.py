"""Sites as the agronomy modules take them: columns of numbers.

In: sites as they are stored. Out: arrays over them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from service.agronomy.great_circle import distance_km
from service.agronomy.records import Floats, SiteBatch
from service.records.farms import MonthlyNormals, SiteDefinition, SiteTable


def site_batch(sites: Sequence[SiteDefinition]) -> SiteBatch:
    """The sites as the agronomy modules take them."""
    return SiteBatch(
        latitude_deg=np.array([site.latitude_deg for site in sites]),
        longitude_deg=np.array([site.longitude_deg for site in sites]),
        elevation_m=np.array([site.elevation_m for site in sites]),
        zones=tuple(site.zone for site in sites),
    )


def distances_km(sites: SiteTable, places: SiteTable) -> Floats:
    """(sites, places) how far apart they are along the ground; infinite from a site to itself."""
    here, there = site_batch(sites.definitions), site_batch(places.definitions)
    km = distance_km(here.latitude_deg, here.longitude_deg, there.latitude_deg, there.longitude_deg)
    km[sites.keys[:, np.newaxis] == places.keys] = np.inf
    return km


def monthly_normals(sites: Sequence[SiteDefinition], name: str) -> Floats:
    """(12, sites) monthly normals of one quantity, NaN where a site has none."""
    table = np.full((12, len(sites)), np.nan)
    for index, site in enumerate(sites):
        values = getattr(site.normals or MonthlyNormals(), name)
        if values is not None:
            table[:, index] = values
    return table
