"""The page of the counties: what it is compared by, what it finds, and its file."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import replace
from datetime import UTC, date, datetime
from urllib.parse import parse_qs

import pytest

from service.agronomy.county_need import Basis
from service.agronomy.crop_table import CROPS
from service.api.app import create_app
from service.bootstrap import Service
from service.geography.outlines import PlacedOutline
from service.pages.county_map import week_map
from service.pages.county_view import findings, in_order, ranking, stand_ins
from service.records.counties import CountyBoundaries, CountyWeek
from service.translations import wording
from service.unit_sizes import MM_PER_INCH
from tests.api.invented_farm import BLOCK_ID
from tests.letters import bulletin
from tests.pages.conftest import Reader

WORDS = wording("en", "us")
NOW = datetime(2026, 7, 14, 23, tzinfo=UTC)


def week(name: str, rank: int, need_in: float, **values: object) -> CountyWeek:
    """A county's week, measured, without rain."""
    made = replace(
        bulletin().counties[0],
        county_code=name,
        name=name,
        rank=rank,
        net_need_mm=need_in * MM_PER_INCH,
        normal_need_mm=1.03 * MM_PER_INCH,
        rain_mm=0.0,
        measured_days_count=7,
        forecast_days_count=0,
        stand_in_days_count=0,
        basis=Basis.MEASURED,
    )
    return replace(made, **values)  # type: ignore[arg-type]  # passed on


def test_how_far_the_need_may_be_off_is_said_where_it_is_known() -> None:
    band_mm = (0.95 * MM_PER_INCH, 1.1 * MM_PER_INCH, 1.31 * MM_PER_INCH)
    _, rest = findings([week("Dune", 1, 1.12, net_need_band_mm=band_mm)], WORDS)
    assert rest.startswith("Eight of ten forecasts come to 0.95 in to 1.31 in there.")
    sure = week("Dune", 1, 1.12, net_need_band_mm=(MM_PER_INCH,) * 3)
    assert "All forecasts come to 1.00 in there." in findings([sure], WORDS)[1]


def test_the_table_has_the_band_of_a_week_with_coming_days(looker: Reader) -> None:
    page = looker.text("/counties?crop=blueberry&week=this")
    assert "what eight of ten forecasts of the coming days come to" in page
    assert "eight of ten" not in looker.text("/counties?crop=blueberry&week=2026-W27")


def test_only_what_the_counties_are_compared_by_is_shown(looker: Reader) -> None:
    by_crop = looker.text("/counties?crop=blueberry")
    assert 'name="crop"' in by_crop and 'name="texture"' in by_crop
    assert 'name="block"' not in by_crop and "Blueberry on loam" in by_crop
    by_block = looker.text(f"/counties?block={BLOCK_ID}&crop=blueberry&texture=clay")
    assert f'value="{BLOCK_ID}" selected' in by_block
    assert 'name="crop"' not in by_block and 'name="season_start"' not in by_block
    assert "on clay" not in by_block and "Compare by crop and soil instead" in by_block


def test_the_way_to_compare_by_a_block_chooses_one(looker: Reader) -> None:
    (link,) = re.findall(r'href="/counties\?([^"]*by=block[^"]*)"', looker.text("/counties"))
    assert parse_qs(link)["by"] == ["block"]
    page = looker.text(f"/counties?{link}")
    assert re.search(r'name="block">(<option[^>]*>[^<]*</option>)*<option[^>]* selected', page)
    assert "In order of need" in page


def test_every_crop_is_one_click_away_on_the_same_soil_and_week(looker: Reader) -> None:
    page = looker.text("/counties?crop=blueberry&texture=clay&week=2026-W28")
    links = [parse_qs(each) for each in re.findall(r'href="/counties\?([^"]*crop=[^"]*)"', page)]
    assert sorted(each["crop"][0] for each in links) == sorted(CROPS)
    assert {(each["texture"][0], each["week"][0]) for each in links} == {("clay", "2026-W28")}
    assert page.count('aria-current="true"') == 1


@pytest.mark.parametrize(("units", "size_mm"), [("us", MM_PER_INCH), ("si", 1.0)])
def test_the_file_has_the_units_of_the_page_and_names_what_was_compared(
    looker: Reader, units: str, size_mm: float
) -> None:
    looker.send("/farms?all=1", "/reading", units=units)
    unit = "in" if units == "us" else "mm"
    page = looker.text("/counties?crop=blueberry&texture=clay&week=2026-W28")
    (query,) = re.findall(r'href="/counties\.csv\?([^"]*)"', page)
    (row, _) = csv.DictReader(io.StringIO(looker.get(f"/counties.csv?{query}").text))
    assert row["reference"] == "Blueberry on clay" and row["week"] == "2026-W28"
    asked = {"week": "2026-W28", "crop": "blueberry", "texture": "clay"}
    item = looker.get("/v1/counties/water-need", params=asked).json()["items"][0]
    expected = item["net_need"]["depth_mm"] / size_mm
    assert float(row[f"net_need_{unit}"]) == pytest.approx(expected, abs=0.0006)
    by_block = looker.get(f"/counties.csv?block={BLOCK_ID}").text
    assert "North blueberries" in by_block


