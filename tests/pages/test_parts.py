"""The page of a block's parts: what it shows, what its forms change, and that it stores nothing."""

from __future__ import annotations

import re

from tests.api.invented_farm import BARE_BLOCK_ID
from tests.pages.conftest import Reader

PAGE = f"/blocks/{BARE_BLOCK_ID}/parts"


def test_the_page_has_the_cautions_first_then_drawing_list_and_checklists(reader: Reader) -> None:
    assert f'href="{PAGE}"' in reader.text(f"/blocks/{BARE_BLOCK_ID}/pipes-and-water")
    page = reader.text(PAGE)
    places = [
        page.index(words)
        for words in (
            "Nothing here chooses it.",
            "What the list rests on",
            '<svg class="chart"',
            "Backflow preventer, of the kind that local code asks for",
            "Spring start-up: flush, test, walk",
            "Where the numbers are from",
        )
    ]
    assert places == sorted(places)


def test_what_is_chosen_changes_the_list(reader: Reader) -> None:
    assert "Injector: acid" not in reader.text(PAGE)
    found = reader.text(f"{PAGE}?water=surface&inject_acid=yes&zones=3")
    assert "Injector: acid" in found and "Injector: fertilizer" not in found
    assert "disc or sand media filter that flushes itself" in found
    assert "in each of 3 zones" in found
    assert "Check valve at the injector" not in reader.text(f"{PAGE}?water=well")


def test_prices_typed_in_give_the_cost_and_stay_in_the_form(reader: Reader) -> None:
    found = reader.text(f"{PAGE}?price_filter=300&price_gauge=20&budget=1800")
    # Two gauges at the filter, one behind the regulator of the only zone.
    assert "360.00" in found and "20%" in found
    assert re.search(r'name="price_filter"[^>]*value="300"', found)
    assert "Without a price, and not in the sums" in found


def test_numbers_that_cannot_be_are_said_and_the_page_is_still_there(reader: Reader) -> None:
    for query in ("zones=1.5", "zones=900", "minutes=-3", "price_filter=cheap", "price_filter=-1"):
        page = reader.text(f"{PAGE}?water=well&{query}")
        assert page.count('class="fault"') == 1, query
        assert "Order along the pipe" in page


def test_the_page_is_spanish_for_those_who_read_it(reader: Reader) -> None:
    reader.headers["Accept-Language"] = "es"
    page = reader.text(f"{PAGE}?water=surface&inject_chlorine=yes&inject_acid=yes&price_filter=1")
    assert "Piezas y orden a lo largo de la tubería" in page
    body = page.split("De dónde salen los números")[0]
    assert re.findall(r'<(?:span|li|p)[^>]* lang="en"[^>]*>', body) == []
    assert "Backflow" not in body
