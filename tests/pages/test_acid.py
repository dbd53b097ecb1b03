"""The page of a block's acid: cautions first, the limit with its reasons, injection and season."""

from __future__ import annotations

import re
from datetime import date
from urllib.parse import urlencode

import pytest

from service.bootstrap import Service
from service.operations.waterworks.report_water import record_sample
from service.records.waterworks import WaterSample
from service.translations import wording
from service.waterworks.acid import TitrationPoint, acid_dose
from service.waterworks.acid_amounts import acid_injection
from service.waterworks.acid_limits import MATERIALS
from service.waterworks.carbonate import CarbonateWater
from service.waterworks.caution import ACID_CAUTIONS
from service.waterworks.water_analysis import Reading
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID
from tests.pages.conftest import Reader
from tests.spelling import british

PAGE = f"/blocks/{BLOCK_ID}/acid"
ASKED = {"acid": "sulfuric", "strength": "93", "ph": "6.5"}
SHORT = {
    **ASKED, "ph": "4.5", "minutes": "30", "passes_plastic": "yes", "tank": "20",
    "tank_unit": "gal/h", "injections": "10", "price": "8", "price_per": "gal",
}  # fmt: skip


@pytest.fixture
def titrated(service: Service) -> Service:
    """An invented water of 120 mg/L with its titration, of the supply of both blocks."""
    sample = WaterSample(
        farm_id="test-farm",
        supply_id="well",
        day=date(2026, 5, 4),
        laboratory="invented",
        readings=(
            Reading("ph", 7.8, "pH"),
            Reading("alkalinity", 120.0, "mg/L CaCO3"),
            Reading("calcium", 48.0, "mg/L"),
            Reading("ec", 0.52, "dS/m"),
        ),
        temperature_c=20.0,
        titration=(
            TitrationPoint(0.0, 7.8), TitrationPoint(1.0, 6.4), TitrationPoint(2.1, 5.5),
            TitrationPoint(2.4, 4.4),
        ),
    )  # fmt: skip
    record_sample(sample, unit_of_work=service.unit_of_work, clock=service.clock)
    return service


def asking(fields: dict[str, str], page: str = PAGE) -> str:
    return f"{page}?{urlencode(fields)}"


@pytest.mark.parametrize("language", ["en", "es"])
def test_without_an_analysis_it_has_the_cautions_and_says_what_it_needs(
    reader: Reader, language: str
) -> None:
    reader.headers["Accept-Language"] = language
    page = reader.text(asking(ASKED))
    words = wording(language, "us")
    assert all(words.gettext(each.text) in page for each in ACID_CAUTIONS)
    assert "mmol/L" not in page and 'id="acid-ph"' not in page
    assert f'href="{PAGE}"' in reader.text(f"/blocks/{BLOCK_ID}/pipes-and-water")


@pytest.mark.parametrize("fields", [{}, ASKED])
def test_no_heading_stands_over_nothing(
    titrated: Service, reader: Reader, fields: dict[str, str]
) -> None:
    page = reader.text(asking(fields) if fields else PAGE)
    assert re.findall(r"</h2>\s*(?:</div>\s*)?<h2", page) == []
    assert ("Acid: an estimate" in page) is bool(fields)


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_cautions_come_before_every_number(
    titrated: Service, reader: Reader, language: str
) -> None:
    reader.headers["Accept-Language"] = language
    page = reader.text(asking(SHORT))
    words = wording(language, "us")
    last_caution = max(page.index(words.gettext(each.text)) for each in ACID_CAUTIONS)
    assert last_caution < page.index("mmol/L") < page.index('id="injection"')
    assert page.index('id="injection"') < page.index('id="season"')
    assert page.count('class="numbered"') == 1
    if language == "es":
        assert re.findall(r'<(?:span|li|p)[^>]* lang="en"[^>]*>', page) == []


def test_a_short_injection_for_blueberries_goes_to_4_5_with_its_reasons(
    titrated: Service, reader: Reader
) -> None:
    page = reader.text(asking(SHORT))
    assert "Lowest pH here: 4.5" in page
    assert "This crop wants acid soil" in page and "This decides." in page
    assert "Clean water into the tank, first" in page
    assert "fl oz" in page or " gal, " in page
    assert "lb/ac" in page and "Cost for the block" in page and "sulfur" in page
    reader.send("/farms?all=1", "/reading", units="si")
    page = reader.text(asking(SHORT)).partition('id="given"')[0]
    assert "kg/ha" in page and "lb/ac" not in page and "fl oz" not in page


@pytest.mark.parametrize(
    ("page", "changed", "word"),
    [
        (f"/blocks/{BARE_BLOCK_ID}/acid", {}, "gains nothing from it"),
        (PAGE, {"minutes": ""}, "whole irrigation"),
        (PAGE, {"passes_brass": "yes"}, "Brass and bronze"),
    ],
)
def test_what_forbids_a_low_ph_is_said_beside_the_field(
    titrated: Service, reader: Reader, page: str, changed: dict[str, str], word: str
) -> None:
    found = reader.text(asking({**SHORT, **changed}, page))
    fault = found[found.index('id="acid-ph-fault"') :].partition("</p>")[0]
    assert "pH 5.5 or more here." in fault and word in fault
    assert "mmol/L" not in found


