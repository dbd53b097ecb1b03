"""The page of a farm's season calendar; tests/pages/test_browser.py looks at it in a browser."""

from __future__ import annotations

import re
from html import unescape

from service.bootstrap import Service
from tests.api.invented_farm import load
from tests.operations.season.test_plan_season import sample_petioles
from tests.pages.conftest import Reader, key_for

PAGE = "/farms/test-farm/season"


def test_the_year_is_listed_by_month_from_what_is_open_now(looker: Reader) -> None:
    shown = looker.text(PAGE)
    places = [
        shown.index(text) for text in ("Open now", "July 2026", "November 2026", "March 2027")
    ]
    assert places == sorted(places)
    assert "until Jul 31" in shown  # nitrogen, open since March
    assert "Jul 25 to Aug 10" in shown
    assert "About 50 leaves, at least 40" in shown
    assert '<cite lang="en">common practice, no source</cite>' in shown
    assert "Never mix acid with chlorine" in shown
    assert 'href="/blocks/test-farm.north/parts#winter"' in shown
    assert f'<a href="{PAGE}" aria-current="page">' in shown


def test_a_sample_that_is_on_file_is_ticked_off(service: Service, reader: Reader) -> None:
    sample_petioles(service)
    assert "done Jul 14" in reader.text(PAGE)


def test_the_page_is_in_the_readers_language(looker: Reader) -> None:
    looker.headers = {"Accept-Language": "es"}
    shown = looker.text(PAGE)
    for text in (
        "Calendario de la temporada",
        "Abierto ahora",
        "julio de 2026",
        "Muestra de suelo",
    ):
        assert text in shown
    assert "Soil sample" not in shown


def test_a_farm_without_blocks_says_what_comes_first(service: Service, reader: Reader) -> None:
    load(service, '[farm]\nid = "bare"\nname = "Bare (invented)"\nzone = "UTC"\n')
    assert "Add the first block" in reader.text("/farms/bare/season")


def test_another_farms_season_is_reported_as_not_found(service: Service, reader: Reader) -> None:
    reader.sign_in(key_for(service, "plan:read", farm_id="later-farm"))
    assert reader.get("/farms/later-farm/season").status_code == 200
    assert reader.get(PAGE).status_code == 404


def test_the_links_for_calendar_programs_are_shown_once_and_end_the_old_ones(
    service: Service, reader: Reader
) -> None:
    action = "/farms/test-farm/calendar-link"
    found = []
    for _ in range(2):
        shown = unescape(reader.send(PAGE, action).text)
        address = re.search(r"(/v1/calendars/[A-Za-z0-9_-]{43})/season\.ics", shown)
        assert address is not None and f"{address[1]}.ics" in shown
        found.append(address[0])
    assert "/v1/calendars/" not in reader.text(PAGE)
    assert [reader.get(each).status_code for each in found] == [404, 200]
    reader.sign_in(key_for(service, "plan:read"))
    assert "Make new links" not in reader.text(PAGE)
    assert reader.send(PAGE, action).status_code == 403
    assert reader.get(found[1]).status_code == 200
