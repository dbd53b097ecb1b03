"""Lets Python's cycle collector rest while farms are planned.

An evening makes millions of values that refer to each other one way only and go by themselves; the
collector looks through all that is alive again and again and finds nothing, for a quarter of the
evening's time. It goes on after each group of farms, so that what cycles there are do not pile up.
"""

from __future__ import annotations

import gc
import threading
from collections.abc import Iterator
from contextlib import contextmanager


class _Rests:
    """How many blocks of work the collector rests for, in all threads."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.count = 0
        self.was_on = False


_rests = _Rests()


@contextmanager
def collector_rests() -> Iterator[None]:
    """Switch automatic collection off for a block of work; the last of several to end restores it.

    It is switched for the whole process, so what takes long or makes cycles stays outside.
    """
    with _rests.lock:
        if _rests.count == 0:
            _rests.was_on = gc.isenabled()
            gc.disable()
        _rests.count += 1
    try:
        yield
    finally:
        with _rests.lock:
            _rests.count -= 1
            if _rests.count == 0 and _rests.was_on:
                gc.enable()