@pytest.mark.parametrize(
    ("changed", "at"),
    [
        ({"minutes": "long"}, "acid-minutes"),
        ({"injections": "2.5"}, "acid-injections"),
        ({"injections": "many"}, "acid-injections"),
        ({"injections": "0"}, "acid-injections"),
        ({"tank": "0"}, "acid-tank"),
        ({"tank": "0.001"}, "acid-tank"),
        ({"price": "-1"}, "acid-price"),
        ({"price": "cheap"}, "acid-price"),
        ({"strength": "0.93"}, "acid-strength"),
        ({"ph": "9.5"}, "acid-ph"),
        ({"minutes": "", "ph": "6.5", "season": "9000"}, "acid-season"),
    ],
)
def test_what_cannot_be_is_said_at_its_field_and_no_number_is_shown(
    titrated: Service, reader: Reader, changed: dict[str, str], at: str
) -> None:
    page = reader.text(asking({**SHORT, **changed}))
    assert f'id="{at}-fault"' in page and page.count('class="fault"') == 1
    assert "mmol/L" not in page


def test_acid_into_chlorinated_water_is_refused(titrated: Service, reader: Reader) -> None:
    page = reader.text(asking({**ASKED, "chlorine": "yes"}))
    assert "mmol/L" not in page and 'class="fault"' in page


def test_the_season_is_of_the_water_given_and_the_ph_of_doses_off_stands_beside(
    titrated: Service, reader: Reader
) -> None:
    page = reader.text(asking({**ASKED, "season": "24", "season_unit": "in"}))
    # 24 in at 120 mg/L would take 312 kg an acre at pH 4.5; here the titration uses up 39 %.
    per_acre = re.search(r"Per acre</th><td>[\d.]+ gal, [\d,.]+ lb \(([\d.]+) kg\)", page)
    assert per_acre is not None
    assert float(per_acre[1]) == pytest.approx(312.0 * 0.93 / 2.398, rel=0.02)
    assert "pH with 5% less acid" in page and "pH with 10% more acid" in page
    assert "No season is added up" in reader.text(asking(ASKED))


def test_nobody_sees_british_spelling(titrated: Service, reader: Reader) -> None:
    page = re.sub(r"<[^>]*>", " ", reader.text(asking(SHORT)))
    assert "Acid per liter" in page and british(page) == []
    reader.send("/farms?all=1", "/reading", units="si")
    assert "Acid per liter" in reader.text(asking(SHORT))


def test_every_text_of_limits_and_injections_is_in_spanish_too() -> None:
    words = wording("es", "si")
    tap = CarbonateWater(ph=7.8, alkalinity_meq_per_l=2.398, temperature_c=20.0)
    dose = acid_dose(tap, 6.5, acid_key="sulfuric", strength_pct=93.0)
    found = acid_injection(dose, 5.0, 4000.0, tank_l_per_h=0.5, travel_min=12.0)
    texts = {part.text for part in MATERIALS.values()} | set(found.steps)
    texts |= {each.text for each in found.advisories}
    texts |= {f"pH 5.5 or more here. {part.text}" for part in MATERIALS.values()}
    assert [text for text in texts if words.gettext(text) == text] == []
    assert "Acero inoxidable" not in words.gettext("pH 6 or more here. nonsense")
    assert "acero galvanizado" in words.gettext(
        f"pH 6 or more here. {MATERIALS['galvanized-steel'].text}"
    )


def test_acid_that_was_given_is_recorded_shown_and_deleted(
    titrated: Service, reader: Reader
) -> None:
    assert "No acid is recorded for this year." in reader.text(PAGE)
    given = {
        "day": "2026-06-02", "given_acid": "sulfuric", "given_strength": "93", "amount": "2",
        "amount_unit": "gal",
    }  # fmt: skip
    answer = reader.send(PAGE, f"{PAGE}/given", **given)
    assert answer.status_code == 303
    page = reader.text(answer.headers["Location"])
    assert "2.00 gal" in page and "It brought sulfur" in page and 'role="status"' in page
    reader.headers["Accept-Language"] = "es"
    assert "Aportó azufre" in reader.text(PAGE)
    assert reader.send(PAGE, f"{PAGE}/given/delete", day="2026-06-02").status_code == 303
    assert "No hay ácido registrado este año." in reader.text(PAGE)


@pytest.mark.parametrize(
    ("changed", "at"),
    [
        ({"day": "soon"}, "given-day"),
        ({"day": "2027-01-01"}, "given-day"),
        ({"amount": "much"}, "given-amount"),
        ({"amount": ""}, "given-amount"),
        ({"given_strength": "0.93"}, "given-strength"),
        ({"given_acid": "vinegar"}, "given-acid"),
    ],
)
def test_acid_that_cannot_have_been_given_is_said_at_its_field(
    reader: Reader, changed: dict[str, str], at: str
) -> None:
    given = {
        "day": "2026-06-02", "given_acid": "sulfuric", "given_strength": "93", "amount": "2",
        "amount_unit": "L",
    }  # fmt: skip
    answer = reader.send(PAGE, f"{PAGE}/given", **{**given, **changed})
    assert answer.status_code == 422
    assert f'id="{at}-fault"' in answer.text and answer.text.count('class="fault"') == 1
    assert "No acid is recorded for this year." in reader.text(PAGE)
