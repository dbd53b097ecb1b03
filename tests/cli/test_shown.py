"""Numbers of pipes and pumps in the units that a farm reads."""

from __future__ import annotations

import pytest

from service.cli import shown
from service.cli.terminal import UnitSystem

US, SI = UnitSystem.US, UnitSystem.SI


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # Factors of NIST Handbook 44, Appendix C: 3.785411784 L a gallon, 0.3048 m a foot,
        # 6.894757 kPa a psi, 128 fluid ounces a gallon; 9.80665 kPa a metre of water.
        (shown.flow(227.12470704, US), "1.0 gal/min"),
        (shown.flow(6532.0, SI), "6,532 L/h"),
        (shown.small_flow(1.892705892, US), "0.500 gal/h"),
        (shown.small_flow(1.892705892, SI), "1.89 L/h"),
        (shown.pressure(10.0, US), "14.2 psi"),
        (shown.pressure(10.0, SI), "10.00 m"),
        (shown.length(137.16, US), "450 ft"),
        (shown.length(137.16, SI), "137.2 m"),
        (shown.share_of_water(7.8125, US), "1.0 fl oz per 1,000 gal of water"),
        (shown.share_of_water(7.8125, SI), "7.8 mL per m3 of water"),
    ],
)
def test_a_number_is_shown_in_the_units_asked_for(text: str, expected: str) -> None:
    assert text == expected
