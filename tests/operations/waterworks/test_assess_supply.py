"""Whether a stored supply keeps up, by the weather measured at its blocks; one at a time."""

from __future__ import annotations

from datetime import date
from threading import Lock
from typing import Any

import numpy as np
import pytest

from service.bootstrap import Service
from service.errors import Busy, InputInvalid, NotFound, WeatherInvalid
from service.operations.waterworks import assess_supply as module
from service.operations.waterworks.assess_capacity import Capacity
from service.operations.waterworks.assess_supply import assess_supply
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM_ID
from tests.invented_summers import import_last_summer


def assess(service: Service, supply_id: str = "well", **changes: Any) -> Capacity:
    facts: dict[str, Any] = {"farm_id": FARM_ID, "year_count": 1, **changes}
    return assess_supply(
        facts.pop("farm_id"),
        supply_id,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
        **facts,
    )


def test_the_measured_summer_is_reported_for_the_blocks_of_the_supply(
    own_service: Service,
) -> None:
    import_last_summer(own_service)
    found = assess(own_service)
    (supply,) = found.supplies
    assert (supply.supply_id, sorted(supply.block_ids)) == ("well", [BLOCK_ID, BARE_BLOCK_ID])
    assert [summer.first_day for summer in supply.summers] == [date(2025, 4, 1)]
    assert all(np.isfinite(summer.largest_excess_mm).all() for summer in supply.summers)
    assert not module._one_at_a_time.locked()


def test_impossible_years_and_unknown_supplies_are_refused(own_service: Service) -> None:
    for year_count in (0, 16):
        with pytest.raises(InputInvalid) as refused:
            assess(own_service, year_count=year_count)
        (fault,) = refused.value.faults
        assert (fault.where, fault.found, fault.allowed) == ("years", str(year_count), "1 to 15")
    with pytest.raises(NotFound, match="its supplies: well"):
        assess(own_service, "lake")
    with pytest.raises(NotFound, match="nowhere"):
        assess(own_service, farm_id="nowhere")


def test_forecasts_and_half_a_summer_are_no_summer(own_service: Service) -> None:
    with pytest.raises(WeatherInvalid, match="no measured weather of site hill is stored"):
        assess(own_service, "pond", farm_id="later-farm")
    with pytest.raises(WeatherInvalid, match="no summer of the weather is whole"):
        assess(own_service)


def test_a_request_during_another_assessment_is_refused_as_busy(
    own_service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = Lock()
    monkeypatch.setattr(module, "_one_at_a_time", held)
    with held, pytest.raises(Busy, match="ask again"):
        assess(own_service)
    assert not held.locked()


def test_a_refusal_gives_the_turn_back(own_service: Service) -> None:
    for _ in range(2):
        with pytest.raises(NotFound):
            assess(own_service, "lake")


def test_a_supply_with_very_many_blocks_is_for_the_command(
    own_service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "MOST_BLOCKS", 1)
    with pytest.raises(InputInvalid) as refused:
        assess(own_service)
    (fault,) = refused.value.faults
    assert (fault.where, fault.found) == ("blocks", "2 on it")
    assert "`rillwright capacity`" in fault.allowed
