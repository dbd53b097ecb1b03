"""The invented farm once more, its berries with roots outside the wet strip."""

from __future__ import annotations

from tests.api.invented_farm import FARM

ALLEY_BLOCK_ID = "alley-farm.north"
BARE_BLOCK_ID = "alley-farm.south"


def alley_farm(alley_root_fraction: float, *, farm_id: str = "alley-farm") -> str:
    """The farm file; the vines have no such roots."""
    roots = f"wetted_fraction = 0.2\nalley_root_fraction = {alley_root_fraction}"
    return FARM.replace('id = "test-farm"', f'id = "{farm_id}"').replace(
        "planting_year = 2019", roots, 1
    )
