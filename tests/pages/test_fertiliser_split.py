"""The page of a season of fertiliser: cautions first, events, nutrients, and what is wrong."""

from __future__ import annotations

import re
from urllib.parse import urlencode

import pytest

from service.bootstrap import Service
from service.operations.waterworks.order_fertigation import list_fertigations, save_product
from service.translations import wording
from service.waterworks.caution import CHEMIGATION_CAUTIONS
from service.waterworks.fertiliser import labelled_product
from tests.api.invented_farm import BLOCK_ID, TODAY
from tests.pages.conftest import Reader
from tests.spelling import british

PAGE = f"/blocks/{BLOCK_ID}/fertiliser-split"
ASKED = {
    "n": "40", "k2o": "30", "days": "2026-04-01 2026-05-01",
    "product_ammonium-sulfate": "yes", "product_potassium-sulfate": "yes",
}  # fmt: skip


def asking(**changed: str) -> str:
    fields = {name: value for name, value in {**ASKED, **changed}.items() if value}
    return f"{PAGE}?{urlencode(fields | {'days': fields.get('days', '')})}"


def plain(page: str) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", page).split())


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_cautions_stand_before_the_numbers_and_nothing_is_stored(
    service: Service, reader: Reader, language: str
) -> None:
    reader.headers["Accept-Language"] = language
    words = wording(language, "us")
    page = reader.text(asking())
    last = max(page.index(words.gettext(each.text)) for each in CHEMIGATION_CAUTIONS)
    assert last < page.index("lb/ac")
    assert all(words.gettext(each.text) in reader.text(PAGE) for each in CHEMIGATION_CAUTIONS)
    if language == "es":
        assert re.findall(r'<(?:span|li|p)[^>]* lang="en"[^>]*>', page) == []
    assert not list_fertigations(
        BLOCK_ID, first_day=TODAY, last_day=TODAY.replace(month=12),
        unit_of_work=service.unit_of_work,
    )  # fmt: skip
    assert f'href="{PAGE}"' in reader.text(f"/blocks/{BLOCK_ID}/pipes-and-water")


def test_events_have_products_for_the_block_and_the_acre(reader: Reader) -> None:
    said = plain(reader.text(asking()))
    # By hand: half of 40 lb/ac of N from ammonium sulfate of 21.2 % are 94.3 lb/ac; half of
    # 30 lb/ac of K2O, 12.5 of K, from potassium sulfate of 44.9 % are 27.7 lb/ac.
    assert said.count("94.3 lb/ac") == 2 and said.count("27.7 lb/ac") == 2
    assert "potassium 24.9 lb/ac (30.0 K2O)" in said
    assert "nitrogen 40.0 lb/ac 40.0 lb/ac as asked for" in said
    assert re.search(r"Comes along: [\d.]+ lb/ac of sulfur", said)
    assert "comes along, not asked for" in said


def test_in_metric_units_a_need_is_kilograms_a_hectare(reader: Reader) -> None:
    reader.send("/farms?all=1", "/reading", units="si")
    said = plain(reader.text(asking()))
    assert "nitrogen 40.0 kg/ha 40.0 kg/ha as asked for" in said
    assert "94.3 kg/ha" in said


def test_what_is_missing_and_nitrate_for_blueberries_are_said(reader: Reader) -> None:
    changed = {"product_ammonium-sulfate": "", "product_potassium-sulfate": "",
               "product_calcium-nitrate": "yes"}  # fmt: skip
    said = plain(reader.text(asking(**changed)))
    assert "Missing: 12.5 lb/ac of potassium" in said
    assert "add a product that holds it" in said
    assert "the crop wants ammonium" in said and "calcium" in said


def test_a_blend_with_too_much_manganese_is_said_in_pounds_an_acre(
    service: Service, reader: Reader
) -> None:
    blend = labelled_product(
        "blend", "Invented blend", ammonium_nitrogen_pct=20.0, micronutrient_pct={"manganese": 1.5}
    )
    save_product("test-farm", blend, unit_of_work=service.unit_of_work, clock=service.clock)
    changed = {"product_ammonium-sulfate": "", "product_potassium-sulfate": "", "k2o": "",
               "product_blend": "yes"}  # fmt: skip
    said = plain(reader.text(asking(**changed)))
    # 40 lb/ac of nitrogen are 200 lb/ac of the blend, with 3 lb/ac, 3.4 kg/ha, of manganese.
    assert "3 lb/ac (3.4 kg/ha) of manganese in the season: up to 2.7 lb/ac (3 kg/ha)" in said
    assert "manganese 0.0 lb/ac 3.0 lb/ac comes along, not asked for" in said


def test_days_may_be_counted_from_the_first_one(reader: Reader) -> None:
    said = plain(reader.text(asking(days="", first="2026-04-01", count="3", every="14")))
    for day in ("Apr 1 2026", "Apr 15 2026", "Apr 29 2026"):
        assert day in said


def test_no_nitrogen_is_given_after_its_last_day(reader: Reader) -> None:
    said = plain(reader.text(asking(days="2026-04-01 2026-09-01", last_nitrogen="2026-07-31")))
    assert "after the last day for nitrogen" in said
    assert said.count("Ammonium sulfate") == 2  # once by event, once in the form


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize(
    ("changed", "at"),
    [
        ({"n": "much"}, "need-n"),
        ({"n": "-1"}, "need-n"),
        ({"n": "", "k2o": ""}, "need-n"),
        ({"product_ammonium-sulfate": "", "product_potassium-sulfate": ""}, "products"),
        ({"days": "2026-04-01 soon"}, "split-days"),
        ({"days": "2026-04-01 2026-04-01"}, "split-days"),
        ({"days": "", "first": "soon"}, "split-first"),
        ({"days": "", "first": "2026-04-01", "count": "2.5"}, "split-count"),
        ({"days": "", "first": "2026-04-01", "count": "2", "every": "0"}, "split-every"),
        ({"last_nitrogen": "soon"}, "split-last"),
    ],
)
def test_what_cannot_be_is_said_at_its_field(
    reader: Reader, changed: dict[str, str], at: str, language: str
) -> None:
    reader.headers["Accept-Language"] = language
    page = reader.text(asking(**changed))
    assert f'id="{at}-fault"' in page and page.count('class="fault"') == 1
    fault = page[page.index(f'id="{at}-fault"') :].partition("</p>")[0]
    assert language == "en" or 'lang="en"' not in fault
    assert 'id="season"' not in page


def test_us_readers_see_no_british_spelling(reader: Reader) -> None:
    assert british(plain(reader.text(asking()))) == []
