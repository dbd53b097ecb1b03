"""What an acid estimate says in addition to the dose."""

from __future__ import annotations

from datetime import date

import pytest

from service.operations.waterworks.estimate_acid import AcidRequest, estimate_acid
from service.records.waterworks import WaterSample
from service.waterworks.water_analysis import Reading


def test_the_dose_for_a_thousand_gallons_is_that_for_their_litres() -> None:
    # Invented water; a US gallon is 231 cubic inches, 3.785411784 L.
    sample = WaterSample(
        farm_id="hill-farm",
        supply_id="well",
        day=date(2026, 5, 4),
        laboratory="invented",
        readings=(
            Reading("ph", 7.8, "pH"),
            Reading("alkalinity", 120.0, "mg/L CaCO3"),
            Reading("calcium", 48.0, "mg/L"),
        ),
        temperature_c=20.0,
    )
    request = AcidRequest(target_ph=6.5, acid_key="sulfuric", strength_pct=93.0)
    found = estimate_acid(sample, request)
    assert found.dose.acid_ml_per_m3 is not None
    assert found.acid_l_per_1000_gal == pytest.approx(
        found.dose.acid_ml_per_m3 / 1000.0 * 3.785411784
    )
    assert found.dose.cautions
