"""The season behind a secret link: the farm's own, as of its own day."""

from __future__ import annotations

import pytest

from service.bootstrap import Service
from service.errors import NotFound
from service.operations.access.share_calendar import renew_link
from service.operations.season.share_season import read_season
from tests.api.invented_farm import FARM_ID, TODAY


def test_a_link_gives_the_season_of_its_farm_alone(own_service: Service) -> None:
    old = renew_link(FARM_ID, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    found = read_season(old, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    assert (found.farm_id, found.first_day) == (FARM_ID, TODAY)
    assert set(found.block_names) == {"test-farm.north", "test-farm.south"}
    renew_link(FARM_ID, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
    with pytest.raises(NotFound):
        read_season(old, unit_of_work=own_service.unit_of_work, clock=own_service.clock)
