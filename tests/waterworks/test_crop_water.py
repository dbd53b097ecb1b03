"""What a water means for one kind of crop."""

from __future__ import annotations

import pytest

from service.agronomy.crop_table import CROPS
from service.waterworks.crop_water import CROP_LIMITS, crop_classes, crop_limits
from service.waterworks.water_analysis import WaterAnalysis


def word_of(crop_key: str, **values: float) -> str:
    (found,) = crop_classes(WaterAnalysis(**values), crop_key)  # type: ignore[arg-type]  # numbers only
    return found.word


# Bands of Maas 1990: blackberry below 0.5, peach and grape 0.5 to 0.75, strawberry 0.75 to 1.0.
@pytest.mark.parametrize(
    ("crop_key", "boron_mg_per_l", "word"),
    [
        ("blackberry", 0.2, "none"),
        ("blackberry", 0.45, "slight to moderate"),
        ("blackberry", 0.65, "severe"),
        ("peach-cover-frost", 0.65, "slight to moderate"),
        ("grape-wine", 0.8, "severe"),
        ("grape-table", 0.45, "none"),
        ("strawberry", 0.7, "none"),
        ("strawberry", 1.1, "severe"),
        ("citrus-70-bare", 0.6, "severe"),
    ],
)
def test_boron_is_judged_by_the_crop(crop_key: str, boron_mg_per_l: float, word: str) -> None:
    assert word_of(crop_key, boron_mg_per_l=boron_mg_per_l) == word


# FAO-29 Table 14 (from memory): extract 5 to 7.5 meq/L of strawberry are 3.3 to 5 in the water.
@pytest.mark.parametrize(
    ("crop_key", "chloride_meq_per_l", "word"),
    [
        ("strawberry", 3.2, "none"),
        ("strawberry", 4.0, "slight to moderate"),
        ("strawberry", 5.1, "severe"),
        ("raspberry", 3.4, "severe"),
        ("grape-wine", 6.0, "none"),
        ("peach-bare-frost", 17.0, "severe"),
        ("avocado", 4.0, "slight to moderate"),
    ],
)
def test_chloride_is_judged_by_the_crop(
    crop_key: str, chloride_meq_per_l: float, word: str
) -> None:
    assert word_of(crop_key, chloride_meq_per_l=chloride_meq_per_l) == word


def test_a_crop_that_needs_an_acid_soil_is_warned_of_alkalinity_and_salt() -> None:
    # 120 mg/L as CaCO3 and 0.8 dS/m: common for a tap, too much for blueberry.
    water = WaterAnalysis(alkalinity_meq_per_l=2.4, ec_ds_m=0.8)
    found = {each.name: each for each in crop_classes(water, "blueberry")}
    assert {name: each.word for name, each in found.items()} == {
        "alkalinity_meq_per_l": "severe",
        "ec_ds_m": "severe",
    }
    assert "limes a soil" in found["alkalinity_meq_per_l"].advice
    soft = WaterAnalysis(alkalinity_meq_per_l=0.5, ec_ds_m=0.6)
    assert [each.word for each in crop_classes(soft, "blueberry")] == ["none", "slight to moderate"]
    assert crop_classes(water, "peach-bare-frost") == ()


@pytest.mark.parametrize(
    ("values", "word", "source"),
    [
        # UGA circular 1105 names blueberry as sensitive to all but calcium, without numbers.
        ({"sodium_meq_per_l": 1.9}, "none", "common practice, no source"),
        ({"sodium_meq_per_l": 2.5}, "slight to moderate", "common practice, no source"),
        ({"sodium_meq_per_l": 3.1}, "severe", "common practice, no source"),
        ({"chloride_meq_per_l": 4.0}, "slight to moderate", "FAO-29 Table 14"),
        ({"chloride_meq_per_l": 5.1}, "severe", "FAO-29 Table 14"),
        ({"boron_mg_per_l": 0.6}, "slight to moderate", "Maas 1990"),
        # Patten et al. 1989, Acta Hort. 241 (abstract): no harm up to 10 mmol/L.
        ({"calcium_meq_per_l": 19.0}, "none", "Patten et al. 1989"),
    ],
)
def test_blueberry_water_is_judged_ion_by_ion(
    values: dict[str, float], word: str, source: str
) -> None:
    (found,) = crop_classes(WaterAnalysis(**values), "blueberry")  # type: ignore[arg-type]  # numbers only
    assert found.word == word
    assert source in found.source
    assert found.advice


def test_calcium_is_not_blamed_for_what_its_alkalinity_does() -> None:
    hard = WaterAnalysis(calcium_meq_per_l=4.0, alkalinity_meq_per_l=3.5)
    found = {each.name: each for each in crop_classes(hard, "blueberry")}
    assert found["alkalinity_meq_per_l"].word == "severe"
    assert found["calcium_meq_per_l"].word == "none"
    assert "alkalinity" in found["calcium_meq_per_l"].advice


def test_what_is_not_known_of_water_or_crop_is_left_out() -> None:
    assert crop_classes(WaterAnalysis(), "peach-bare-frost") == ()
    assert crop_classes(WaterAnalysis(boron_mg_per_l=2.0), "kiwi") == ()
    assert crop_classes(WaterAnalysis(boron_mg_per_l=2.0), None) == ()


def test_every_limit_belongs_to_a_crop_and_rises() -> None:
    for name, limits in CROP_LIMITS.items():
        assert any(key == name or key.startswith(f"{name}-") for key in CROPS), name
        for edges in (limits.boron, limits.chloride_extract):
            assert edges is None or 0.0 < edges[0] <= edges[1]


def test_a_longer_name_does_not_take_a_shorter_ones_limits() -> None:
    assert crop_limits("peachy").boron is None
    assert crop_limits("citrus-20-cover").boron == (0.3, 0.5)
