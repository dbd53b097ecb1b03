"""Sites as columns of numbers."""

from __future__ import annotations

import numpy as np

from service.operations.evening.site_columns import monthly_normals, site_batch
from service.records.farms import MonthlyNormals
from tests.stored_farms import stored_site


def test_normals_are_by_month_and_unknown_where_a_site_has_none() -> None:
    bare = stored_site("bare", normals=MonthlyNormals())
    table = monthly_normals([stored_site(), bare], "u2_m_s")
    assert table[:, 0].tolist() == [1.5] * 12
    assert np.isnan(table[:, 1]).all()


def test_places_keep_their_order() -> None:
    batch = site_batch([stored_site("b", latitude_deg=40.0), stored_site("a", elevation_m=5.0)])
    assert batch.latitude_deg.tolist() == [40.0, 36.5]
    assert batch.elevation_m.tolist() == [84.0, 5.0]
    assert batch.zones == ("America/Los_Angeles",) * 2
