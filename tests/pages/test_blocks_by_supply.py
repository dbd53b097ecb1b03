"""Long lists of blocks: grouped by what they draw on, in the order in which people count."""

from __future__ import annotations

from service.farm_files.farm_file import parse_farm
from service.pages.blocks_by_supply import blocks_by_supply, names_in_order
from tests.screenshots import MANY_BLOCKS, many_blocks


def test_forty_blocks_are_found_under_their_supply_in_reading_order() -> None:
    bundle = parse_farm(many_blocks(), name="invented.toml")
    groups = dict(blocks_by_supply(bundle))
    assert [*groups] == ["Canal of the upper valley, second gate", "Pond behind the cold store"]
    first, last = groups.values()
    assert [block.name.rpartition(" ")[2] for block in first[:3]] == ["1-12", "2-13", "3-14"]
    assert first[-1].name.endswith("24-35") and last[-1].name.endswith("40-51")
    assert [*names_in_order(bundle)] == [f"many.b{number}" for number in range(1, MANY_BLOCKS + 1)]
