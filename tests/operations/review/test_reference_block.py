"""The block that counties are compared with: always with a season, and saying where it is from."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from service.agronomy.crop_table import CROPS
from service.errors import InputInvalid
from service.farm_files.farm_document import JsonFarmFormat
from service.operations.review.reference_block import (
    ReferenceBlock,
    ReferenceSystem,
    reference_block,
)
from service.records.farms import SiteDefinition
from tests.factories import make_site


def made(site: SiteDefinition | None = None, **changes: Any) -> ReferenceBlock:
    system = replace(ReferenceSystem(crop="blueberry"), **changes)
    return reference_block(system, site or make_site(), farm_format=JsonFarmFormat())


@pytest.mark.parametrize("crop", sorted(CROPS))
def test_every_crop_has_a_season_with_its_origin(crop: str) -> None:
    found = made(crop=crop)
    assert found.block.crop_key == crop
    assert found.is_season_estimated
    is_published = CROPS[crop].stage_lengths_day is not None
    assert ("estimate: " in found.season_origin) != is_published
    assert found.season_origin.endswith("local dates are better")


def test_a_season_that_is_given_is_no_estimate() -> None:
    found = made(season_start="04-10", stage_lengths_day=[20, 40, 100, 40])
    assert found.block.curve.season_start == (4, 10)
    assert found.block.curve.stage_knots == (20.0, 60.0, 160.0, 200.0)
    assert (found.is_season_estimated, found.season_origin) == (False, "given")


def test_what_is_given_of_a_season_is_kept_and_the_rest_estimated() -> None:
    found = made(season_start="04-10")
    assert found.block.curve.season_start == (4, 10)
    assert found.block.curve.stage_knots[0] == 25.0
    assert found.is_season_estimated and found.season_origin.startswith("estimate: ")


def test_in_the_south_the_estimate_begins_half_a_year_later() -> None:
    cape = make_site(latitude_deg=-33.5, longitude_deg=19.0, zone="Africa/Johannesburg")
    assert made(cape).block.curve.season_start == (9, 20)


def test_a_fault_names_its_place_in_a_block() -> None:
    with pytest.raises(InputInvalid) as refusal:
        made(crop="plastic")
    assert [fault.where for fault in refusal.value.faults] == ["/crop"]
