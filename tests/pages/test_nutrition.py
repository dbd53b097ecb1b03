"""The page of a block's leaf and soil tests."""

from __future__ import annotations

import re
from html import unescape

import pytest

from service.api.app import create_app
from service.bootstrap import Service
from service.pages.visit import POLICY
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID
from tests.operations.nutrition.test_plan_nutrients import with_tests
from tests.pages.conftest import Reader

PAGE = f"/blocks/{BLOCK_ID}/leaf-and-soil-tests"


@pytest.fixture
def reader(own_service: Service) -> Reader:
    return Reader(create_app(own_service))


@pytest.fixture
def tested(own_service: Service) -> Reader:
    return Reader(create_app(with_tests(own_service)))


def page_of(reader: Reader, path: str = PAGE) -> str:
    answer = reader.get(path)
    assert answer.status_code == 200
    assert answer.headers["Content-Security-Policy"] == POLICY
    assert " style=" not in answer.text and "<script" not in answer.text
    page = unescape(answer.text)
    assert page.count("<h1") == 1
    assert not re.search(r"\bNaN\b|\bNone\b|\bnan\b", page)
    return page


@pytest.mark.parametrize("language", ["en", "es"])
def test_without_a_test_it_says_how_to_enter_one(reader: Reader, language: str) -> None:
    reader.headers["Accept-Language"] = language
    for block in (BLOCK_ID, BARE_BLOCK_ID):
        page = page_of(reader, f"/blocks/{block}/leaf-and-soil-tests")
        assert f'action="/blocks/{block}/leaf-and-soil-tests/soil"' in page
        assert "<figure" not in page
    assert f'href="{PAGE}"' in reader.text(f"/blocks/{BLOCK_ID}")


def test_a_crop_that_nobody_has_chosen_yet_is_asked_for_without_a_fault(reader: Reader) -> None:
    shown = reader.text(PAGE)
    assert "this block's may be one of several" in shown
    assert "That value cannot be used" not in shown
    assert "/tomorrow" in reader.get(PAGE).text  # the farm's own pages stay one step away
    assert "That value cannot be used" in reader.text(f"{PAGE}?crop=pine")


def test_the_newest_test_has_a_class_in_word_and_shape_and_its_source(tested: Reader) -> None:
    page = page_of(tested)
    row = re.search(r"<th scope=\"row\"[^>]*>Boron</th>.*?</tr>", page, re.DOTALL)
    assert row is not None and "22 ppm" in row[0] and "▼" in row[0] and "25 – 70 ppm" in row[0]
    assert "Georgia" in page and "(second-hand)" in page and "(from memory)" in page
    assert "The laboratory recommends: 50 lb/ac of nitrogen" in page


def test_the_plan_shows_needs_credits_dates_sulfur_and_cautions(tested: Reader) -> None:
    page = page_of(tested, f"{PAGE}?last_season=100&legal_cap=20")
    assert "Law or the nutrient management plan" in page
    assert "parts before today are taken as given" in page and "Nitrogen by day" not in page
    page = page_of(tested, f"{PAGE}?last_season=100")
    assert "Organic matter:" in page and "changes it by 30 %" in page
    assert "Ammonium sulfate" in page and "Nitrogen by day" in page
    assert "Last day for nitrogen: " in page
    assert "split and re-test" in page and "Published sulfur tables differ threefold" in page
    assert "stand above this plan" in page
    wrong = tested.get(f"{PAGE}?last_season=much")
    assert wrong.status_code == 200 and "last_season-fault" in wrong.text


def leaf_form(**changes: str) -> dict[str, str]:
    return {
        "day": "2025-08-01", "sampled": "leaf.mid-season", "crop": "highbush-blueberry",
        "leaves": "60", "N": "1.9", "N_unit": "%", "Zn": "12", "Zn_unit": "ppm", **changes,
    }  # fmt: skip


def test_a_test_is_entered_drawn_over_the_years_and_deleted(reader: Reader) -> None:
    for day, nitrogen in (("2024-08-02", "1.6"), ("2025-08-01", "1.9")):
        answer = reader.send(PAGE, f"{PAGE}/plant", **leaf_form(day=day, N=nitrogen))
        assert answer.status_code == 303
    page = page_of(reader, f"{PAGE}?nutrient=N")
    figure = re.search(r"<figure.*?</figure>", page, re.DOTALL)
    assert figure is not None
    assert figure[0].count("<circle") == 2 and 'class="ground"' in figure[0]
    assert "1.60 %" in figure[0] and "1.90 %" in figure[0]
    assert reader.send(PAGE, f"{PAGE}/delete", day="2024-08-02", kind="leaf").status_code == 303
    assert page_of(reader, f"{PAGE}?nutrient=N").count('<circle class="site') == 1


