"""The collector rests while farms are planned, and goes on as it was."""

from __future__ import annotations

import gc
import threading
from collections.abc import Iterator

import pytest

from service.bootstrap import Service
from service.operations.evening import run_day as module
from service.operations.evening.collector_rest import collector_rests
from tests.api.invented_farm import plan_evening


@pytest.fixture(autouse=True)
def collector_as_it_was() -> Iterator[None]:
    yield
    gc.enable()


def test_it_rests_until_the_last_of_several_has_ended() -> None:
    with collector_rests():
        with collector_rests():
            assert not gc.isenabled()
        assert not gc.isenabled()
    assert gc.isenabled()


def test_it_goes_on_after_a_failure() -> None:
    with pytest.raises(ZeroDivisionError), collector_rests():
        raise ZeroDivisionError
    assert gc.isenabled()


def test_what_was_off_stays_off() -> None:
    gc.disable()
    with collector_rests():
        pass
    assert not gc.isenabled()


def test_threads_that_overlap_leave_it_on() -> None:
    begun, may_end = threading.Event(), threading.Event()

    def work() -> None:
        with collector_rests():
            begun.set()
            may_end.wait(60)

    other = threading.Thread(target=work)
    with collector_rests():
        other.start()
        begun.wait(60)
    assert not gc.isenabled()
    may_end.set()
    other.join(60)
    assert gc.isenabled()


def test_it_rests_in_an_evening_and_no_longer(
    own_service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[bool] = []
    inner = module._run_farms

    def watched(*args: object, **options: object) -> object:
        seen.append(gc.isenabled())
        return inner(*args, **options)  # type: ignore[arg-type]  # passed on as they came

    monkeypatch.setattr(module, "_run_farms", watched)
    plan_evening(own_service)
    assert seen and not any(seen)
    assert gc.isenabled()
