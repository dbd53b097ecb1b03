"""The lowest pH of acid water: by crop, by duration, by what the water passes."""

from __future__ import annotations

import pytest

from service.errors import InputInvalid
from service.waterworks.acid_limits import MATERIALS, acid_limit


@pytest.mark.parametrize(
    ("crop", "minutes", "materials", "lowest_ph", "decides"),
    [
        # pH 4.5 in short, supervised injections for crops of acid soil: common practice, no source.
        ("blueberry", 30.0, ["plastic"], 4.5, "crop"),
        ("blueberry", 60.0, ["plastic", "stainless-steel"], 4.5, "crop"),
        # 4.5 to 5.0 at the emitters: University of Florida IFAS, FAWN, citrus microirrigation.
        ("citrus-70-bare", 30.0, ["plastic"], 4.5, "crop"),
        ("grape-wine", 30.0, ["plastic"], 5.5, "crop"),
        (None, 30.0, ["plastic"], 5.5, "crop"),
        ("blueberry", 61.0, ["plastic"], 5.5, "duration"),
        ("blueberry", None, ["plastic"], 5.5, "duration"),
        ("blueberry", 30.0, [], 5.5, "installation"),
        ("blueberry", 30.0, ["plastic", "brass"], 5.5, "brass"),
        # Zinc below 6, aluminum no lower than 5: Successful Farming, agriculture.com.
        ("blueberry", 30.0, ["aluminum"], 5.0, "aluminum"),
        ("blueberry", None, ["galvanized-steel"], 6.0, "galvanized-steel"),
        ("citrus-70-bare", 30.0, ["concrete", "galvanized-steel"], 6.5, "concrete"),
    ],
)
def test_the_strictest_of_crop_duration_and_installation_decides(
    crop: str | None, minutes: float | None, materials: list[str], lowest_ph: float, decides: str
) -> None:
    found = acid_limit(crop, minutes, materials)
    assert (found.lowest_ph, found.binding.key) == (lowest_ph, decides)
    assert found.binding in found.parts
    assert all(part.source and part.text for part in found.parts)


def test_a_material_that_is_not_known_is_refused_with_those_that_are() -> None:
    with pytest.raises(InputInvalid) as refusal:
        acid_limit("blueberry", 30.0, ["plastic", "gold"])
    (fault,) = refusal.value.faults
    assert (fault.where, fault.found) == ("materials", "gold")
    assert all(key in fault.allowed for key in MATERIALS)
