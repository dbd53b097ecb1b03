"""Two blocks of one site and the weather that their plans rest on."""

from __future__ import annotations

from datetime import date

import pytest

from service.agronomy.records import Ints
from service.database.session import UnitOfWorkFactory
from tests.database.stored_plans import NOW, save_basis, weather_document
from tests.stored_farms import ints, stored_block, stored_bundle


@pytest.fixture
def keys(open_unit: UnitOfWorkFactory) -> Ints:
    """Blocks north and south of one site."""
    bundle = stored_bundle(stored_block("orchard.north"), stored_block("orchard.south"))
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(bundle, effective_day=date(2026, 6, 1), recorded_at=NOW)
        return ints(*(unit.blocks.get_block_key(name) for name in ("north", "south")))


@pytest.fixture
def basis_key(open_unit: UnitOfWorkFactory, keys: Ints) -> int:
    return save_basis(open_unit, weather_document(et0_mm=7.1))
