"""Work of which one is done at a time."""

from __future__ import annotations

from threading import Lock

import pytest

from service.errors import Busy
from service.operations.reading.one_at_a_time import one_at_a_time


def test_others_are_refused_while_it_runs_and_welcome_afterwards() -> None:
    lock = Lock()
    with one_at_a_time(lock, "it runs; ask again"):
        with pytest.raises(Busy, match="ask again"), one_at_a_time(lock, "it runs; ask again"):
            pytest.fail("two at a time")
        assert lock.locked()
    with one_at_a_time(lock, "it runs"):
        assert lock.locked()


def test_work_that_fails_holds_nobody_back() -> None:
    lock = Lock()
    with pytest.raises(LookupError), one_at_a_time(lock, "it runs"):
        raise LookupError
    assert not lock.locked()
