"""The canopy of a block and the dewpoint of a farm's site, entered on their forms."""

from __future__ import annotations

from datetime import date

import pytest

from service.agronomy.civil_day import decimal_year
from service.bootstrap import Service
from service.pages.number_fields import in_few_digits
from service.records.farms import BlockDefinition, SiteDefinition
from tests.api.invented_farm import BLOCK_ID
from tests.pages.conftest import Reader
from tests.pages.test_pages import entered, stored

BLOCK_PAGE, FARM_PAGE = f"/blocks/{BLOCK_ID}/edit", "/farms/test-farm/edit"


def block_of(service: Service) -> BlockDefinition:
    return next(each for each in stored(service).blocks if each.block_id == BLOCK_ID)


def site_of(service: Service) -> SiteDefinition:
    (site,) = stored(service).sites
    return site


def offsets_of(service: Service) -> tuple[float, ...] | None:
    normals = site_of(service).normals
    return None if normals is None else normals.tdew_offset_c


def test_a_measured_canopy_is_entered_with_its_day_and_what_it_grows_to(
    service: Service, reader: Reader
) -> None:
    form = entered(reader, BLOCK_PAGE) | {
        "canopy_cover": "30 %",
        "canopy_height": "3",
        "canopy_height_unit": "ft",
        "canopy_measured_on": "2026-05-02",
        "full_cover": "0.7",
        "full_height": "6",
        "full_height_unit": "ft",
    }
    assert reader.send(BLOCK_PAGE, **form, do="store").status_code == 303
    block = block_of(service)
    assert (block.canopy_cover_fraction, block.full_cover_fraction) == (0.3, 0.7)
    assert block.canopy_height_m == pytest.approx(0.9144)
    assert block.full_height_m == pytest.approx(1.8288)
    assert block.canopy_measured_year == pytest.approx(decimal_year(date(2026, 5, 2)))
    again = entered(reader, BLOCK_PAGE)
    assert (again["canopy_measured_on"], again["canopy_cover"]) == ("2026-05-02", "0.3")
    assert (again["full_height"], again["full_height_unit"]) == ("6", "ft")


def test_a_canopy_without_its_day_stays_and_one_taken_out_is_the_crops_again(
    service: Service, reader: Reader
) -> None:
    before = block_of(service)
    form = entered(reader, BLOCK_PAGE) | {"canopy_cover": "0.3", "canopy_measured_on": "2026-05-02"}
    assert reader.send(BLOCK_PAGE, **form, do="store").status_code == 303
    form = entered(reader, BLOCK_PAGE) | {"canopy_measured_on": ""}
    assert reader.send(BLOCK_PAGE, **form, do="store").status_code == 303
    block = block_of(service)
    assert block.canopy_cover_fraction == 0.3
    assert block.canopy_measured_year != block.canopy_measured_year
    form = entered(reader, BLOCK_PAGE) | {"canopy_cover": ""}
    assert reader.send(BLOCK_PAGE, **form, do="store").status_code == 303
    assert block_of(service) == before


@pytest.mark.parametrize(
    ("changed", "allowed"),
    [
        ({"full_cover": "0.7"}, "canopy_measured_on beside it"),
        ({"canopy_measured_on": "2026-05-02"}, "canopy_cover or canopy_height"),
        ({"canopy_height": "400", "canopy_height_unit": "ft"}, "0.1641 to 65.61 ft"),
    ],
)
def test_what_does_not_fit_is_said_beside_the_field(
    reader: Reader, changed: dict[str, str], allowed: str
) -> None:
    answer = reader.send(BLOCK_PAGE, **{**entered(reader, BLOCK_PAGE), **changed}, do="store")
    assert answer.status_code == 422
    assert allowed in answer.text
    assert f'id="{next(iter(changed))}-fault"' in answer.text


def test_the_dewpoint_is_entered_in_the_readers_degrees_and_taken_out_again(
    service: Service, reader: Reader
) -> None:
    before = stored(service)
    form = entered(reader, FARM_PAGE) | {"tdew_offset": "9", "tdew_offset_unit": "°F"}
    assert reader.send(FARM_PAGE, **form).status_code == 303
    assert offsets_of(service) == (5.0,) * 12  # 9 / 1.8
    shown = entered(reader, FARM_PAGE)
    assert (shown["tdew_offset"], shown["tdew_offset_unit"]) == ("9", "°F")
    assert reader.send(FARM_PAGE, **(shown | {"tdew_offset": ""})).status_code == 303
    assert stored(service) == before


def test_a_dewpoint_that_cannot_be_is_said_beside_the_field(reader: Reader) -> None:
    form = entered(reader, FARM_PAGE) | {"tdew_offset": "80", "tdew_offset_unit": "°C"}
    answer = reader.send(FARM_PAGE, **form)
    assert answer.status_code == 422
    assert 'id="tdew_offset-fault"' in answer.text


def test_a_number_of_another_kind_is_answered_in_the_units_of_the_farm(reader: Reader) -> None:
    answer = reader.send(FARM_PAGE, **(entered(reader, FARM_PAGE) | {"tdew_offset": "2 in"}))
    assert answer.status_code == 422
    assert "-9 to 36 degF" in answer.text


@pytest.mark.parametrize(
    ("value", "shown"),
    # 1.5, 4, 0.5 and 0.6 m in feet; a share, a percentage and minutes stay as they are.
    [
        (1.5 / 0.3048, "4.9"),
        (4.0 / 0.3048, "13"),
        (0.5 / 0.3048, "1.64"),
        (0.6 / 0.3048, "1.97"),
        (0.75, "0.75"),
        (85.0, "85"),
        (240.0, "240"),
    ],
)
def test_a_default_is_shown_as_a_grower_would_write_it(value: float, shown: str) -> None:
    assert in_few_digits(value) == shown