def test_the_page_finds_who_needs_most_and_least_and_what_is_normal() -> None:
    rows = in_order([week("Crest", 2, 0.54, rain_mm=1.41 * MM_PER_INCH), week("Dun", 1, 1.12)])
    first, rest = findings(rows, WORDS)
    assert first == "Dun needs most: 1.12 in."
    assert rest == (
        "A normal week without rain needs 1.03 in there. Crest needs least: 0.54 in, with 1.41 in"
        " of rain."
    )


def test_the_page_finds_no_difference_where_there_is_none() -> None:
    assert findings([week("A", 1, 0.5), week("B", 1, 0.5)], WORDS)[1] == (
        "A normal week without rain needs 1.03 in there."
    )
    assert findings([week("A", 1, 0.0), week("B", 1, 0.0)], WORDS) == (
        "No county needs irrigation in this week.",
        "",
    )
    assert findings([week("A", 0, float("nan"))], WORDS) == ("", "")


def test_a_stand_in_is_named_with_its_days_and_the_last_that_was_measured() -> None:
    brack = week(
        "Brack",
        2,
        0.9,
        basis=Basis.STAND_IN,
        stand_in_days_count=3,
        observed_until=date(2026, 7, 9),
    )
    assert stand_ins([week("Dun", 1, 1.1), brack], WORDS) == [
        "Brack: 3 of 7 days are the season's normal, the days around or a place nearby. Measured"
        " up to Thu, Jul 9."
    ]
    assert stand_ins([brack] * 5, WORDS) == [
        "5 counties rest on stand-ins for some days. They are hatched."
    ]


def test_what_a_week_rests_on_is_said_in_the_number_that_it_has() -> None:
    rows = [week("A", 1, 1.1, measured_days_count=1, forecast_days_count=6)]
    assert "days: 1 measured, 6 forecast" in ranking("A", rows, WORDS)
    assert "días: 1 medido, 6 pronosticados" in ranking("A", rows, wording("es", "us"))


def outlined(row: CountyWeek, west: float) -> PlacedOutline:
    """A square of one degree for a county's week."""
    assert row.county_code
    ring = ((west, 34.0), (west + 1.0, 34.0), (west + 1.0, 35.0), (west, 35.0))
    return PlacedOutline(((ring,),), west + 0.5, 34.5, 0.2)


def test_the_map_shows_each_county_in_its_class_and_leads_to_its_row(looker: Reader) -> None:
    page = looker.get("/counties?crop=blueberry").text
    svg = page[page.index('<svg class="chart map"') :]
    svg = svg[: svg.index("</svg>")]
    links = re.findall(r'<a href="#(county-\d)" aria-label="([^"]*)"', svg)
    assert [row for row, _ in links] == ["county-1", "county-2"]
    for row, said in links:
        (name, number) = said.replace("\u00a0", " ").split(": ")
        cells = page[page.index(f'id="{row}"') :].split("</tr>")[0]
        shown = number.removesuffix(" in").replace("no data", "?")
        assert name in cells and f"<b>{shown}</b>" in cells
    assert "Invented Survey" in page


@pytest.mark.parametrize(
    ("language", "units", "most", "words"),
    [
        ("en", "us", 5, ("1.25 in", "20 miles", "no data", "stand-in")),
        ("en", "si", 3, ("50 mm", "50 km", "no data", "stand-in")),
        ("es", "si", 3, ("50 mm", "50 km", "sin datos", "sustituto")),
    ],
)
def test_the_map_is_in_the_units_and_the_language_of_its_reader(
    language: str, units: str, most: int, words: tuple[str, ...]
) -> None:
    rows = [
        week("Dun", 1, 1.12),
        week("Brack", 2, 0.96, basis=Basis.STAND_IN),
        week("Crest", 0, math.nan, normal_need_mm=math.nan),
        week("Off", 3, 0.3),
    ]
    places = {row.county_code: outlined(row, -82.0 + n) for n, row in enumerate(rows[:3])}
    boundaries = CountyBoundaries(places, "", NOW)
    found = week_map("Title", "Finding.", rows, boundaries, wording(language, units))
    assert found is not None and (found.unlabeled, found.missing) == ("", "Off")
    drawn = found.drawn.replace("\u00a0", " ")
    for each in words:
        assert f">{each}</text>" in drawn
    assert drawn.count('fill="url(#hatch)"') == 2  # the county and the key
    assert f'need-{most}" href="#map-0"' in drawn and 'need-0" href="#map-2"' in drawn
    assert re.search(r"<desc[^>]*>Finding\. .*Brack.*Crest", drawn)


def test_without_boundaries_there_is_no_map_and_the_page_says_why(service: Service) -> None:
    with service.unit_of_work(write=True) as unit:
        unit.boundaries.replace(CountyBoundaries({}, "", NOW))
    page = Reader(create_app(service)).text("/counties")
    assert "has not imported the boundaries of these counties" in page
    assert "In order of need" in page and "chart map" not in page
