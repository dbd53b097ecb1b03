"""The file of the crop table: refused as a whole, with every fault, if anything in it is wrong."""

from __future__ import annotations

from importlib.resources import files

import pytest

from service.agronomy.crop_file import read_crop_rows
from service.errors import InputInvalid

TEXT = files("service.agronomy").joinpath("crop_table.toml").read_text("utf-8")
KIWI = '"Kiwi" = { page = 113, initial = 0.40, mid = 1.05, end = 1.05, height_m = [3.0, 3.0] }'


def faults_of(old: str, new: str) -> list[str]:
    assert old in TEXT
    with pytest.raises(InputInvalid) as refusal:
        read_crop_rows(TEXT.replace(old, new))
    return [str(fault) for fault in refusal.value.faults]


def test_a_revised_edition_is_a_change_of_the_file_alone() -> None:
    edition = '[editions.next]\ncite = "FAO-56 Rev. 1 (2025)"\ntext = "Invented for this test"\n\n'
    text = TEXT.replace("[coefficients]\nedition", f"{edition}[coefficients]\nedition")
    revised = '"Kiwi" = { edition = "next", table = "6.2", page = 7, initial = 0.45, mid = 1.00, '
    rows = read_crop_rows(text.replace(KIWI, revised + "end = 0.95, height_m = [3.0, 4.0] }"))
    kiwi = rows["kiwi"]
    assert (kiwi.kc_initial, kiwi.kc_mid, kiwi.kc_end, kiwi.height_m) == (0.45, 1.0, 0.95, 3.5)
    assert kiwi.kc_source == "FAO-56 Rev. 1 (2025) Table 6.2, p. 7, 'Kiwi'"
    assert kiwi.root_source == "FAO-56 (1998) Table 22, p. 165, 'Kiwi'"
    assert rows["walnut"] == read_crop_rows(TEXT)["walnut"]


def test_every_number_names_its_edition_table_page_and_row() -> None:
    for row in read_crop_rows(TEXT).values():
        assert row.kc_source.startswith("FAO-56 (1998) Table 12, p. 11")
        assert row.root_source.startswith("FAO-56 (1998) Table 22, p. 16")
        assert (row.stage_source or "FAO-56 (1998) Table 11, p. 10").startswith(
            "FAO-56 (1998) Table 11, p. 10"
        )
        assert (row.salinity_source or "FAO-56 (1998) Table 23, p. 1").startswith(
            "FAO-56 (1998) Table 23, p. 1"
        )


def test_a_crop_without_published_stages_has_an_estimate_and_no_other_has() -> None:
    for row in read_crop_rows(TEXT).values():
        assert (row.estimated_season is None) == (row.stage_lengths_day is not None)


@pytest.mark.parametrize(
    ("old", "new", "where", "allowed"),
    [
        ("\nkiwi = {", "\nkiwis = {", "estimated_seasons.kiwi", "a table"),
        (KIWI, KIWI.replace("1.05, end", "10.5, end"), "coefficients.rows.Kiwi.mid", "0.1 to 1.3"),
        (KIWI, KIWI.replace("0.40", '"0.40"'), "coefficients.rows.Kiwi.initial", "a number"),
        (KIWI, KIWI.replace("0.40", "true"), "coefficients.rows.Kiwi.initial", "a number"),
        (KIWI, KIWI.replace("[3.0, 3.0]", "3.0"), "coefficients.rows.Kiwi.height_m", "2 numbers"),
        (KIWI, KIWI.replace("[3.0, 3.0]", "[4, 3]"), "coefficients.rows.Kiwi.height_m", "lower"),
        (KIWI, KIWI.replace("page = 113, ", "page = 0, "), "coefficients.rows.Kiwi.page", "1 to"),
        (KIWI, "", "crops.kiwi.coefficients", "Hops"),
        ('[editions.sims]\ncite = "', '[editions.sims]\nsite = "', "editions.sims.cite", "a text"),
        ("[density.rows]", "[density.lines]", "density.rows", "a table"),
        ('start = "02-01"', 'start = "02-31"', "stages.rows.Pistachios", "'03-01'"),
        ('rating = "MT"', 'rating = "good"', "salinity.rows.Olives.rating", "S, MS, MT, T"),
        ("is_evergreen = true", 'is_evergreen = "yes"', "is_evergreen", "true or false"),
        ("years_to_full_size = 8", "years_to_ful_size = 8", "years_to_ful_size", "one of name"),
    ],
)
def test_a_fault_says_where_it_is_and_what_is_allowed(
    old: str, new: str, where: str, allowed: str
) -> None:
    faults = faults_of(old, new)
    assert any(where in fault and allowed in fault for fault in faults), faults


def test_all_faults_are_listed_at_once() -> None:
    faults = faults_of(KIWI, KIWI.replace("0.40", "9").replace("end = 1.05", "end = 9"))
    assert len(faults) == 2
