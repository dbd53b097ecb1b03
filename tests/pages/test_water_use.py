"""The page of the water that a farm used, and that of a block's numbers."""

from __future__ import annotations

from datetime import timedelta

from service.bootstrap import Service
from service.drawing.season_use import SeasonCourse, season_use
from service.operations.feedback.report_runs import RunReport, report_runs
from service.operations.reading.block_numbers import DERIVED_ORIGINS, block_numbers
from tests.api.invented_farm import BLOCK_ID
from tests.pages.conftest import Reader

PAGE = "/farms/test-farm/water-used"


def test_a_season_is_shown_by_month_and_how_a_permit_is_stated(reader: Reader) -> None:
    page = reader.text(PAGE)
    assert "No permit or budget is stated" in page and "July 2026" in page
    assert "ac-ft" in page
    assert 'href="/farms/test-farm/water-used.csv"' in page


def test_a_permit_is_held_against_the_season_in_the_readers_units(reader: Reader) -> None:
    page = reader.text(f"{PAGE}?limit=1000+ac-ft")
    assert "of 1,000 ac-ft" in page and "are left" in page
    assert "may be used: 1,000 ac-ft" in page


def test_water_before_the_record_is_said_not_to_be_counted(reader: Reader) -> None:
    words = "What was used before is not counted."
    assert f"The record begins on Wednesday, June 10, 2026. {words}" in reader.text(PAGE)
    assert words not in reader.text(f"{PAGE}?from=2026-07-11&to=2026-07-14")


def test_a_season_beyond_its_permit_says_by_how_much(service: Service, reader: Reader) -> None:
    run = RunReport(BLOCK_ID, service.clock.now() - timedelta(hours=6), 240.0)
    with service.unit_of_work(write=True) as unit:
        report_runs(unit, [run], farm_id="test-farm", reporter="me", replanning=service.replanning)
    assert "more than may be used" in reader.text(f"{PAGE}?limit=1+gal")


def test_water_is_added_up_by_block_and_supply_with_their_names(reader: Reader) -> None:
    assert "North blueberries" in reader.text(f"{PAGE}?by=block")
    assert "By meter" in reader.text(f"{PAGE}?by=supply&supply=well")


def test_what_cannot_be_is_said_beside_its_field(reader: Reader) -> None:
    answer = reader.get(f"{PAGE}?limit=12+parsecs")
    assert answer.status_code == 422 and 'id="limit-fault"' in answer.text
    assert reader.get(f"{PAGE}?from=2026-07-10&to=2026-07-01").status_code == 422


def test_the_file_follows_what_the_page_asks_for(reader: Reader) -> None:
    header = reader.get(f"{PAGE}.csv?by=supply").text.splitlines()[0]
    assert header.lstrip("\ufeff").startswith("Supply,")
    assert reader.get(f"{PAGE}.csv").text.lstrip("\ufeff").startswith("Month,Block,")


def test_every_number_of_a_block_has_its_source(service: Service, reader: Reader) -> None:
    page = reader.text(f"/blocks/{BLOCK_ID}/numbers")
    found = block_numbers(BLOCK_ID, unit_of_work=service.unit_of_work, clock=service.clock)
    for each in found.derived:
        if each.name != "crop_coefficient":
            source = DERIVED_ORIGINS[each.name].format(year=found.day.year)
            assert " ".join(source.split()) in page, each.name
    assert "All numbers of North blueberries" in page and "0.75 ac" in page
    assert "steps of the plan for" in page


def test_days_ahead_are_dots_on_their_own_ground_and_the_limit_is_dashed() -> None:
    ahead = SeasonCourse(11, [(0, 0.0), (5, 10.0)], [(5, 10.0), (10, 30.0)], 20.0)
    drawn = str(
        season_use(
            "Water", "Added up.", ahead,
            months=[(0, "Jan")], limit_name="may be used: 20", top_name="30",
        )
    )  # fmt: skip
    assert 'class="level ahead"' in drawn and 'class="future"' in drawn and 'class="cap"' in drawn
    bare = str(
        season_use(
            "Water", "Added up.", SeasonCourse(6, [(0, 0.0), (5, 10.0)], [], None),
            months=[], limit_name="", top_name="10",
        )
    )  # fmt: skip
    assert "future" not in bare and "cap" not in bare
