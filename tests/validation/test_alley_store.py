"""Ten humid years of a blueberry block with more and with fewer roots outside the wet strip.

Weather: De Bilt, 2009 to 2018, Royal Netherlands Meteorological Institute (``data/de_bilt``, CC BY
4.0, with its notice). The block is invented. No record says what such a block really took from
outside its strip; the checks are the two ends between which it has to lie: no roots there, and a
strip that is the whole ground.
"""

from __future__ import annotations

import csv
import gzip
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from service.agronomy.records import Floats
from service.operations.review.hindcast import Hindcast, hindcast
from tests.factories import make_block, make_bundle, make_site, make_supply
from tests.validation.season_scenarios import BERRY

FILE = Path(__file__).parent / "data" / "de_bilt" / "daily_2008_2018.csv.gz"
FIRST_DAY, LAST_DAY, YEAR_COUNT = date(2009, 1, 1), date(2018, 12, 31), 10
FRACTIONS = (0.0, 0.25, 0.5, 0.75, 1.0)
STRIP, WHOLE = 0.33, 1.0
PUBLISHED_ROOT_DEPTH_M = 0.6  # FAO-56 Table 22, Berries: 0.6 to 1.2 m
FOUND_MM = {
    "none": (331.1, 280.1, 233.4, 195.6, 161.2),
    "yesterday": (384.6, 351.0, 303.2, 258.0, 216.5),
}
"""Net irrigation of a mean year, by fraction; run and read off, as in the record."""
FOUND_WHOLE_MM = {"none": 172.0, "yesterday": 206.4}


@cache
def seasons(forecast_error: str) -> Hindcast:
    """Blocks with rising fractions of roots outside the strip, and one that is wet all over."""
    with gzip.open(FILE, "rt", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    days = np.array([row["date"] for row in rows], dtype="M8[D]")
    fields = {
        name: np.array([float(row[name]) for row in rows]) for name in rows[0] if name != "date"
    }
    facts = {**BERRY, "root_depth_m": PUBLISHED_ROOT_DEPTH_M}
    bundle = make_bundle(
        *(
            make_block(
                f"roots-{100 * fraction:.0f}",
                **facts,
                wetted_fraction=STRIP,
                alley_root_fraction=fraction,
            )
            for fraction in FRACTIONS
        ),
        make_block("whole", **facts, wetted_fraction=WHOLE),
        sites=[
            make_site(
                latitude_deg=52.10,
                longitude_deg=5.18,
                elevation_m=2.0,
                zone="Europe/Amsterdam",
                wind_height_m=10.0,
            )
        ],
        supplies=[make_supply(flow_l_per_h=1e8)],
    )
    return hindcast(
        bundle,
        days,
        fields,
        first_day=FIRST_DAY,
        last_day=LAST_DAY,
        forecast_error=forecast_error,
    )


def net_mm(forecast_error: str) -> Floats:
    """(blocks,) net irrigation of a mean year."""
    ledger = seasons(forecast_error).season.ledger
    total: Floats = (ledger.early_net_mm + ledger.day_net_mm).sum(axis=0) / YEAR_COUNT
    return total


@pytest.mark.parametrize("forecast_error", ["none", "yesterday"])
def test_a_year_asks_for_what_is_on_record(forecast_error: str) -> None:
    found = net_mm(forecast_error)
    assert found[:-1] == pytest.approx(FOUND_MM[forecast_error], abs=0.5)
    assert found[-1] == pytest.approx(FOUND_WHOLE_MM[forecast_error], abs=0.5)


@pytest.mark.parametrize("forecast_error", ["none", "yesterday"])
def test_each_quarter_of_the_alley_saves_water(forecast_error: str) -> None:
    assert np.all(np.diff(net_mm(forecast_error)[:-1]) < 0.0)


def test_roots_everywhere_come_close_to_a_strip_that_is_the_whole_ground() -> None:
    # They need not be equal: the store is emptied to its last millimetre, where a block is watered
    # at 0.7 of what is readily available; and its size does not follow the day's demand.
    found = net_mm("none")
    assert abs(found[-2] - found[-1]) < 0.1 * (found[0] - found[-1])


def test_rain_of_ten_years_is_accounted_for() -> None:
    season = seasons("yesterday").season
    crop, ledger = season.crop, season.ledger
    first_mm = crop.alley_start_mm[0]
    stored_mm = crop.alley_rain_mm - crop.alley_et_mm - crop.alley_drainage_mm
    np.testing.assert_allclose(crop.alley_store_mm[-1] - first_mm, stored_mm.sum(axis=0), atol=1e-6)
    from_zone_mm = ledger.actual_crop_et_mm - crop.alley_et_mm
    booked_mm = (
        from_zone_mm - ledger.rain_entering_mm + ledger.rain_drainage_mm
        - ledger.early_net_mm - ledger.day_net_mm + ledger.irrigation_drainage_mm + ledger.resize_mm
    )  # fmt: skip
    change_mm = ledger.depletion_end_mm[-1] - ledger.depletion_start_mm[0]
    np.testing.assert_allclose(booked_mm.sum(axis=0), change_mm, atol=1e-6)
