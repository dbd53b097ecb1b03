"""A warning where an injection makes the water too salty for the crop."""

from __future__ import annotations

import pytest

from service.waterworks.fertiliser import PRODUCTS
from service.waterworks.line_saturation import element_mg_per_l
from service.waterworks.reached_ec import ec_advisory

# 124 kg of calcium nitrate into 40 min of an invented orchard's 40 m3/h.
ORCHARD = element_mg_per_l([(PRODUCTS["calcium-nitrate"], 124.0)], 40_000.0 * 40.0 / 60.0)


def test_calcium_nitrate_in_forty_minutes_is_said() -> None:
    found = ec_advisory(ORCHARD, 0.5, "peach-cover-frost")
    assert found is not None
    assert "2 is common for this crop" in found.text


@pytest.mark.parametrize(
    ("crop_key", "is_said"), [("blueberry", True), ("strawberry", True), ("grape-wine", False)]
)
def test_the_limit_is_that_of_the_crop(crop_key: str, is_said: bool) -> None:
    # 1 g/L of potassium nitrate rises the EC by 1.34 dS/m.
    added = {"potassium": 386.7, "nitrate_nitrogen": 138.5}
    assert (ec_advisory(added, 0.3, crop_key) is not None) == is_said


def test_urea_does_not_conduct() -> None:
    added = element_mg_per_l([(PRODUCTS["urea"], 100.0)], 1000.0)
    assert ec_advisory(added, 0.5, "blueberry") is None