def test_a_sample_without_a_class_says_why_and_is_drawn_hollow(reader: Reader) -> None:
    reader.send(PAGE, f"{PAGE}/plant", **leaf_form(day="2026-05-01", leaves="12"))
    page = page_of(reader)
    assert "outside of the window" in page and "fewer than half" in page
    assert "site level0" in page


VINES = f"/blocks/{BARE_BLOCK_ID}/leaf-and-soil-tests"


def petioles(sampled: str, **changes: str) -> dict[str, str]:
    return {"day": "2026-06-12", "sampled": sampled, "leaves": "75", "N": "1.0", "N_unit": "%",
            **changes}  # fmt: skip


def test_the_form_asks_grapes_for_the_stage_that_decides_their_class(reader: Reader) -> None:
    shown = reader.text(VINES)
    options = re.findall(r'<option value="((?:petiole|leaf)\.[a-z-]+)">([^<]*)</option>', shown)
    assert options == [
        ("petiole.bloom", "petioles, bloom"),
        ("petiole.veraison", "petioles, veraison"),
        ("petiole.september", "petioles, early September"),
        ("leaf.early-summer", "leaves, early summer"),
    ]
    # 1.0 % of nitrogen is short at bloom (1.2 to 2.2 %, eastern guide) and enough at veraison (0.9
    # to 1.3 %, Ohio), as the rows of leaf_ranges.toml quote them.
    for sampled, word in (("petiole.bloom", "low"), ("petiole.veraison", "sufficient")):
        day = "2026-06-12" if sampled == "petiole.bloom" else "2026-07-14"
        answer = reader.send(VINES, f"{VINES}/plant", **petioles(sampled, day=day))
        assert answer.status_code == 303, answer.text
        row = re.search(
            r"<th scope=\"row\"[^>]*>Nitrogen</th>.*?</tr>", reader.text(VINES), re.DOTALL
        )
        assert row is not None and word in row[0]
    assert "petioles, bloom, not named" in reader.text(VINES)


def test_the_next_sample_of_grapes_is_told_by_its_stage(reader: Reader) -> None:
    shown = reader.text(VINES)
    assert "Veraison, Wed, Jul 15 to Mon, Aug 31: about 75 petioles of one variety" in shown
    assert "The stage decides, not the date" in shown
    assert "Sep 15" not in shown  # early September is asked for only where it was sampled before


def test_without_the_stage_nothing_is_stored_and_the_field_says_so(reader: Reader) -> None:
    for sampled in ("", "petiole"):
        answer = reader.send(VINES, f"{VINES}/plant", **petioles(sampled))
        assert answer.status_code == 422
        assert 'id="plant-sampled-fault"' in answer.text
    assert "No leaf test is on file" in reader.text(VINES)


def test_a_crop_that_is_sampled_at_one_stage_is_not_asked_for_it(reader: Reader) -> None:
    shown = reader.text(PAGE)
    assert shown.count('<option value="leaf.mid-season"') == 1
    assert "petiole." not in shown


def test_a_fault_is_shown_beside_its_field_with_what_was_typed(reader: Reader) -> None:
    answer = reader.send(PAGE, f"{PAGE}/plant", **leaf_form(N="19"))
    assert answer.status_code == 422
    assert 'aria-describedby="plant-N-fault"' in answer.text and 'value="19"' in answer.text
    answer = reader.send(PAGE, f"{PAGE}/soil", day="2026-03-01", pH="58")
    assert answer.status_code == 422 and 'aria-describedby="soil-pH-fault"' in answer.text
    assert "<figure" not in page_of(reader)


def test_in_spanish_only_sources_stay_english(tested: Reader) -> None:
    tested.headers["Accept-Language"] = "es"
    page = page_of(tested, f"{PAGE}?last_season=49&legal_cap=20")
    english = re.findall(r'<(?:span|p)[^>]* lang="en">(.*?)</', page, re.DOTALL)
    sources = ("table of", "common practice", "HortScience")
    assert [each for each in english if not any(name in each for name in sources)] == []


@pytest.mark.parametrize(("units", "first"), [("us", "lb/ac"), ("si", "kg/ha")])
def test_amounts_lead_with_the_readers_own_unit(tested: Reader, units: str, first: str) -> None:
    tested.cookies.set("rillwright-units", units)
    page = page_of(tested)
    headings = page[page.index("over planted ground") :]
    both = [headings.index(f">{unit}</th>") for unit in ("lb/ac", "kg/ha")]
    assert (both[0] < both[1]) is (first == "lb/ac")
