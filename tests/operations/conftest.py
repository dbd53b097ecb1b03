"""The invented farm in a region with counties, for the operations that compare them."""

from __future__ import annotations

import pytest

from service.bootstrap import Service
from tests.api.invented_farm import load
from tests.pages.conftest import COUNTIES


@pytest.fixture
def region(own_service: Service) -> Service:
    """The invented farm, planned once, and two counties; weather of the first alone is stored."""
    load(own_service, COUNTIES)
    return own_service
