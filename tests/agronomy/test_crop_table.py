"""The crop table: rows that make sense, and refusals that help."""

from __future__ import annotations

import pytest

from service.agronomy.crop_table import CROPS, find_crop
from service.errors import InputInvalid


@pytest.mark.parametrize(
    ("key", "ground_kc"),
    [("apple-bare-frost", 0.15), ("apple-cover-frost", 0.80), ("citrus-70-cover", 0.85)],
)
def test_the_ground_between_the_plants_has_its_own_coefficient(key: str, ground_kc: float) -> None:
    assert CROPS[key].ground_kc == ground_kc


def test_every_row_is_found_by_its_own_key() -> None:
    assert all(find_crop(key) is row and row.key == key for key, row in CROPS.items())
    assert len({row.name for row in CROPS.values()}) == len(CROPS)


@pytest.mark.parametrize("key", sorted(CROPS))
def test_numbers_of_a_row_are_physically_possible(key: str) -> None:
    row = CROPS[key]
    assert min(row.kc_initial, row.kc_mid, row.kc_end) >= 0.15
    assert max(row.kc_initial, row.kc_mid, row.kc_end) <= 1.25
    assert 0.1 <= row.height_m <= 10.0
    assert 0.0 < row.root_depth_low_m <= row.root_depth_high_m <= 2.5
    assert 0.1 <= row.depletion_fraction <= 0.8
    assert 0.0 < row.reference_cover_fraction <= 1.0
    assert row.reference_height_m > 0.0
    assert row.years_to_full_size >= 1
    assert (row.salinity_threshold_ds_m is None) == (row.salinity_slope_pct_per_ds_m is None)


@pytest.mark.parametrize("key", sorted(CROPS))
def test_stage_lengths_come_with_a_start_and_a_region_or_not_at_all(key: str) -> None:
    row = CROPS[key]
    assert (row.stage_lengths_day is None) == (row.season_start is None)
    assert (row.stage_lengths_day is None) == (row.stage_source is None)
    if row.stage_lengths_day is not None and key != "banana-first-year":
        # FAO-56 Table 11 gives the first year of a banana 390 days.
        assert sum(row.stage_lengths_day) <= 365


def test_live_ground_cover_uses_more_water_off_season_than_bare_ground() -> None:
    for key, row in CROPS.items():
        if not row.is_evergreen:
            assert row.kc_off_season == (0.50 if "cover" in key else 0.20)
        assert row.has_ground_cover == ("cover" in key)


def test_evergreens_go_on_as_in_their_initial_stage_and_olive_as_measured_in_spain() -> None:
    # FAO-56 Table 11, footnote 5 and Table 12, footnote 24; bare ground "after leaf drop" is 0.20.
    evergreen = {key for key, row in CROPS.items() if row.is_evergreen}
    citrus = {key for key in CROPS if key.startswith("citrus-")}
    other = {"olive", "avocado", "banana-first-year", "banana-second-year", "date-palm"}
    assert evergreen == citrus | other
    assert CROPS["olive"].kc_off_season == 0.50
    assert (
        CROPS["olive"].off_season_source == "FAO-56 (1998) Table 12, footnote 24, p. 114, 'Olives'"
    )
    for key in evergreen - {"olive"}:
        assert CROPS[key].kc_off_season == CROPS[key].kc_initial, key


def test_crops_without_a_row_of_their_own_reuse_the_bush_row_and_say_so() -> None:
    bush = find_crop("berry-bush")
    for key in ("blueberry", "raspberry", "blackberry", "boysenberry"):
        row = find_crop(key)
        assert (row.kc_initial, row.kc_mid, row.kc_end) == (0.30, 1.05, 0.50)
        assert row.root_depth_low_m == bush.root_depth_low_m
        assert "no row of its own" in row.kc_source
        assert row.stage_lengths_day is None


def test_a_crop_without_published_numbers_is_not_in_the_table() -> None:
    assert "pomegranate" not in CROPS


def test_a_misspelt_crop_is_refused_with_the_closest_keys() -> None:
    with pytest.raises(InputInvalid) as refusal:
        find_crop("bluebery")
    assert "blueberry" in str(refusal.value)
    assert refusal.value.faults[0].found == "'bluebery'"


def test_a_crop_that_comes_in_several_rows_is_refused_with_all_of_them() -> None:
    with pytest.raises(InputInvalid) as refusal:
        find_crop("Apple")
    allowed = refusal.value.faults[0].allowed
    for ground in ("bare-frost", "bare-no-frost", "cover-frost", "cover-no-frost"):
        assert f"apple-{ground}" in allowed


def test_a_crop_like_no_other_is_refused_with_the_whole_list() -> None:
    with pytest.raises(InputInvalid) as refusal:
        find_crop("qqqq")
    assert all(key in refusal.value.faults[0].allowed for key in CROPS)


def test_the_table_cannot_be_changed_by_accident() -> None:
    with pytest.raises(TypeError):
        CROPS["blueberry"] = CROPS["hops"]  # type: ignore[index] # that it fails is the point
