"""The fake services, stores in memory and a policy without waits, for all tests of this room."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import stamina

from service.weather_sources.http import ATTEMPT_LIMIT, WeatherHttp
from tests.weather_sources.fake_providers import FakeProviders, invented_weather
from tests.weather_sources.fakes import StoresInMemory
from tests.weather_sources.questions import NOW, make_http


@pytest.fixture(autouse=True)
def no_waits_between_attempts() -> Iterator[None]:
    stamina.set_testing(True, attempts=ATTEMPT_LIMIT, cap=True)
    yield
    stamina.set_testing(False)


@pytest.fixture(scope="session")
def running_providers() -> Iterator[FakeProviders]:
    with FakeProviders() as providers:
        yield providers


@pytest.fixture
def providers(running_providers: FakeProviders) -> FakeProviders:
    running_providers.clear()
    running_providers.now = NOW
    running_providers.weather = invented_weather
    return running_providers


@pytest.fixture
def stores() -> StoresInMemory:
    return StoresInMemory()


@pytest.fixture
def http(stores: StoresInMemory) -> WeatherHttp:
    return make_http(stores)
