"""A week of the counties as a table."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import pytest

from service.agronomy.county_need import Basis
from service.operations.exports.county_table import county_table
from service.records.counties import CountyWeek
from service.translations import wording

WEEK = CountyWeek(
    county_code="X01",
    name="Alder (invented)",
    site_id="home",
    rank=1,
    reference_et_mm=40.0,
    percent_of_normal=104.0,
    crop_et_mm=36.0,
    rain_mm=10.6,
    net_need_mm=25.4,
    gross_need_mm=28.0,
    running_h=7.5,
    normal_need_mm=math.nan,
    net_need_band_mm=None,
    measured_days_count=7,
    forecast_days_count=0,
    stand_in_days_count=0,
    unmeasured_days_count=0,
    basis=Basis.MEASURED,
    observed_until=date(2026, 7, 12),
    rain_until=None,
)


def test_a_county_has_its_need_in_the_readers_unit_and_the_notes_name_the_reference() -> None:
    table = county_table(
        [WEEK],
        wording("en", "us"),
        span=(date(2026, 7, 6), date(2026, 7, 12)),
        week="2026-W28",
        reference="wine grapes on loam",
    )
    headings = [each.heading for each in table.columns]
    row = dict(zip(headings, table.rows[0], strict=True))
    assert (row["County"], row["Rank"], row["Net need, in"]) == ("Alder (invented)", 1, 1.0)
    assert row["Net need of a normal week, in"] is None and row["Rests on"] == "measured"
    assert row["Net need, more once of 10, in"] is None
    notes = dict(table.notes)
    assert notes["Reference"] == "wine grapes on loam" and notes["Week"].startswith("2026-W28")
    assert table.name == "counties-2026-W28"


def test_a_week_with_coming_days_has_the_ends_of_its_band() -> None:
    table = county_table(
        [replace(WEEK, net_need_band_mm=(12.7, 20.0, 38.1))],
        wording("en", "us"),
        span=(date(2026, 7, 6), date(2026, 7, 12)),
        week="2026-W28",
        reference="wine grapes on loam",
    )
    row = dict(zip([each.heading for each in table.columns], table.rows[0], strict=True))
    ends = (row["Net need, more 9 times of 10, in"], row["Net need, more once of 10, in"])
    assert ends == pytest.approx((0.5, 1.5))
