"""A block's last day for nitrogen from what is stored: its own, or by its crop and its site."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from service.bootstrap import Service
from service.operations.reading.last_nitrogen import block_latitude, find_last_nitrogen
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, TODAY

AUGUST = date(2026, 8, 20)


def test_blueberries_at_36_degrees_end_with_july_and_another_day_of_the_block_holds(
    own_service: Service,
) -> None:
    with own_service.unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(BLOCK_ID, day=TODAY)
        assert block_latitude(unit, block) == 35.91
        found = find_last_nitrogen(unit, block, AUGUST)
        assert found is not None and found.day == date(2026, 7, 31)
        own = find_last_nitrogen(unit, replace(block, last_nitrogen_doy=181.0), AUGUST)
        assert own is not None and (own.day, own.origin) == (date(2026, 6, 30), "given")


def test_a_crop_without_a_rule_has_no_last_day(own_service: Service) -> None:
    with own_service.unit_of_work(write=False) as unit:
        grapes = unit.blocks.get_block(BARE_BLOCK_ID, day=TODAY)
        assert find_last_nitrogen(unit, grapes, AUGUST) is None
